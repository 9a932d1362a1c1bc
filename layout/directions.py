"""Which way the rows run: along a real wall, never along a bounding box.

A room out of square has no bounding box worth following, and one built-in cupboard turns the box of
smallest area by degrees. So the straight walls are found first (collinear stretches are one wall,
niches and doorways between them notwithstanding) and a direction is one of theirs, or what the rule
set says outright.

Directions are unit vectors in the plan frame; rows have no sense yet, so angles are modulo 180.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from importer.plan import Doorway, Plan, Point, Room, RoomId
from importer.tolerance import PARALLEL_DEG, SAME_POINT_MM, SQUARE_DEG
from layout.bay_chords import edge_ends
from layout.bay_near import moved, near_origin
from layout.rules import RuleSet

Floats = NDArray[np.float64]

STRAIGHT_MM: Final = 5.0
"""Stretches within this of one line are one wall: walls are no straighter (common practice)."""
LIKE_LONGEST: Final = 0.95
"""A wall of this part of the longest one's length is as good to follow (own judgement)."""
PEAK_SHARE: Final = 0.12
"""Directions that carry less of the perimeter than this are not worth following (own judgement)."""
MOST_PEAKS: Final = 4
"""Wall directions that are considered; rooms with more have no direction to speak of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wall:
    """A straight wall, the room on its left: from the first to the last stretch of one line.
    `built_mm` is the length of its stretches without what lies between them.
    """

    start: Point
    end: Point
    built_mm: float

    @property
    def along(self) -> Point:
        """Unit vector from start to end."""
        return unit(self.end[0] - self.start[0], self.end[1] - self.start[1])


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """A direction for the rows and why it is considered, as a sentence."""

    along: Point
    why: str

    @property
    def degrees(self) -> float:
        """Counter-clockwise from the plan's x axis, [0, 180)."""
        return degrees(atan2(self.along[1], self.along[0])) % 180.0


def unit(x: float, y: float) -> Point:
    """The unit vector along (x, y), exact for axis-parallel ones; (1, 0) where there is none."""
    length = hypot(x, y)
    if length == 0.0:
        return 1.0, 0.0
    # hypot of an axis-parallel vector is exact, so these divisions give exactly 0 and 1.
    return x / length, y / length


def turned(along: Point) -> Point:
    """The direction at right angles, a quarter turn to the left."""
    return -along[1], along[0]


def between_deg(a: Point, b: Point) -> float:
    """Angle between two row directions, 0 to 90 degrees."""
    return degrees(abs(atan2(abs(a[0] * b[1] - a[1] * b[0]), abs(a[0] * b[0] + a[1] * b[1]))))


# --- walls --------------------------------------------------------------------------------------


def walls_of(shapes: Sequence[Polygon]) -> tuple[Wall, ...]:
    """The straight walls around the shapes (near the origin), longest built length first; equal ones
    in the order of the rings.
    """
    chains = [c for shape in shapes for c in _chains(edge_ends(shape))]
    if not chains:
        return ()
    ends = np.array(chains)
    lengths = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1])
    free = np.ones(len(ends), dtype=bool)
    walls = []
    for i in np.argsort(-np.round(lengths), kind="stable"):
        if free[i]:
            mates = _on_line(ends, ends[i]) & free
            free &= ~mates
            walls.append(_joined(ends[mates], ends[i], float(lengths[mates].sum())))
    # Rounded, so that equal walls of a turned drawing stay in the order of the rings.
    return tuple(sorted(walls, key=lambda w: -round(w.built_mm)))


def _chains(ends: Floats) -> list[tuple[float, float, float, float]]:
    """Consecutive edges that bend by less than `SQUARE_DEG` in all, as one stretch from end to end."""
    ends = ends[np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) > SAME_POINT_MM]
    angles = np.degrees(np.arctan2(ends[:, 3] - ends[:, 1], ends[:, 2] - ends[:, 0]))
    chains: list[list[float]] = []
    first_angle = 0.0
    for edge, angle in zip(ends.tolist(), angles.tolist(), strict=True):
        joined = chains and hypot(edge[0] - chains[-1][2], edge[1] - chains[-1][3]) <= SAME_POINT_MM
        if joined and abs((angle - first_angle + 180) % 360 - 180) < SQUARE_DEG:
            chains[-1][2:] = edge[2:]
        else:
            chains.append(edge)
            first_angle = angle
    return [(c[0], c[1], c[2], c[3]) for c in chains]


