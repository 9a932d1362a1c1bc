"""What to order, planks and what goes with them: for each flat, each storey and the job."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from math import ceil

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
from layout.takeoff_sums import added

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
    results: Sequence[PlanResult],
    rules: RuleSet | Sequence[RuleSet],
    *,
    default_rules: bool = False,
) -> JobResult:
    """One job from its plans, in the order given; `rules` are one rule set for all or one for each.

    Packs of a flat are whole packs for that flat alone, so their sum can exceed the job's packs, which
    are reckoned over all planks together; so it is with rolls and bars.
    """
    own = [rules] * len(results) if isinstance(rules, RuleSet) else list(rules)
    gathered = _Gathered()
    for result, rule_set in zip(results, own, strict=True):
        gathered.add(result, rule_set, qualify=len(results) > 1)
    products = gathered.products()
    fallback = _quantities(_Share(), own[0] if own else _the_one(rules))
    return JobResult(
        plans=tuple(results),
        totals=added(list(products.values())) if products else fallback,
        by_product=products,
        by_flat={name: gathered.of("flat", name) for name in sorted(gathered.flats)},
        by_storey={name: gathered.of("storey", name) for name in gathered.storeys},
        rules_name="; ".join(products) or fallback.product.rules,
        default_rules=default_rules,
    )


def _the_one(rules: RuleSet | Sequence[RuleSet]) -> RuleSet:
    return rules if isinstance(rules, RuleSet) else rules[0]


@dataclass(slots=True)
class _Gathered:
    """Shares of the job by product, flat and storey. A heading that plans of several products share has
    a share for each of them.
    """

    rules: dict[str, RuleSet] = field(default_factory=dict)
    whole: dict[str, _Share] = field(default_factory=lambda: defaultdict(_Share))
    flats: dict[str, dict[str, _Share]] = field(default_factory=dict)
    storeys: dict[str, dict[str, _Share]] = field(default_factory=dict)

    def add(self, result: PlanResult, rules: RuleSet, *, qualify: bool) -> None:
        """Share out one plan."""
        product = self._product(rules)
        headings = _headings(result, qualify=qualify)
        things = accessories_of(result, rules)

        def shares(bay: str) -> tuple[_Share, ...]:
            flat, storey = headings[bay]
            of_flat = self.flats.setdefault(flat, defaultdict(_Share))
            of_storey = self.storeys.setdefault(storey, defaultdict(_Share))
            return self.whole[product], of_flat[product], of_storey[product]

        for layout in result.bays:
            for share in shares(str(layout.bay.id)):
                share.bays.append(layout)
        for name in _KINDS:
            for thing in getattr(things, name):
                if thing.bay in headings:  # else of a bay that is left out here
                    for share in shares(thing.bay):
                        getattr(share, name).append(thing)

    def _product(self, rules: RuleSet) -> str:
        """What a rule set orders goes by its name; another of the same name gets a number."""
        name, number = rules.name, 1
        while name in self.rules and not _orders_alike(self.rules[name], rules):
            number += 1
            name = f"{rules.name} ({number})"
        self.rules.setdefault(name, rules)
        return name

    def products(self) -> dict[str, Quantities]:
        """What each product is needed of over the whole job."""
        return {n: _quantities(share, self.rules[n], name=n) for n, share in self.whole.items()}

    def of(self, kind: str, heading: str) -> Quantities:
        """What a flat or storey needs."""
        by_product = (self.flats if kind == "flat" else self.storeys)[heading]
        return added([_quantities(s, self.rules[n], name=n) for n, s in by_product.items()])


_ORDERED = ("plank", "order", "underlay", "membrane", "profiles", "skirting")


def _orders_alike(a: RuleSet, b: RuleSet) -> bool:
    return all(getattr(a, section) == getattr(b, section) for section in _ORDERED)


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
    prefix = f"{result.title}: " if qualify else ""
    return {
        str(b.bay.id): (
            prefix
            + (flats.get(b.bay.flat, str(b.bay.flat)) if b.bay.flat is not None else NO_FLAT),
            _storey_of(result, storeys.get(b.bay.storey, str(b.bay.storey)), prefix),
        )
        for b in result.bays
    }


def _storey_of(result: PlanResult, storey: str, prefix: str) -> str:
    """A plan that is called by its storey does not say it twice."""
    said = prefix and storey.casefold() in {p.casefold() for p in result.title.split(", ")}
    return result.title if said else prefix + storey


def _quantities(share: _Share, rules: RuleSet, *, name: str = "") -> Quantities:
    plank = rules.plank
    planks = sum(len(b.planks) for b in share.bays)
    spare = ceil(round(planks * rules.order.spare, 9))
    laid = sum(b.area_mm2 for b in share.bays)
    bought = planks * plank.length * plank.width
    net = sum(b.bay.outline.area for b in share.bays) / 1e6
    lengths = sorted((p.length_mm for p in share.profiles), reverse=True)
    return Quantities(
        product=Product(
            rules=name or rules.name,
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
