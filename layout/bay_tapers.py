"""Walls out of square with the rows: where the row beside them is cut on the taper, and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.tolerance import LENGTH_MM, SAME_POINT_MM
from layout.directions import STRAIGHT_MM
from layout.floor import EdgeStrip, SettingOut, Taper
from layout.runs import row_number

Floats = NDArray[np.float64]


def tapers_of(setting_out: SettingOut, ground: Polygon, width: float) -> tuple[Taper, ...]:
    """Every edge along the rows that runs out by more than walls are straight, in the order of the
    strips. `ground` is the floor in the bay frame, `width` that of a plank, mm.
    """
    points = shapely.get_coordinates(ground)
    return tuple(
        _taper(strip, setting_out, points, width)
        for strip in setting_out.strips
        if strip.y_high - strip.y_low > STRAIGHT_MM
    )


def _taper(strip: EdgeStrip, setting_out: SettingOut, points: Floats, width: float) -> Taper:
    y0, y1 = _heights(strip, points)
    above = strip.floor_above
    widths = [strip.width_mm + (strip.y_high - y if above else y - strip.y_low) for y in (y0, y1)]
    half = min(strip.width_mm, width) / 2
    inside = strip.y_high + half if above else strip.y_low - half
    to_plan = setting_out.frame.point_to_plan
    return Taper(
        edge=(to_plan((strip.x0, y0)), to_plan((strip.x1, y1))),
        width_mm=(widths[0], widths[1]),
        row=row_number(floor((inside - setting_out.phase_mm) / width)),
        crosses=max(widths) > width + LENGTH_MM,
        at_start=above and strip.y_low <= STRAIGHT_MM,
    )


def _heights(strip: EdgeStrip, points: Floats) -> tuple[float, float]:
    """How far an edge lies from the start wall at its two ends."""
    x, y = points[:, 0], points[:, 1]
    own = points[
        (x >= strip.x0 - SAME_POINT_MM)
        & (x <= strip.x1 + SAME_POINT_MM)
        & (y >= strip.y_low - SAME_POINT_MM)
        & (y <= strip.y_high + SAME_POINT_MM)
    ]
    first, last = own[own[:, 0].argmin()], own[own[:, 0].argmax()]
    return float(first[1]), float(last[1])


def taper_words(tapers: Sequence[Taper]) -> str:
    """The greatest taper in a sentence; "" for none."""
    if not tapers:
        return ""
    worst = max(tapers, key=lambda t: t.runs_out_mm)
    (x0, y0), (x1, y1) = worst.edge
    long = float(np.hypot(x1 - x0, y1 - y0)) / 1000
    where = "at the start wall" if worst.at_start else f"in row {worst.row}"
    what = (
        f"the rows from {worst.row} on end in tips" if worst.crosses else f"the cut tapers {where}"
    )
    return f"A wall runs {worst.runs_out_mm:.0f} mm out of line with the rows over {long:.2f} m: {what}."
