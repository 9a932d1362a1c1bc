"""The run limit: a floor longer than the rule set allows is cut by straight movement joints.

The floor is measured wall to wall in the direction of the rows and across them. It gets the fewest
joints that the limit allows, each at a neck where there is one within reach, else in equal parts.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Origin, Point
from importer.tolerance import (
    AREA_MM2,
    GRID_MM,
    LENGTH_MM,
    SAME_POINT_MM,
    SLIVER_WIDTH_MM,
    area_slack,
)
from layout.bay_chords import Chords, chords_of, edge_ends
from layout.bay_error import not_laid
from layout.frame import Frame
from layout.rules import LimitRules

NECK_SHARE: Final = 0.75
"""A place narrower than this share of the floor's mean width is a neck (own judgement)."""
OFF_STEP_MM: Final = 300.0
"""A joint keeps this far off a step of the wall, or lies on it: no narrow stub beside it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCut:
    """A straight joint across the floor, and why it is there."""

    line: tuple[Point, Point]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CutFloor:
    """The outlines that the limits leave, in laying order along, then across; and the joints."""

    parts: tuple[Polygon, ...]
    cuts: tuple[LimitCut, ...]


def is_within(outline: Polygon, along: Point, limits: LimitRules) -> bool:
    """Whether a floor with rows in that direction needs no joint."""
    x0, y0, x1, y1 = _frame(along).to_bay(outline).bounds
    return bool(x1 - x0 <= limits.run + LENGTH_MM and y1 - y0 <= limits.across + LENGTH_MM)


def cut_at_limits(outline: Polygon, along: Point, limits: LimitRules) -> CutFloor:
    """Cut an outline (near the origin) where it exceeds the limits for rows `along` (unit vector)."""
    if is_within(outline, along, limits):
        return CutFloor(parts=(outline,), cuts=())
    frame = _frame(along)
    shape = frame.to_bay(outline)
    bands, across_cuts = _cut(shape, limits.run, "along the rows")
    parts: list[Polygon] = []
    cuts = list(across_cuts)
    for band in bands:
        pieces, more = _cut(_swapped(band), limits.across, "across the rows")
        parts.extend(_swapped(p) for p in pieces)
        cuts.extend(_swapped_cut(c) for c in more)
    return CutFloor(
        parts=tuple(shapely.orient_polygons(frame.to_plan(p)) for p in parts),
        cuts=tuple(
            LimitCut(
                line=(frame.point_to_plan(c.line[0]), frame.point_to_plan(c.line[1])), why=c.why
            )
            for c in cuts
        ),
    )


def _frame(along: Point) -> Frame:
    return Frame(origin=(0.0, 0.0), along=along)


def _swapped(shape: Polygon) -> Polygon:
    other: Polygon = shapely.transform(shape, lambda c: c[:, ::-1])
    return other


def _swapped_cut(cut: LimitCut) -> LimitCut:
    (x0, y0), (x1, y1) = cut.line
    return LimitCut(line=((y0, x0), (y1, x1)), why=cut.why)


def _cut(shape: Polygon, limit: float, way: str) -> tuple[list[Polygon], list[LimitCut]]:
    """Cut by upright lines into parts no longer in x than `limit`."""
    x0, y0, x1, y1 = shape.bounds
    if x1 - x0 <= limit + LENGTH_MM:
        return [shape], []
    places = _places(chords_of(shape), limit)
    reason = (
        f"The floor would run {(x1 - x0) / 1000:.2f} m {way}; "
        f"{limit / 1000:g} m are allowed without a joint."
    )
    edges = [x0 - 1.0, *(p for p, _ in places), x1 + 1.0]
    bands = []
    for low, high in pairwise(edges):
        box = shapely.box(low, y0 - 1.0, high, y1 + 1.0)
        bands.append(_polygons(shapely.intersection(shape, box, grid_size=GRID_MM)))
    parts = [p for band in bands for p in band]
    if abs(sum(p.area for p in parts) - shape.area) > area_slack(shape.area):
        what = "A floor longer than the limit could not be cut."
        raise not_laid("LAY-123", what, Origin(), "Redraw the outline of the room more simply.")
    cuts: list[LimitCut] = []
    for (place, is_neck), before, after in zip(places, bands[:-1], bands[1:], strict=True):
        why = f"{reason} Placed at the narrowest part." if is_neck else reason
        # On a step of the wall only the stretch with floor on both sides is a joint.
        for low, high in _common(_sides_at(place, before), _sides_at(place, after)):
            cuts.append(LimitCut(line=((place, low), (place, high)), why=why))
    return parts, cuts


def _polygons(band: shapely.Geometry) -> list[Polygon]:
    """The floor of a band, lowest first, without the wall faces that its sides run along."""
    found = [p for p in shapely.get_parts(band) if isinstance(p, Polygon) and p.area > AREA_MM2]
    return sorted(found, key=lambda p: round(p.bounds[1]))


def _sides_at(place: float, band: Sequence[Polygon]) -> list[tuple[float, float]]:
    """Stretches of the band's boundary that lie on the upright line at `place`, from below."""
    ends = np.vstack([edge_ends(p) for p in band])
    on = (np.abs(ends[:, [0, 2]] - place) <= SAME_POINT_MM).all(axis=1)
    y = np.sort(ends[on][:, [1, 3]], axis=1)
    joined: list[tuple[float, float]] = []
    for low, high in sorted(map(tuple, y.tolist())):
        if joined and low <= joined[-1][1] + SAME_POINT_MM:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined


