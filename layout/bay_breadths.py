"""How wide the floor of a run is from place to place, and where it locks into other rows.

A run is asked for as if every piece of it were as wide as the run and locked wherever the run does.
Where a row tapers, steps back or runs beside a wall end, a piece may be narrower and free at an edge,
and share a length of plank with another one. An even run has no such pieces and gets no breadths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from importer.tolerance import LENGTH_MM, SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.bay_chords import edge_ends
from layout.demand import Breadth
from layout.floor import Run, Touch

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CELL_MM: Final = 30.0
"""Longest stretch of a slanted edge that is taken as level."""


def breadths_of(run: Run, touches: Sequence[Touch], plank_width: float) -> tuple[Breadth, ...]:
    """Stretches of a run from left to right, none where all its pieces are alike. Each says what
    any piece that reaches into it covers there at least; where an edge parts the run, nothing is said.

    Args:
        run: The run, bay frame, mm.
        touches: All touches that it takes part in.
        plank_width: Width of a whole row.
    """
    seams = _seams(run, touches)
    if _is_even(run, seams, plank_width):
        return ()
    ends = edge_ends(run.shape)
    x = _places(run, ends, seams)
    low, high, known = _extents(ends, x)
    near, far = (_locked(x, stretches) for stretches in seams)
    cells = [
        Breadth(
            x0=float(x[k]),
            x1=float(x[k + 1]),
            low_mm=round(float(low[k]) - run.y0, 3),
            high_mm=round(float(high[k]) - run.y0, 3),
            keeps_near=bool(near[k]),
            keeps_far=bool(far[k]),
        )
        for k in np.flatnonzero(known).tolist()
    ]
    return tuple(_joined(cells))


def _seams(run: Run, touches: Sequence[Touch]) -> tuple[Floats, Floats]:
    """Stretches (n, 2) along which the run locks into the row below and into the row above."""
    below = [(t.x0, t.x1) for t in touches if t.above == run.index]
    above = [(t.x0, t.x1) for t in touches if t.below == run.index]
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


def _places(run: Run, ends: Floats, seams: tuple[Floats, Floats]) -> Floats:
    """Where something changes: corners, ends of seams, and steps along slanted edges."""
    places = [np.array([run.x0, run.x1]), ends[:, 0], *(s.ravel() for s in seams)]
    slanted = np.abs(ends[:, 3] - ends[:, 1]) > LENGTH_MM
    for a, b in np.sort(ends[slanted][:, [0, 2]], axis=1):
        places.append(np.linspace(a, b, max(1, int(np.ceil((b - a) / CELL_MM - 0.01))) + 1))
    x = np.unique(np.concatenate(places))
    x = x[(x >= run.x0) & (x <= run.x1)]
    kept: Floats = x[np.diff(x, prepend=-np.inf) > SAME_POINT_MM]
    return kept


def _extents(ends: Floats, x: Floats) -> tuple[Floats, Floats, Flags]:
    """Per cell the y that all its chords span, and whether it has one chord only."""
    level = ends[np.abs(ends[:, 2] - ends[:, 0]) > SAME_POINT_MM]
    left = np.minimum(level[:, 0], level[:, 2])
    right = np.maximum(level[:, 0], level[:, 2])
    middle = (x[:-1] + x[1:])[:, None] / 2
    crosses = (left < middle) & (middle < right)
    slope = (level[:, 3] - level[:, 1]) / (level[:, 2] - level[:, 0])
    y = [level[:, 1] + (place[:, None] - level[:, 0]) * slope for place in (x[:-1], x[1:])]
    here = level[:, 1] + (middle - level[:, 0]) * slope
    one = crosses.sum(axis=1) == 2
    lower = np.where(crosses, here, np.inf).argmin(axis=1)
    upper = np.where(crosses, here, -np.inf).argmax(axis=1)
    cell = np.arange(len(x) - 1)
    low = np.maximum(y[0][cell, lower], y[1][cell, lower])
    high = np.minimum(y[0][cell, upper], y[1][cell, upper])
    return low, high, one & (low <= high)


def _locked(x: Floats, seams: Floats) -> Flags:
    """Cells that lock along their whole length on one side."""
    middle = (x[:-1] + x[1:])[:, None] / 2
    inside = (seams[:, 0] < middle) & (middle < seams[:, 1])
    return np.asarray(inside.any(axis=1), dtype=bool)


def _joined(cells: Sequence[Breadth]) -> list[Breadth]:
    """Alike cells that follow each other as one."""
    found: list[Breadth] = []
    for cell in cells:
        last = found[-1] if found else None
        if last is not None and last.x1 == cell.x0 and _is_alike(last, cell):
            found[-1] = replace(last, x1=cell.x1)
        else:
            found.append(cell)
    return found


def _is_alike(a: Breadth, b: Breadth) -> bool:
    return (a.low_mm, a.high_mm, a.keeps_near, a.keeps_far) == (
        b.low_mm,
        b.high_mm,
        b.keeps_near,
        b.keeps_far,
    )
