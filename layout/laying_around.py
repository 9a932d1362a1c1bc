"""What stands about a bay, as far as it decides how its floor is laid: rooms, and what hangs so low over
the floor that no plank can be tilted under it. Plan frame.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

import numpy as np
import shapely
from shapely import LineString, Polygon

from importer.plan import Doorway, Finding, Origin, Plan, Point, Room, Severity
from importer.tolerance import SLIVER_WIDTH_MM
from layout.bay_joins import is_named
from layout.floor import Bay, Frame, Run
from layout.rules import RuleSet
from layout.rules_laying import LowRule, StageLine

FRAME_MM: Final = 40.0
"""How far from the jamb of an opening its frame hides the floor: lining and wall gap together; common
practice, no source."""
FACING_DEG_COS: Final = 0.707
"""A wall belongs to a side of its room when it faces within 45 degrees of it."""

_FACING: Final[dict[str, Point]] = {
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
    "top": (0.0, 1.0),
    "bottom": (0.0, -1.0),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NamedRoom:
    """A room of the bay as the sheets call it."""

    name: str
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LowPlace:
    """Floor under something low: `words` say under what."""

    words: str
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StageCut:
    """A line that parts the work in a room (its number in the bay); `words` say which line it is."""

    room: int
    line: tuple[Point, Point]
    words: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Around:
    """The rooms of a bay, in the order of the bay, the low places in them, and the lines that part the
    work, in the order of the stages.
    """

    rooms: tuple[NamedRoom, ...] = ()
    low: tuple[LowPlace, ...] = ()
    cuts: tuple[StageCut, ...] = ()


NOTHING_AROUND: Final = Around()
"""A bay of which only the floor is known."""


def around_of(bay: Bay, plan: Plan, rules: RuleSet) -> Around:
    """What plan and rules say of a bay."""
    by_id = {r.id: r for r in plan.rooms}
    rooms = [by_id[r] for r in bay.rooms if r in by_id]
    low = [p for rule in rules.laying.low for r in rooms for p in _under(rule, r)]
    if rules.frames.undercut:
        low += [p for d in plan.doorways if d.id in bay.through for p in _under_frame(d)]
    return Around(
        rooms=tuple(NamedRoom(name=_called(r), shape=r.shape) for r in rooms),
        low=tuple(low),
        cuts=(*_written_cuts(rooms, plan, rules), *_drawn_cuts(rooms, plan)),
    )


def unheeded(plan: Plan, rules: RuleSet) -> Iterator[Finding]:
    """What the rules say of low places and stages that this plan has no room or line for."""
    names = [(f"laying.low[{i}].room", low.room) for i, low in enumerate(rules.laying.low, start=1)]
    lines = enumerate(rules.stages.lines, start=1)
    names += [(f"stages.lines[{i}].room", line.room) for i, line in lines]
    for key, pattern in names:
        if not any(is_named(r, pattern) for r in plan.rooms):
            yield Finding(
                code="LAY-141",
                severity=Severity.NOTE,
                what=f"{key} is {pattern!r}, which names no room of this drawing.",
                where=Origin(file=plan.file),
                remedy="Write the name or number of a room as the drawing has it.",
            )
    if rules.stages.layer and not plan.stage_lines:
        yield Finding(
            code="LAY-142",
            severity=Severity.SETTLE,
            what=f"There is no line on layer {rules.stages.layer}: nothing parts the work.",
            where=Origin(file=plan.file),
            remedy="Draw the line on that layer, or name another one as stages.layer.",
        )


def _called(room: Room) -> str:
    return room.name or room.number or str(room.id)


# --- low places ---------------------------------------------------------------------------------


def _under_frame(doorway: Doorway) -> Iterator[LowPlace]:
    """The floor beside both jambs: edges of the opening that run through the wall, not along it."""
    (x0, y0), (x1, y1) = doorway.leaf_line
    length = hypot(x1 - x0, y1 - y0)
    if length <= SLIVER_WIDTH_MM:
        return
    for a, b in _edges(doorway.shape):
        along = hypot(b[0] - a[0], b[1] - a[1])
        if along <= SLIVER_WIDTH_MM:
            continue
        cos = ((b[0] - a[0]) * (x1 - x0) + (b[1] - a[1]) * (y1 - y0)) / (along * length)
        if abs(cos) < FACING_DEG_COS:
            jamb = LineString([a, b]).buffer(FRAME_MM, cap_style="flat")
            yield LowPlace(words="under the door frame", shape=jamb)


def _under(rule: LowRule, room: Room) -> Iterator[LowPlace]:
    """The floor along the walls on one side of a room, between two distances along that side."""
    if not is_named(room, rule.room):
        return
    facing = _FACING[rule.side]
    low_x, low_y, high_x, high_y = room.shape.bounds
    upright = facing[0] != 0.0
    first = (low_y if upright else low_x) + rule.begin
    end = (high_y if upright else high_x) if rule.end is None else first - rule.begin + rule.end
    between = (
        shapely.box(low_x, first, high_x, end)
        if upright
        else shapely.box(first, low_y, end, high_y)
    )
    strips = [_strip(a, b, rule.depth) for a, b in _edges(room.shape) if _faces(a, b, facing)]
    if not strips:
        return
    shape = shapely.union_all(strips).intersection(between).intersection(room.shape)
    for part in shapely.get_parts(shape):
        if isinstance(part, Polygon) and part.area > 0.0:
            yield LowPlace(words=f"under the {rule.what}", shape=part)


def _edges(shape: Polygon) -> Iterator[tuple[Point, Point]]:
    """Edges of the shell, counter-clockwise, so that the outside is on the right."""
    points = shapely.get_coordinates(shapely.orient_polygons(shape).exterior)
    for a, b in zip(points[:-1].tolist(), points[1:].tolist(), strict=True):
        yield (a[0], a[1]), (b[0], b[1])


def _faces(a: Point, b: Point, facing: Point) -> bool:
    length = hypot(b[0] - a[0], b[1] - a[1])
    out = (b[1] - a[1], a[0] - b[0])
    return length > 0.0 and out[0] * facing[0] + out[1] * facing[1] > FACING_DEG_COS * length


def _strip(a: Point, b: Point, depth: float) -> Polygon:
    """The strip of that depth on the inner side of an edge."""
    length = hypot(b[0] - a[0], b[1] - a[1])
    nx, ny = -(b[1] - a[1]) / length * depth, (b[0] - a[0]) / length * depth
    return Polygon([a, b, (b[0] + nx, b[1] + ny), (a[0] + nx, a[1] + ny)])


# --- lines that part the work -------------------------------------------------------------------


def _written_cuts(rooms: Sequence[Room], plan: Plan, rules: RuleSet) -> Iterator[StageCut]:
    """The lines of the rule set in the rooms that they name."""
    for rule in rules.stages.lines:
        for n, room in enumerate(rooms):
            if not is_named(room, rule.room):
                continue
            if rule.side is None:
                x0, y0, x1, y1 = (v * plan.units.to_mm for v in rule.points)
                yield StageCut(room=n, line=((x0, y0), (x1, y1)), words="line by two points")
            else:
                yield _beside(rule, rule.side, n, room)


def _beside(rule: StageLine, side: str, number: int, room: Room) -> StageCut:
    """The line at a distance from one side of a room."""
    low_x, low_y, high_x, high_y = room.shape.bounds
    upright = _FACING[side][0] != 0.0
    size = high_x - low_x if upright else high_y - low_y
    off = rule.at if rule.at is not None else size * (rule.share or 0.0)
    level = {"left": low_x + off, "right": high_x - off, "bottom": low_y + off}.get(
        side, high_y - off
    )
    line = ((level, low_y), (level, high_y)) if upright else ((low_x, level), (high_x, level))
    return StageCut(room=number, line=line, words=f"line {off:.0f} from the {side} of the room")


def _drawn_cuts(rooms: Sequence[Room], plan: Plan) -> Iterator[StageCut]:
    """The lines of the drawing, each in the room in which most of it lies."""
    for drawn in plan.stage_lines:
        lengths = [r.shape.intersection(drawn).length for r in rooms]
        most = max(range(len(rooms)), key=lambda n: lengths[n])
        if lengths[most] > SLIVER_WIDTH_MM:
            ends = shapely.get_coordinates(drawn)[[0, -1]].tolist()
            (x0, y0), (x1, y1) = ends
            yield StageCut(room=most, line=((x0, y0), (x1, y1)), words="line in the drawing")


# --- rooms --------------------------------------------------------------------------------------


def rooms_of_runs(runs: Sequence[Run], frame: Frame, around: Around) -> tuple[int, ...]:
    """Per run the number of the room in which it lies for its greatest part; a run that lies in none
    (in a doorway) belongs to the nearest.
    """
    if len(around.rooms) < 2 or not runs:
        return (0,) * len(runs)
    shapes = np.asarray([r.shape for r in runs], dtype=object)
    rooms = np.asarray([frame.to_bay(r.shape) for r in around.rooms], dtype=object)
    run, room = shapely.STRtree(rooms).query(shapes, predicate="intersects")
    shared = np.zeros((len(runs), len(rooms)))
    shared[run, room] = shapely.area(shapely.intersection(shapes[run], rooms[room]))
    found = shared.argmax(axis=1)
    outside = np.flatnonzero(shared.max(axis=1) <= 0.0)
    for i in outside:
        found[i] = int(np.argmin(shapely.distance(shapes[i], rooms)))
    return tuple(int(n) for n in found)
