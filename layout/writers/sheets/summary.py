"""The first sheets: the job in figures, its bays and where their sheets are, order, what is to settle;
then a key plan of each storey.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePath
from typing import Final

from importer.alike import told_together
from importer.plan import RoomId, Severity
from layout.floor import Accessories, BayId, BayLayout, JobResult, PlanResult, Quantities
from layout.rules import RuleSet
from layout.takeoff import accessories_of, combine
from layout.writers.damage import damage_words
from layout.writers.names import clean, flat_name, room_names
from layout.writers.numbers import m2, whole_mm
from layout.writers.order_lines import bar_words, roll_size
from layout.writers.sheets.bay_blocks import LONGEST_SENTENCE, cautions_block
from layout.writers.sheets.blocks import (
    Block,
    Flow,
    Strip,
    columns_in,
    heading,
    item,
    paragraph,
)
from layout.writers.sheets.border import (
    BLOCK_HEIGHT,
    TitleBlock,
    draw_headline,
)
from layout.writers.sheets.cut_list import TIMES
from layout.writers.sheets.draft import Draft
from layout.writers.sheets.marks import Box, Sketch
from layout.writers.sheets.style import A4, Paper
from layout.writers.sheets.table import table_block
from layout.writers.tables import rooms_words

_PAD: Final = 2.5
_HEAD: Final = 11.0


def summary_drafts(
    result: PlanResult,
    rules: RuleSet,
    sheets: Mapping[BayId, int],
    *,
    default_rules: bool,
) -> list[Draft]:
    """The summary, on as many A4 sheets as it needs. `sheets` numbers each bay's first sheet."""
    box = _box(A4)
    columns = columns_in(box)
    narrow = columns[0].width
    pages: list[Sketch] = [Sketch()]
    flow = Flow.through(columns)
    for block in _blocks(result, rules, sheets, narrow, default_rules=default_rules):
        rest: Block | None = block
        while rest is not None:
            rest = flow.set(rest)
            if rest is not None:
                pages[-1].marks.extend(flow.marks)
                flow = Flow.through(columns_in(box))
                pages.append(Sketch())
    pages[-1].marks.extend(flow.marks)
    return [_draft(page, n, result, rules) for n, page in enumerate(pages)]


def _box(paper: Paper) -> Box:
    low = paper.low + BLOCK_HEIGHT + _PAD
    return paper.left + _PAD, low, paper.right - _PAD, paper.top - _HEAD


def _draft(page: Sketch, number: int, result: PlanResult, rules: RuleSet) -> Draft:
    sketch = Sketch()
    file = clean(result.called or PurePath(result.source).name)
    name = ("Floor setting-out", file + (", continued" if number else ""))
    draw_headline(sketch, A4, name, "" if number else "All lengths in millimetres")
    block = title_block(result, rules, title="Summary", number="summary", scale="A4")
    marks = (*page.marks, *sketch.marks)
    return Draft(paper=A4, name=f"Summary {number + 1}", marks=marks, block=block)


def title_block(
    result: PlanResult, rules: RuleSet, *, title: str, number: str, scale: str, subtitle: str = ""
) -> TitleBlock:
    """The title block of a sheet that is no bay's."""
    file = PurePath(result.source)
    return TitleBlock(
        job=clean(rules.job.name),
        title=title,
        number=clean(f"{result.title}-{number}"),
        revision=clean(rules.job.revision),
        kind="Setting-out sheet, plank floor",
        subtitle=subtitle,
        source=clean(file.name),
        scale=scale,
        date=clean(rules.job.date),
        rules=clean(rules.name),
    )