def _on_line(ends: Floats, line: Floats) -> NDArray[np.bool_]:
    """Which stretches lie on the line of `line`, facing the same way."""
    ux, uy = unit(float(line[2] - line[0]), float(line[3] - line[1]))
    off = -(ends[:, [0, 2]] - line[0]) * uy + (ends[:, [1, 3]] - line[1]) * ux
    forward = (ends[:, 2] - ends[:, 0]) * ux + (ends[:, 3] - ends[:, 1]) * uy
    found: NDArray[np.bool_] = (np.abs(off).max(axis=1) <= STRAIGHT_MM) & (
        forward >= np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) * cos(radians(1.0))
    )
    return found


def _joined(ends: Floats, line: Floats, built: float) -> Wall:
    """One wall from the first end to the last along `line`."""
    ux, uy = unit(float(line[2] - line[0]), float(line[3] - line[1]))
    first = ends[np.argmin(ends[:, 0] * ux + ends[:, 1] * uy)]
    last = ends[np.argmax(ends[:, 2] * ux + ends[:, 3] * uy)]
    return Wall(
        start=(float(first[0]), float(first[1])),
        end=(float(last[2]), float(last[3])),
        built_mm=built,
    )


def wall_peaks(shapes: Sequence[Polygon]) -> tuple[float, ...]:
    """Directions that carry much wall, degrees in [0, 180), heaviest first: peaks of the histogram of
    edge angles weighted by length (1 degree bins, smoothed over three), refined by weighted mean.
    """
    ends = np.vstack([edge_ends(s) for s in shapes])
    dx, dy = ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]
    weight = np.hypot(dx, dy)
    angle = np.degrees(np.arctan2(dy, dx)) % 180.0
    counts = np.bincount(angle.astype(np.int64) % 180, weights=weight, minlength=180)
    heavy = counts + np.roll(counts, 1) + np.roll(counts, -1)
    peaks: list[float] = []
    while len(peaks) < MOST_PEAKS:
        best = int(np.argmax(np.round(heavy)))
        if heavy[best] < PEAK_SHARE * weight.sum():
            break
        off = (angle - best - 0.5 + 90.0) % 180.0 - 90.0
        near = np.abs(off) <= 1.5
        peaks.append(
            (best + 0.5 + float(np.average(off[near], weights=weight[near]))) % 180.0
            if near.any()
            else best + 0.5
        )
        heavy[(np.arange(best - 3, best + 4)) % 180] = 0.0
    return tuple(peaks)


# --- the choice ---------------------------------------------------------------------------------


def directions_for(rooms: Sequence[Room], plan: Plan, rules: RuleSet) -> tuple[Direction, ...]:
    """Row directions for a floor over these rooms, the one that the rule set asks for first. Only
    `fewest-planks` has several: every much-walled direction and those at right angles to them.
    """
    origin = near_origin([r.shape for r in rooms])
    walls = walls_of([moved(r.shape, origin) for r in rooms])
    along = rules.rows.along
    if isinstance(along, float | int):
        turn = radians(along)
        return (Direction(along=(cos(turn), sin(turn)), why=f"Rows at {along:g} degrees by rule."),)
    longest = _longest_wall(walls)
    if along == "entrance":
        return (_by_entrance(rooms, plan, walls) or longest,)
    if along == "across":
        return (Direction(along=turned(longest.along), why=f"At right angles to {_name(walls)}."),)
    if along == "fewest-planks":
        shapes = [moved(r.shape, origin) for r in rooms]
        return _all_directions(walls, wall_peaks(shapes), longest)
    return (_facing_the_door(walls, longest, rooms, plan) or longest,)


