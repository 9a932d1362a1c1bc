"""The row grid of a bay, exactly: where the row lines fall so that no edge is left with a sliver.

Row lines lie at phi + k W. An edge parallel to the rows, at a distance between lo and hi (they differ
where it tapers), leaves a strip of plank between itself and the nearest row line on its floor side. The
strip must be a full width or at least the least width w; with the site free to differ by t, and u = what
the skirting hides beyond the wall gap, so that a full row may open by a = max(0, t - u). Each edge thus
forbids one open arc of the circle of circumference W:

    floor above the edge:  (lo - a, hi + t + w)
    floor below it:        (lo - t - w, hi + a)

The best phi is at an arc end or midway between two neighbouring ends, so those few are all compared:
no step size, no sampling. Bay frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

import numpy as np
from numpy.typing import NDArray

from importer.tolerance import GRID_MM, LENGTH_MM

Floats = NDArray[np.float64]

IN_HAND_MM: Final = 5.0
"""Slack beyond the site tolerance that is as good as more of it: between grids that have it, the one
with fewer rows is laid (own judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GridEdge:
    """An edge of the floor within 3 degrees of the rows: stretch [x0, x1] at distances [low, high] from
    y = 0. `weight` says how much a sliver there matters, `least_mm` how wide a strip must be.
    """

    x0: float
    x1: float
    low: float
    high: float
    floor_above: bool
    weight: float
    least_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RowGrid:
    """The chosen phase, in (0, W], and how it stands to every edge (by index).

    `slack_mm` is the least distance to a forbidden arc, or minus the largest shortfall where edges are
    breached. `unserved` edges taper so much that no phase could serve them: they were left out.
    """

    phase_mm: float
    slack_mm: float
    breached: tuple[int, ...]
    unserved: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteSlack:
    """`tolerance` t by which the site may differ, `hidden` u that the cover hides beyond the gap."""

    tolerance: float
    hidden: float

    @property
    def opens_by(self) -> float:
        """How far a full row may open up and show (a in the formulas)."""
        return max(0.0, self.tolerance - self.hidden)


def best_grid(
    edges: Sequence[GridEdge], *, width: float, slack: SiteSlack, extent: tuple[float, float]
) -> RowGrid:
    """The best phase for these edges and planks `width` wide; `extent` is the floor's [min y, max y].

    Best is: least weight of breached edges, smallest shortfall, slack in hand, fewest rows, most slack.
    """
    start, length, served = _arcs(edges, width, slack)
    unserved = tuple(int(i) for i in np.flatnonzero(~served))
    if not served.any():
        return RowGrid(phase_mm=_even(extent, width), slack_mm=0.0, breached=(), unserved=unserved)
    start, length = start[served], length[served]
    above = np.array([e.floor_above for e in edges])[served]
    weight = np.array([e.weight for e in edges])[served]
    phases = _candidates(start, length, width)
    inside = (phases[:, None] - start) % width
    breached = (inside > GRID_MM) & (inside < length - GRID_MM)
    # A strip grows towards the end of its arc that lies on the floor side.
    short = np.where(breached, np.where(above, length - inside, inside), 0.0)
    past = np.where(inside >= length - GRID_MM, inside - length, 0.0)
    ahead = np.where(inside >= length - GRID_MM, width - inside, 0.0)
    spare = np.where(breached, np.inf, np.maximum(np.minimum(past, ahead), 0.0)).min(axis=1)
    spare[~np.isfinite(spare)] = 0.0
    rows = np.array([rows_between(extent, float(p), width) for p in phases])
    best = np.lexsort(
        (
            np.round(phases, 3),
            -np.round(spare, 3),
            rows,
            spare < IN_HAND_MM,
            np.round(short.max(axis=1), 3),
            np.round((breached * weight).sum(axis=1), 3),
        )
    )[0]
    worst = float(short[best].max())
    index = np.flatnonzero(served)[breached[best]]
    return RowGrid(
        phase_mm=_in_range(float(phases[best]), width),
        slack_mm=-worst if worst > 0 else float(spare[best]),
        breached=tuple(int(i) for i in index),
        unserved=unserved,
    )


def _arcs(
    edges: Sequence[GridEdge], width: float, slack: SiteSlack
) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Start in [0, W) and length of every forbidden arc; whether a phase outside it exists."""
    low = np.array([e.low for e in edges])
    high = np.array([e.high for e in edges])
    above = np.array([e.floor_above for e in edges], dtype=bool)
    need = np.array([e.least_mm for e in edges]) + slack.tolerance
    length = high - low + slack.opens_by + need
    start = np.where(above, low - slack.opens_by, low - need) % width
    return start, length, length < width - GRID_MM


def _candidates(start: Floats, length: Floats, width: float) -> Floats:
    """All arc ends and the middles between neighbouring ends, in [0, W)."""
    ends = np.unique(np.round(np.concatenate([start, start + length]) % width, 6) % width)
    following = np.append(ends[1:], ends[0] + width)
    return np.concatenate([ends, ((ends + following) / 2) % width])


def _in_range(phase: float, width: float) -> float:
    """The phase in (0, W], on the grid of coordinates, so that faces on row lines lie on them."""
    within = phase % width
    return width if within < LENGTH_MM / 2 or within > width - LENGTH_MM / 2 else round(within, 3)


def _even(extent: tuple[float, float], width: float) -> float:
    """Equal first and last rows where no edge asks for anything: (w + r) / 2, r the remainder."""
    rest = (extent[1] - extent[0]) % width
    strip = (width + rest) / 2 if rest > LENGTH_MM else width
    return _in_range(extent[0] + strip, width)


def rows_between(extent: tuple[float, float], phase: float, width: float) -> int:
    """How many rows have floor in them."""
    first = floor((extent[0] - phase + LENGTH_MM) / width)
    return ceil((extent[1] - phase - LENGTH_MM) / width) - first


def strip_width(edge: GridEdge, phase: float, width: float) -> float:
    """Width of plank between the edge and the nearest row line on its floor side, where it is narrowest;
    a full width where the edge lies on a row line.
    """
    gap = phase - edge.high if edge.floor_above else edge.low - phase
    # Falling just short of a line is lying on it.
    strip = (gap - LENGTH_MM / 2) % width + LENGTH_MM / 2
    return width if strip > width - LENGTH_MM / 2 else strip
