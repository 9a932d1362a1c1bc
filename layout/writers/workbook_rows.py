"""What the sheets of the workbook say, as plain rows: no file format here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from layout.cautions import CAUTIONS, DEFAULT_RULES_NOTE
from layout.floor import BayLayout, JobResult, PlanResult, Quantities
from layout.rules import RuleSet
from layout.writers.names import clean, flat_name, room_names, storey_name
from layout.writers.numbers import m2, mm
from layout.writers.tables import CUT_HEADINGS, cut_rows, rooms_words

Cell = str | int | float


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """A column: its words with the unit in them, its width in characters, decimals of its numbers."""

    words: str
    width: float = 11
    decimals: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One sheet. `groups` are the rows, from 0, at which something new begins; `frozen` is how many
    columns stay in view.
    """

    name: str
    title: str
    headings: tuple[Heading, ...]
    rows: tuple[Sequence[Cell], ...]
    groups: frozenset[int] = frozenset()
    frozen: int = 0


def columns(*given: tuple[str, float] | tuple[str, float, int]) -> tuple[Heading, ...]:
    """Headings from words, width and decimals."""
    return tuple(Heading(words=c[0], width=c[1], decimals=c[2] if len(c) > 2 else 0) for c in given)


def groups_of(rows: Sequence[Sequence[Cell]], key: int = 0) -> frozenset[int]:
    """Rows at which the cell of column `key` is another than in the row above."""
    return frozenset(n for n, row in enumerate(rows) if n == 0 or row[key] != rows[n - 1][key])


def plan_name(result: PlanResult) -> str:
    """The drawing a plan came from, made safe."""
    return clean(result.called or PurePath(result.source).name)


# --- order --------------------------------------------------------------------------------------

_ORDER_COLUMNS = columns(
    ("for", 30),
    ("kind", 10),
    ("planks laid", 9),
    ("spare planks", 9),
    ("packs", 8),
    ("least planks possible", 11),
    ("floor laid (m2)", 10, 2),
    ("waste (%)", 8, 1),
    ("underlay (rolls)", 10),
    ("membrane (rolls)", 10),
    ("profiles (number)", 9),
    ("profile bars", 8),
    ("skirting (m of wall)", 10, 2),
    ("skirting bars", 9),
    ("pipe collars", 8),
    ("jambs to undercut", 10),
)


def order_table(job: JobResult, rules: RuleSet) -> Table:  # noqa: ARG001 - one form for all tables
    """Quantities of the job, of each storey of each plan, of each flat. Packs are whole packs for each
    line alone, so that their sum can exceed the job's.
    """
    rows = [("whole job", "job", *_quantities(job.totals))]
    if len(job.by_product) > 1:
        rows.extend((clean(name), "product", *_quantities(q)) for name, q in job.by_product.items())
    rows.extend((clean(name), "storey", *_quantities(q)) for name, q in job.by_storey.items())
    rows.extend((clean(name), "flat", *_quantities(q)) for name, q in job.by_flat.items())
    return Table(
        name="Order",
        title="Order by storey and flat",
        headings=_ORDER_COLUMNS,
        rows=tuple(rows),
        groups=groups_of(rows, 1),
        frozen=1,
    )


def _quantities(q: Quantities) -> tuple[Cell, ...]:
    return (
        q.planks,
        q.spare_planks,
        q.packs,
        q.bound,
        round(q.net_area_m2, 4),
        round(q.waste_percent, 2),
        q.underlay.rolls if q.underlay is not None else 0,
        q.membrane.rolls if q.membrane is not None else 0,
        len(q.threshold_mm),
        len(q.profiles.bars),
        round(q.skirting_mm / 1000, 4),
        len(q.skirting.bars),
        q.collars,
        q.jambs,
    )


# --- cuts ---------------------------------------------------------------------------------------

_CUT_COLUMNS = {
    "flat": 11.0,
    "bay": 7.0,
    "rooms": 20.0,
    "order": 8.0,
    "row": 7.0,
    "piece": 7.0,
    "role": 8.0,
    "length near edge (mm)": 9.0,
    "length far edge (mm)": 9.0,
    "width at start (mm)": 9.0,
    "width at end (mm)": 9.0,
    "cuts": 24.0,
    "plank": 9.0,
    "cut from": 16.0,
    "offcut kept (mm)": 9.0,
    "offcut goes to": 10.0,
    "laid": 14.0,
}
"""Those of the cut list that are shown, so that a printed page stays legible, and their widths."""


def cuts_table(job: JobResult, rules: RuleSet) -> Table:  # noqa: ARG001 - one form for all tables
    """Every sawn piece, bay by bay in the order of laying."""
    places = [CUT_HEADINGS.index(words) for words in _CUT_COLUMNS]
    rows = [
        (plan_name(result), *(_shown(row[place]) for place in places))
        for result in job.plans
        for row in cut_rows(result)
    ]
    columns = (Heading(words=words, width=width) for words, width in _CUT_COLUMNS.items())
    return Table(
        name="Cuts",
        title="Sawn pieces in the order of laying",
        headings=(Heading(words="plan", width=22), *columns),
        rows=tuple(rows),
        groups=groups_of(rows, 2),
        frozen=3,
    )


def _shown(cell: Cell) -> Cell:
    return clean(cell, 1000) if isinstance(cell, str) else cell


# --- bays ---------------------------------------------------------------------------------------

