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
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely import Polygon

from importer.plan import Origin, Plan, Point
from importer.tolerance import SAME_POINT_MM, SQUARE_DEG, area_slack
from layout.bay_cells import is_within
from layout.bay_edges import Surroundings, edge_rows, grid_edges, site_slack, strips_at
from layout.bay_error import not_laid
from layout.bay_near import moved, near_origin
from layout.bay_start import StartWall, frame_from, start_walls
from layout.bay_tapers import taper_words, tapers_of
from layout.directions import (
    Direction,
    between_deg,
    directions_for,
    turned,
)
from layout.floor import Bay, Frame, SettingOut
from layout.row_grid import GridEdge, RowGrid, best_grid
from layout.rules import RuleSet
from layout.runs import cut_runs
from layout.sequence import lay_order

STARTS_TRIED: Final = 3
"""So many start walls are looked at where the best leaves something to be laid in reverse."""


def set_out(bay: Bay, plan: Plan, rules: RuleSet) -> tuple[SettingOut, ...]:
    """Ways to set the bay out, the one that the rule set asks for first; with `fewest-planks` every
    direction worth trying. Directions in which the bay exceeds the limits are left out, unless it is the
    only one.

    Raises:
        LayoutError: the bay has no floor to set out.
    """
    rooms = [r for r in plan.rooms if r.id in bay.rooms]
    directions = directions_for(rooms, plan, rules)
    if bay.along is not None:
        directions = (_as_beyond(bay.along, directions),)
    origin = near_origin([bay.outline])
    outline = moved(bay.outline, origin)
    fitting = [d for d in directions if is_within([outline], d.along, rules.limits)]
    around = Surroundings.of(bay, plan)
    return tuple(_along(bay, d, around, rules) for d in fitting or directions[:1])


def _as_beyond(along: Point, directions: Sequence[Direction]) -> Direction:
    """The direction that the floor had before it was broken, with its reason if this bay has it."""
    own = next((d for d in directions if between_deg(d.along, along) <= SQUARE_DEG), None)
    return Direction(along=along, why=own.why if own else "As in the floor beyond the joint.")


def set_out_across(bay: Bay, plan: Plan, rules: RuleSet, chosen: SettingOut) -> SettingOut | None:
    """The same at right angles to a setting-out, for its figures; None where the limits forbid it."""
    way = Direction(along=turned(chosen.frame.along), why="At right angles to that.")
    outline = moved(bay.outline, near_origin([bay.outline]))
    if not is_within([outline], way.along, rules.limits):
        return None
    return _along(bay, way, Surroundings.of(bay, plan), rules)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _View:
    """A bay seen from a start wall: its frame, the floor and its edges in that frame, the wall."""

    frame: Frame
    floor: Polygon
    edges: tuple[GridEdge, ...]
    reference: tuple[Point, Point]


def _along(bay: Bay, way: Direction, around: Surroundings, rules: RuleSet) -> SettingOut:
    """The setting-out from the best start wall. Walls are tried best first until one leaves nothing to
    be laid in reverse, which only the rows themselves can tell.
    """
    base = Frame(origin=near_origin([bay.outline]), along=way.along)
    tried: list[tuple[float, SettingOut]] = []
    for start in start_walls(bay, base, around, rules)[:STARTS_TRIED]:
        frame = frame_from(bay, base, start, rules)
        floor = floor_in(bay, frame)
        view = _View(
            frame=frame,
            floor=floor,
            edges=grid_edges(floor, around.seen_from(frame), rules.rows.min_width),
            reference=_reference(base, frame, start),
        )
        found = _from_wall(view, way, rules)
        behind = _share_reversed(floor, found, rules)
        tried.append((start.score_with(behind), found))
        if behind == 0.0:
            break
    return max(tried, key=lambda t: round(t[0]))[1]


def _share_reversed(floor: Polygon, setting_out: SettingOut, rules: RuleSet) -> float:
    """Share of the floor that is laid in reverse."""
    runs, touches = cut_runs(floor, setting_out, rules)
    order = lay_order(runs, touches)
    return sum(runs[i].shape.area for i in sorted(order.reversed_runs)) / floor.area


def _from_wall(view: _View, way: Direction, rules: RuleSet) -> SettingOut:
    """Row grid and datum from one start wall."""
    _, low, _, high = view.floor.bounds
    width = rules.plank.width
    grid = best_grid(
        view.edges,
        width=width,
        slack=site_slack(rules),
        extent=(low, high),
    )
    datum, offsets = _datum(view.frame, view.reference, grid.phase_mm)
    strips = strips_at(view.edges, grid.phase_mm, width)
    first, last = edge_rows(strips, view.floor, grid.phase_mm, width)
    found = SettingOut(
        frame=view.frame,
        phase_mm=grid.phase_mm,
        first_row_mm=first,
        last_row_mm=last,
        slack_mm=grid.slack_mm,
        reference=view.reference,
        datum=datum,
        datum_offset_mm=offsets,
        strips=strips,
        why=_why(way, first, last, grid),
    )
    tapers = tapers_of(found, view.floor, width)
    said = f"{found.why} {taper_words(tapers)}".rstrip()
    return replace(found, tapers=tapers, why=said)


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


def edges_in(bay: Bay, plan: Plan, frame: Frame, rules: RuleSet) -> tuple[GridEdge, ...]:
    """The edges of a bay's floor that run with the rows, in the bay frame.

    Raises:
        LayoutError: the bay has no floor.
    """
    around = Surroundings.of(bay, plan).seen_from(frame)
    return grid_edges(floor_in(bay, frame), around, rules.rows.min_width)


# --- datum --------------------------------------------------------------------------------------


def _reference(base: Frame, frame: Frame, start: StartWall) -> tuple[Point, Point]:
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


def _why(way: Direction, first: float, last: float, grid: RowGrid) -> str:
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
    return " ".join(said)
