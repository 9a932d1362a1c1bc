"""The plan of one bay as SVG paths.

Sheet frame: millimetres, x to the right, y down, whole numbers from 0. It is the bay frame as seen
facing the start wall, so the starter row is at the top and rows run across; never mirrored against the
drawing.

      START ->
    +=[]=============+   start wall
    |  row 1         |
    |- - - - - - - - |   datum
    |  row 2         |
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import atan2, degrees
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree
from shapely.geometry.base import BaseGeometry

from importer.plan import Plan, Point, RoomId, StoreyId
from importer.tolerance import AREA_MM2, GRID_MM
from layout.floor import BayId, BayLayout, MovementJoint, Piece
from layout.writers.dxf.runs_seen import RunSeen, is_ripped
from layout.writers.page.lines import RunLine
from layout.writers.run_labels import MINUS

WALL_SHOWN_MM: Final = 240.0
"""So much of the walls around a bay is drawn."""
_BAND_MM: Final = 120.0
"""Width of the band that stands for the walls where the drawing's own were not recovered."""
_RING_MM: Final = 40.0
"""Walls are believed where they fill most of a ring of this width around the bay."""
_FILLED: Final = 0.6
_SMOOTH_MM: Final = 1.0
"""Detail below this does not show at any size of the picture."""
_LETTERS_A_LINE: Final = 26.0
"""The picture's width in heights of its lettering: 15 px on a phone."""
_EVERY: Final = 5
"""Rows whose numbers are printed beside the plan: 1 and every fifth."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """Lettering at a place of the sheet frame."""

    x: int
    y: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """A path and what kind of piece it is: "" whole, "c" cut, "r" ripped."""

    path: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BayDrawing:
    """Everything on the plan of one bay. `runs` in the order of laying; `size` is (width, height)."""

    size: tuple[int, int]
    letter: int
    walls: str
    edge: str
    runs: tuple[tuple[Shape, ...], ...]
    joints: str
    datum: str
    start: tuple[int, int]
    runs_from: str
    rows: tuple[Label, ...]
    rooms: tuple[Label, ...]
    breaches: tuple[Label, ...]
    up: str
    """Where the top of the architect's drawing is on this plan, in words."""