def _blocks(
    result: PlanResult,
    rules: RuleSet,
    sheets: Mapping[BayId, int],
    width: float,
    *,
    default_rules: bool,
) -> Iterator[Block]:
    job = combine([result], rules)
    yield _facts(result, rules, width)
    yield _order(job, rules, width)
    yield cautions_block(width, default_rules=default_rules)
    if result.bays:
        yield _bays(result, sheets, width)
    if len(job.by_flat) > 1:
        yield _flats(job.by_flat, width)
    things = accessories_of(result, rules)
    profiles = _profiles(things, width)
    if profiles is not None:
        yield profiles
    yield from _frames(things, width)
    yield from (b for b in (_breaches(result, width), _settle(result, width)) if b is not None)
    yield from (b for b in (_unlaid(result, width), _notes(result, width)) if b is not None)


def _facts(result: PlanResult, rules: RuleSet, width: float) -> Block:
    plank = rules.plank
    size = f"{plank.length:g} {TIMES} {plank.width:g} {TIMES} {plank.thickness:g}"
    facts = [
        ("plank", f"{size}, {plank.per_pack} in a pack"),
        ("wall gap", f"{rules.gap.wall:g}, cover {rules.gap.cover:g}"),
        ("end pieces", f"from {rules.ends.min_length:g}"),
        ("end joints", f"{rules.joints.min_offset:g} apart, {rules.joints.bond.value}"),
        ("rows", f"from {rules.rows.min_width:g} wide"),
        ("site", f"may differ from the drawing by {rules.site.tolerance:g}"),
    ]
    if result.plan is not None:
        units = result.plan.units
        facts.append(("drawing", f"in {units.name}: {clean(units.because, LONGEST_SENTENCE)}"))
    strips = [s for a, b in facts for s in item(a, b, width, indent=22.0, bold=False)]
    return Block(head=(heading("Laid by"),), strips=tuple(strips))


def _order(job: JobResult, rules: RuleSet, width: float) -> Block:
    q = job.totals
    facts = [
        (str(q.packs), f"packs of {rules.plank.per_pack}"),
        (str(q.planks), f"planks laid; no layout under these rules needs fewer than {q.bound}"),
        (str(q.spare_planks), f"spare planks ({100 * rules.order.spare:g} %)"),
        (f"{q.net_area_m2:.2f} m²", f"floor, waste {q.waste_percent:.1f} %"),
        *_beside(q),
    ]
    words = damage_words(job)
    if words:
        facts.append(("damaged", f"planks that need no other pack: {words}"))
    strips = [s for a, b in facts for s in item(a, b, width, indent=22.0)]
    return Block(head=(heading("Order"),), strips=tuple(strips))


def _beside(q: Quantities) -> Iterator[tuple[str, str]]:
    """Rolls, bars, collars and jambs, as far as there are any."""
    for name, sheet in (("underlay", q.underlay), ("membrane", q.membrane)):
        if sheet is not None and sheet.rolls:
            words = (
                f"{name}, {roll_size(sheet)}: {sheet.strips} strips, {sheet.rolled_mm / 1000:.1f} m"
            )
            yield _count(sheet.rolls, "roll"), words
    if q.profiles.bars:
        words = f"profile, {bar_words(q.profiles.counts)}, for {len(q.threshold_mm)}"
        yield _count(len(q.profiles.bars), "bar"), words
    if q.skirting.bars:
        words = (
            f"skirting or bead, {bar_words(q.skirting.counts)}, for {q.skirting_mm / 1000:.2f} m"
        )
        yield _count(len(q.skirting.bars), "bar"), words
    if q.collars:
        yield str(q.collars), "pipe collars"
    if q.jambs:
        yield _count(q.jambs, "jamb"), "to undercut for planks to run under, never of a fire door"


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'s' * (number != 1)}"


def _profiles(things: Accessories, width: float) -> Block | None:
    """Where each profile goes."""
    if not things.profiles:
        return None
    rows = [(clean(p.where), str(whole_mm(p.length_mm))) for p in things.profiles]
    return table_block("Profiles", ("where", "mm"), rows, width, wraps=0)


