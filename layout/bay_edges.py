"""The edges of a floor that run with the rows, and how much a sliver at each would matter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import radians, tan
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import Plan
from importer.tolerance import LENGTH_MM, PARALLEL_DEG, SLIVER_WIDTH_MM
from layout.directions import STRAIGHT_MM
from layout.floor import Bay, EdgeStrip, Frame, SettingOut
from layout.row_grid import GridEdge, SiteSlack, strip_width
from layout.rules import RuleSet

Floats = NDArray[np.float64]

JAMB_WEIGHT: Final = 3.0
"""A sliver in a doorway lies in full view and is walked on (own judgement)."""
OBSTACLE_WEIGHT: Final = 0.5
"""Beside a column or unit a sliver shows little (own judgement)."""
TONGUE_MM: Final = 300.0
"""An edge shorter than this leaves a tongue, not a row; common practice, no source."""
TONGUE_WIDTH_MM: Final = 30.0
"""Least width beside such an edge (a tongue breaks when thinner); common practice, no source."""
NIB_MM: Final = 20.0
"""Edges up to this length are roundings and nibs: nothing there could be a strip."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What the edges of a bay may belong to besides walls. Plan frame, or the bay frame once
    `seen_from` has turned it; empty where there is none.
    """

    doorways: MultiPolygon
    obstacles: MultiPolygon
    walls: BaseGeometry
    gap_mm: float

    @classmethod
    def of(cls, bay: Bay, plan: Plan) -> Surroundings:
        """The doorways of the bay's rooms, the obstacles by its outline, the rooms' own boundaries."""
        inside = set(bay.rooms)
        doorways = [d.shape for d in plan.doorways if not inside.isdisjoint(d.rooms)]
        rooms = [r.shape.boundary for r in plan.rooms if r.id in inside]
        obstacles = [o.shape for o in plan.obstacles if o.storey == bay.storey]
        if obstacles:
            box = shapely.bounds(np.asarray(obstacles, dtype=object))
            x0, y0, x1, y1 = bay.outline.bounds
            beside = (box[:, 0] <= x1) & (box[:, 2] >= x0) & (box[:, 1] <= y1) & (box[:, 3] >= y0)
            obstacles = [o for o, near in zip(obstacles, beside.tolist(), strict=True) if near]
        return cls(
            doorways=MultiPolygon(doorways),
            obstacles=MultiPolygon(obstacles),
            walls=shapely.GeometryCollection(rooms),
            gap_mm=bay.gap_mm,
        )

    def seen_from(self, frame: Frame) -> Surroundings:
        """The same in the bay frame."""
        return Surroundings(
            doorways=frame.to_bay(self.doorways),
            obstacles=frame.to_bay(self.obstacles),
            walls=frame.to_bay(self.walls),
            gap_mm=self.gap_mm,
        )

    def is_wall(self, places: Floats) -> NDArray[np.bool_]:
        """Whether places (n, 2) on an outline lie on a room's wall: not on a joint line."""
        off = np.asarray(shapely.distance(shapely.points(places), self.walls))
        return off <= SLIVER_WIDTH_MM

    def weights(self, middles: Floats, *, hole: bool) -> Floats:
        """How much a sliver matters at edges of the floor with these middles (n, 2)."""
        dots = shapely.points(middles)
        weight = np.full(len(middles), OBSTACLE_WEIGHT if hole else 1.0)
        if not self.obstacles.is_empty:
            by_obstacle = shapely.distance(dots, self.obstacles) <= 1.5 * self.gap_mm + 1.0
            weight[by_obstacle] = OBSTACLE_WEIGHT
        if not self.doorways.is_empty:
            in_doorway = shapely.distance(dots, self.doorways) <= SLIVER_WIDTH_MM
            weight[in_doorway] = JAMB_WEIGHT
        return weight


