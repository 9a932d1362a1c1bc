"""The wall that the work starts from, and the bay frame that follows from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Point
from importer.tolerance import PARALLEL_DEG, SLIVER_WIDTH_MM
from layout.bay_edges import Surroundings
from layout.directions import STRAIGHT_MM, Wall, between_deg, walls_of
from layout.floor import Bay, Frame
from layout.rules import Hand, RuleSet

TAPERED_START: Final = 0.9
"""A start wall that is not quite parallel to the rows counts so much: its first row tapers, and the
taper shows less at the end of the work (own judgement)."""
REVERSE_COST: Final = 3.0
"""A wall with a tenth of the floor behind it counts as three tenths shorter: that floor is laid in
reverse, which is slow and easily goes wrong (own judgement)."""
JOINT_AS_START: Final = 0.5
"""A joint line as the start counts so much: there is no wall to set the rows from (own judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StartWall:
    """A wall to start from: its stretch in the frame of the direction, and how good it is. Equally good
    walls are told apart by where the room lies from them, which stays when a drawing is turned.
    """

    wall: Wall
    floor_above: bool
    worth_mm: float
    share_behind: float = 0.0
    room_at: Point = (0.0, 0.0)

    def score_with(self, share_behind: float) -> float:
        """How good it is with that share of the floor to be laid in reverse."""
        return self.worth_mm * max(0.0, 1.0 - REVERSE_COST * share_behind)

    @property
    def rank(self) -> tuple[float, float, float]:
        """The greatest is the best."""
        return (
            round(self.score_with(self.share_behind)),
            round(self.room_at[1], 1),
            round(self.room_at[0], 1),
        )


def start_walls(
    bay: Bay, base: Frame, around: Surroundings, rules: RuleSet
) -> tuple[StartWall, ...]:
    """Walls to start from, best first: long, with little floor behind them, exactly parallel to the rows
    so that the first row does not taper, and walls rather than joint lines.
    """
    outline = base.to_bay(bay.outline)
    walls = [w for w in walls_of([outline]) if between_deg(w.along, (1.0, 0.0)) <= PARALLEL_DEG]
    if not walls:
        x0, y0, x1, _ = outline.bounds
        lowest = Wall(start=(x0, y0), end=(x1, y0), built_mm=x1 - x0)
        return (StartWall(wall=lowest, floor_above=True, worth_mm=lowest.built_mm),)
    places = np.array([_just_on(w) for w in walls])
    is_wall = around.seen_from(base).is_wall(places).tolist()
    starts = []
    for wall, real in zip(walls, is_wall, strict=True):
        above = wall.end[0] > wall.start[0]
        taper = abs(wall.end[1] - wall.start[1])
        worth = wall.built_mm * (1.0 if real else JOINT_AS_START)
        starts.append(
            StartWall(
                wall=wall,
                floor_above=above,
                worth_mm=worth * (1.0 if taper <= STRAIGHT_MM else TAPERED_START),
                share_behind=_share_behind(outline, wall, rules.plank.width, above=above),
                room_at=_room_from(wall, outline),
            )
        )
    return tuple(sorted(starts, key=lambda s: s.rank, reverse=True))


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


def frame_from(bay: Bay, base: Frame, start: StartWall, rules: RuleSet) -> Frame:
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
