"""Pieces that cannot be tilted in: closed in by rows laid before, or under something low.

A plank is tilted in about the edge that locks into the row laid before, its other edge up. So whatever
hangs low over the half away from that edge is in its way; what is low over the locking half is not.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from importer.tolerance import SLIVER_WIDTH_MM
from layout.floor import Frame, Piece
from layout.laying_around import LowPlace
from layout.laying_seams import Beside

CLOSED_IN = "between rows laid before"


def pushed_words(
    pieces: Sequence[Piece], beside: Sequence[Beside], low: Sequence[LowPlace], frame: Frame
) -> tuple[str, ...]:
    """Per piece why it is pushed in flat; empty where it is tilted in as usual. Pieces that lock into
    nothing are laid flat anyhow.
    """
    words = [CLOSED_IN if b.is_closed_in else "" for b in beside]
    for n, place in _under(pieces, beside, low, frame):
        words[n] = words[n] or low[place].words
    return tuple(words)


def _under(
    pieces: Sequence[Piece], beside: Sequence[Beside], low: Sequence[LowPlace], frame: Frame
) -> list[tuple[int, int]]:
    """Pairs of piece and low place over its tilting half, in the order of both."""
    locking = [n for n, b in enumerate(beside) if b.below or b.above]
    if not low or not locking:
        return []
    halves = np.asarray([_tilting_half(pieces[n], beside[n]) for n in locking], dtype=object)
    places = np.asarray([frame.to_bay(p.shape) for p in low], dtype=object)
    half, place = shapely.STRtree(places).query(halves, predicate="intersects")
    shared = shapely.intersection(halves[half], places[place])
    box = shapely.bounds(shared)
    seen = (np.minimum(box[:, 2] - box[:, 0], box[:, 3] - box[:, 1]) > SLIVER_WIDTH_MM) & (
        shapely.area(shared) > 0.0
    )
    pairs = zip(half[seen].tolist(), place[seen].tolist(), strict=True)
    return sorted((locking[h], p) for h, p in pairs)


def _tilting_half(piece: Piece, beside: Beside) -> shapely.Geometry:
    """The half of a piece away from the edge that it locks by."""
    x0, y0, x1, y1 = piece.shape.bounds
    middle = (y0 + y1) / 2
    low, high = (middle, y1) if beside.below else (y0, middle)
    return shapely.clip_by_rect(piece.shape, x0, low, x1, high)