class Nearby:
    """Polygons of a plan that can be asked for what lies near a place."""

    def __init__(self, shapes: Sequence[Polygon]) -> None:
        self._shapes = tuple(shapes)
        self._tree = STRtree(self._shapes)

    def near(self, place: Polygon) -> tuple[Polygon, ...]:
        """Those that meet it, in plan order."""
        return tuple(self._shapes[i] for i in np.sort(self._tree.query(place, "intersects")))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What bays are drawn on: walls, obstacles and doorways by storey, for the storeys of a model lie
    on top of each other; joints by bay.
    """

    plan: Plan
    solids: Mapping[StoreyId, Nearby]
    openings: Mapping[StoreyId, Nearby]
    joints: Mapping[BayId, tuple[MovementJoint, ...]]


def ground_of(plan: Plan, joints: Sequence[MovementJoint]) -> Ground:
    """The ground of all bays of a plan."""
    by_bay: dict[BayId, list[MovementJoint]] = {}
    for joint in joints:
        for bay in joint.bays:
            by_bay.setdefault(bay, []).append(joint)
    solids, openings = {}, {}
    for storey in (s.id for s in plan.storeys):
        stops = [o.shape for o in plan.obstacles if o.storey == storey]
        solids[storey] = Nearby([*plan.walls_of(storey), *stops])
        openings[storey] = Nearby([d.shape for d in plan.doorways if d.storey == storey])
    return Ground(
        plan=plan,
        solids=solids,
        openings=openings,
        joints={bay: tuple(own) for bay, own in by_bay.items()},
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """Bay frame -> sheet frame: x is turned over where rows run from the right, then shifted."""

    sign: float
    dx: float
    dy: float

    def point(self, p: Point) -> tuple[int, int]:
        """One place, rounded."""
        return round(self.sign * p[0] + self.dx), round(p[1] + self.dy)

    def left(self, run: RunSeen) -> int:
        """Where a run ends on the left."""
        return self.point((run.x0 if self.sign > 0 else run.x1, 0.0))[0]


def draw_bay(
    layout: BayLayout,
    lines: Sequence[RunLine],
    ground: Ground,
    room_numbers: Mapping[RoomId, int],
) -> BayDrawing:
    """Draw a bay on its ground. `room_numbers` are what stands in the rooms of a bay of several.
    Everything is mapped into the bay frame, near the origin, before it is cut.
    """
    frame = layout.setting_out.frame
    outline = frame.to_bay(layout.bay.outline)
    walls = _walls(layout, ground, outline)
    sheet, size, letter = _sheet(outline, is_turned_over=not frame.mirrored)
    datum = [sheet.point(frame.point_to_bay(p)) for p in layout.setting_out.datum]
    start = sheet.point(_start(layout))
    side = round(letter * 0.8)
    return BayDrawing(
        size=size,
        letter=letter,
        walls=_path(walls, sheet),
        edge=_path(outline, sheet),
        runs=tuple(tuple(_pieces(line.seen.pieces, sheet)) for line in lines),
        joints="".join(
            _line([sheet.point(frame.point_to_bay(p)) for p in joint.line])
            for joint in ground.joints.get(layout.bay.id, ())
        ),
        datum=_line(_prolonged(datum, round(0.4 * letter))),
        start=(start[0] - side if frame.mirrored else start[0], start[1] - side),
        runs_from="left" if frame.mirrored else "right",
        rows=tuple(_row_labels(lines, sheet, outline, letter)),
        rooms=tuple(_room_labels(layout, ground.plan, sheet, room_numbers)),
        breaches=tuple(
            Label(x=x, y=y, text=str(n))
            for n, breach in enumerate(layout.breaches, start=1)
            for x, y in (sheet.point(frame.point_to_bay(breach.at)),)
        ),
        up=_up(layout, sheet),
    )


def _start(layout: BayLayout) -> Point:
    """Where the first plank begins, at the start wall."""
    frame = layout.setting_out.frame
    x, y = frame.point_to_bay(layout.setting_out.reference[0])
    return (frame.point_to_bay(layout.start_corner)[0], y) if layout.pieces else (x, y)


def _sheet(outline: Polygon, *, is_turned_over: bool) -> tuple[Sheet, tuple[int, int], int]:
    """The sheet frame, its size, and the height of its lettering."""
    x0, y0, x1, y1 = outline.bounds
    wide, high = x1 - x0 + 2 * WALL_SHOWN_MM, y1 - y0 + 2 * WALL_SHOWN_MM
    letter = max(wide, 0.75 * high) / _LETTERS_A_LINE
    left, top = WALL_SHOWN_MM + 1.9 * letter, WALL_SHOWN_MM + 1.7 * letter
    sign = -1.0 if is_turned_over else 1.0
    sheet = Sheet(sign=sign, dx=left - min(sign * x0, sign * x1), dy=top - y0)
    size = (round(wide + 2.3 * letter), round(high + 2.1 * letter))
    return sheet, size, round(letter)


def _walls(layout: BayLayout, ground: Ground, outline: Polygon) -> BaseGeometry:
    """Wall bodies around the bay and obstacles in it, bay frame."""
    frame = layout.setting_out.frame
    near = shapely.box(*layout.bay.outline.bounds).buffer(2 * WALL_SHOWN_MM)
    # A mitred buffer of an outline with notches can come out with shells inside shells.
    around = shapely.make_valid(shapely.buffer(outline, WALL_SHOWN_MM, join_style="mitre"))
    storey = layout.bay.storey
    openings = shapely.union_all([frame.to_bay(d) for d in ground.openings[storey].near(near)])
    bodies = [shapely.make_valid(frame.to_bay(b)) for b in ground.solids[storey].near(near)]
    # On a grid: turned into the bay's frame, neighbouring bodies meet only but for float noise.
    drawn = shapely.union_all(bodies, grid_size=GRID_MM)
    ring = shapely.buffer(outline, _RING_MM, join_style="mitre").difference(outline)
    solid = ring.difference(shapely.buffer(openings, _RING_MM))
    if drawn.intersection(solid).area < _FILLED * solid.area:
        band = shapely.buffer(outline, _BAND_MM, join_style="mitre")
        drawn = shapely.union(drawn, shapely.make_valid(band).difference(openings))
    return drawn.intersection(around).difference(outline)


# --- paths --------------------------------------------------------------------------------------


def _pieces(pieces: Sequence[Piece], sheet: Sheet) -> Iterator[Shape]:
    shapes = [p.shape for p in pieces]
    boxes = shapely.bounds(shapes)
    sizes = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
    plain = (shapely.get_num_coordinates(shapes) == 5) & (
        np.abs(shapely.area(shapes) - sizes) <= AREA_MM2
    )
    edges = boxes * [sheet.sign, 1, sheet.sign, 1] + [sheet.dx, sheet.dy, sheet.dx, sheet.dy]
    corners = np.rint(edges).astype(int).tolist()
    for piece, is_box, (xa, y0, xb, y1) in zip(pieces, plain, corners, strict=True):
        kind = "r" if is_ripped(piece) else "c" if piece.cuts else ""
        x0, x1 = min(xa, xb), max(xa, xb)
        box = f"M{x0} {y0}h{x1 - x0}v{y1 - y0}h{x0 - x1}z"
        yield Shape(path=box if is_box else _path(piece.shape, sheet), kind=kind)


def _path(shape: BaseGeometry, sheet: Sheet) -> str:
    """Polygons of the bay frame as relative path commands in whole millimetres."""
    smooth = shapely.simplify(shape, _SMOOTH_MM)
    found: list[str] = []
    for part in shapely.get_parts(smooth):
        if isinstance(part, Polygon):
            found.extend(
                _ring(shapely.get_coordinates(ring) * [sheet.sign, 1] + [sheet.dx, sheet.dy])
                for ring in (part.exterior, *part.interiors)
            )
    return "".join(found)


def _ring(points: Floats) -> str:
    """One closed ring; its last side is the closing one and is not written."""
    corners = np.rint(points[:-1]).astype(int)
    steps = np.diff(corners, axis=0)
    text = [f"M{corners[0][0]} {corners[0][1]}"]
    for dx, dy in steps[np.any(steps != 0, axis=1)].tolist():
        if dy == 0:
            text.append(f"h{dx}")
        elif dx == 0:
            text.append(f"v{dy}")
        else:
            text.append(f"l{dx} {dy}")
    return "".join(text) + "z"


def _line(points: Sequence[tuple[int, int]]) -> str:
    (x0, y0), (x1, y1) = points[0], points[-1]
    return f"M{x0} {y0}L{x1} {y1}"


def _prolonged(points: Sequence[tuple[int, int]], by: int) -> list[tuple[int, int]]:
    """A line across the sheet drawn on beyond both ends, as a snapped line is."""
    (x0, y0), (x1, y1) = points[0], points[-1]
    step = by if x1 >= x0 else -by
    return [(x0 - step, y0), (x1 + step, y1)]


# --- lettering ----------------------------------------------------------------------------------


def _row_labels(
    lines: Sequence[RunLine], sheet: Sheet, outline: Polygon, letter: int
) -> Iterator[Label]:
    """Row numbers at the left of row 1 and every fifth, where they meet no floor."""
    leftmost: dict[int, RunSeen] = {}
    for line in lines:
        known = leftmost.get(line.seen.row)
        if known is None or sheet.left(line.seen) < sheet.left(known):
            leftmost[line.seen.row] = line.seen
    shapely.prepare(outline)
    for row, run in sorted(leftmost.items()):
        if row != 1 and row % _EVERY:
            continue
        x, y = sheet.left(run) - round(0.3 * letter + WALL_SHOWN_MM), run.middle
        ends = [sheet.sign * (v - sheet.dx) for v in (x - 1.4 * letter, x)]
        box = shapely.box(min(ends), y - 0.4 * letter, max(ends), y + 0.4 * letter)
        if not outline.intersects(box):
            number = str(row) if row > 0 else f"{MINUS}{-row}"
            yield Label(x=x, y=round(y + sheet.dy + 0.27 * letter), text=number)


def _room_labels(
    layout: BayLayout, plan: Plan, sheet: Sheet, numbers: Mapping[RoomId, int]
) -> Iterator[Label]:
    """Numbers of the rooms in a bay of several, inside each."""
    if len(layout.bay.rooms) < 2:
        return
    frame = layout.setting_out.frame
    for room in plan.rooms:
        if room.id in numbers:
            inside = frame.to_bay(room.shape.representative_point())
            x, y = sheet.point((inside.x, inside.y))
            yield Label(x=x, y=y, text=str(numbers[room.id]))


_SIDES: Final = (
    "right",
    "lower right",
    "bottom",
    "lower left",
    "left",
    "upper left",
    "top",
    "upper right",
)


def _up(layout: BayLayout, sheet: Sheet) -> str:
    """Where the drawing's own up points on the sheet, to an eighth of a turn."""
    frame = layout.setting_out.frame
    x, y = sheet.sign * frame.along[1], frame.across[1]
    return _SIDES[round(degrees(atan2(y, x)) / 45.0) % 8]
