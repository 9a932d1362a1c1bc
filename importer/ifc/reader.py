"""An IFC model to a `Plan`: the parent's side, without a geometry library."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from importer.hints import Hints
from importer.ifc.child import Limits, read_in_child
from importer.plan import Plan

LIMITS: Final = Limits()


def read_ifc(path: Path, hints: Hints, limits: Limits = LIMITS) -> Plan:
    """Read a building model.

    Args:
        path: an .ifc or .ifczip.
        hints: what the user knows better than the model; layers mean nothing here.
        limits: what the reading may take.

    Returns:
        The plan in millimetres, in the model's own coordinates.

    Raises:
        PlanError: the model cannot be read, or holds no rooms.
    """
    allowed = hints.allowed
    own = replace(
        limits,
        seconds=allowed.seconds or limits.seconds,
        memory_bytes=allowed.memory_bytes or limits.memory_bytes,
    )
    return read_in_child("importer.ifc.reading:read_model", path, hints, own)
