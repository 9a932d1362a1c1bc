"""How many planks two pieces can share although the solver takes it that they cannot.

The solver takes every piece of a run to be as wide as the run and to lock into the rows that the run
locks into, so it never promises a plank too few. For a bound that is the wrong side: where a row tapers
or steps back, a piece may be narrow enough to lie beside another on one plank. Taking one of each such
two out to a plank of its own gives a layout as the solver sees it, so if n planks can be like that,
planks >= bound - n holds for the pieces as they are.

An end piece is at least the least end long and starts or ends with the run; a piece between joints is as
long as a plank. Only these stretches are looked at, in cells and a little shorter than they are, which
keeps the count on the side of a bound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from importer.tolerance import LENGTH_MM, SLIVER_WIDTH_MM
from layout.bay_chords import edge_ends
from layout.demand import BayDemand, RunDemand
from layout.floor import Run

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CELL_MM: Final = 30.0
HANDS: Final = (-1, 0, 1)
"""The long edge that a piece keeps: the near one, neither, the far one."""


def narrow_pieces(demand: BayDemand, runs: Sequence[Run]) -> int:
    """Most planks of the bay that two pieces can share side by side although the demand says that they
    cannot: each takes a piece that asks for less than the demand says, and two that do not keep the same
    edge and fit together.
    """
    profiles = [_profile(run, asked, demand) for run, asked in zip(runs, demand.runs, strict=True)]
    least = {hand: min((p.narrowest(hand) for p in profiles), default=np.inf) for hand in HANDS}
    room = demand.stock.plank_width - demand.stock.kerf + LENGTH_MM
    # Pieces that keep the same edge never lie side by side.
    beside = np.array([min(least[h] for h in HANDS if h == 0 or h != hand) for hand in HANDS])
    fits = [p.width + beside[p.hand + 1] <= room for p in profiles]
    less = sum(p.most(f & p.is_less) for p, f in zip(profiles, fits, strict=True))
    near, free, far = (
        sum(p.most(f & (p.hand == hand)) for p, f in zip(profiles, fits, strict=True))
        for hand in HANDS
    )
    return min(less, min(near, far) + free)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Profile:
    """The stretches of a run that a piece can take up: width and edge kept (`HANDS`). Stretch 0 is the
    run as the demand takes it, with `pieces` at most; then those of a first and a last piece; then, cell
    by cell, those of a piece between joints, which is `step` cells long.
    """

    width: Floats
    hand: Ints
    pieces: int
    step: int = 1

    @property
    def is_less(self) -> NDArray[np.bool_]:
        """Which stretches ask for less than the demand says."""
        less = (self.width < self.width[0] - LENGTH_MM) | (self.hand != self.hand[0])
        return np.asarray(less)

    def narrowest(self, hand: int) -> float:
        """Least width among the stretches that keep that edge."""
        found = self.width[self.hand == hand]
        return float(found.min()) if len(found) else np.inf

    def most(self, allowed: NDArray[np.bool_]) -> int:
        """Most pieces that take up allowed stretches."""
        able = allowed.tolist()
        if able[0]:
            return self.pieces
        count, k = int(sum(able[1:3])), 3
        while k < len(able):
            count += int(able[k])
            k += self.step if able[k] else 1
        return min(count, self.pieces)


def _profile(run: Run, asked: RunDemand, demand: BayDemand) -> _Profile:
    stock = demand.stock
    taken = stock.plank_width if asked.keeps_near and asked.keeps_far else asked.width_mm
    hand = int(asked.keeps_far) - int(asked.keeps_near)
    pieces = (
        1 if run.length_mm <= stock.plank_length else int(run.length_mm / stock.plank_length) + 2
    )
    seams = _seams(run, demand)
    if run.length_mm <= stock.plank_length or _is_even(run, seams, stock.plank_width):
        return _Profile(width=np.array([taken]), hand=np.array([hand]), pieces=pieces)
    count = int(np.ceil(run.length_mm / CELL_MM))
    x = np.linspace(run.x0, run.x1, count + 1)
    size = run.length_mm / count
    end = max(1, int(demand.min_length / size))
    # A stretch that starts anywhere holds one whole cell fewer than one that starts with a cell.
    step = max(1, int(stock.plank_length / size) - 1)
    low, high = _extents(run, x)
    near, far = (_seamed(x, stretches) for stretches in seams)
    height = _greatest(high, end, step) + _greatest(-low, end, step)
    kept = _greatest(far, end, step) - _greatest(near, end, step)
    return _Profile(
        width=np.concatenate([[taken], height]),
        hand=np.concatenate([[hand], kept]).astype(np.int64),
        pieces=pieces,
        step=step,
    )


def _greatest(cells: Floats, end: int, step: int) -> Floats:
    """Greatest value of the first and the last `end` cells, and of every `step` cells in a row."""
    every = sliding_window_view(cells, min(step, len(cells))).max(axis=1)
    return np.concatenate([[cells[:end].max(), cells[-end:].max()], every])


def _seams(run: Run, demand: BayDemand) -> tuple[Floats, Floats]:
    """Stretches (n, 2) along which the run locks into the row below and into the row above."""
    below = [(t.x0, t.x1) for t in demand.touches if t.above == run.index]
    above = [(t.x0, t.x1) for t in demand.touches if t.below == run.index]
    return np.array(below).reshape(-1, 2), np.array(above).reshape(-1, 2)


def _is_even(run: Run, seams: tuple[Floats, Floats], plank_width: float) -> bool:
    """Whether all pieces are alike: a full row, or a strip along its neighbour throughout."""
    height = run.y1 - run.y0
    if run.length_mm * height - run.shape.area > LENGTH_MM * run.length_mm:
        return False
    if height >= plank_width - LENGTH_MM:
        return True
    covered = [float(np.sum(s[:, 1] - s[:, 0])) for s in seams]
    return all(c == 0.0 or c >= run.length_mm - SLIVER_WIDTH_MM for c in covered)


def _extents(run: Run, x: Floats) -> tuple[Floats, Floats]:
    """Lowest and highest y of the run in every cell."""
    ends = edge_ends(run.shape)
    ends = ends[np.abs(ends[:, 2] - ends[:, 0]) > 0]
    x_low, x_high = np.minimum(ends[:, 0], ends[:, 2]), np.maximum(ends[:, 0], ends[:, 2])
    slope = (ends[:, 3] - ends[:, 1]) / (ends[:, 2] - ends[:, 0])
    start, stop = np.maximum(x[:-1, None], x_low), np.minimum(x[1:, None], x_high)
    y = np.stack([ends[:, 1] + (place - ends[:, 0]) * slope for place in (start, stop)])
    inside = start < stop
    high = np.where(inside, y.max(axis=0), -np.inf).max(axis=1)
    low = np.where(inside, y.min(axis=0), np.inf).min(axis=1)
    return low, high


def _seamed(x: Floats, seams: Floats) -> Floats:
    """1 for cells that have a seam on that side, 0 for the others."""
    overlap = np.minimum(x[1:, None], seams[:, 1]) - np.maximum(x[:-1, None], seams[:, 0])
    return np.where((overlap > SLIVER_WIDTH_MM).any(axis=1), 1.0, 0.0)
