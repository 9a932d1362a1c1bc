"""What stands beside the plan: the room table, notes to each bay, joints, breaches, legend, cautions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import PurePath

from importer.plan import RoomId, Severity
from layout.cautions import CAUTIONS, DEFAULT_RULES_NOTE
from layout.floor import BayLayout, Breach, PlanResult, Window
from layout.rules import RuleSet
from layout.takeoff import combine
from layout.writers.dxf.lettering import LONGEST_SENTENCE, from_drawing, wrapped
from layout.writers.dxf.marks import Align
from layout.writers.dxf.panels import Cell, Line, Panel, Sample, heading, item, paragraph, title
from layout.writers.dxf.runs_seen import EndSlant, RunSeen, is_ripped, rip_words
from layout.writers.dxf.scheme import SCHEMES, Content
from layout.writers.dxf.sizes import SMALL_MM
from layout.writers.dxf.sketch import LengthApart, Sketch
from layout.writers.numbers import m2, whole_mm
from layout.writers.run_labels import labels_of

_MOST_FINDINGS = 15
_MOST_BREACHES = 8
"""On the sheet of a bay; the list beside the plan has them all."""
_INDENT = 8.0
_AREA, _LAID, _PLANKS, _BOUND, _BREACHES = 88.0, 103.0, 118.0, 131.0, 150.0
_ROOMS = 24.0
"""Right edges of the figures of the room table, and where the rooms begin, mm on paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A bay as the tables tell of it."""

    layout: BayLayout
    rooms: str
    """Names of its rooms, as written on the drawing."""
    rooms_mm2: float
    sketch: Sketch
    apart: tuple[LengthApart, ...]
    plain_rooms: str = ""
    """Names of its rooms as the plan has them."""
    first_breach: int = 1
    """Number of its first breach in the list of rules not kept."""


def panels_of(
    result: PlanResult,
    rules: RuleSet,
    told: Sequence[Told],
    remarks: Sequence[str],
    *,
    default_rules: bool,
) -> tuple[Panel, ...]:
    """All panels, top to bottom; those that have nothing to say are left out."""
    panels = (
        _title(result, rules, remarks, default_rules=default_rules),
        _room_table(told),
        _order(result, rules),
        _unlaid(result),
        _breaches(told),
        _to_settle(result),
        _legend(result, told),
        _bays(told),
        _joints(result, told),
        _apart(told),
        Panel(lines=tuple(line for c in CAUTIONS for line in paragraph(c))),
    )
    return tuple(p for p in panels if p is not None and p.lines)


def _title(
    result: PlanResult, rules: RuleSet, remarks: Sequence[str], *, default_rules: bool
) -> Panel:
    plank = rules.plank
    lines = [title("FLOOR SETTING-OUT"), *paragraph(_revision(rules))]
    if result.plan is not None:
        units = result.plan.units
        lines += paragraph(
            f"Added to {from_drawing(PurePath(result.source).name)}; one drawing unit is "
            f"{units.to_mm:g} mm ({from_drawing(units.because)})."
        )
    lines += paragraph(
        f"Rules: {from_drawing(rules.name)}. Plank {plank.length:g} x {plank.width:g} x "
        f"{plank.thickness:g}, wall gap {rules.gap.wall:g}, end pieces from {rules.ends.min_length:g}, "
        f"joints {rules.joints.min_offset:g} apart, rows from {rules.rows.min_width:g} wide. "
        "All lengths in millimetres."
    )
    if default_rules:
        lines += paragraph(DEFAULT_RULES_NOTE)
    for remark in remarks:
        lines += paragraph(from_drawing(remark, LONGEST_SENTENCE))
    return Panel(lines=tuple(lines))


def _revision(rules: RuleSet) -> str:
    """What was done to the drawing, for its list of revisions; date and letter as the user gave them."""
    job = rules.job
    letter = f"Revision {job.revision}" if job.revision else "Revision"
    about = ", ".join(w for w in (letter, job.date, job.name) if w)
    layer = SCHEMES[rules.outputs.layers.value].names[Content.PLANK]
    words = (
        f"{about}: setting-out of plank floors added on layers of its own ({layer} and others, see the "
        "legend). Nothing that was in the drawing has been changed."
    )
    return from_drawing(words, LONGEST_SENTENCE)


def _figures(*texts: str) -> tuple[Cell, ...]:
    places = (_AREA, _LAID, _PLANKS, _BOUND, _BREACHES)
    return tuple(Cell(text=t, x=x, align=Align.RIGHT) for t, x in zip(texts, places, strict=True))


def _room_table(told: Sequence[Told]) -> Panel:
    names = (Cell(text="bay"), Cell(text="rooms", x=_ROOMS))
    figures = _figures("room m2", "laid m2", "planks", "least", "breaches")
    lines = [Line(cells=(*names, *figures), ruled=True)]
    for t in told:
        layout = t.layout
        figures = _figures(
            f"{m2(t.rooms_mm2):.2f}",
            f"{m2(layout.area_mm2):.2f}",
            str(len(layout.planks)),
            str(layout.bound),
            str(len(layout.breaches)),
        )
        labels = tuple(wrapped(from_drawing(layout.bay.id), _ROOMS - 2, SMALL_MM))
        rooms = tuple(wrapped(t.rooms, _AREA - _ROOMS - 16, SMALL_MM))
        for n, (label, room) in enumerate(zip_longest(labels, rooms, fillvalue="")):
            cells = (Cell(text=label), Cell(text=room, x=_ROOMS))
            lines.append(Line(cells=cells + (figures if n == 0 else ())))
    lines[-1] = Line(cells=lines[-1].cells, ruled=True)
    totals = _figures(
        f"{m2(sum(t.rooms_mm2 for t in told)):.2f}",
        f"{m2(sum(t.layout.area_mm2 for t in told)):.2f}",
        str(sum(len(t.layout.planks) for t in told)),
        str(sum(t.layout.bound for t in told)),
        str(sum(len(t.layout.breaches) for t in told)),
    )
    return Panel(lines=(*lines, Line(cells=totals)), content=Content.TABLE)


def _order(result: PlanResult, rules: RuleSet) -> Panel | None:
    if not result.bays:
        return None
    total = combine([result], rules).totals
    return Panel(
        lines=tuple(
            paragraph(
                f"Order: {total.planks} planks and {total.spare_planks} spare, {total.packs} packs of "
                f"{rules.plank.per_pack}. Waste {total.waste_percent:.1f} %. Skirting or bead "
                f"{total.skirting_mm / 1000:.1f} m."
            )
        )
    )


def _bays(told: Sequence[Told]) -> Panel | None:
    """How each bay is laid. What holds for all of them is said once, above."""
    if not told:
        return None
    lines = [heading("HOW EACH BAY IS LAID")]
    lines += paragraph(
        "The site may differ from the drawing, along and across the rows, by the two ranges in "
        "brackets. Measure first; outside this, stop and set out again."
    )
    for t in told:
        words = (*bay_words(t), *(_ranges(t.layout.window) if t.sketch.runs else ()))
        lines += item(from_drawing(t.layout.bay.id), " ".join(words), x=_ROOMS)
    return Panel(lines=tuple(lines))


def bay_words(told: Told) -> Iterator[str]:
    """How a bay is laid, sentence by sentence."""
    layout, sketch = told.layout, told.sketch
    if not sketch.runs:
        yield "Nothing could be laid here."
        return
    frame = layout.setting_out.frame
    yield f"Rows {_compass(frame.along)}, one after another {_compass(frame.across)}."
    near, far = (whole_mm(mm) for mm in layout.setting_out.datum_offset_mm)
    ends = f"{near}" if near == far else f"{near} at the start, {far} at the end,"
    yield f"Datum {ends} from the start wall."
    if any(is_ripped(p) for p in layout.pieces):
        yield f"Rip {'; '.join(_ripped(sketch.runs))}."
    for words, slant in (("first", sketch.first_slant), ("last", sketch.last_slant)):
        if slant is not None:
            yield _slant_words(words, slant)


def _ranges(window: Window) -> Iterator[str]:
    (short, long), (narrow, wide) = window.length_mm, window.width_mm
    yield f"[{short:+.0f} to {long:+.0f}, {narrow:+.0f} to {wide:+.0f}]"


def window_words(window: Window) -> Iterator[str]:
    """How far the real room may differ from the drawing, in words."""
    (short, long), (narrow, wide) = window.length_mm, window.width_mm
    yield (
        f"Measure first. The layout holds for a room up to {abs(short):.0f} shorter or "
        f"{abs(long):.0f} longer along the rows, {abs(narrow):.0f} narrower or {abs(wide):.0f} wider "
        "across; outside this, stop and set out again."
    )


def _ripped(runs: Sequence[RunSeen]) -> Iterator[str]:
    """`row 1 to 150`, each row once, what all its runs have in common said once."""
    by_row: dict[int, dict[str, None]] = {}
    for run in runs:
        if any(is_ripped(p) for p in run.pieces):
            by_row.setdefault(run.row, {})[rip_words(run)] = None
    for row, words in by_row.items():
        yield f"row {row} {', '.join(words)}"


def _slant_words(which: str, slant: EndSlant) -> str:
    shorter = "towards" if slant.excess > 0 else "away from"
    return (
        f"At the angled end of {which} pieces the edge {shorter} the start wall is "
        f"{abs(slant.excess)} shorter than the length given."
    )


def _compass(direction: tuple[float, float]) -> str:
    x, y = direction
    if abs(y) < 0.02:
        return "from left to right" if x > 0 else "from right to left"
    if abs(x) < 0.02:
        return "upwards" if y > 0 else "downwards"
    return f"{'upwards' if y > 0 else 'downwards'} to the {'right' if x > 0 else 'left'}"


def _apart(told: Sequence[Told]) -> Panel | None:
    if not any(t.apart for t in told):
        return None
    lines = [heading("LENGTHS NOT ON THE PLAN")]
    for t in told:
        if t.apart:
            labels = labels_of([t.layout])
            words = (f"row {labels[a.piece.id]} {a.piece.role.value} {a.words}" for a in t.apart)
            lines += item(from_drawing(t.layout.bay.id), "; ".join(words), x=_ROOMS)
    return Panel(lines=tuple(lines), content=Content.TABLE)


def _joints(result: PlanResult, told: Sequence[Told]) -> Panel | None:
    if not result.joints:
        return None
    names = {t.layout.bay.id: from_drawing(t.layout.bay.id) for t in told}
    by_reason: dict[str, list[str]] = {}
    for n, joint in enumerate(result.joints, start=1):
        sides = ", ".join(names.get(b, from_drawing(b)) for b in joint.bays)
        words = f"J{n} {whole_mm(joint.length_mm)}" + (f" ({sides})" if sides else "")
        reason = f"{joint.kind.value.capitalize()}. {from_drawing(joint.why, LONGEST_SENTENCE)}"
        by_reason.setdefault(reason, []).append(words)
    lines = [heading("MOVEMENT JOINTS, LENGTHS OF PROFILE")]
    for reason, joints in by_reason.items():
        lines += paragraph(f"{reason}")
        lines += item("", f"{'; '.join(joints)}.", x=_INDENT)
    return Panel(lines=tuple(lines), content=Content.TABLE)


def _breaches(told: Sequence[Told]) -> Panel | None:
    breaches = [b for t in told for b in t.layout.breaches]
    if not breaches:
        return None
    lines = [heading("RULES NOT KEPT")]
    for n, b in enumerate(breaches, start=1):
        lines += item(str(n), _breach_words(b))
    return Panel(lines=tuple(lines), content=Content.TABLE)


def _breach_words(b: Breach) -> str:
    figures = f"{b.rule} {b.value:g}, limit {b.limit:g}"
    return f"{from_drawing(b.where)}: {figures}. {from_drawing(b.why, LONGEST_SENTENCE)}"


def broken_rules(told: Told) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Heading and sentences of the rules that a bay does not keep, by their numbers in the plan."""
    breaches = told.layout.breaches
    if not breaches:
        return ()
    words = [
        f"{n}  {_breach_words(b)}"
        for n, b in enumerate(breaches[:_MOST_BREACHES], start=told.first_breach)
    ]
    more = len(breaches) - len(words)
    if more:
        words.append(f"and {more} more, see the list beside the plan.")
    return (("Rules not kept", tuple(words)),)


