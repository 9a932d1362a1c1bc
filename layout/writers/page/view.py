"""What the page shows, as records of words: the job, its plans, storeys, flats, bays.

Names are cleaned here (no control characters, one line) and escaped by the template, nowhere else.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from math import isfinite

from importer.alike import told_together
from importer.plan import Severity
from layout.floor import BayLayout, JobResult, PlanResult, PlanStatus, Quantities
from layout.rules import RuleSet
from layout.takeoff import NO_FLAT
from layout.writers.damage import damage_words
from layout.writers.names import clean, flat_name, room_names, storey_name
from layout.writers.numbers import whole_mm
from layout.writers.offcuts import offcuts_of
from layout.writers.order_lines import bar_words, roll_size
from layout.writers.page.drawing import BayDrawing, Ground, draw_bay, ground_of
from layout.writers.page.lines import PlanWords, RunLine, plan_words, run_lines


@dataclass(frozen=True, slots=True, kw_only=True)
class BayView:
    """One bay. `number` counts the bays of the job; `id` is that of the plan."""

    number: int
    id: str
    name: str
    place: tuple[str, ...]
    """Flat, storey, drawing: as far as each tells something."""
    area_m2: float
    planks: int
    rooms: tuple[str, ...]
    lines: tuple[RunLine, ...]
    drawing: BayDrawing
    instruction: str
    datum: str
    window: str
    broken: tuple[str, ...]
    """Rules that could not be kept, each once."""
    breaches: tuple[str, ...]
    joints: tuple[str, ...]
    order: tuple[str, ...]
    """The stretches of the order of laying in words; empty where all is laid in one manner."""
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatView:
    """The bays of a flat on one storey of a plan."""

    heading: str
    bays: tuple[BayView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """What a flat takes."""

    name: str
    planks: int
    packs: int
    area_m2: float
    rolls: int
    profiles: str
    skirting: str
    jambs: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ToLookAt:
    """Something to settle, and the number of the bay it is in (0: none)."""

    words: str
    bay: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """The whole page."""

    title: str
    rules_name: str
    default_rules: bool
    plank: str
    order: str
    facts: tuple[tuple[str, str], ...]
    look_first: tuple[ToLookAt, ...]
    notes: tuple[str, ...]
    unlaid: tuple[str, ...]
    orders: tuple[OrderLine, ...]
    flats: tuple[FlatView, ...]

    @property
    def bays(self) -> tuple[BayView, ...]:
        """All bays, in the order of the list."""
        return tuple(bay for flat in self.flats for bay in flat.bays)


def job_view(job: JobResult, rules: RuleSet) -> JobView:
    """Everything on the page in words."""
    names = [clean(p.title) for p in job.plans]
    flats = tuple(_flats(job))
    products = [q.product for q in job.by_product.values()] or [job.totals.product]
    sizes = dict.fromkeys(
        f"{p.length_mm:g} \N{MULTIPLICATION SIGN} {p.width_mm:g}" for p in products
    )
    packs = job.totals.packs
    return JobView(
        title=names[0] if len(names) == 1 else clean(rules.job.name) or f"{len(names)} drawings",
        rules_name=clean(job.rules_name),
        default_rules=job.default_rules,
        plank=" and ".join(sizes),
        order=f"{packs} packs of {products[0].per_pack}"
        if len(products) == 1
        else f"{packs} packs",
        facts=tuple(_facts_of_job(job)),
        look_first=tuple(_look_first(job, flats)),
        notes=tuple(_findings(job, Severity.NOTE)),
        unlaid=tuple(_unlaid(job)),
        orders=tuple(_order(clean(name), q) for name, q in job.by_flat.items()),
        flats=flats,
    )


# --- the job ------------------------------------------------------------------------------------


def _facts_of_job(job: JobResult) -> Iterator[tuple[str, str]]:
    """What to order, product by product."""
    several = len(job.by_product) > 1
    for name, q in job.by_product.items():
        if several:
            yield "rule set", clean(name)
        yield from _totals(q)
    words = damage_words(job)
    if words:
        yield "damaged planks it takes without another pack", words


def _totals(q: Quantities) -> Iterator[tuple[str, str]]:
    yield "order", f"{q.packs} packs of {q.product.per_pack}"
    yield "planks", f"{q.planks} laid + {q.spare_planks} spare"
    yield "no layout needs fewer than", f"{q.bound} planks"
    yield "floor", f"{q.net_area_m2:.2f} m\N{SUPERSCRIPT TWO}"
    yield "waste", f"{q.waste_percent:.1f} %"
    for name, sheet in (("underlay", q.underlay), ("membrane", q.membrane)):
        if sheet is not None:
            yield name, f"{sheet.rolls} rolls of {roll_size(sheet)}"
    if q.profiles.bars:
        yield "profiles", f"{len(q.threshold_mm)}, bars: {bar_words(q.profiles.counts)}"
    if q.skirting.bars:
        yield (
            "skirting",
            f"{q.skirting_mm / 1000:.1f} m of wall, bars: {bar_words(q.skirting.counts)}",
        )
    if q.collars:
        yield "pipe collars", str(q.collars)
    if q.jambs:
        yield "door frames to undercut", f"{q.jambs} jambs, never of a fire door"


def _order(name: str, q: Quantities) -> OrderLine:
    return OrderLine(
        name=name,
        planks=q.planks + q.spare_planks,
        packs=q.packs,
        area_m2=q.net_area_m2,
        rolls=q.underlay.rolls if q.underlay is not None else 0,
        profiles=bar_words(q.profiles.counts),
        skirting=bar_words(q.skirting.counts),
        jambs=q.jambs,
    )


def _look_first(job: JobResult, flats: Sequence[FlatView]) -> Iterator[ToLookAt]:
    """What failed, what was broken, what was assumed, in this order."""
    yield from (ToLookAt(words=w) for w in _findings(job, Severity.REFUSED))
    for plan in job.plans:
        refused = any(f.severity is Severity.REFUSED for f in plan.findings)
        if plan.status is PlanStatus.FAILED and not refused:
            yield ToLookAt(words=f"{clean(plan.source)}: no floor was laid.")
    for bay in (b for flat in flats for b in flat.bays):
        if bay.breaches:
            places = "1 place" if len(bay.breaches) == 1 else f"{len(bay.breaches)} places"
            words = f"{bay.id} {bay.name}: {', '.join(bay.broken)} not kept in {places}"
            yield ToLookAt(words=words, bay=bay.number)
    yield from (ToLookAt(words=w) for w in _findings(job, Severity.SETTLE))


def _findings(job: JobResult, severity: Severity) -> Iterator[str]:
    for plan in job.plans:
        found = [f for f in plan.findings if f.severity is severity]
        yield from (clean(str(kind), 600) for kind in told_together(found))


def _unlaid(job: JobResult) -> Iterator[str]:
    for plan in job.plans:
        names = room_names(plan.plan)
        for unlaid in plan.unlaid:
            name = names.get(unlaid.room, str(unlaid.room))
            yield f"{name}: {clean(unlaid.because, 300)}"


# --- the bays -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _PlanAround:
    """A plan while its bays are gathered."""

    result: PlanResult
    ground: Ground
    words: PlanWords
    several_plans: bool


def _flats(job: JobResult) -> Iterator[FlatView]:
    number = 1
    for result in job.plans:
        if result.plan is None or not result.bays:
            continue
        around = _PlanAround(
            result=result,
            ground=ground_of(result.plan, result.joints),
            words=plan_words(result.bays, offcuts_of(result.bays)),
            several_plans=len(job.plans) > 1,
        )
        for places, members in groupby(_by_flat(result), key=lambda b: _place(b, around)):
            own = list(members)
            bays = tuple(_bay(b, number + n, around) for n, b in enumerate(own))
            number += len(own)
            yield FlatView(heading=", ".join(places) or NO_FLAT, bays=bays)


def _by_flat(result: PlanResult) -> list[BayLayout]:
    """Bays by storey and flat, each in the order of the plan."""
    plan = result.plan
    storeys = {s.id: n for n, s in enumerate(plan.storeys)} if plan else {}
    flats = {f.id: n for n, f in enumerate(plan.flats)} if plan else {}
    last = len(flats)
    return sorted(
        result.bays,
        key=lambda b: (
            storeys.get(b.bay.storey, len(storeys)),
            last if b.bay.flat is None else flats.get(b.bay.flat, last),
        ),
    )


def _place(layout: BayLayout, around: _PlanAround) -> tuple[str, ...]:
    result = around.result
    several_storeys = result.plan is not None and len(result.plan.storeys) > 1
    places = (
        flat_name(result, layout.bay),
        storey_name(result, layout.bay) if several_storeys else "",
        clean(result.title) if around.several_plans else "",
    )
    return tuple(p for p in places if p)


def _bay(layout: BayLayout, number: int, around: _PlanAround) -> BayView:
    lines = run_lines(layout, around.words)
    names = room_names(around.result.plan)
    rooms = {room: n for n, room in enumerate(layout.bay.rooms, start=1)}
    drawing = draw_bay(layout, lines, around.ground, rooms)
    several = len(rooms) > 1
    return BayView(
        number=number,
        id=str(layout.bay.id),
        name=clean(layout.bay.name) or str(layout.bay.id),
        place=_place(layout, around),
        area_m2=layout.area_mm2 / 1e6,
        planks=len(layout.planks),
        rooms=tuple(names.get(r, str(r)) for r in rooms) if several else (),
        lines=lines,
        drawing=drawing,
        instruction=_instruction(drawing),
        datum=_datum(layout),
        window=_window(layout),
        broken=tuple(dict.fromkeys(b.rule for b in layout.breaches)),
        breaches=tuple(
            f"{b.where}: {b.rule} is {whole_mm(b.value)}, limit {whole_mm(b.limit)}. {clean(b.why, 300)}"
            for b in layout.breaches
        ),
        joints=tuple(
            f"{j.kind.value}, {whole_mm(j.length_mm)} long: {clean(j.why, 300)}"
            for j in around.ground.joints.get(layout.bay.id, ())
        ),
        order=_order_words(layout),
        facts=tuple(_facts(layout)),
    )


def _order_words(layout: BayLayout) -> tuple[str, ...]:
    """Where stages end, and `Rows 1 to 24: ...` for every stretch, if there are several."""
    borders = tuple(clean(b.why, 600) for b in layout.stage_borders)
    if len(layout.stretches) < 2:
        return borders
    told = (f"{_rows_words(s.rows)}: {clean(s.why, 600)}" for s in layout.stretches)
    return (*borders, *told)


def _rows_words(rows: Sequence[int]) -> str:
    return f"Row {rows[0]}" if len(rows) == 1 else f"Rows {rows[0]} to {rows[-1]}"


def _instruction(drawing: BayDrawing) -> str:
    start = drawing.runs_from
    end = "right" if start == "left" else "left"
    turned = (
        ""
        if drawing.up == "top"
        else f" The plan is turned: the top of the drawing is at the {drawing.up}."
    )
    return (
        f"Face the start wall (top of the plan). Lay row 1 along it from {start} to {end}, "
        f"then row by row towards you.{turned}"
    )


def _datum(layout: BayLayout) -> str:
    start, end = (whole_mm(v) for v in layout.setting_out.datum_offset_mm)
    if start == end:
        return f"{start} from the start wall, at both ends"
    return f"{start} from the start wall where rows start, {end} where they end"


def _window(layout: BayLayout) -> str:
    """How far the room may differ, in words; without end where nothing stands against it."""
    shorter, longer = layout.window.length_mm
    narrower, wider = layout.window.width_mm
    return (
        f"{_at_most(shorter)} shorter to {_at_most(longer)} longer along the rows, "
        f"{_at_most(narrower)} narrower to {_at_most(wider)} wider across them"
    )


def _at_most(value: float) -> str:
    return str(abs(int(value))) if isfinite(value) else "any amount"


def _facts(layout: BayLayout) -> Iterator[tuple[str, str]]:
    offcuts = sum(p.offcut_of is not None for p in layout.pieces)
    yield "floor", f"{layout.area_mm2 / 1e6:.2f} m\N{SUPERSCRIPT TWO}"
    yield "planks", f"{len(layout.planks)} (no layout needs fewer than {layout.bound})"
    yield "pieces from offcuts", str(offcuts)
    yield "gap to walls", f"{layout.bay.gap_mm:g}"
    damaged = layout.damaged
    if damaged.in_all:
        yield (
            f"planks that may have one end damaged (up to {damaged.up_to_mm:g})",
            f"{damaged.in_all} ({damaged.near} where laid first, {damaged.far} at the far end)",
        )


def content_key(bays: Sequence[BayView]) -> str:
    """Everything that is laid, as text: the same for the same layouts, whatever is said about them."""
    return "\n".join(
        f"{bay.id}:{line.label}:{','.join(shape.path for shape in shapes)}"
        for bay in bays
        for line, shapes in zip(bay.lines, bay.drawing.runs, strict=True)
    )