_BAY_COLUMNS = columns(
    ("plan", 22),
    ("storey", 14),
    ("flat", 14),
    ("bay", 6),
    ("rooms", 30),
    ("floor laid (m2)", 9, 2),
    ("planks", 8),
    ("least possible", 9),
    ("rows", 6),
    ("direction (deg)", 10, 1),
    ("first row (mm)", 9),
    ("last row (mm)", 9),
    ("datum from wall, start (mm)", 12),
    ("datum from wall, end (mm)", 12),
    ("may be shorter by (mm)", 11),
    ("may be longer by (mm)", 11),
    ("may be narrower by (mm)", 11),
    ("may be wider by (mm)", 11),
    ("breaches", 9),
    ("pieces laid in reverse", 9),
    ("pieces pushed in", 9),
    ("stages", 7),
    ("planks that may have a damaged end", 11),
    ("of these near end", 9),
    ("of these far end", 9),
)


def bays_table(job: JobResult, rules: RuleSet) -> Table:  # noqa: ARG001 - one form for all tables
    """One line a bay: its figures, datum and window."""
    rows = [_bay(result, layout) for result in job.plans for layout in result.bays]
    return Table(
        name="Bays",
        title="Bays",
        headings=_BAY_COLUMNS,
        rows=tuple(rows),
        groups=groups_of(rows, 2),
        frozen=5,
    )


def _bay(result: PlanResult, layout: BayLayout) -> tuple[Cell, ...]:
    bay, out = layout.bay, layout.setting_out
    (shorter, longer), (narrower, wider) = layout.window.length_mm, layout.window.width_mm
    return (
        plan_name(result),
        storey_name(result, bay),
        flat_name(result, bay),
        str(bay.id),
        clean(rooms_words(bay.rooms, room_names(result.plan)), 1000),
        m2(layout.area_mm2),
        len(layout.planks),
        layout.bound,
        len({p.row for p in layout.pieces}),
        round(out.frame.along_deg, 3) % 360.0,
        mm(out.first_row_mm),
        mm(out.last_row_mm),
        *(mm(v) for v in out.datum_offset_mm),
        *(mm(abs(v)) for v in (shorter, longer, narrower, wider)),
        len(layout.breaches),
        sum(p.is_reversed for p in layout.pieces),
        sum(bool(p.pushed) for p in layout.pieces),
        max((p.stage for p in layout.pieces), default=1),
        layout.damaged.in_all,
        layout.damaged.near,
        layout.damaged.far,
    )


# --- findings -----------------------------------------------------------------------------------

_FINDING_COLUMNS = columns(
    ("plan", 22), ("kind", 10), ("code or rule", 16), ("what", 70), ("where", 40), ("remedy", 50)
)


def findings_table(job: JobResult, rules: RuleSet) -> Table:  # noqa: ARG001 - one form for all
    """What was assumed or could not be read, and every rule that could not be kept."""
    rows = [row for result in job.plans for row in _findings(result)]
    return Table(
        name="Findings",
        title="Findings and rules not kept",
        headings=_FINDING_COLUMNS,
        rows=tuple(rows),
        groups=groups_of(rows),
    )


def _findings(result: PlanResult) -> Iterator[tuple[Cell, ...]]:
    plan = plan_name(result)
    names = room_names(result.plan)
    for layout in result.bays:
        for b in layout.breaches:
            what = f"{b.why} {b.value:.1f}, limit {b.limit:.1f}."
            where = f"{b.where}, {rooms_words(layout.bay.rooms, names)}"
            yield plan, "breach", b.rule, what, where, ""
    for finding in sorted(result.findings, key=lambda f: _WEIGHT.index(f.severity.value)):
        yield (
            plan,
            finding.severity.value,
            finding.code,
            finding.what,
            str(finding.where),
            finding.remedy,
        )
    for unlaid in result.unlaid:
        yield plan, "not laid", "", names.get(unlaid.room, str(unlaid.room)), "", unlaid.because


_WEIGHT = ("refused", "settle", "note")


# --- notes --------------------------------------------------------------------------------------

_NOTE_COLUMNS = columns(("item", 24), ("note", 100))


def notes_table(job: JobResult, rules: RuleSet) -> Table:
    """What the figures stand on, and the cautions."""
    plank = rules.plank
    rows: list[tuple[Cell, ...]] = [
        ("rules", rules.name),
        ("plank", f"{plank.length:g} x {plank.width:g} x {plank.thickness:g} mm"),
        ("pack", f"{plank.per_pack} planks"),
        ("wall gap", f"{rules.gap.wall:g} mm"),
        ("shortest end piece", f"{rules.ends.min_length:g} mm"),
        ("least joint offset", f"{rules.joints.min_offset:g} mm"),
        ("least row width", f"{rules.rows.min_width:g} mm"),
        ("site tolerance", f"{rules.site.tolerance:g} mm"),
        ("spare planks", f"{100 * rules.order.spare:g} %"),
    ]
    others = [name for name in job.by_product if name != rules.name]
    if others:
        words = "; ".join(clean(name) for name in others)
        rows.append(("other rules", f"{words}: see the sheets of the plans that are laid by them."))
    if job.default_rules:
        rows.append(("rules", DEFAULT_RULES_NOTE))
    rows.extend(("caution", caution) for caution in CAUTIONS)
    return Table(
        name="Notes",
        title="Rules and cautions",
        headings=_NOTE_COLUMNS,
        rows=tuple(rows),
        groups=groups_of(rows),
    )
