"""What to order: planks, packs, underlay, profiles, skirting; for each flat and for the job."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import ceil
from pathlib import PurePath

from layout.floor import BayLayout, JobResult, MovementJoint, PlanResult, Quantities
from layout.rules import RuleSet

NO_FLAT = "outside any flat"
"""Heading for rooms that belong to no flat: stair, corridor, or a plan without flats."""


@dataclass(slots=True)
class _Share:
    """Bays and joints gathered under one heading while the plans are walked."""

    bays: list[BayLayout] = field(default_factory=list)
    joints: list[MovementJoint] = field(default_factory=list)


def combine(
    results: Sequence[PlanResult], rules: RuleSet, *, default_rules: bool = False
) -> JobResult:
    """One job from its plans, in the order given.

    Packs of a flat are whole packs for that flat alone, so their sum can exceed the job's packs, which
    are reckoned over all planks together.
    """
    everything = _Share()
    shares: dict[str, _Share] = defaultdict(_Share)
    for result in results:
        _gather(result, everything, shares, qualify=len(results) > 1)
    return JobResult(
        plans=tuple(results),
        totals=_quantities(everything, rules),
        by_flat={name: _quantities(shares[name], rules) for name in sorted(shares)},
        rules_name=rules.name,
        default_rules=default_rules,
    )


def _gather(
    result: PlanResult, everything: _Share, shares: dict[str, _Share], *, qualify: bool
) -> None:
    names = {f.id: f.name for f in result.plan.flats} if result.plan is not None else {}
    prefix = f"{PurePath(result.source).stem}: " if qualify else ""
    headings: dict[str, str] = {}
    for layout in result.bays:
        flat = layout.bay.flat
        heading = prefix + (names.get(flat, str(flat)) if flat is not None else NO_FLAT)
        headings[layout.bay.id] = heading
        everything.bays.append(layout)
        shares[heading].bays.append(layout)
    for joint in result.joints:
        sides = [headings[b] for b in joint.bays if b in headings]
        if not sides:
            continue
        everything.joints.append(joint)
        # A flat's entrance threshold goes with the flat, not with the corridor outside it.
        of_flat = [s for s in sides if s != prefix + NO_FLAT]
        shares[(of_flat or sides)[0]].joints.append(joint)


def _quantities(share: _Share, rules: RuleSet) -> Quantities:
    planks = sum(len(b.planks) for b in share.bays)
    spare = ceil(round(planks * rules.order.spare, 9))
    laid = sum(b.area_mm2 for b in share.bays)
    bought = planks * rules.plank.length * rules.plank.width
    profiles = sorted((j.length_mm for j in share.joints), reverse=True)
    return Quantities(
        planks=planks,
        bound=sum(b.bound for b in share.bays),
        spare_planks=spare,
        packs=ceil((planks + spare) / rules.plank.per_pack),
        net_area_m2=laid / 1e6,
        waste_percent=100.0 * (bought - laid) / bought if bought else 0.0,
        underlay_m2=laid / 1e6,
        threshold_mm=tuple(round(length, 1) for length in profiles),
        skirting_mm=_skirting(share.bays, share.joints),
    )


def _skirting(bays: Iterable[BayLayout], joints: Iterable[MovementJoint]) -> float:
    """Boundary of the bays (walls, reveals, columns) less the joint lines, which carry a profile.

    A joint between two bays is boundary of both.
    """
    own = list(bays)
    ids = {b.bay.id for b in own}
    around = sum(b.bay.outline.length for b in own)
    open_side = sum(j.length_mm * sum(1 for b in j.bays if b in ids) for j in joints)
    return float(max(0.0, around - open_side))
