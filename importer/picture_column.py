"""The words around the plan: title, scale bar, and the lists at the side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Final

from shapely import Polygon

from importer.picture_labels import INK, SECOND
from importer.picture_panels import COLUMN, FOOT, GUTTER, MARGIN, TITLE, Sheet
from importer.picture_scene import Anchor, Area, Mark, Point, Strokes, Words
from importer.picture_signs import COMMUNAL, DOOR, TINTS, finding_sign, hatched
from importer.picture_text import shorten, text_width, wrap
from importer.picture_words import area_text, clean, is_imperial, numbered_findings, severity_word
from importer.plan import Finding, Plan

_HEAD: Final = 2.5
_TEXT: Final = 1.8
_PITCH: Final = 3.1
_INDENT: Final = 7.5
_KEY: Final = 5.0
_BAR_LONGEST: Final = 80.0
_FOOT_MM: Final = 304.8


# --- title and scale -------------------------------------------------------------------------


def title_marks(plan: Plan, sheet: Sheet) -> Iterator[Mark]:
    """File, what was found, and the unit with its reason, over a line across the sheet."""
    width = sheet.width - 2 * MARGIN
    total = sum(r.shape.area for r in plan.rooms)
    counts = ((plan.flats, "flat"), (plan.rooms, "room"), (plan.doorways, "doorway"))
    found = [f"{len(c)} {word}{'' if len(c) == 1 else 's'}" for c, word in counts if c]
    area = area_text(total, imperial=is_imperial(plan))
    facts = f"{', '.join(found)}, {area} of floor" if found else "no room was found"
    unit = f"Unit: {plan.units.name}, because {clean(plan.units.because)}"
    x, y = MARGIN, MARGIN
    name = shorten(clean(plan.file), 0.55 * width, 5.0, bold=True)
    yield Words(text=name, at=(x, y + 2.5), cap=5.0, colour=INK, bold=True)
    yield Words(
        text=facts, at=(sheet.width - MARGIN, y + 3.2), cap=2.5, colour=INK, anchor=Anchor.END
    )
    yield Words(text=shorten(unit, width, _TEXT), at=(x, y + 9.5), cap=_TEXT, colour=SECOND)
    rule = y + TITLE - 4.5
    yield Strokes(lines=(((x, rule), (sheet.width - MARGIN, rule)),), stroke=INK, width=0.35)


def scale_marks(sheet: Sheet, height: float, *, imperial: bool) -> Iterator[Mark]:
    """A bar of four parts, its figures, and the scale in words."""
    unit_mm, unit = (_FOOT_MM, "ft") if imperial else (1000.0, "m")
    part = _part(sheet.scale, unit_mm)
    step = part * unit_mm / sheet.scale
    x, y = MARGIN, height - MARGIN - FOOT + 5.0
    for i in range(4):
        low, high = x + i * step, x + (i + 1) * step
        ring = ((low, y), (high, y), (high, y + 1.6), (low, y + 1.6))
        fill = INK if i % 2 == 0 else "#ffffff"
        yield Area(rings=(ring,), fill=fill, stroke=INK, width=0.18)
    for i in range(5):
        text = f"{i * part:g}" + (f" {unit}" if i == 4 else "")
        yield Words(
            text=text, at=(x + i * step, y + 4.2), cap=_TEXT, colour=INK, anchor=Anchor.MIDDLE
        )
    words = f"1:{sheet.scale:.0f} when printed at full size"
    yield Words(text=words, at=(x + 4 * step + 10.0, y + 0.8), cap=_TEXT, colour=SECOND)


def _part(scale: float, unit_mm: float) -> float:
    """Length of a quarter of the bar: 1, 2 or 5 times a power of ten of the unit."""
    most = _BAR_LONGEST / 4 * scale / unit_mm
    power = 0.01
    best = power
    while power <= most:
        best = max(best, *(f * power for f in (1.0, 2.0, 5.0) if f * power <= most))
        power *= 10.0
    return round(best, 6)


# --- lists -----------------------------------------------------------------------------------


@dataclass(slots=True)
class _Column:
    """A list being written downwards; what does not fit any more is counted, not squeezed in."""

    left: float
    top: float
    bottom: float
    width: float
    marks: list[Mark] = field(default_factory=list)

    def heading(self, text: str) -> None:
        self.top += 1.5
        self.line(text, cap=_HEAD, bold=True)
        self.top += 1.0

    def line(self, text: str, *, indent: float = 0.0, cap: float = _TEXT, bold: bool = False,
             colour: str = INK) -> None:  # fmt: skip
        self.top += cap / _TEXT * _PITCH
        at = (self.left + indent, self.top - _PITCH / 2)
        self.marks.append(Words(text=text, at=at, cap=cap, colour=colour, bold=bold))

    def has_room_for(self, lines: int) -> bool:
        return self.top + lines * _PITCH <= self.bottom


def side_marks(
    plan: Plan, sheet: Sheet, keyed: Sequence[tuple[str, str]]
) -> tuple[tuple[Mark, ...], float]:
    """The column of lists, and the height that the sheet needs for it and for the plan: what the
    signs mean, rooms that bear only a key on the plan (`keyed`: key and words), and the numbered
    findings.
    """
    column = _Column(
        left=sheet.width - MARGIN - COLUMN,
        top=MARGIN + TITLE - 2.0,
        bottom=sheet.height - MARGIN,
        width=COLUMN,
    )
    top = column.top
    _signs(column, plan)
    _keyed_rooms(column, keyed)
    _findings(column, plan)
    height = max(sheet.lowest, column.top + MARGIN)
    edge = column.left - GUTTER / 2
    line = ((edge, top), (edge, height - MARGIN))
    return (Strokes(lines=(line,), stroke="#b4b4b4", width=0.13), *column.marks), height


def _swatch(at: Point, fill: str) -> Area:
    x, y = at
    ring = ((x, y - 1.3), (x + 4.5, y - 1.3), (x + 4.5, y + 1.3), (x, y + 1.3))
    return Area(rings=(ring,), fill=fill, stroke="#8a8a8a", width=0.13)


def _signs(column: _Column, plan: Plan) -> None:
    """Only the signs that occur are explained."""
    column.heading("Signs")

    def sample(text: str, *marks: Mark) -> None:
        column.marks += marks
        column.line(text, indent=_INDENT)
        column.top += 0.6

    def here() -> Point:
        return column.left, column.top + _PITCH / 2

    if plan.rooms:
        words = "floor of a room, one tint a flat" if plan.flats else "floor of a room"
        sample(words, _swatch(here(), TINTS[0]))
    if any(r.communal for r in plan.rooms):
        sample("communal, belongs to no flat", _swatch(here(), COMMUNAL))
    for wanted, width, dashed, words in (
        (any(not d.flat_entrance and d.kind.value != "opening" for d in plan.doorways), 0.5, False,
         "doorway with its width, line under the leaf"),
        (any(d.kind.value == "opening" for d in plan.doorways), 0.5, True, "opening without a leaf"),
        (any(d.flat_entrance for d in plan.doorways), 0.9, False, "entrance to a flat"),
    ):  # fmt: skip
        if wanted:
            x, y = here()
            line = ((x, y), (x + 4.5, y))
            sample(words, Strokes(lines=(line,), stroke=DOOR, width=width, dashed=dashed))
    if plan.obstacles:
        x, y = here()
        kinds = ", ".join(dict.fromkeys(o.kind.value for o in plan.obstacles))
        ring = _swatch((x, y), "#ffffff")
        sample(f"the floor stops: {kinds}", *hatched(Polygon(ring.rings[0])))


def _keyed_rooms(column: _Column, keyed: Sequence[tuple[str, str]]) -> None:
    """Key and words, side by side in as many columns as the longest words leave room for."""
    if not keyed:
        return
    column.heading("Small rooms")
    longest = max(text_width(words, _TEXT) for _, words in keyed)
    across = max(1, min(3, int((column.width + 2.0) / (_KEY + longest + 2.0))))
    pitch = column.width / across
    for row in range(0, len(keyed), across):
        if not column.has_room_for(2):
            column.line(f"and {len(keyed) - row} more, see the table", colour=SECOND)
            return
        y = column.top + _PITCH / 2
        for i, (key, words) in enumerate(keyed[row : row + across]):
            x = column.left + i * pitch
            text = shorten(words, pitch - _KEY, _TEXT)
            column.marks.append(Words(text=key, at=(x, y), cap=_TEXT, colour=INK, bold=True))
            column.marks.append(Words(text=text, at=(x + _KEY, y), cap=_TEXT, colour=INK))
        column.top += _PITCH


def _findings(column: _Column, plan: Plan) -> None:
    """The numbered findings; several that differ only in figures and place share one entry."""
    if not column.has_room_for(4):
        return
    column.heading("Findings")
    if not plan.findings:
        column.line("none")
        return
    groups = _alike(plan)
    for i, group in enumerate(groups):
        lines = _finding_lines(group, column.width - _INDENT)
        last = i == len(groups) - 1
        if not column.has_room_for(max(2, len(lines)) + (0 if last else 2)):
            left = sum(len(g) for g in groups[i:])
            column.line(f"and {left} more, see the table", colour=SECOND)
            return
        column.top += 1.2
        number, finding = group[0]
        sign = (column.left + 2.9, column.top + _PITCH / 2)
        column.marks += finding_sign(number, finding.severity, sign)
        for text, colour, bold in lines:
            column.line(text, indent=_INDENT, colour=colour, bold=bold)
        column.top += 0.8 if len(lines) > 1 else _PITCH / 2


Numbered = tuple[int, Finding]


def _alike(plan: Plan) -> list[list[Numbered]]:
    """Numbered findings that follow each other with one code and one remedy, together."""

    def kind(numbered: Numbered) -> tuple[str, str, str]:
        finding = numbered[1]
        return finding.severity.value, finding.code, finding.remedy

    return [list(group) for _, group in groupby(numbered_findings(plan), key=kind)]


def _finding_lines(group: Sequence[Numbered], width: float) -> list[tuple[str, str, bool]]:
    """(text, colour, bold): code and weight, what, remedy."""
    finding = group[0][1]
    head = f"{finding.code}  {severity_word(finding.severity)}"
    lines = [(head, INK, True)]
    lines += [(t, INK, False) for t in wrap(clean(finding.what), width, _TEXT)]
    if len(group) > 1:
        also = f"{group[1][0]}" if len(group) == 2 else f"{group[1][0]} to {group[-1][0]}"
        lines.append((f"The like at {also}.", INK, False))
    lines += [(t, SECOND, False) for t in wrap(clean(finding.remedy), width, _TEXT)]
    return lines
