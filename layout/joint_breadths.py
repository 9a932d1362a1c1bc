"""What a piece asks of its plank across, by the stretch of the run that it takes up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from importer.tolerance import LENGTH_MM, SLIVER_WIDTH_MM
from layout.demand import RunDemand
from layout.joint_candidates import Floats

Flags = NDArray[np.bool_]

SLACK_MM: Final = 2 * LENGTH_MM
"""A piece reaches into a stretch when more of it than this lies there: what a seam must have to lock."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Across:
    """Pieces as they lie across a plank: least width, and the long edges they need; arrays of one
    length. A piece that needs both takes a whole plank's width.
    """

    width: Floats
    near: Flags
    far: Flags


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """Pieces no two of which can lie side by side on a plank: of those that keep the near edge all wider
    than `near_mm`, of those that keep the far edge all wider than `far_mm`, of those free at both edges
    all wider than either. The two sum to what side by side there is room for.
    """

    near_mm: float
    far_mm: float

    def holds(self, across: Across) -> Flags:
        """Which pieces are among them."""
        free = max(self.near_mm, self.far_mm)
        limit = np.where(
            across.near == across.far, free, np.where(across.near, self.near_mm, self.far_mm)
        )
        held: Flags = (across.width > limit) | (across.near & across.far)
        return held


def across(run: RunDemand, start: Floats, end: Floats, plank_width: float) -> Across:
    """Pieces of a run from `start` to `end` (bay frame, mm)."""
    if not run.breadths:
        width = plank_width if run.keeps_near and run.keeps_far else run.width_mm
        alike = np.ones(len(start), dtype=bool)
        return Across(width=alike * width, near=alike & run.keeps_near, far=alike & run.keeps_far)
    cells = run.breadths
    x0, x1 = np.array([c.x0 for c in cells]), np.array([c.x1 for c in cells])
    reach = np.minimum(end[:, None], x1) - np.maximum(start[:, None], x0) > SLACK_MM
    low = np.where(reach, [c.low_mm for c in cells], plank_width).min(axis=1)
    high = np.where(reach, [c.high_mm for c in cells], 0.0).max(axis=1)
    near = (reach & [c.keeps_near for c in cells]).any(axis=1)
    far = (reach & [c.keeps_far for c in cells]).any(axis=1)
    # Nothing is sawn narrower than a sliver.
    width = np.minimum(np.maximum(high - low, SLIVER_WIDTH_MM), plank_width)
    return Across(width=np.where(near & far, plank_width, width), near=near, far=far)


def least_pieces(run: RunDemand, plank_width: float) -> Across:
    """What every stretch of a run asks for by itself: no piece asks for less than one of them does."""
    if not run.breadths:
        return across(run, np.array([run.x0]), np.array([run.x1]), plank_width)
    cells = run.breadths
    near = np.array([c.keeps_near for c in cells])
    far = np.array([c.keeps_far for c in cells])
    width = np.clip([c.high_mm - c.low_mm for c in cells], SLIVER_WIDTH_MM, plank_width)
    return Across(width=np.where(near & far, plank_width, width), near=near, far=far)
