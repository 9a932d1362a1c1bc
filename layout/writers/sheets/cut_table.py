"""The cut list as table blocks: one a stage, columns as wide as what stands in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from layout.writers.sheets.blocks import Block, Strip, heading
from layout.writers.sheets.cut_list import FULL, CutLine, Stage
from layout.writers.sheets.letters import fitted, text_width, wrapped
from layout.writers.sheets.marks import Align, Lines, Mark, Text
from layout.writers.sheets.style import (
    BLACK,
    BLUE,
    FINE,
    GREY,
    PALE,
    PITCH,
    SMALL,
    THIN,
    VERMILION,
    Colour,
)

_TICK: Final = 5.0
_BETWEEN: Final = 2.4
_CUTS: Final = (18.0, 46.0)
"""Least width of the words on cuts, and the most that is asked for them."""
_BEFORE_WORDS: Final = 3.0
_WIDEST_ROOM: Final = 26.0
"""Of a room's name in the list; what is longer is cut off."""
_HEADS: Final = ("row", "first", "from", "full", "last", "from", "keep")
_BOLD: Final = (False, True, False, False, True, False, False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Right edges of the figures, left edges of the words on rooms (None: not told) and on cuts, whole
    width.
    """

    rights: tuple[float, ...]
    room: tuple[float, float] | None
    cuts: float
    width: float


def columns_of(stages: Sequence[Stage], width: float) -> Columns:
    """One division for all stages of a bay, so that they read alike. See `least_width`."""
    rights = _rights(stages)
    room = _room_width(stages)
    return Columns(
        rights=rights,
        room=(rights[0] + _BEFORE_WORDS, room) if room else None,
        cuts=rights[-1] + _BEFORE_WORDS,
        width=width,
    )


def least_width(stages: Sequence[Stage], *, tight: bool) -> float:
    """The width that these tables need, with the words on cuts over many lines when `tight`."""
    cuts = {line.cuts for stage in stages for line in stage.lines if line.cuts}
    longest = max((text_width(words, SMALL) for words in cuts), default=0.0)
    least = min(max(longest, _CUTS[0]), _CUTS[0] if tight else _CUTS[1])
    if not cuts:
        least = text_width("cuts", SMALL)
    return _rights(stages)[-1] + _BEFORE_WORDS + least


def _room_width(stages: Sequence[Stage]) -> float:
    """Width of the column of rooms; 0 where the headings of the stages tell the rooms."""
    if all(len({line.room for line in stage.lines}) < 2 for stage in stages):
        return 0.0
    rooms = {line.room for stage in stages for line in stage.lines}
    return min(max(text_width(r, SMALL) for r in rooms), _WIDEST_ROOM)


def _rights(stages: Sequence[Stage]) -> tuple[float, ...]:
    rights: list[float] = []
    x = _TICK
    lines = [line for stage in stages for line in stage.lines]
    room = _room_width(stages)
    for n, head in enumerate(_HEADS):
        words = {_cells(line)[n] for line in lines}
        widest = max((text_width(w, SMALL, bold=_BOLD[n]) for w in words), default=0.0)
        # A column that says nothing takes no room.
        if widest > 0.0:
            x += max(widest, text_width(head, SMALL)) + (_BETWEEN if n else 0.0)
        rights.append(round(x, 2))
        if n == 0 and room:
            x += _BEFORE_WORDS + room
    return tuple(rights)


def stage_block(stage: Stage, columns: Columns) -> Block:
    """The table of one stage."""
    title = stage.heading if stage.number is None else f"{stage.number}  {stage.heading}"
    colour = VERMILION if stage.is_reversed else BLACK
    short = wrapped(title, columns.width, 3.5, bold=True)
    heads = tuple(heading(line, colour) for line in short)
    return Block(
        head=(*heads, _head(columns)),
        strips=tuple(
            _strip(line, columns, heavy=n % 5 == 0) for n, line in enumerate(stage.lines, start=1)
        ),
        in_sequence=True,
    )


def _cells(line: CutLine) -> tuple[str, ...]:
    full = str(line.full) if line.full else ""
    return line.label, line.first, line.came, full, line.last, line.last_came, line.keep


def _head(columns: Columns) -> Strip:
    marks: list[Mark] = [
        Text(words=words, at=(right, -SMALL), align=Align.RIGHT, colour=GREY)
        for n, (words, right) in enumerate(zip(_HEADS, columns.rights, strict=True))
        if n == 0 or right > columns.rights[n - 1]
    ]
    if columns.room is not None:
        marks.append(Text(words="room", at=(columns.room[0], -SMALL), colour=GREY))
    marks.append(Text(words="cuts", at=(columns.cuts, -SMALL), colour=GREY))
    rule = ((0.0, -PITCH + 0.3), (columns.width, -PITCH + 0.3))
    marks.append(Lines(chains=(rule,), pen=FINE))
    return Strip(height=PITCH, marks=tuple(marks))


def _strip(line: CutLine, columns: Columns, *, heavy: bool) -> Strip:
    words = wrapped(line.cuts, columns.width - columns.cuts, SMALL)
    height = PITCH * max(1, len(words))
    base = -SMALL - 0.55
    marks: list[Mark] = [_tick()]
    for n, (cell, right) in enumerate(zip(_cells(line), columns.rights, strict=True)):
        if cell:
            marks.append(
                Text(
                    words=cell,
                    at=(right, base),
                    align=Align.RIGHT,
                    bold=_BOLD[n] and cell != FULL,
                    colour=_colour(n, cell),
                )
            )
    if columns.room is not None:
        left, wide = columns.room
        marks.append(Text(words=fitted(line.room, wide, SMALL), at=(left, base)))
    marks.extend(
        Text(words=part, at=(columns.cuts, base - k * PITCH)) for k, part in enumerate(words)
    )
    rule = ((0.0, -height), (columns.width, -height))
    marks.append(
        Lines(chains=(rule,), pen=FINE if heavy else THIN, colour=BLACK if heavy else PALE)
    )
    return Strip(height=height, marks=tuple(marks))


def _tick() -> Mark:
    side, left, top = 2.5, 0.3, -0.6
    box = ((left, top), (left + side, top), (left + side, top - side), (left, top - side))
    return Lines(chains=(box,), pen=FINE, closed=True)


def _colour(column: int, cell: str) -> Colour:
    if cell == FULL:
        return GREY
    return BLUE if _BOLD[column] else BLACK
