"""The sheets of the workbook that say where everything beside the planks goes, and how bars are sawn."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby

from layout.floor import JobResult, PlanResult
from layout.floor_order import Accessories, BarOrder, BayStrips, CutBar, WallStretch
from layout.rules import RuleSet
from layout.takeoff import accessories_of
from layout.writers.names import clean, flat_name
from layout.writers.numbers import whole_mm
from layout.writers.workbook_rows import Cell, Table, columns, groups_of, plan_name

_ACCESSORY_COLUMNS = columns(
    ("plan", 22),
    ("item", 24),
    ("flat", 14),
    ("where", 40),
    ("length (mm)", 10),
    ("number", 8),
    ("what", 11),
    ("remark", 70),
)


def accessories_table(job: JobResult, rules: RuleSet) -> Table:
    """Each profile, the skirting of each room, sheets of each bay, collars and frames, by place."""
    rows = [row for result in job.plans for row in _placed(result, rules)]
    return Table(
        name="Accessories",
        title="Profiles, skirting, sheets, collars and frames by place",
        headings=_ACCESSORY_COLUMNS,
        rows=tuple(rows),
        groups=groups_of(rows, 1),
        frozen=2,
    )


def _placed(result: PlanResult, rules: RuleSet) -> Iterator[tuple[Cell, ...]]:
    things = accessories_of(result, rules)
    flats = {str(b.bay.id): flat_name(result, b.bay) for b in result.bays}
    plan = plan_name(result)
    for row in _rows(things, result):
        item, bay, *rest = row
        yield plan, item, flats.get(str(bay), ""), *rest


def _rows(things: Accessories, result: PlanResult) -> Iterator[tuple[Cell, ...]]:
    """Item, bay, where, length, number, of what, remark."""
    why = {j.id: j.why for j in result.joints}
    for p in things.profiles:
        remark = " ".join(w for w in (clean(why.get(p.joint, ""), 300), p.note) if w)
        yield "profile", p.bay, clean(p.where), whole_mm(p.length_mm), 1, "profile", remark
    for (bay, where), walls in _by_room(things.skirting):
        own = list(walls)
        length = whole_mm(sum(w.length_mm for w in own))
        pieces = "; ".join(" + ".join(str(whole_mm(v)) for v in w.pieces_mm) for w in own)
        count = sum(len(w.pieces_mm) for w in own)
        yield "skirting or bead", bay, clean(where), length, count, "pieces", f"{pieces} mm"
    names = {str(b.bay.id): clean(b.bay.name) for b in result.bays}
    yield from _strips("underlay", things.underlay, names)
    yield from _strips("membrane", things.membrane, names)
    for c in things.collars:
        size = f"{whole_mm(c.across_mm)} mm across" if c.across_mm is not None else "by rule"
        at = f", at ({c.at[0]:.0f}, {c.at[1]:.0f}) mm in the drawing" if c.at is not None else ""
        yield "pipe collars", c.bay, clean(c.where), "", c.count, "collars", size + at
    for f in things.frames:
        where = f"doorway {clean(str(f.doorway))}, {clean(f.where)}"
        yield "frame to undercut", f.bay, where, "", f.jambs, "jambs", f.note


def _by_room(
    walls: Iterable[WallStretch],
) -> Iterator[tuple[tuple[str, str], Iterable[WallStretch]]]:
    """Walls of a bay by room, rooms in the order in which they are met."""
    met: dict[tuple[str, str], list[WallStretch]] = {}
    for wall in walls:
        met.setdefault((wall.bay, wall.where), []).append(wall)
    yield from met.items()


def _strips(
    item: str, sheets: Iterable[BayStrips], names: Mapping[str, str]
) -> Iterator[tuple[Cell, ...]]:
    for s in sheets:
        yield item, s.bay, names.get(s.bay, s.bay), whole_mm(s.length_mm), s.strips, "strips", ""


# --- bars ---------------------------------------------------------------------------------------

_BAR_COLUMNS = columns(
    ("for", 30),
    ("item", 18),
    ("bars", 7),
    ("length (mm)", 10),
    ("left over (mm)", 10),
    ("pieces (mm)", 100),
)


def bars_table(job: JobResult, rules: RuleSet) -> Table:  # noqa: ARG001 - one form for all tables
    """How the bars of each flat are sawn; bars that are sawn alike are one line."""
    rows = [
        (clean(name), *row)
        for name, q in job.by_flat.items()
        for item, order in (("profiles", q.profiles), ("skirting or bead", q.skirting))
        for row in _bars(item, order)
    ]
    return Table(
        name="Bars",
        title="How bars are sawn, flat by flat",
        headings=_BAR_COLUMNS,
        rows=tuple(rows),
        groups=groups_of(rows),
        frozen=2,
    )


def _bars(item: str, order: BarOrder) -> Iterator[tuple[Cell, ...]]:
    for (length, pieces), bars in groupby(order.bars, key=_as_sawn):
        own = list(bars)
        yield item, len(own), whole_mm(length), whole_mm(own[0].offcut_mm), pieces


def _as_sawn(bar: CutBar) -> tuple[float, str]:
    words = "; ".join(f"{whole_mm(p.length_mm)} {clean(p.where)}" for p in bar.pieces)
    return bar.length_mm, words
