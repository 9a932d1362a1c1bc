"""What every sheet has about it: frame, title block (fields of ISO 7200), scale bar, the way up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin
from typing import Final

from layout.writers.sheets.letters import fitted
from layout.writers.sheets.marks import Box, Lines, Sketch, Text
from layout.writers.sheets.style import (
    BLACK,
    CAPTION,
    EDGE,
    FINE,
    GREY,
    HEAVY,
    LARGE,
    MEDIUM,
    SMALL,
    WHITE,
    Paper,
)

BLOCK_WIDTH: Final = 180.0
BLOCK_HEIGHT: Final = 24.0
_LINE: Final = 8.0
_PAD: Final = 1.0
BAR_MM: Final = 60.0
"""Length of the scale bar on paper."""
_BAR_PARTS: Final = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleBlock:
    """What the title block says. Texts cleaned; empty fields stay open to be filled in by hand."""

    job: str
    title: str
    number: str
    revision: str
    kind: str
    subtitle: str
    source: str
    scale: str
    date: str
    rules: str


def frame_box(paper: Paper) -> Box:
    """Inside of the frame."""
    return paper.left, paper.low, paper.right, paper.top


def draw_border(sketch: Sketch, paper: Paper, block: TitleBlock, sheet: str) -> None:
    """Frame and title block. `sheet` is the number of the sheet and how many there are."""
    sketch.rect(frame_box(paper), pen=HEAVY)
    left, top = paper.right - BLOCK_WIDTH, paper.low + BLOCK_HEIGHT
    sketch.rect((left, paper.low, paper.right, top), pen=HEAVY, fill=WHITE)
    rows: tuple[Sequence[tuple[str, str, float]], ...] = (
        (
            ("Job", block.job, 57.0),
            ("Title", block.title, 60.0),
            ("Identification number", block.number, 36.0),
            ("Revision", block.revision, 12.0),
            ("Sheet", sheet, 15.0),
        ),
        (
            ("Document type", block.kind, 57.0),
            ("Supplementary title", block.subtitle, 60.0),
            ("Source drawing", block.source, 41.0),
            ("Scale", block.scale, 22.0),
        ),
        (
            ("Created by", "setout", 28.5),
            ("Checked by", "", 28.5),
            ("Approved by", "", 32.0),
            ("Date of issue", block.date, 28.0),
            ("Rules", block.rules, 63.0),
        ),
    )
    for n, row in enumerate(rows):
        _fields(sketch, (left, top - n * _LINE), row, ruled=n > 0, bold="Title")


def _fields(
    sketch: Sketch,
    corner: tuple[float, float],
    row: Sequence[tuple[str, str, float]],
    *,
    ruled: bool,
    bold: str,
) -> None:
    x, y = corner
    if ruled:
        sketch.draw(((x, y), (x + BLOCK_WIDTH, y)), pen=FINE)
    for caption, words, width in row:
        if x > corner[0]:
            sketch.draw(((x, y), (x, y - _LINE)), pen=FINE)
        at = (x + _PAD, y - CAPTION - 0.7)
        sketch.write(Text(words=caption, at=at, height=CAPTION, colour=GREY))
        heavy = caption == bold
        shown = fitted(words, width - 2 * _PAD, SMALL, bold=heavy)
        sketch.write(Text(words=shown, at=(x + _PAD, y - _LINE + 1.3), bold=heavy))
        x += width


def draw_scale_bar(sketch: Sketch, corner: tuple[float, float], ratio: float) -> None:
    """A bar to check the print by; `corner` is its lower left."""
    x, y = corner
    each = BAR_MM / _BAR_PARTS
    for n in range(_BAR_PARTS):
        box = (x + n * each, y + 3.4, x + (n + 1) * each, y + 4.8)
        sketch.rect(box, pen=FINE, fill=BLACK if n % 2 == 0 else WHITE)
    length = f"{BAR_MM * ratio / 1000:g} m at 1:{ratio:g}"
    words = f"must measure {BAR_MM:g} mm ({length}); if not, the print was resized"
    sketch.write(Text(words=words, at=(x, y), height=CAPTION))


def draw_up_arrow(sketch: Sketch, centre: tuple[float, float], degrees: float) -> None:
    """Which way is up on the architect's drawing: `degrees` counter-clockwise from the right."""
    x, y = centre
    u, v = cos(radians(degrees)), sin(radians(degrees))
    ring = [(x + 4 * cos(k * 0.2618), y + 4 * sin(k * 0.2618)) for k in range(24)]
    sketch.marks.append(Lines(chains=(tuple(ring),), pen=FINE, fill=WHITE, closed=True))
    tip, foot = (x + 4 * u, y + 4 * v), (x - 4 * u, y - 4 * v)
    sketch.draw((foot, tip), pen=EDGE)
    barb = tuple((tip[0] - 2.6 * u + s * 1.1 * v, tip[1] - 2.6 * v - s * 1.1 * u) for s in (1, -1))
    head = (tip, barb[0], barb[1])
    sketch.marks.append(Lines(chains=(head,), fill=BLACK, closed=True))


def draw_headline(sketch: Sketch, paper: Paper, name: tuple[str, str], instruction: str) -> None:
    """Bay and rooms at the left, one instruction below or beside them."""
    left, right, base = paper.left + 2.0, paper.right - 2.0, paper.top - LARGE - 2.5
    number = Text(words=name[0], at=(left, base), height=LARGE, bold=True)
    sketch.write(number)
    after = left + number.width + 3.0
    told = Text(words=instruction, at=(right, base), height=MEDIUM)
    room = right - after - told.width - 8.0
    rooms = fitted(name[1], max(room, 40.0), LARGE)
    sketch.write(Text(words=rooms, at=(after, base), height=LARGE))
    shown = fitted(instruction, right - after - 48.0, MEDIUM)
    sketch.write(
        Text(
            words=shown,
            at=(right - Text(words=shown, at=(0, 0), height=MEDIUM).width, base),
            height=MEDIUM,
        )
    )
