"""A plan moved, mirrored, told in another order, and written and read again: the same floor each time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.plan import Plan
from layout import job_equal
from layout.floor import BayLayout, PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.mark import marked_dxf
from layout.writers.dxf.reread import reread
from tests.layout import build
from tests.layout.laws import figures
from tests.layout.writers.drawings import room_drawing, save

READ_BACK_MM = 0.01
"""Corners of a marked drawing in map coordinates carry a micrometre or so of noise."""

Lay = Callable[[Plan, RuleSet], PlanResult]


def told_otherwise(plan: Plan, random: Random) -> Plan:
    """The same plan: rooms, doorways and obstacles in another order, rings from another corner and the
    other way round.
    """

    def shape(drawn: Polygon) -> Polygon:
        holes = [_from_elsewhere(r, random) for r in drawn.interiors]
        random.shuffle(holes)
        return Polygon(_from_elsewhere(drawn.exterior, random), holes)

    rooms = [replace(r, shape=shape(r.shape)) for r in plan.rooms]
    doorways, obstacles = list(plan.doorways), list(plan.obstacles)
    for things in (rooms, doorways, obstacles):
        random.shuffle(things)  # type: ignore[arg-type] # lists of several kinds
    return replace(plan, rooms=tuple(rooms), doorways=tuple(doorways), obstacles=tuple(obstacles))


def _from_elsewhere(ring: shapely.LinearRing, random: Random) -> NDArray[np.float64]:
    corners = np.roll(
        shapely.get_coordinates(ring)[:-1], random.randrange(len(ring.coords) - 1), axis=0
    )
    return corners[::-1] if random.random() < 0.5 else corners


def move_laws(plan: Plan, rules: RuleSet, lay: Lay, random: Random) -> Iterator[str]:
    """Shifted, turned, mirrored and told in another order, a plan takes the same planks."""
    turn = random.choice((90.0, 180.0, random.uniform(0, 360)))
    ways = {
        "shifted far": build.moved_plan(plan, at=build.FAR),
        f"turned by {turn!r}": build.moved_plan(plan, turn),
        "mirrored": build.moved_plan(plan, mirrored=True),
        "told otherwise": told_otherwise(plan, random),
    }
    want = figures(lay(plan, rules))
    for way, moved in ways.items():
        # What was laid before is not to be found again: the moved plan is laid by itself.
        job_equal._laid.cache_clear()
        got = figures(lay(moved, rules))
        if got != want:
            yield f"{way}: (planks, bound, breaches) {got} instead of {want}"


def read_back_laws(result: PlanResult, rules: RuleSet, folder: Path) -> Iterator[str]:
    """What is read of a marked drawing is what was written into it."""
    source = save(room_drawing(), folder / "plan.dxf")
    out = folder / "plan-marked.dxf"
    out.write_bytes(marked_dxf(source, result, rules))
    read = reread(out)
    yield from (f"{f.code} {f.what}" for f in read.findings)
    if [b.bay.id for b in read.bays] != [b.bay.id for b in result.bays]:
        yield "other bays are read than were written"
        return
    for bay, written in zip(read.bays, result.bays, strict=True):
        yield from _bay_read_back(bay, written)
    for told, written in zip(read.written, result.bays, strict=True):
        if told.breaches != written.breaches:
            yield f"{written.bay.id}: other breaches are read than were written"


def _bay_read_back(bay: BayLayout, written: BayLayout) -> Iterator[str]:
    if bay.planks != written.planks or bay.bound != written.bound:
        yield f"{bay.bay.id}: other planks are read than were written"
    if [p.id for p in bay.pieces] != [p.id for p in written.pieces]:
        yield f"{bay.bay.id}: other pieces are read than were written"
        return
    for piece, own in zip(bay.pieces, written.pieces, strict=True):
        if replace(piece, shape=own.shape) != own:
            yield f"{own.id}: {piece} is read, {own} was written"
        if shapely.hausdorff_distance(piece.shape, own.shape) > READ_BACK_MM:
            yield f"{own.id}: another shape is read than was written"