def _facing_the_door(
    walls: Sequence[Wall], longest: Direction, rooms: Sequence[Room], plan: Plan
) -> Direction | None:
    """Of opposite walls of a room, about equally long and out of square with each other, the one that is
    seen on coming in: rows run true along it, and the taper falls to the wall on the door's side. None
    where that is no choice.
    """
    door = entrance_of(rooms, plan)
    if door is None or len(rooms) != 1:
        return None
    like = [
        w
        for w in walls
        if w.built_mm >= LIKE_LONGEST * walls[0].built_mm
        and between_deg(w.along, longest.along) <= PARALLEL_DEG
    ]
    origin = near_origin([r.shape for r in rooms])
    (x0, y0), (x1, y1) = door.leaf_line
    at = (x0 + x1) / 2 - origin[0], (y0 + y1) / 2 - origin[1]
    seen = max(like, key=lambda w: (round(_off(w, at)), round(w.built_mm)))
    (ux, uy), opposite = seen.along, [w for w in like if w is not seen]
    opposite = [w for w in opposite if w.along[0] * ux + w.along[1] * uy < 0.0]
    out = [w.built_mm * sin(radians(between_deg(w.along, seen.along))) for w in opposite]
    if max(out, default=0.0) <= STRAIGHT_MM:
        return None
    why = (
        f"Along the wall of {seen.built_mm / 1000:.2f} m that is seen on coming in through doorway "
        f"{door.id}; the one opposite, {max(out):.0f} mm out of square with it, shows the taper less."
    )
    return Direction(along=seen.along, why=why)


def _off(wall: Wall, place: Point) -> float:
    """How far a place lies off the line of a wall."""
    ux, uy = wall.along
    return abs((place[1] - wall.start[1]) * ux - (place[0] - wall.start[0]) * uy)


def _name(walls: Sequence[Wall]) -> str:
    return f"the longest wall ({walls[0].built_mm / 1000:.2f} m)"


def _longest_wall(walls: Sequence[Wall]) -> Direction:
    """Of equally long walls the one whose direction has more wall to it altogether decides."""
    equal = [w for w in walls if round(w.built_mm) == round(walls[0].built_mm)]
    best = max(
        equal,
        key=lambda w: round(
            sum(v.built_mm for v in walls if between_deg(v.along, w.along) < PARALLEL_DEG)
        ),
    )
    return Direction(along=best.along, why=f"Along {_name([best])}.")


def _all_directions(
    walls: Sequence[Wall], peaks: Sequence[float], longest: Direction
) -> tuple[Direction, ...]:
    found = [longest]
    for peak in peaks:
        turn = radians(peak)
        about: Point = (cos(turn), sin(turn))
        wall = next((w for w in walls if between_deg(w.along, about) <= 1.5), None)
        along = wall.along if wall is not None else about
        why = (
            f"Along a wall of {wall.built_mm / 1000:.2f} m." if wall is not None else "With walls."
        )
        for way, reason in ((along, why), (turned(along), "At right angles to a wall.")):
            if all(between_deg(way, f.along) > PARALLEL_DEG for f in found):
                found.append(Direction(along=way, why=reason))
    return tuple(found)


def _by_entrance(rooms: Sequence[Room], plan: Plan, walls: Sequence[Wall]) -> Direction | None:
    """The way one walks in, brought into line with a wall that runs nearly so."""
    door = entrance_of(rooms, plan)
    if door is None:
        return None
    (x0, y0), (x1, y1) = door.leaf_line
    way = turned(unit(x1 - x0, y1 - y0))
    wall = next((w for w in walls if between_deg(w.along, way) <= 10.0), None)
    crossing = next((w for w in walls if between_deg(turned(w.along), way) <= 10.0), None)
    if wall is not None:
        way = wall.along
    elif crossing is not None:
        way = turned(crossing.along)
    return Direction(along=way, why=f"As one walks in through doorway {door.id}.")


def entrance_of(rooms: Sequence[Room], plan: Plan) -> Doorway | None:
    """The door one comes in by: the entrance of the flat into these rooms, else that of their flat,
    else from a communal room, else the widest doorway; None where there is no doorway.
    """
    inside = {r.id for r in rooms}
    flats = {r.flat for r in rooms if r.flat is not None}
    members = {r.id for r in plan.rooms if r.flat in flats}
    communal = {r.id for r in plan.rooms if r.communal}

    def rank(d: Doorway) -> tuple[int, float]:
        own = _opens_into(d, inside)
        if d.flat_entrance:
            return (0 if own else 1), -d.width_mm
        return (2 if _opens_into(d, communal) else 3), -d.width_mm

    doors = [
        d
        for d in plan.doorways
        if _opens_into(d, inside) or (d.flat_entrance and _opens_into(d, members))
    ]
    return min(doors, key=rank, default=None)


def _opens_into(door: Doorway, rooms: set[RoomId]) -> bool:
    return any(r in rooms for r in door.rooms)
