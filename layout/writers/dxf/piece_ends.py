"""Where lettering may stand on pieces: their ends may be slanted, their edges notched.

Bay frame, mm.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString

from layout.floor import Piece

_CHORDS = 7


def clear_band(piece: Piece, stretch: tuple[float, float]) -> tuple[float, float] | None:
    """From where to where the piece reaches across, all along a stretch of its length: less than its
    bounds where it is notched. None when it is not there at all.
    """
    x0, y0, x1, y1 = piece.shape.bounds
    left, right = max(x0, stretch[0]), min(x1, stretch[1])
    if len(piece.shape.exterior.coords) == 5 and not piece.shape.interiors:
        return y0, y1
    if right <= left:
        return None
    chords = shapely.intersection(
        shapely.linestrings([[(x, y0), (x, y1)] for x in np.linspace(left, right, _CHORDS)[1:-1]]),
        piece.shape,
    )
    bounds = shapely.bounds(chords)
    if np.isnan(bounds).any() or (shapely.get_num_geometries(chords) != 1).any():
        return None
    low, high = float(bounds[:, 1].max()), float(bounds[:, 3].min())
    return (low, high) if low < high else None


def band_over(pieces: Sequence[Piece], stretch: tuple[float, float]) -> tuple[float, float] | None:
    """From where to where all pieces of a run reach across, along a stretch of it. None where they do
    not.
    """
    bands = [
        clear_band(p, stretch)
        for p in pieces
        if p.shape.bounds[0] < stretch[1] and p.shape.bounds[2] > stretch[0]
    ]
    sound = [b for b in bands if b is not None]
    if not sound or len(sound) < len(bands):
        return None
    low, high = max(b[0] for b in sound), min(b[1] for b in sound)
    return (low, high) if low < high else None


def end_over(piece: Piece, levels: tuple[float, ...], *, starts: bool) -> float:
    """Where the piece's outer end lies over all of these levels: an end may be slanted."""
    x0, _, x1, _ = piece.shape.bounds
    ends = [x0 if starts else x1]
    for y in levels:
        chord = piece.shape.intersection(LineString([(x0 - 1, y), (x1 + 1, y)]))
        if not chord.is_empty:
            ends.append(chord.bounds[0] if starts else chord.bounds[2])
    return float(max(ends) if starts else min(ends))
