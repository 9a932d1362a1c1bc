"""How much the joints of two touching runs get in each other's way, for every pair of options.

Along a shared seam [l, r] the joints of the lower run lie at a + i P and those of the upper at
b + j P. A pair of joints is a breach when both lie on the seam and less than the offset apart.
Counting them on the seam, not merely modulo P, matters for short seams: there two rows can keep
apart because one of the close joints lies beyond the seam.
"""

from __future__ import annotations

from typing import Final

import numpy as np
import numpy.typing as npt

from importer.tolerance import GRID_MM
from layout.demand import BayDemand, RunDemand
from layout.floor import Touch
from layout.joint_candidates import PER_MM, Floats, Ints, Options, fits_one_plank

Table = npt.NDArray[np.float32]
"""Single precision: a bay of many kinds of run keeps hundreds of them."""
SEAM_MM: Final = 0.05
"""A joint this close to the end of a seam counts as on it."""


def conflicts(
    runs: tuple[RunDemand, RunDemand],
    touch: Touch,
    options: tuple[Options, Options],
    demand: BayDemand,
) -> Table:
    """Weight of the offset breaches on one seam, by option of the lower run and of the upper.

    Every pair of joints too close weighs one, and a little more the closer it is.
    """
    (lower, upper), (low, high) = runs, options
    shape = (low.size, high.size)
    if demand.min_offset <= 0 or fits_one_plank(lower, demand) or fits_one_plank(upper, demand):
        return np.zeros(shape, dtype=np.float32)
    plank = demand.stock.plank_length
    start = (lower.x0 + low.first[:, None], upper.x0 + high.first[None, :])
    count = (low.opened[:, None] - 1, high.opened[None, :] - 1)
    apart = start[0] - start[1]
    nearest = np.rint(apart / plank)
    total = np.zeros(shape)
    reach = int(np.ceil(demand.min_offset / plank - 0.5)) if demand.min_offset > plank / 2 else 0
    for turn in range(-reach, reach + 1):
        shift = nearest + turn
        distance = np.abs(apart - shift * plank)
        lacks = demand.min_offset - GRID_MM - distance
        pairs = _pairs_on(touch, start, count, shift, plank)
        total += np.where(lacks > 0, pairs * (1.0 + PER_MM * lacks), 0.0)
    return total.astype(np.float32)


def _pairs_on(
    touch: Touch,
    start: tuple[Floats, Floats],
    count: tuple[Ints, Ints],
    shift: Floats,
    plank: float,
) -> Floats:
    """Number of pairs (i, i + shift) of joints that both lie on the seam."""
    a, b = start
    start_mm, end_mm = touch.x0 - SEAM_MM, touch.x1 + SEAM_MM
    first = np.maximum(np.ceil((start_mm - a) / plank), np.ceil((start_mm - b) / plank) - shift)
    first = np.maximum(first, np.maximum(0, -shift))
    last = np.minimum(np.floor((end_mm - a) / plank), np.floor((end_mm - b) / plank) - shift)
    last = np.minimum(last, np.minimum(count[0] - 1, count[1] - 1 - shift))
    pairs: Floats = np.maximum(last - first + 1, 0)
    return pairs
