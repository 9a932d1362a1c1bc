"""Readers that misbehave in the child process, as the geometry kernel does over a bad product."""

from __future__ import annotations

import ctypes
import time
from collections.abc import Sequence
from pathlib import Path

from shapely import box

from importer.hints import Hints
from importer.ifc.child import Lost
from importer.ifc.model import Watch
from importer.plan import Plan, Room, RoomId, Storey, StoreyId, UnitReading

BAD = 30
"""Step id of the product that kills."""


def _plan(lost: Sequence[Lost]) -> Plan:
    room = Room(
        id=RoomId("R1"),
        shape=box(0, 0, 4000, 3000),
        storey=StoreyId("S1"),
        name="; ".join(f"#{product} {why}" for product, why in lost),
    )
    return Plan(
        file="t.ifc",
        format="IFC4",
        units=UnitReading(name="mm", to_mm=1.0, because="a test says so"),
        storeys=(Storey(id=StoreyId("S1"), name="L1"),),
        flats=(),
        rooms=(room,),
        doorways=(),
    )


def crashes(_path: Path, _hints: Hints, watch: Watch, lost: Sequence[Lost]) -> Plan:
    """Dies over one product; in the iterator it cannot be told which."""
    watch.tell("mesh", BAD if watch.careful else 0)
    if BAD not in watch.skip:
        ctypes.string_at(0)
    return _plan(lost)


def stands_still(_path: Path, _hints: Hints, watch: Watch, lost: Sequence[Lost]) -> Plan:
    """Never comes back from one product."""
    watch.tell("mesh", BAD)
    if BAD not in watch.skip:
        time.sleep(60.0)
    return _plan(lost)


def never_ends(_path: Path, _hints: Hints, watch: Watch, _lost: Sequence[Lost]) -> Plan:
    """Gets on, but not to an end."""
    product = 0
    while True:
        product += 1
        watch.tell("mesh", product)
        time.sleep(0.01)


def eats_memory(_path: Path, _hints: Hints, watch: Watch, _lost: Sequence[Lost]) -> Plan:
    """Wants more than it may have."""
    watch.tell("open", 0)
    return _plan([Lost(len(bytearray(1 << 40)), "")])


def has_a_fault(_path: Path, _hints: Hints, watch: Watch, _lost: Sequence[Lost]) -> Plan:
    """A fault of the reader itself."""
    watch.tell("rooms", 0)
    raise ZeroDivisionError("no rooms to divide by")


def trips_over_damage(_path: Path, _hints: Hints, watch: Watch, lost: Sequence[Lost]) -> Plan:
    """Fails over a damaged model until that has been looked through."""
    watch.tell("rooms", 0)
    if not watch.thorough:
        raise AttributeError("'str' object has no attribute 'Representations'")
    return _plan(lost)