def room_names(result: PlanResult) -> dict[RoomId, str]:
    """What each room is called: its name, else its number, else its id."""
    return {room: from_drawing(name) for room, name in plain_room_names(result).items()}


def plain_room_names(result: PlanResult) -> dict[RoomId, str]:
    """The same as the plan has it."""
    rooms = result.plan.rooms if result.plan is not None else ()
    return {r.id: r.name or r.number or str(r.id) for r in rooms}


def _unlaid(result: PlanResult) -> Panel | None:
    if not result.unlaid:
        return None
    names = room_names(result)
    words = "; ".join(
        f"{names.get(u.room, from_drawing(u.room))} ({from_drawing(u.because)})"
        for u in result.unlaid
    )
    return Panel(lines=(heading("NOT LAID"), *paragraph(f"{words}.")))


def _to_settle(result: PlanResult) -> Panel | None:
    open_ones = [f for f in result.findings if f.severity is not Severity.NOTE]
    if not open_ones:
        return None
    lines = [heading("TO SETTLE BEFORE LAYING")]
    for finding in open_ones[:_MOST_FINDINGS]:
        lines += item(
            "-", from_drawing(f"{finding.what} {finding.remedy}", LONGEST_SENTENCE), x=4.0
        )
    if len(open_ones) > _MOST_FINDINGS:
        lines += paragraph(f"and {len(open_ones) - _MOST_FINDINGS} more, see the record.")
    return Panel(lines=tuple(lines))


def _legend(result: PlanResult, told: Sequence[Told]) -> Panel:
    entries: Iterator[tuple[bool, Sample, str]] = iter(
        (
            (bool(told), Sample.START, "start corner; the arrow shows the direction of laying"),
            (bool(told), Sample.DATUM, "datum: line to snap on the subfloor, between rows 1 and 2"),
            (
                bool(told),
                Sample.CUT,
                "sawn edge; a figure at the end of a row is the length to cut",
            ),
            (_any_ripped(told), Sample.RIP, "piece ripped to width"),
            (bool(result.joints), Sample.JOINT, "movement joint, covered by a profile"),
            (
                any(t.layout.breaches for t in told),
                Sample.BREACH,
                "rule not kept, see the numbered list",
            ),
        )
    )
    lines = [
        Line(cells=(Cell(text=words, x=14.0),), sample=sample)
        for used, sample, words in entries
        if used
    ]
    return Panel(lines=tuple(lines))


def _any_ripped(told: Sequence[Told]) -> bool:
    return any(is_ripped(p) for t in told for p in t.layout.pieces)
