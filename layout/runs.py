"""The row grid cut by the floor: runs, the seams they share, and what that asks of the solver.

Each row is one clip of the floor by a rectangle. Where a wall face lies on a row line (which is what a
good grid does) the clip parts what only meets along the line, so no run hangs together by a strip of no
height. Bay frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from math import floor as round_down
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from importer.plan import Origin
from importer.tolerance import (
    AREA_MM2,
    GRID_MM,
    LENGTH_MM,
    SAME_POINT_MM,
    SLIVER_WIDTH_MM,
    area_slack,
)
from layout.bay_breadths import breadths_of
from layout.bay_chords import Chords, chords_of
from layout.bay_error import not_laid
from layout.demand import BayDemand, RunDemand, StockRules
from layout.floor import Run, SettingOut, Touch
from layout.row_grid import rows_between
from layout.rules import RuleSet

Floats = NDArray[np.float64]

STEP_MM: Final = 1.0
"""Lengths of an end piece that are tried: no fitter measures finer."""


def cut_runs(
    floor: Polygon, setting_out: SettingOut, rules: RuleSet
) -> tuple[tuple[Run, ...], tuple[Touch, ...]]:
    """The runs of a floor (bay frame), in the order row, then x, and where they touch.

    Raises:
        LayoutError: runs and floor are not the same area: the outline is not to be trusted.
    """
    width = rules.plank.width
    _, low, _, high = floor.bounds
    first = round_down((low - setting_out.phase_mm + LENGTH_MM) / width)
    count = rows_between((low, high), setting_out.phase_mm, width)
    runs: list[Run] = []
    dropped = 0.0
    for k in range(first, first + count):
        bottom, top = row_lines(setting_out.phase_mm, width, k, first, first + count - 1, floor)
        parts, lost = _row_parts(floor, bottom, top)
        dropped += lost
        for shape in parts:
            runs.append(_run(shape, len(runs), row_number(k), rules))
    _assert_same_area(floor, runs, dropped)
    touches = touches_of(runs)
    above = {t.below for t in touches}
    below = {t.above for t in touches}
    return (
        tuple(
            replace(r, touches_above=r.index in above, touches_below=r.index in below) for r in runs
        ),
        touches,
    )


def row_number(k: int) -> int:
    """Number of the row between row lines k and k + 1: 1 for the starter row below line 0 (k = -1), no
    row 0.
    """
    return k + 2 if k >= -1 else k + 1


def row_lines(
    phase: float, width: float, k: int, first: int, last: int, floor: Polygon
) -> tuple[float, float]:
    """The row lines below and above row k; the outermost are moved out to the floor's edge, so that a
    floor that ends a hair beyond a row line leaves nothing bare there.
    """
    _, low, _, high = floor.bounds
    bottom, top = phase + k * width, phase + (k + 1) * width
    if k == first:
        bottom = min(bottom, low)
    if k == last:
        top = max(top, high)
    return bottom, top


def _row_parts(floor: Polygon, bottom: float, top: float) -> tuple[list[Polygon], float]:
    """The floor between two row lines from left to right, and the area of what is noise there."""
    x0, _, x1, _ = floor.bounds
    strip = shapely.clip_by_rect(floor, x0 - 1.0, bottom, x1 + 1.0, top)
    if not strip.is_valid:
        row = shapely.box(x0 - 1.0, bottom, x1 + 1.0, top)
        strip = shapely.intersection(floor, row, grid_size=GRID_MM)
    parts: list[Polygon] = []
    lost = 0.0
    for part in shapely.get_parts(strip):
        if isinstance(part, Polygon):
            if _is_noise(part):
                lost += part.area
            else:
                parts.append(part)
    parts.sort(key=lambda p: (p.bounds[0], p.bounds[1]))
    return parts, lost


def _is_noise(part: Polygon) -> bool:
    """Too thin to saw, or less than the eye can see."""
    x0, y0, x1, y1 = part.bounds
    return part.area <= AREA_MM2 or min(x1 - x0, y1 - y0) <= SLIVER_WIDTH_MM


def _run(shape: Polygon, index: int, row: int, rules: RuleSet) -> Run:
    x0, y0, x1, y1 = shape.bounds
    start = end = 0.0
    if shape.area < (x1 - x0) * (y1 - y0) - AREA_MM2:
        least = rules.ends.min_length + rules.site.tolerance
        start, end = end_voids(chords_of(shape), rules.plank.length, least)
    return Run(
        index=index,
        row=row,
        shape=shape,
        x0=x0,
        x1=x1,
        y0=y0,
        y1=y1,
        void_start_mm=start,
        void_end_mm=end,
    )


def end_voids(chords: Chords, plank: float, least: float) -> tuple[float, float]:
    """By how much more than `least` the first and the last piece of a run must reach along the row so
    that they are worth it: area / widest height at least `least`, and for every longer piece too.

    On a straight slant that is half its run; on steps and notches it is exact at `least` and on the safe
    side for smaller lengths, since a piece never gains more in mean length than in length.
    """
    x0, x1 = float(chords.x[0]), float(chords.x[-1])
    reach = min(plank, x1 - x0)
    turned = Chords(x=-chords.x[::-1], start=chords.end[::-1], end=chords.start[::-1])
    return _void(chords.part(x0, x0 + reach), least), _void(turned.part(-x1, -x1 + reach), least)


def _void(end: Chords, least: float) -> float:
    reach = end.x - end.x[0]
    if reach[-1] <= least:
        return float(max(0.0, reach[-1] - end.area / end.widest))
    lengths = np.append(np.arange(least, reach[-1], STEP_MM), reach[-1])
    i = np.clip(np.searchsorted(reach, lengths, side="right") - 1, 0, len(end.start) - 1)
    within = lengths - reach[i]
    height = end.start[i] + within * (end.end[i] - end.start[i]) / (reach[i + 1] - reach[i])
    areas = np.diff(reach) * (end.start + end.end) / 2
    area = np.concatenate([[0.0], np.cumsum(areas)])[i] + within * (end.start[i] + height) / 2
    highest = np.maximum.accumulate(np.maximum(end.start, end.end))
    before = np.concatenate([[0.0], highest])[i]
    mean = area / np.maximum(np.maximum(before, end.start[i]), height)
    failing = np.flatnonzero(mean < least - GRID_MM)
    if len(failing) == 0:
        return 0.0
    last = int(failing[-1])
    if last == len(lengths) - 1:
        # Not even a whole plank is worth it: what that lacks.
        return float(lengths[last] - mean[last])
    share = (least - mean[last]) / (mean[last + 1] - mean[last])
    return float(lengths[last] + share * (lengths[last + 1] - lengths[last]) - least)


def _assert_same_area(floor: Polygon, runs: Sequence[Run], dropped: float) -> None:
    difference = abs(floor.area - dropped - sum(r.shape.area for r in runs))
    if difference > area_slack(floor.area):
        what = f"The rows differ from the floor by {difference:.0f} mm2."
        raise not_laid("LAY-128", what, Origin(), "Redraw the outline of the room more simply.")


# --- seams --------------------------------------------------------------------------------------


def touches_of(runs: Sequence[Run]) -> tuple[Touch, ...]:
    """Shared stretches of the row lines: upper edges of one row on lower edges of the next."""
    tops, bottoms = _levels(runs)
    found: list[Touch] = []
    below: dict[float, list[tuple[float, float, int]]] = {}
    for y, x0, x1, run in bottoms:
        below.setdefault(y, []).append((x0, x1, run))
    above: dict[float, list[tuple[float, float, int]]] = {}
    for y, x0, x1, run in tops:
        above.setdefault(y, []).append((x0, x1, run))
    for y in sorted(above.keys() & below.keys()):
        found.extend(_shared(sorted(above[y]), sorted(below[y])))
    return tuple(sorted(_joined(found), key=lambda t: (t.below, t.above, t.x0)))


def _levels(
    runs: Sequence[Run],
) -> tuple[list[tuple[float, float, float, int]], list[tuple[float, float, float, int]]]:
    """(row line, x0, x1, run) of the upper and of the lower edges that lie on row lines."""
    shapes = shapely.orient_polygons(np.asarray([r.shape for r in runs], dtype=object))
    rings, ring_of = shapely.get_rings(shapes, return_index=True)
    points, point_of = shapely.get_coordinates(rings, return_index=True)
    same = point_of[1:] == point_of[:-1]
    a, b, run = points[:-1][same], points[1:][same], ring_of[point_of[1:][same]]
    level = np.abs(a[:, 1] - b[:, 1]) <= GRID_MM
    a, b, run = a[level], b[level], run[level]
    y0 = np.array([r.y0 for r in runs])[run]
    y1 = np.array([r.y1 for r in runs])[run]
    top = (b[:, 0] < a[:, 0]) & (np.abs(a[:, 1] - y1) <= GRID_MM)
    bottom = (b[:, 0] > a[:, 0]) & (np.abs(a[:, 1] - y0) <= GRID_MM)

    def rows(mask: NDArray[np.bool_], y: Floats) -> list[tuple[float, float, float, int]]:
        low, high = np.minimum(a[mask, 0], b[mask, 0]), np.maximum(a[mask, 0], b[mask, 0])
        line = np.round(y[mask], 3)
        return list(
            zip(line.tolist(), low.tolist(), high.tolist(), run[mask].tolist(), strict=True)
        )

    return rows(top, y1), rows(bottom, y0)


def _shared(
    lower: Sequence[tuple[float, float, int]], upper: Sequence[tuple[float, float, int]]
) -> Iterable[Touch]:
    """Overlaps of the stretches on one line; both lists sorted, stretches of one list disjoint."""
    i = j = 0
    while i < len(lower) and j < len(upper):
        x0, x1 = max(lower[i][0], upper[j][0]), min(lower[i][1], upper[j][1])
        if x1 - x0 > SAME_POINT_MM:
            yield Touch(below=lower[i][2], above=upper[j][2], x0=x0, x1=x1)
        if lower[i][1] <= upper[j][1]:
            i += 1
        else:
            j += 1


def _joined(touches: Iterable[Touch]) -> list[Touch]:
    """Stretches of one pair that continue each other as one; what is no longer than a sliver left
    out, since nothing locks there.
    """
    joined: list[Touch] = []
    for t in sorted(touches, key=lambda t: (t.below, t.above, t.x0)):
        last = joined[-1] if joined else None
        if last and (last.below, last.above) == (t.below, t.above) and t.x0 - last.x1 <= LENGTH_MM:
            joined[-1] = replace(last, x1=max(last.x1, t.x1))
        else:
            joined.append(t)
    return [t for t in joined if t.x1 - t.x0 > SLIVER_WIDTH_MM]


# --- what the solver is asked -------------------------------------------------------------------


def demand(bay_runs: Sequence[Run], touches: Sequence[Touch], rules: RuleSet) -> BayDemand:
    """The joint and stock problem of these runs."""
    seams: dict[int, list[Touch]] = {r.index: [] for r in bay_runs}
    for touch in touches:
        seams[touch.below].append(touch)
        seams[touch.above].append(touch)
    return BayDemand(
        runs=tuple(
            RunDemand(
                index=r.index,
                row=r.row,
                x0=r.x0,
                x1=r.x1,
                void_start_mm=r.void_start_mm,
                void_end_mm=r.void_end_mm,
                width_mm=min(r.y1 - r.y0, rules.plank.width),
                keeps_near=r.touches_below,
                keeps_far=r.touches_above,
                breadths=breadths_of(r, seams[r.index], rules.plank.width),
            )
            for r in bay_runs
        ),
        touches=tuple(touches),
        stock=stock_rules(rules),
        min_length=rules.ends.min_length,
        never_below=rules.never_below_mm,
        min_offset=rules.joints.min_offset,
        bond=rules.joints.bond,
    )


def stock_rules(rules: RuleSet) -> StockRules:
    """The numbers that cutting planks needs."""
    return StockRules(
        plank_length=rules.plank.length,
        plank_width=rules.plank.width,
        kerf=rules.cut.kerf,
        keep_offcut=rules.cut.keep_offcut,
        tolerance=rules.site.tolerance,
    )