def grid_edges(floor: Polygon, around: Surroundings, min_width: float) -> tuple[GridEdge, ...]:
    """Edges of the floor (bay frame, shell counter-clockwise) within 3 degrees of the rows, stretches
    that continue each other as one; weight is length times what stands there.
    """
    found: list[GridEdge] = []
    for number, ring in enumerate((floor.exterior, *floor.interiors)):
        stretches = _stretches(shapely.get_coordinates(ring))
        if not stretches:
            continue
        boxes = np.array([box for box, _ in stretches])
        middles = np.column_stack([boxes[:, [0, 2]].mean(axis=1), boxes[:, [1, 3]].mean(axis=1)])
        weights = around.weights(middles, hole=number > 0)
        for (box, above), weight in zip(stretches, weights.tolist(), strict=True):
            x0, low, x1, high = box
            found.append(
                GridEdge(
                    x0=x0,
                    x1=x1,
                    low=low,
                    high=high,
                    floor_above=above,
                    weight=weight * (x1 - x0),
                    least_mm=least_strip(x1 - x0, min_width),
                )
            )
    return tuple(sorted(found, key=lambda e: (e.low, e.x0, e.high, e.x1)))


def least_strip(length: float, min_width: float) -> float:
    """Least width of the strip beside an edge of that length."""
    return min(min_width, TONGUE_WIDTH_MM) if length < TONGUE_MM else min_width


def _stretches(points: Floats) -> list[tuple[tuple[float, float, float, float], bool]]:
    """Bounding box of every stretch of a ring that runs with the rows, and whether the floor is above
    it (the ring has the floor on its left, so it is above an edge that runs towards +x).
    """
    dx, dy = np.diff(points, axis=0).T
    level = np.abs(dy) <= tan(radians(PARALLEL_DEG)) * np.abs(dx)
    way = np.where(level, np.sign(dx), 0.0)
    breaks = np.flatnonzero(way != np.roll(way, 1))
    if len(breaks) == 0:
        return []
    found = []
    for start, stop in zip(breaks, np.append(breaks[1:], breaks[0] + len(way)), strict=True):
        if way[start] == 0.0:
            continue
        on = points[np.arange(start, stop + 1) % len(way)]
        (x0, y0), (x1, y1) = on.min(axis=0), on.max(axis=0)
        if x1 - x0 > NIB_MM:
            found.append(((float(x0), float(y0), float(x1), float(y1)), bool(way[start] > 0)))
    return found


def strips_at(edges: Sequence[GridEdge], phase: float, width: float) -> tuple[EdgeStrip, ...]:
    """What every edge is left with on given row lines, planks `width` wide."""
    return tuple(
        EdgeStrip(
            x0=e.x0,
            x1=e.x1,
            y_low=e.low,
            y_high=e.high,
            floor_above=e.floor_above,
            width_mm=strip_width(e, phase, width),
        )
        for e in edges
    )


def edge_rows(
    strips: Sequence[EdgeStrip], floor: Polygon, phase: float, width: float
) -> tuple[float, float]:
    """Narrowest widths of the starter row at its wall and of the last row at the wall opposite; floor in
    the bay frame.
    """
    starts = [s for s in strips if s.floor_above and abs(s.y_low) <= STRAIGHT_MM]
    first = max(starts, key=lambda s: s.x1 - s.x0, default=None)
    closing = [s for s in strips if not s.floor_above and s.x1 - s.x0 >= TONGUE_MM]
    last = max(closing, key=lambda s: (round(s.y_high), s.x1 - s.x0), default=None)
    _, low, _, high = floor.bounds
    return (
        first.width_mm if first else phase - max(low, 0.0),
        last.width_mm if last else (high - phase) % width or width,
    )


def site_slack(rules: RuleSet) -> SiteSlack:
    """By how much the site may differ under a rule set, and what the cover hides of it."""
    return SiteSlack(tolerance=rules.site.tolerance, hidden=rules.gap.cover - rules.gap.wall)


def thin_strips(setting_out: SettingOut, rules: RuleSet) -> int:
    """How many edges a row grid leaves a strip below the least width at."""
    return sum(
        s.width_mm < least_strip(s.x1 - s.x0, rules.rows.min_width) - LENGTH_MM
        for s in setting_out.strips
    )
