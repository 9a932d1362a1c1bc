"""The row grid of a bay, exactly: where the row lines fall so that no edge is left with a sliver.

Row lines lie at phi + k W. An edge parallel to the rows, at a distance between lo and hi (they differ
where it tapers), leaves a strip of plank between itself and the nearest row line on its floor side. The
strip must be a full width or at least the least width w; with the site free to differ by t, and u = what
the skirting hides beyond the wall gap, so that a full row may open by a = max(0, t - u). Each edge thus
forbids one open arc of the circle of circumference W:

    floor above the edge:  (lo - a, hi + t + w)
    floor below it:        (lo - t - w, hi + a)

As drawn (t = a = 0) the arcs are shorter. A phase that keeps the rule on the drawing comes before one
that keeps more of it in hand for the site. The best phi is at an arc end or midway between two
neighbouring ends, so those few are all compared: no step size, no sampling. Bay frame, millimetres.
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

    `slack_mm` is the least distance to a forbidden arc with the site tolerance in hand; negative: what
    is lacking of it at the worst edge. `breached` edges have a strip that is too thin as drawn.
    `unserved` ones taper so much that no phase could serve them: they were left out.
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


AS_DRAWN: Final = SiteSlack(tolerance=0.0, hidden=0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Arcs:
    """The forbidden arcs of the edges: start in [0, W), length. `need` is the part of an arc where the
    strip is too thin, `opens` the part at its other end where a full row opens up.
    """

    start: Floats
    length: Floats
    need: Floats
    opens: float
    above: NDArray[np.bool_]
    weight: Floats
    width: float

    @classmethod
    def of(cls, edges: Sequence[GridEdge], width: float, slack: SiteSlack) -> _Arcs:
        low = np.array([e.low for e in edges])
        high = np.array([e.high for e in edges])
        above = np.array([e.floor_above for e in edges], dtype=bool)
        need = np.array([e.least_mm for e in edges]) + slack.tolerance
        return cls(
            start=np.where(above, low - slack.opens_by, low - need) % width,
            length=high - low + slack.opens_by + need,
            need=need,
            opens=slack.opens_by,
            above=above,
            weight=np.array([e.weight for e in edges]),
            width=width,
        )

    @property
    def served(self) -> NDArray[np.bool_]:
        """Whether a phase outside the arc exists."""
        return self.length <= self.width + GRID_MM

    @property
    def ends(self) -> Floats:
        """Both ends of every arc."""
        return np.concatenate([self.start, self.start + self.length])

    def judge(self, phases: Floats) -> _Verdict:
        """How each phase stands to the arcs."""
        past_start = (phases[:, None] - self.start) % self.width
        to_end = self.length - past_start
        breached = (past_start > GRID_MM) & (to_end > GRID_MM)
        # From the end of the arc on the floor side the strip shrinks until a row line meets the edge;
        # at the other end a full row opens up.
        shrunk = np.minimum(np.where(self.above, to_end, past_start), self.need)
        opened = np.where(self.above, past_start, to_end)
        short = np.where(opened <= self.opens, opened, shrunk)
        apart = np.minimum(np.abs(to_end), self.width - past_start)
        spare = np.where(past_start <= GRID_MM, 0.0, apart)
        least = np.where(breached, np.inf, spare).min(axis=1)
        return _Verdict(
            breached=breached,
            weight=(breached * self.weight).sum(axis=1),
            short=np.where(breached, short, 0.0).max(axis=1),
            spare=np.where(np.isfinite(least), least, 0.0),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Verdict:
    """Per phase: which edges are breached, their weight, the worst shortfall, the least slack."""

    breached: NDArray[np.bool_]
    weight: Floats
    short: Floats
    spare: Floats


def best_grid(
    edges: Sequence[GridEdge], *, width: float, slack: SiteSlack, extent: tuple[float, float]
) -> RowGrid:
    """The best phase for these edges and planks `width` wide; `extent` is the floor's [min y, max y].

    Best is, as drawn and then with the tolerance in hand: least weight of breached edges, smallest
    shortfall; then: slack to spare, fewest rows, most slack.
    """
    served = _Arcs.of(edges, width, AS_DRAWN).served
    unserved = tuple(int(i) for i in np.flatnonzero(~served))
    kept = np.flatnonzero(served)
    if len(kept) == 0:
        phase = _even(extent, width)
        return RowGrid(phase_mm=phase, slack_mm=0.0, breached=(), unserved=unserved)
    drawn = _Arcs.of([edges[i] for i in kept.tolist()], width, AS_DRAWN)
    site = _Arcs.of([edges[i] for i in kept.tolist()], width, slack)
    phases = _candidates(np.concatenate([drawn.ends, site.ends]), width)
    as_drawn, in_hand = drawn.judge(phases), site.judge(phases)
    rows = np.array([rows_between(extent, float(p), width) for p in phases])
    best = np.lexsort(
        (
            np.round(phases, 3),
            -np.round(in_hand.spare, 3),
            rows,
            in_hand.spare < IN_HAND_MM,
            np.round(in_hand.short, 3),
            np.round(in_hand.weight, 3),
            np.round(as_drawn.short, 3),
            np.round(as_drawn.weight, 3),
        )
    )[0]
    lacking = float(in_hand.short[best])
    return RowGrid(
        phase_mm=_in_range(float(phases[best]), width),
        slack_mm=-lacking if lacking > 0 else float(in_hand.spare[best]),
        breached=tuple(int(i) for i in kept[as_drawn.breached[best]]),
        unserved=unserved,
    )


def _candidates(ends: Floats, width: float) -> Floats:
    """All arc ends and the middles between neighbouring ends, in [0, W)."""
    ends = np.unique(np.round(ends % width, 6) % width)
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
