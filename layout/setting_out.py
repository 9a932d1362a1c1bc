"""Direction, start wall, datum line and row grid of a bay.

plan frame                      bay frame (facing the start wall, rows run left to right)
+---------------+                 y
|   bay         |   start wall    ^  row 2
|               |   ==========>   |  ------------- datum: the line between row 1 and row 2
+===============+                 |  row 1
                                  +-------------> x, along the rows, in laying order
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Origin, Plan, Point
from importer.tolerance import PARALLEL_DEG, SAME_POINT_MM, SLIVER_WIDTH_MM, area_slack
from layout.bay_edges import TONGUE_MM, Surroundings, grid_edges
from layout.bay_error import not_laid
from layout.bay_limits import is_within
from layout.bay_near import moved, near_origin
from layout.directions import (
    STRAIGHT_MM,
    Direction,
    Wall,
    between_deg,
    directions_for,
    turned,
    walls_of,
)
from layout.floor import Bay, EdgeStrip, Frame, SettingOut
from layout.row_grid import GridEdge, RowGrid, SiteSlack, best_grid, strip_width
from layout.rules import Hand, RuleSet

TAPERED_START: Final = 0.9
"""A start wall that is not quite parallel to the rows counts so much: its first row tapers, and the
taper shows less at the end of the work (own judgement)."""
JOINT_AS_START: Final = 0.5
"""A joint line as the start counts so much: there is no wall to set the rows from (own judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Start:
    """A wall to start from: its stretch in the frame of the direction, and how good it is. Equally good
    walls are told apart by where the room lies from them, which stays when a drawing is turned.
    """

    wall: Wall
    floor_above: bool
    score: float
    room_at: Point = (0.0, 0.0)

    @property
    def rank(self) -> tuple[float, float, float]:
        """The greatest is the best."""
        return round(self.score), round(self.room_at[1], 1), round(self.room_at[0], 1)


def set_out(bay: Bay, plan: Plan, rules: RuleSet) -> tuple[SettingOut, ...]:
    """Ways to set the bay out, the one that the rule set asks for first; with `fewest-planks` every
    direction worth trying. Directions in which the bay exceeds the limits are left out, unless it is the
    only one.

    Raises:
        LayoutError: the bay has no floor to set out.
    """
    rooms = [r for r in plan.rooms if r.id in bay.rooms]
    directions = directions_for(rooms, plan, rules)
    origin = near_origin([bay.outline])
    outline = moved(bay.outline, origin)
    fitting = [d for d in directions if is_within(outline, d.along, rules.limits)]
    around = Surroundings.of(bay, plan)
    return tuple(_along(bay, d, around, rules) for d in fitting or directions[:1])


def set_out_across(bay: Bay, plan: Plan, rules: RuleSet, chosen: SettingOut) -> SettingOut | None:
    """The same at right angles to a setting-out, for its figures; None where the limits forbid it."""
    way = Direction(along=turned(chosen.frame.along), why="At right angles to that.")
    outline = moved(bay.outline, near_origin([bay.outline]))
    if not is_within(outline, way.along, rules.limits):
        return None
    return _along(bay, way, Surroundings.of(bay, plan), rules)


def _along(bay: Bay, way: Direction, around: Surroundings, rules: RuleSet) -> SettingOut:
    base = Frame(origin=near_origin([bay.outline]), along=way.along)
    start = _start_wall(bay, base, around, rules)
    frame = _frame(bay, base, start, rules)
    floor = floor_in(bay, frame)
    edges = grid_edges(floor, around.seen_from(frame), rules.rows.min_width)
    _, low, _, high = floor.bounds
    width = rules.plank.width
    grid = best_grid(
        edges,
        width=width,
        slack=SiteSlack(tolerance=rules.site.tolerance, hidden=rules.gap.cover - rules.gap.wall),
        extent=(low, high),
    )
    reference = _reference(base, frame, start)
    datum, offsets = _datum(frame, reference, grid.phase_mm)
    first, last = _edge_rows(edges, floor, grid, width)
    return SettingOut(
        frame=frame,
        phase_mm=grid.phase_mm,
        first_row_mm=first,
        last_row_mm=last,
        slack_mm=grid.slack_mm,
        reference=reference,
        datum=datum,
        datum_offset_mm=offsets,
        strips=_strips(edges, grid, width),
        why=_why(way, first, last, grid, edges),
    )


def floor_in(bay: Bay, frame: Frame) -> Polygon:
    """The bay's floor in the bay frame, snapped so that faces on row lines lie on them exactly. Where
    snapping would harm a thin part the floor stays as it is.

    Raises:
        LayoutError: the bay has no floor.
    """
    floor = frame.to_bay(bay.floor)
    snapped = shapely.set_precision(floor, SAME_POINT_MM)
    if isinstance(snapped, Polygon) and abs(snapped.area - floor.area) <= area_slack(floor.area):
        floor = snapped
    if not floor.is_valid or floor.area <= 0.0:
        what = f"The floor of {bay.name} is not a simple outline."
        raise not_laid("LAY-127", what, Origin(), "Redraw the outline of the room.")
    return shapely.orient_polygons(floor)


# --- start wall and frame -----------------------------------------------------------------------


def _start_wall(bay: Bay, base: Frame, around: Surroundings, rules: RuleSet) -> _Start:
    """The best wall to start from: long, with little floor behind it, exactly parallel to the rows so
    that the first row does not taper, and a wall rather than a joint line.
    """
    outline = base.to_bay(bay.outline)
    walls = [w for w in walls_of([outline]) if between_deg(w.along, (1.0, 0.0)) <= PARALLEL_DEG]
    if not walls:
        x0, y0, x1, _ = outline.bounds
        return _Start(
            wall=Wall(start=(x0, y0), end=(x1, y0), built_mm=x1 - x0), floor_above=True, score=0.0
        )
    places = np.array([_just_on(w) for w in walls])
    is_wall = around.seen_from(base).is_wall(places).tolist()
    starts = []
    for wall, real in zip(walls, is_wall, strict=True):
        above = wall.end[0] > wall.start[0]
        taper = abs(wall.end[1] - wall.start[1])
        score = wall.built_mm * (1.0 - _share_behind(outline, wall, rules.plank.width, above=above))
        score *= (1.0 if real else JOINT_AS_START) * (
            1.0 if taper <= STRAIGHT_MM else TAPERED_START
        )
        starts.append(
            _Start(wall=wall, floor_above=above, score=score, room_at=_room_from(wall, outline))
        )
    return max(starts, key=lambda s: s.rank)


def _room_from(wall: Wall, outline: Polygon) -> Point:
    """The centre of the room as seen from the middle of the wall: along it, and off it."""
    ux, uy = wall.along
    dx = outline.centroid.x - (wall.start[0] + wall.end[0]) / 2
    dy = outline.centroid.y - (wall.start[1] + wall.end[1]) / 2
    return dx * ux + dy * uy, dy * ux - dx * uy


def _just_on(wall: Wall) -> Point:
    """A place on the first stretch of a wall, just past its start."""
    ux, uy = wall.along
    step = min(SLIVER_WIDTH_MM * 2, wall.built_mm / 2)
    return wall.start[0] + ux * step, wall.start[1] + uy * step


def _share_behind(outline: Polygon, wall: Wall, width: float, *, above: bool) -> float:
    """Share of the bay more than a row behind the wall: it would be laid in reverse."""
    x0, y0, x1, y1 = outline.bounds
    line = (
        min(wall.start[1], wall.end[1]) - width
        if above
        else max(wall.start[1], wall.end[1]) + width
    )
    if (line <= y0) if above else (line >= y1):
        return 0.0
    low, high = (y0 - 1.0, line) if above else (line, y1 + 1.0)
    behind = shapely.clip_by_rect(outline, x0 - 1.0, low, x1 + 1.0, high)
    return float(behind.area / outline.area)


def _frame(bay: Bay, base: Frame, start: _Start, rules: RuleSet) -> Frame:
    """The bay frame: y = 0 where the floor begins at the start wall, x = 0 where it begins at all."""
    ax, ay = base.across
    nx, ny = (ax, ay) if start.floor_above else (-ax, -ay)
    mirrored = rules.plank.lay is Hand.LEFT_TO_RIGHT
    # Adding nought turns a negative nought, which would be printed, into a plain one.
    along = (0.0 - ny, nx + 0.0) if mirrored else (ny + 0.0, 0.0 - nx)
    rough = Frame(origin=base.origin, along=along, mirrored=mirrored)
    ends = [rough.point_to_bay(base.point_to_plan(p)) for p in (start.wall.start, start.wall.end)]
    left = rough.to_bay(bay.floor).bounds[0]
    origin = rough.point_to_plan((left, min(y for _, y in ends) + bay.gap_mm))
    return Frame(origin=origin, along=along, mirrored=mirrored)


def _reference(base: Frame, frame: Frame, start: _Start) -> tuple[Point, Point]:
    """The start wall's stretch in the plan frame, in laying direction."""
    ends = [base.point_to_plan(p) for p in (start.wall.start, start.wall.end)]
    first, last = sorted(ends, key=lambda p: frame.point_to_bay(p)[0])
    return first, last


def _datum(
    frame: Frame, reference: tuple[Point, Point], phase: float
) -> tuple[tuple[Point, Point], tuple[float, float]]:
    """The line between the starter row and the second along the start wall, and its distances from
    the wall at both ends, at right angles to the rows.
    """
    (x0, y0), (x1, y1) = (frame.point_to_bay(p) for p in reference)
    line = frame.point_to_plan((x0, phase)), frame.point_to_plan((x1, phase))
    return line, (phase - y0, phase - y1)


# --- what the grid leaves -----------------------------------------------------------------------


def _edge_rows(
    edges: Sequence[GridEdge], floor: Polygon, grid: RowGrid, width: float
) -> tuple[float, float]:
    """Narrowest widths of the starter row at its wall and of the last row at the wall opposite."""
    starts = [e for e in edges if e.floor_above and abs(e.low) <= STRAIGHT_MM]
    first = max(starts, key=lambda e: e.x1 - e.x0, default=None)
    closing = [e for e in edges if not e.floor_above and e.x1 - e.x0 >= TONGUE_MM]
    last = max(closing, key=lambda e: (round(e.high), e.x1 - e.x0), default=None)
    _, low, _, high = floor.bounds
    return (
        strip_width(first, grid.phase_mm, width) if first else grid.phase_mm - max(low, 0.0),
        strip_width(last, grid.phase_mm, width)
        if last
        else (high - grid.phase_mm) % width or width,
    )


def _strips(edges: Sequence[GridEdge], grid: RowGrid, width: float) -> tuple[EdgeStrip, ...]:
    return tuple(
        EdgeStrip(
            x0=e.x0,
            x1=e.x1,
            y_low=e.low,
            y_high=e.high,
            floor_above=e.floor_above,
            width_mm=strip_width(e, grid.phase_mm, width),
        )
        for e in edges
    )


def _why(
    way: Direction, first: float, last: float, grid: RowGrid, edges: Sequence[GridEdge]
) -> str:
    """The choice in plain sentences."""
    said = [way.why]
    if abs(first - last) <= 0.5:
        said.append(f"First and last row equal, {first:.0f} mm.")
    else:
        said.append(f"First row {first:.0f} mm, last row {last:.0f} mm.")
    no_strip = "No other strip" if grid.unserved else "No strip"
    if grid.breached:
        n = len(grid.breached)
        places = "place" if n == 1 else "places"
        said.append(f"A strip below the least width at {n} {places}: no first row avoids it.")
    elif grid.slack_mm < 0:
        lacking = f"{-grid.slack_mm:.0f} mm of the site tolerance not in hand"
        said.append(f"{no_strip} below the least width as drawn, but {lacking}.")
    else:
        said.append(f"{no_strip} below the least width, {grid.slack_mm:.0f} mm in hand.")
    if grid.unserved:
        taper = max(edges[i].high - edges[i].low for i in grid.unserved)
        said.append(
            f"A wall runs {taper:.0f} mm out of line with the rows: its last rows taper out."
        )
    return " ".join(said)
