"""Marked drawings by storeys: of a plan that came from a model, the setting-out over a drawn plan; of a
drawing that has its storeys over each other at their heights, the whole drawing with one storey's marks.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path
from typing import Final

import shapely

from importer.plan import Plan, Storey, UnitReading
from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.mark import MarkedFile, mark_drawing
from layout.writers.dxf.storey_drawing import storey_drawing

IN_MM: Final = UnitReading(name="mm", to_mm=1.0, because="drawn so from the model")

STACKED: Final = (
    "The storeys stand over each other at their heights: each has a marked drawing of its own, which "
    "holds the architect's drawing whole."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedStorey:
    """A storey and its marked drawing."""

    storey: Storey
    marked: MarkedFile


def mark_storeys(
    result: PlanResult, rules: RuleSet, *, default_rules: bool = False
) -> tuple[MarkedStorey, ...]:
    """Draw and mark every storey that has a floor laid, in plan order.

    The plan is put through the same writer as an architect's drawing, so that `setout check` reads it
    like any other.

    Raises:
        ValueError: the plan could not be read.
    """
    if result.plan is None:
        msg = "a plan that could not be read cannot be marked"
        raise ValueError(msg)
    return tuple(_marked(result, result.plan, rules, default_rules=default_rules))


def _marked(
    result: PlanResult, plan: Plan, rules: RuleSet, *, default_rules: bool
) -> Iterator[MarkedStorey]:
    with tempfile.TemporaryDirectory(prefix="setout-") as folder:
        path = Path(folder) / "storey.dxf"
        for storey in plan.storeys:
            part = storey_result(result, plan, storey)
            if not part.bays:
                continue
            path.write_bytes(storey_drawing(plan, storey, rules.outputs.layers.value))
            marked = mark_drawing(path, part, rules, default_rules=default_rules)
            yield MarkedStorey(storey=storey, marked=marked)


def is_stacked(result: PlanResult) -> bool:
    """Whether floors of several storeys lie over each other in the drawing, at heights of their own: in
    one drawing their marks could not be told apart.
    """
    if result.plan is None:
        return False
    high = [s.id for s in result.plan.storeys if s.elevation_mm is not None]
    floors = [
        shapely.union_all([b.bay.outline for b in result.bays if b.bay.storey == s]) for s in high
    ]
    return any(a.intersection(b).area > 0 for a, b in combinations(floors, 2))


def mark_stacked(
    source: Path, result: PlanResult, rules: RuleSet, *, default_rules: bool = False
) -> tuple[MarkedStorey, ...]:
    """The architect's drawing once a storey, marked at the height of that storey. See `is_stacked`."""
    plan = result.plan
    if plan is None:
        msg = "a plan that could not be read cannot be marked"
        raise ValueError(msg)
    marked = []
    for storey in plan.storeys:
        part = storey_result(result, plan, storey, plan.units)
        if part.bays:
            file = mark_drawing(
                source,
                part,
                rules,
                default_rules=default_rules,
                level_mm=storey.elevation_mm or 0.0,
            )
            remarks = (*file.remarks, STACKED)
            marked.append(MarkedStorey(storey=storey, marked=replace(file, remarks=remarks)))
    return tuple(marked)


def storey_result(
    result: PlanResult, plan: Plan, storey: Storey, units: UnitReading = IN_MM
) -> PlanResult:
    """What a result says of one storey; its plan in millimetres unless `units` says otherwise."""
    rooms = tuple(r for r in plan.rooms if r.storey == storey.id)
    ids = frozenset(r.id for r in rooms)
    doorways = tuple(d for d in plan.doorways if d.storey == storey.id)
    own = replace(
        plan,
        units=units,
        storeys=(storey,),
        flats=tuple(f for f in plan.flats if f.storey == storey.id),
        rooms=rooms,
        doorways=doorways,
        obstacles=tuple(o for o in plan.obstacles if o.storey == storey.id),
        drawn=plan.drawn_of(storey.id),
        walls=plan.walls_of(storey.id),
    )
    bays = tuple(b for b in result.bays if b.bay.storey == storey.id)
    laid = frozenset(b.bay.id for b in bays)
    thresholds = frozenset(d.id for d in doorways)
    return replace(
        result,
        plan=own,
        bays=bays,
        joints=tuple(j for j in result.joints if laid & set(j.bays) or j.doorway in thresholds),
        unlaid=tuple(u for u in result.unlaid if u.room in ids),
    )
