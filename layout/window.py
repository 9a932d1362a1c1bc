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
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Final

import numpy as np
import shapely

from importer.tolerance import LENGTH_MM
from layout.bay_edges import least_strip
from layout.directions import STRAIGHT_MM
from layout.floor import (
    Bay,
    EdgeStrip,
    Frame,
    Piece,
    PieceId,
    PlankId,
    Role,
    SettingOut,
    Window,
)
from layout.rules import RuleSet

FARTHEST_MM: Final = 1000.0
"""Beyond this a room is another room: the window is not stated further."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How far a wall may move, (low, high) mm with 0 in it, and the rule that breaks beyond each end."""

    low: float = -inf
    high: float = inf
    low_rule: str = ""
    high_rule: str = ""

    def within(self, other: Reach) -> Reach:
        """What both allow."""
        low, high = (
            (self if self.low >= other.low else other),
            (self if self.high <= other.high else other),
        )
        return Reach(low=low.low, low_rule=low.low_rule, high=high.high, high_rule=high.high_rule)

    def turned(self) -> Reach:
        """The same for a wall at the other end, whose moving away is moving back."""
        return Reach(
            low=-self.high, low_rule=self.high_rule, high=-self.low, high_rule=self.low_rule
        )


def common(reaches: Iterable[Reach]) -> Reach:
    """What lies in all of them, no further than `FARTHEST_MM`; 0 always does."""
    reach = Reach(low=-FARTHEST_MM, high=FARTHEST_MM)
    for other in reaches:
        reach = reach.within(other)
    return Reach(
        low=round(min(reach.low, 0.0), 3) + 0.0,
        high=round(max(reach.high, 0.0), 3) + 0.0,
        low_rule=reach.low_rule,
        high_rule=reach.high_rule,
    )


def window(
    pieces: Sequence[Piece],
    setting_out: SettingOut,
    rules: RuleSet,
    *,
    extent: tuple[float, float] | None = None,
    beside: Sequence[Piece] = (),
) -> Window:
    """The window of a laid bay: (shorter, longer) along and (narrower, wider) across, mm. `extent` is
    the size of its outline along and across the rows, for the limits of a floor without a joint;
    `beside` are pieces of other bays, which may come out of the same planks and are taken as drawn.
    """
    far = closing(pieces)
    along, across = (
        list(far_reaches(pieces, rules, far, beside=beside).values()),
        _across_reaches(pieces, setting_out, rules, beside),
    )
    if extent is not None:
        along.append(_limit(rules.limits.run - extent[0], "limits.run"))
        across.append(_limit(rules.limits.across - extent[1], "limits.across"))
    length, width = common(along), common(across)
    return Window(
        length_mm=(length.low, length.high),
        width_mm=(width.low, width.high),
        length_rules=(length.low_rule, length.high_rule),
        width_rules=(width.low_rule, width.high_rule),
    )


def extent_of(bay: Bay, frame: Frame) -> tuple[float, float]:
    """Size of a bay's outline along and across the rows."""
    x0, y0, x1, y1 = frame.to_bay(bay.outline).bounds
    return x1 - x0, y1 - y0


def _limit(left: float, rule: str) -> Reach:
    return Reach(high=left if left >= -LENGTH_MM else inf, high_rule=rule)


# --- along the rows -----------------------------------------------------------------------------


def closing(pieces: Sequence[Piece]) -> frozenset[PieceId]:
    """Ids of the pieces whose far end is at a wall: no piece of the run goes on from there."""
    ends = _ends(pieces)
    starts: dict[int, list[float]] = defaultdict(list)
    for piece, (x0, _) in zip(pieces, ends, strict=True):
        starts[piece.run].append(x0)
    return frozenset(
        piece.id
        for piece, (_, x1) in zip(pieces, ends, strict=True)
        if all(abs(start - x1) > LENGTH_MM for start in starts[piece.run])
    )


def opening(pieces: Sequence[Piece]) -> frozenset[PieceId]:
    """Ids of the pieces whose near end is at a wall."""
    ends = _ends(pieces)
    stops: dict[int, list[float]] = defaultdict(list)
    for piece, (_, x1) in zip(pieces, ends, strict=True):
        stops[piece.run].append(x1)
    return frozenset(
        piece.id
        for piece, (x0, _) in zip(pieces, ends, strict=True)
        if all(abs(stop - x0) > LENGTH_MM for stop in stops[piece.run])
    )


def _ends(pieces: Sequence[Piece]) -> list[tuple[float, float]]:
    bounds = shapely.bounds(np.asarray([p.shape for p in pieces], dtype=object))
    return [(float(x0), float(x1)) for x0, x1 in bounds[:, [0, 2]]]


def far_reaches(
    pieces: Sequence[Piece],
    rules: RuleSet,
    growing: frozenset[PieceId],
    *,
    beside: Sequence[Piece] = (),
) -> Mapping[PieceId, Reach]:
    """For every piece of `growing` how much shorter and longer it may be cut, all of them by as much;
    `beside` as in `window`.
    """
    rooms = _rooms((*pieces, *beside), rules, growing, axis=0)
    hidden = rules.gap.cover - rules.gap.wall
    return {
        p.id: _shorter(p, rules).within(
            Reach(high=rooms[p.id].left + hidden, high_rule=rooms[p.id].rule)
        )
        for p in pieces
        if p.id in growing
    }