def _frames(things: Accessories, width: float) -> Iterator[Block]:
    """Which frames are cut, bay by bay, and which are left alone and why."""
    rows = []
    for bay in dict.fromkeys(f.bay for f in things.frames if f.jambs):
        own = [f for f in things.frames if f.bay == bay and f.jambs]
        doorways = ", ".join(clean(str(f.doorway), 12) for f in own)
        rows.append((clean(bay, 12), doorways, str(sum(f.jambs for f in own))))
    if rows:
        headings = ("bay", "doorways", "jambs")
        yield table_block("Door frames to undercut", headings, rows, width, wraps=1)
    strips: list[Strip] = []
    for note in dict.fromkeys(f.note for f in things.frames if f.note):
        alone = [clean(str(f.doorway), 12) for f in things.frames if f.note == note]
        strips += paragraph(f"{', '.join(alone)}: {note}", width)
    if strips:
        yield Block(head=(heading("Door frames left as they are"),), strips=tuple(strips))


def _bays(result: PlanResult, sheets: Mapping[BayId, int], width: float) -> Block:
    names = room_names(result.plan)
    rows = [_bay(result, layout, names, sheets) for layout in result.bays]
    return table_block("Bays", ("bay", "rooms", "m²", "planks", "sheet"), rows, width, wraps=1)


def _bay(
    result: PlanResult,
    layout: BayLayout,
    names: Mapping[RoomId, str],
    sheets: Mapping[BayId, int],
) -> tuple[str, ...]:
    bay = layout.bay
    flat = flat_name(result, bay)
    rooms = rooms_words(bay.rooms, names)
    return (
        clean(str(bay.id), 12),
        f"{flat}: {rooms}" if flat else rooms,
        f"{m2(layout.area_mm2):.2f}",
        str(len(layout.planks)),
        str(sheets.get(bay.id, "")),
    )


def _flats(by_flat: Mapping[str, Quantities], width: float) -> Block:
    rows = [
        (clean(name), str(q.planks), str(q.spare_planks), str(q.packs), f"{q.net_area_m2:.2f}")
        for name, q in by_flat.items()
    ]
    headings = ("flat", "planks", "spare", "packs", "m²")
    return table_block("Order by flat", headings, rows, width, wraps=0)


def _breaches(result: PlanResult, width: float) -> Block | None:
    strips = []
    for layout in result.bays:
        by_rule: dict[str, int] = {}
        for b in layout.breaches:
            by_rule[b.rule] = by_rule.get(b.rule, 0) + 1
        words = ", ".join(f"{rule} in {n} place{'s' * (n > 1)}" for rule, n in by_rule.items())
        if words:
            strips += item(clean(str(layout.bay.id), 12), words, width, indent=16.0)
    return Block(head=(heading("Rules not kept"),), strips=tuple(strips)) if strips else None


def _findings(
    result: PlanResult, severities: Sequence[Severity], title: str, width: float
) -> Block | None:
    strips = []
    for kind in told_together([f for f in result.findings if f.severity in severities]):
        first = kind.first
        words = clean(f"{first.what} {first.remedy} {kind.others}", LONGEST_SENTENCE)
        strips += item(clean(first.code, 10), words, width, indent=16.0, bold=False)
    return Block(head=(heading(title),), strips=tuple(strips), whole=False) if strips else None


def _settle(result: PlanResult, width: float) -> Block | None:
    return _findings(result, (Severity.SETTLE, Severity.REFUSED), "To settle before laying", width)


def _notes(result: PlanResult, width: float) -> Block | None:
    return _findings(result, (Severity.NOTE,), "Assumed in reading the drawing", width)


def _unlaid(result: PlanResult, width: float) -> Block | None:
    names = room_names(result.plan)
    strips = []
    for u in result.unlaid:
        words = f"{names.get(u.room, str(u.room))}: {clean(u.because, LONGEST_SENTENCE)}"
        strips += paragraph(words, width)
    return Block(head=(heading("Not laid"),), strips=tuple(strips), whole=False) if strips else None