def _common(
    before: Sequence[tuple[float, float]], after: Sequence[tuple[float, float]]
) -> Iterable[tuple[float, float]]:
    """Stretches in both lists, none shorter than a sliver."""
    for a, b in before:
        for c, d in after:
            low, high = max(a, c), min(b, d)
            if high - low > SLIVER_WIDTH_MM:
                yield low, high


def _places(chords: Chords, limit: float) -> list[tuple[float, bool]]:
    """Abscissae of the cuts, and whether each lies at a neck."""
    start, end = float(chords.x[0]), float(chords.x[-1])
    parts = ceil((end - start - LENGTH_MM) / limit)
    found: list[tuple[float, bool]] = []
    last = start
    for k in range(1, parts):
        equal = start + k * (end - start) / parts
        low = max(last + SLIVER_WIDTH_MM, end - (parts - k) * limit)
        high = min(last + limit, end - (parts - k) * SLIVER_WIDTH_MM)
        equal = min(max(equal, low), high)
        place, is_neck = _best_place(chords, low, high, equal)
        found.append((place, is_neck))
        last = place
    return found


def _best_place(chords: Chords, low: float, high: float, equal: float) -> tuple[float, bool]:
    """The narrowest place in [low, high] if it is a neck, nearest to the equal part; else the equal
    part, kept off steps.
    """
    if high - low <= SLIVER_WIDTH_MM:
        return equal, False
    part = chords.part(low, high)
    middle = (part.x[:-1] + part.x[1:]) / 2
    height = np.maximum(part.start, part.end)
    height[np.diff(part.x) <= 2 * SLIVER_WIDTH_MM] = np.inf
    best = int(np.lexsort((np.abs(middle - equal), np.round(height)))[0])
    if height[best] <= NECK_SHARE * chords.area / (chords.x[-1] - chords.x[0]):
        margin = min(OFF_STEP_MM, float(part.x[best + 1] - part.x[best]) / 2)
        return float(np.clip(equal, part.x[best] + margin, part.x[best + 1] - margin)), True
    steps = part.x[1:-1][np.abs(part.x[1:-1] - equal) < OFF_STEP_MM]
    if len(steps):
        return float(steps[np.argmin(np.abs(steps - equal))]), False
    return equal, False