def growth_left(
    pieces: Sequence[Piece], rules: RuleSet, growing: frozenset[PieceId], axis: int
) -> Mapping[PieceId, float]:
    """How much longer (axis 0) or wider (axis 1) every piece of `growing` can be cut from its plank, all
    of them by as much, mm.
    """
    return {p: room.left for p, room in _rooms(pieces, rules, growing, axis=axis).items()}


def _shorter(piece: Piece, rules: RuleSet) -> Reach:
    """How much shorter the piece may get (negative)."""
    if piece.role is Role.ONLY:
        return Reach(low=-piece.end_length_mm, low_rule="shape")
    for limit, rule in (
        (rules.ends.min_length, "ends.min_length"),
        (rules.never_below_mm, "ends.never_below"),
    ):
        if piece.end_length_mm >= limit - LENGTH_MM:
            return Reach(low=limit - piece.end_length_mm, low_rule=rule)
    return Reach()


# --- across -------------------------------------------------------------------------------------


def _across_reaches(
    pieces: Sequence[Piece], setting_out: SettingOut, rules: RuleSet, beside: Sequence[Piece]
) -> list[Reach]:
    last_row = frozenset(p.id for p in pieces if not p.keeps_far_edge)
    return [
        *(strip_reach(s, rules) for s in setting_out.strips if not is_start(s)),
        *rip_reaches((*pieces, *beside), rules, last_row),
    ]


def rip_reaches(
    pieces: Sequence[Piece], rules: RuleSet, growing: frozenset[PieceId]
) -> Iterator[Reach]:
    """How much wider rips may get, all of them by as much, where they share a plank. What the plank
    alone allows is with the strips; two rips of one plank meet at the saw, which no cover hides.
    """
    rooms = _rooms(pieces, rules, growing, axis=1)
    yield from (
        Reach(high=r.left, high_rule=r.rule) for r in rooms.values() if r.rule == "cut.kerf"
    )


def is_start(strip: EdgeStrip) -> bool:
    """The start wall itself: the rows are set from it, wherever it stands."""
    return strip.floor_above and abs(strip.y_low) <= STRAIGHT_MM


def strip_reach(strip: EdgeStrip, rules: RuleSet) -> Reach:
    """How far an edge may move away from the start wall. With the floor below it, its strip grows as
    it moves off; with the floor above it, the strip gets narrower.
    """
    hidden = rules.gap.cover - rules.gap.wall
    least = least_strip(strip.x1 - strip.x0, rules.rows.min_width)
    wider = strip.width_mm + strip.y_high - strip.y_low
    shrinks = strip.width_mm - least if strip.width_mm >= least - LENGTH_MM else inf
    grows = rules.plank.width - wider
    # A taper that crosses a row line is in breach already.
    grows = grows + hidden if grows >= -LENGTH_MM else inf
    rule = "rows.min_width"
    reach = Reach(low=-shrinks, high=grows, low_rule=rule, high_rule=rule)
    return reach.turned() if strip.floor_above else reach


# --- what else comes out of the same plank ------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Blank:
    """A blank on its plank: [low, high] along the axis in which it grows, [side, other_side] across."""

    piece: PieceId
    low: float
    high: float
    side: float
    other_side: float
    grows: bool

    def is_beside(self, other: _Blank) -> bool:
        """Whether `other` lies further on and in the way."""
        overlap = min(self.other_side, other.other_side) - max(self.side, other.side)
        return overlap > LENGTH_MM and other.low >= self.high - LENGTH_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class _Room:
    """What is left for a piece to grow, mm, and the rule that breaks when it grows more."""

    left: float
    rule: str


def _rooms(
    pieces: Sequence[Piece], rules: RuleSet, growing: frozenset[PieceId], *, axis: int
) -> Mapping[PieceId, _Room]:
    """How much every growing piece can grow before the plank or the kerf runs out, along the plank
    (axis 0) or across it (axis 1), all pieces of the plank by as much.
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
                piece=piece.id,
                low=low,
                high=high,
                side=side,
                other_side=other_side,
                grows=piece.id in growing,
            )
        )
    alone = ("plank.length", "rows.min_width")[axis]
    return dict(_plank_rooms(by_plank.values(), size, rules.cut.kerf, alone))


def _plank_rooms(
    planks: Iterable[Sequence[_Blank]], size: float, kerf: float, alone: str
) -> Iterator[tuple[PieceId, _Room]]:
    for blanks in planks:
        grown = [b for b in blanks if b.grows]
        if not grown:
            continue
        left = min(_room(b, blanks, size - b.low, 0, kerf) for b in grown)
        by_itself = min(size - (b.high - b.low) for b in grown)
        shares = left < by_itself - LENGTH_MM
        room = _Room(left=max(0.0, left), rule="cut.kerf" if shares else alone)
        yield from ((b.piece, room) for b in grown)


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
