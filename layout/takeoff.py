"""What to order, planks and what goes with them: for each flat, each storey and the job."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil
from pathlib import PurePath

from layout.floor import BayLayout, JobResult, PlanResult, Product, Quantities
from layout.floor_order import (
    Accessories,
    BarOrder,
    BarPiece,
    BayStrips,
    Collars,
    CutBar,
    FrameCut,
    ProfilePlace,
    SheetOrder,
    WallStretch,
)
from layout.rules import RuleSet
from layout.stock_bars import cut_bars
from layout.takeoff_measure import measured
from layout.takeoff_sheets import Roll, sheet_order

NO_FLAT = "outside any flat"
"""Heading for rooms that belong to no flat: stair, corridor, or a plan without flats."""


@dataclass(slots=True)
class _Share:
    """Bays and their accessories gathered under one heading while the plans are walked."""

    bays: list[BayLayout] = field(default_factory=list)
    underlay: list[BayStrips] = field(default_factory=list)
    membrane: list[BayStrips] = field(default_factory=list)
    profiles: list[ProfilePlace] = field(default_factory=list)
    skirting: list[WallStretch] = field(default_factory=list)
    collars: list[Collars] = field(default_factory=list)
    frames: list[FrameCut] = field(default_factory=list)


def combine(
    results: Sequence[PlanResult], rules: RuleSet, *, default_rules: bool = False
) -> JobResult:
    """One job from its plans, in the order given.

    Packs of a flat are whole packs for that flat alone, so their sum can exceed the job's packs, which
    are reckoned over all planks together; so it is with rolls and bars.
    """
    everything = _Share()
    flats: dict[str, _Share] = defaultdict(_Share)
    storeys: dict[str, _Share] = defaultdict(_Share)
    for result in results:
        headings = _headings(result, qualify=len(results) > 1)
        things = accessories_of(result, rules)
        for layout in result.bays:
            flat, storey = headings[str(layout.bay.id)]
            for share in (everything, flats[flat], storeys[storey]):
                share.bays.append(layout)
        for name in _KINDS:
            for thing in getattr(things, name):
                if thing.bay not in headings:  # of a bay that is left out here
                    continue
                flat, storey = headings[thing.bay]
                for share in (everything, flats[flat], storeys[storey]):
                    getattr(share, name).append(thing)
    return JobResult(
        plans=tuple(results),
        totals=_quantities(everything, rules),
        by_flat={name: _quantities(flats[name], rules) for name in sorted(flats)},
        by_storey={name: _quantities(share, rules) for name, share in storeys.items()},
        rules_name=rules.name,
        default_rules=default_rules,
    )


_KINDS = ("underlay", "membrane", "profiles", "skirting", "collars", "frames")


def accessories_of(result: PlanResult, rules: RuleSet) -> Accessories:
    """What goes with the planks of a plan: as measured when it was laid, else measured now."""
    if result.accessories is not None:
        return result.accessories
    return measured(result.bays, result.joints, result.plan, rules)


def _headings(result: PlanResult, *, qualify: bool) -> dict[str, tuple[str, str]]:
    """Flat and storey that each bay counts for."""
    plan = result.plan
    flats = {f.id: f.name for f in plan.flats} if plan is not None else {}
    storeys = {s.id: s.name for s in plan.storeys} if plan is not None else {}
    prefix = f"{PurePath(result.source).stem}: " if qualify else ""
    return {
        str(b.bay.id): (
            prefix
            + (flats.get(b.bay.flat, str(b.bay.flat)) if b.bay.flat is not None else NO_FLAT),
            prefix + storeys.get(b.bay.storey, str(b.bay.storey)),
        )
        for b in result.bays
    }


def _quantities(share: _Share, rules: RuleSet) -> Quantities:
    plank = rules.plank
    planks = sum(len(b.planks) for b in share.bays)
    spare = ceil(round(planks * rules.order.spare, 9))
    laid = sum(b.area_mm2 for b in share.bays)
    bought = planks * plank.length * plank.width
    net = sum(b.bay.outline.area for b in share.bays) / 1e6
    lengths = sorted((p.length_mm for p in share.profiles), reverse=True)
    return Quantities(
        product=Product(
            rules=rules.name,
            length_mm=plank.length,
            width_mm=plank.width,
            thickness_mm=plank.thickness,
            per_pack=plank.per_pack,
            spare=rules.order.spare,
        ),
        planks=planks,
        bound=sum(b.bound for b in share.bays),
        spare_planks=spare,
        packs=ceil((planks + spare) / plank.per_pack),
        net_area_m2=laid / 1e6,
        waste_percent=100.0 * (bought - laid) / bought if bought else 0.0,
        underlay_m2=laid / 1e6,
        threshold_mm=tuple(round(length, 1) for length in lengths),
        skirting_mm=sum(w.length_mm for w in share.skirting),
        underlay=_sheet(share.underlay, net, rules.underlay, lay=rules.underlay.lay),
        membrane=_sheet(share.membrane, net, rules.membrane, lay=rules.membrane.lay),
        profiles=_bars(_profile_pieces(share, rules), rules.profiles.stock, rules.profiles.kerf),
        skirting=_bars(_skirting_pieces(share), rules.skirting.stock, rules.skirting.kerf),
        collars=sum(c.count for c in share.collars),
        jambs=sum(f.jambs for f in share.frames),
    )


def _sheet(strips: list[BayStrips], net: float, roll: Roll, *, lay: bool) -> SheetOrder | None:
    return sheet_order(strips, net, roll) if lay else None


# --- bars ---------------------------------------------------------------------------------------


def _profile_pieces(share: _Share, rules: RuleSet) -> Iterator[BarPiece]:
    """A profile longer than every bar is joined from whole bars and a rest."""
    bar = max(rules.profiles.stock)
    for profile in share.profiles:
        rest = float(ceil(round(profile.length_mm, 3)))
        while rest > bar:
            yield BarPiece(length_mm=bar, where=profile.where)
            rest -= bar
        yield BarPiece(length_mm=rest, where=profile.where)


def _skirting_pieces(share: _Share) -> Iterator[BarPiece]:
    for wall in share.skirting:
        for length in wall.pieces_mm:
            yield BarPiece(length_mm=length, where=wall.where)


def _bars(pieces: Iterator[BarPiece], stock: Sequence[float], kerf: float) -> BarOrder:
    own = list(pieces)
    plan = cut_bars([p.length_mm for p in own], stock, kerf)
    bars = tuple(
        CutBar(
            length_mm=bar.length_mm,
            pieces=tuple(own[n] for n in bar.pieces),
            offcut_mm=bar.offcut_mm,
        )
        for bar in plan.bars
    )
    return BarOrder(bars=bars, least_mm=plan.least_mm)
