"""Marked drawings of a plan that came from a model: one a storey, the setting-out over a drawn plan."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from importer.plan import Plan, Storey, UnitReading
from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.mark import MarkedFile, mark_drawing
from layout.writers.dxf.storey_drawing import storey_drawing

IN_MM: Final = UnitReading(name="mm", to_mm=1.0, because="drawn so from the model")


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


def storey_result(result: PlanResult, plan: Plan, storey: Storey) -> PlanResult:
    """What a result says of one storey; its plan in millimetres."""
    rooms = tuple(r for r in plan.rooms if r.storey == storey.id)
    ids = frozenset(r.id for r in rooms)
    doorways = tuple(d for d in plan.doorways if d.storey == storey.id)
    own = replace(
        plan,
        units=IN_MM,
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
