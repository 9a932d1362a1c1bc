"""How far the real room may differ from the drawing before a rule breaks.

Along the rows: the joints stay where they were planned from the start of each run, the wall at its far
end stands d further off (d < 0: nearer), so every last piece, and every piece from wall to wall, is cut
d longer. Across: the rows stay where they were planned from the start wall, every other edge along
the rows stands d further off. The window is the exact interval of d in which no rule breaks that held
before; what is in breach already is told as a breach and does not narrow it further.

Where the room is longer than a piece can be, the gap may open until the cover no longer hides it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
import shapely

from importer.tolerance import LENGTH_MM
from layout.bay_edges import least_strip
from layout.directions import STRAIGHT_MM
from layout.floor import EdgeStrip, Piece, PlankId, Role, SettingOut, Window
from layout.rules import RuleSet

FARTHEST_MM: Final = 1000.0
"""Beyond this a room is another room: the window is not stated further."""

Interval = tuple[float, float]


def window(pieces: Sequence[Piece], setting_out: SettingOut, rules: RuleSet) -> Window:
    """The window of a laid bay: (shorter, longer) along and (narrower, wider) across, mm."""
    hidden = rules.gap.cover - rules.gap.wall
    closing = _closing(pieces)
    along = [
        *((_shorter(p, rules), inf) for p in pieces if p.id in closing),
        *((-inf, room + hidden) for room in _rooms(pieces, rules, closing, axis=0)),
    ]
    last_row = frozenset(p.id for p in pieces if not p.keeps_far_edge)
    across = [
        *(_across(s, rules, hidden) for s in setting_out.strips if not _is_start(s)),
        *((-inf, room + hidden) for room in _rooms(pieces, rules, last_row, axis=1)),
    ]
    return Window(length_mm=_common(along), width_mm=_common(across))


def _common(intervals: Iterable[Interval]) -> Interval:
    """What lies in all of them; 0 always does."""
    low, high = -FARTHEST_MM, FARTHEST_MM
    for a, b in intervals:
        low, high = max(low, min(a, 0.0)), min(high, max(b, 0.0))
    return round(low, 3) + 0.0, round(high, 3) + 0.0


# --- along the rows -----------------------------------------------------------------------------


def _closing(pieces: Sequence[Piece]) -> frozenset[str]:
    """Ids of the pieces whose far end is at a wall: no piece of the run goes on from there."""
    ends = shapely.bounds(np.asarray([p.shape for p in pieces], dtype=object))[:, [0, 2]].tolist()
    starts: dict[int, list[float]] = defaultdict(list)
    for piece, (x0, _) in zip(pieces, ends, strict=True):
        starts[piece.run].append(x0)
    return frozenset(
        piece.id
        for piece, (_, x1) in zip(pieces, ends, strict=True)
        if all(abs(start - x1) > LENGTH_MM for start in starts[piece.run])
    )


def _shorter(piece: Piece, rules: RuleSet) -> float:
    """How much shorter the piece may get (negative)."""
    if piece.role is Role.ONLY:
        return -piece.end_length_mm
    for limit in (rules.ends.min_length, rules.never_below_mm):
        if piece.end_length_mm >= limit - LENGTH_MM:
            return limit - piece.end_length_mm
    return -inf


# --- across -------------------------------------------------------------------------------------


def _is_start(strip: EdgeStrip) -> bool:
    """The start wall itself: the rows are set from it, wherever it stands."""
    return strip.floor_above and abs(strip.y_low) <= STRAIGHT_MM


def _across(strip: EdgeStrip, rules: RuleSet, hidden: float) -> Interval:
    """How far an edge may move away from the start wall. With the floor below it, its strip grows as
    it moves off; with the floor above it, the strip gets narrower.
    """
    least = least_strip(strip.x1 - strip.x0, rules.rows.min_width)
    wider = strip.width_mm + strip.y_high - strip.y_low
    shrinks = strip.width_mm - least if strip.width_mm >= least - LENGTH_MM else inf
    grows = rules.plank.width - wider
    # A taper that crosses a row line is in breach already.
    grows = grows + hidden if grows >= -LENGTH_MM else inf
    return (-grows, shrinks) if strip.floor_above else (-shrinks, grows)


# --- what else comes out of the same plank ------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Blank:
    """A blank on its plank: [low, high] along the axis in which it grows, [side, other_side] across."""

    low: float
    high: float
    side: float
    other_side: float
    grows: bool

    def is_beside(self, other: _Blank) -> bool:
        """Whether `other` lies further on and in the way."""
        overlap = min(self.other_side, other.other_side) - max(self.side, other.side)
        return overlap > LENGTH_MM and other.low >= self.high - LENGTH_MM


def _rooms(
    pieces: Sequence[Piece], rules: RuleSet, growing: frozenset[str], *, axis: int
) -> Iterable[float]:
    """For every plank with growing pieces, how much each of them can grow before the plank or the
    kerf runs out: along the plank (axis 0) or across it (axis 1).
    """
    size = (rules.plank.length, rules.plank.width)[axis]
    by_plank: dict[PlankId, list[_Blank]] = defaultdict(list)
    for piece in pieces:
        spans = (
            (piece.plank_x_mm, piece.plank_x_mm + piece.blank_length_mm),
            (piece.plank_y_mm, piece.plank_y_mm + piece.blank_width_mm),
        )
        (low, high), (side, other_side) = spans[axis], spans[1 - axis]
        by_plank[piece.plank].append(
            _Blank(
                low=low,
                high=high,
                side=side,
                other_side=other_side,
                grows=piece.id in growing,
            )
        )
    for blanks in by_plank.values():
        for first in blanks:
            if first.grows:
                yield max(0.0, _room(first, blanks, size - first.low, 0, rules.cut.kerf))


def _room(blank: _Blank, blanks: Sequence[_Blank], left: float, growing: int, kerf: float) -> float:
    """Growth of each growing blank from here to the end of the plank, least over the ways to get there.
    `left` is the length from this blank's start on, less kerfs.
    """
    left -= blank.high - blank.low
    growing += blank.grows
    further = [b for b in blanks if b is not blank and blank.is_beside(b)]
    next_ones = [b for b in further if not any(c.is_beside(b) for c in further)]
    rooms = [_room(b, blanks, left - kerf, growing, kerf) for b in next_ones]
    return min([left / growing, *rooms])
