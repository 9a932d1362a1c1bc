"""A floor longer than the limits as cells and links, and what is left of it once the links are cut.

Cells are the lots of rooms (each with its share of the doorways, less what stands in it). A lot that is
itself too long, or that has a neck, is parted along straight lines across it; between those lines lie
its cells. Everything here is seen from the rows: x runs along them. See `bay_breaks` for the search.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Point as Dot
from shapely import Polygon

from importer.plan import Doorway, DoorwayId, DoorwayKind, Point
from importer.tolerance import GRID_MM, LENGTH_MM
from layout.bay_breaks import Breaks, Cells, Link, fewest_breaks
from layout.bay_lines import Line, joined_stretches, lines_across, parted, shared_sides
from layout.frame import Frame
from layout.rules import LimitRules

LEAF_COST: Final = 1
OPENING_COST: Final = 2
NECK_COST: Final = 3
FREE_COST: Final = 10
"""What a break costs: under a door leaf, which hides it; in an opening without one; at a neck; across a
room. A break that costs less is always preferred, then the shorter profile near equal parts (own
judgement, from the order that fitters prefer; no source)."""
COST_UNIT: Final = 10_000_000
"""So much of the finer cost is one step of the coarser: longer than all profiles of a floor, in mm."""
OFF_EQUAL_SHARE: Final = 4
"""A profile may be this share of a metre longer to lie a metre nearer to equal parts."""


Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One side of a doorway that the floor may run on through: the joint line from this side."""

    doorway: Doorway
    line: tuple[Point, Point]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """The floor of one room near the origin: one or more polygons that hold its share of the doorways.
    `sides` are the doorways that may join it to other lots.
    """

    shapes: tuple[Polygon, ...]
    sides: tuple[Side, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitCut:
    """A straight joint across the floor, and why it is there."""

    line: tuple[Point, Point]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A part of the floor: lots (by index) with what of each is in it, and the doorways inside it."""

    lots: tuple[int, ...]
    shapes: tuple[Polygon, ...]
    through: tuple[DoorwayId, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shares:
    """All parts of a floor, the joints across it, and why each doorway that is not run through is
    broken.
    """

    shares: tuple[Share, ...]
    cuts: tuple[LimitCut, ...] = ()
    broken: tuple[tuple[DoorwayId, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cell:
    """A part of a lot, seen from the rows."""

    lot: int
    shape: Polygon


@dataclass(frozen=True, slots=True, kw_only=True)
class _Break:
    """What a link is: a doorway (`doorway`), or stretches [low, high] of a line across a lot."""

    link: Link
    cost: int
    lot: int = -1
    doorway: DoorwayId | None = None
    line: Line | None = None
    stretches: tuple[tuple[float, float], ...] = ()


def is_within(shapes: Iterable[Polygon], along: Point, limits: LimitRules) -> bool:
    """Whether a floor of these shapes (near the origin) needs no joint with rows `along`."""
    frame = Frame(origin=(0.0, 0.0), along=along)
    seen = [frame.to_bay(s) for s in shapes]
    x0, y0, x1, y1 = shapely.total_bounds(np.array(seen, dtype=object))
    return bool(x1 - x0 <= limits.run + LENGTH_MM and y1 - y0 <= limits.across + LENGTH_MM)


def share_out(lots: Sequence[Lot], along: Point, limits: LimitRules) -> Shares:
    """Part the floor over all lots so that no part exceeds the limits for rows `along` (unit vector),
    with the fewest and best-placed breaks. Only what is cut is parted; all else stays as it was given.
    """
    frame = Frame(origin=(0.0, 0.0), along=along)
    seen = [[frame.to_bay(s) for s in lot.shapes] for lot in lots]
    box = shapely.total_bounds(np.array([s for shapes in seen for s in shapes], dtype=object))
    over = [box[2] - box[0] > limits.run + LENGTH_MM, box[3] - box[1] > limits.across + LENGTH_MM]
    if not any(over):
        whole = tuple(s for lot in lots for s in lot.shapes)
        every = tuple(dict.fromkeys(s.doorway.id for lot in lots for s in lot.sides))
        return Shares(shares=(Share(lots=tuple(range(len(lots))), shapes=whole, through=every),))
    view = _View(lots=lots, seen=seen, box=box, limits=limits, frame=frame)
    return _cut_up(view)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _View:
    """The lots as given and as seen from the rows, their common box, the limits."""

    lots: Sequence[Lot]
    seen: Sequence[Sequence[Polygon]]
    box: Floats
    limits: LimitRules
    frame: Frame

    def extent(self, axis: int) -> float:
        """Length of the whole floor along (0) or across (1) the rows."""
        return float(self.box[axis + 2] - self.box[axis])

    def limit(self, axis: int) -> float:
        """The limit that goes with it."""
        return self.limits.run if axis == 0 else self.limits.across

    def off_equal(self, place: Point) -> float:
        """How far a place is from where equal parts would meet, in the direction that is too long."""
        least = np.inf
        for axis in (0, 1):
            parts = ceil((self.extent(axis) - LENGTH_MM) / self.limit(axis))
            step = self.extent(axis) / parts
            for k in range(1, parts):
                least = min(least, abs(float(self.box[axis]) + k * step - place[axis]))
        return float(least)

    def cost(self, kind: int, length: float, place: Point) -> int:
        """Cost of a break of that kind, `length` mm of profile at `place`."""
        return kind * COST_UNIT + round(length + self.off_equal(place) / OFF_EQUAL_SHARE)


def _cut_up(view: _View) -> Shares:
    cells: list[_Cell] = []
    breaks: list[_Break] = []
    for n in range(len(view.lots)):
        lines = _lines(view, n)
        own, found = _cells_of(view, n, lines, len(cells))
        cells.extend(own)
        breaks.extend(found)
    breaks.extend(_doors(view, cells))
    boxes = np.array([c.shape.bounds for c in cells])
    found_breaks = fewest_breaks(
        Cells(
            boxes=boxes,
            links=tuple(b.link for b in breaks),
            limits=(view.limits.run, view.limits.across),
        )
    )
    return _shares(view, cells, breaks, found_breaks)


def _lines(view: _View, n: int) -> tuple[Line, ...]:
    """The lines along which a lot may be parted."""
    stops = [
        (view.frame.point_to_bay(s.line[0]), view.frame.point_to_bay(s.line[1]))
        for s in view.lots[n].sides
    ]
    others = [shapely.MultiPolygon(list(s)).bounds for i, s in enumerate(view.seen) if i != n]
    return lines_across(view.seen[n], stops, others, (view.limits.run, view.limits.across))


def _cells_of(
    view: _View, n: int, lines: Sequence[Line], first: int
) -> tuple[list[_Cell], list[_Break]]:
    """The cells of a lot, and its breaks along the lines. Cells are counted from `first`."""
    shapes = [p for s in view.seen[n] for p in parted(s, lines)]
    cells = [_Cell(lot=n, shape=s) for s in shapes]
    breaks = []
    for line in lines:
        for a, b, stretches in shared_sides(shapes, line):
            length = sum(high - low for low, high in stretches)
            middle = line.point(sum(stretches[0]) / 2)
            kind = NECK_COST if line.is_neck else FREE_COST
            cost = view.cost(kind * len(stretches), length, middle)
            link = Link(a=first + a, b=first + b, cost=cost)
            breaks.append(
                _Break(link=link, cost=kind, lot=n, line=line, stretches=tuple(stretches))
            )
    return cells, breaks


def _doors(view: _View, cells: Sequence[_Cell]) -> Iterator[_Break]:
    """The doorways that join two lots, each between the cells nearest to it."""
    sides: dict[DoorwayId, list[tuple[int, Side]]] = {}
    for n, lot in enumerate(view.lots):
        for side in lot.sides:
            sides.setdefault(side.doorway.id, []).append((n, side))
    for doorway, both in sides.items():
        if len(both) != 2:
            continue
        ends = [_nearest(cells, n, _middle(view, side)) for n, side in both]
        side = both[0][1]
        is_open = side.doorway.kind is DoorwayKind.OPENING
        kind = OPENING_COST if is_open else LEAF_COST
        (x0, y0), (x1, y1) = side.line
        cost = view.cost(kind, float(np.hypot(x1 - x0, y1 - y0)), _middle(view, side))
        yield _Break(link=Link(a=ends[0], b=ends[1], cost=cost), cost=kind, doorway=doorway)


def _middle(view: _View, side: Side) -> Point:
    (x0, y0), (x1, y1) = side.line
    return view.frame.point_to_bay(((x0 + x1) / 2, (y0 + y1) / 2))


def _nearest(cells: Sequence[_Cell], lot: int, place: Point) -> int:
    """The cell of a lot that a doorway opens into."""
    dot = Dot(place)
    own = [i for i, c in enumerate(cells) if c.lot == lot]
    return min(own, key=lambda i: (round(cells[i].shape.distance(dot), 1), i))


# --- what is left -------------------------------------------------------------------------------


def _shares(view: _View, cells: Sequence[_Cell], breaks: Sequence[_Break], found: Breaks) -> Shares:
    cut = [breaks[i] for i in found.cut]
    shares = []
    for part in range(found.parts):
        own = [cells[i] for i, p in enumerate(found.part) if p == part]
        lots = tuple(dict.fromkeys(c.lot for c in own))
        inside = [
            b.doorway
            for b in breaks
            if b.doorway is not None and {found.part[b.link.a], found.part[b.link.b]} == {part}
        ]
        shapes = tuple(s for n in lots for s in _left_of(view, n, own, cut))
        shares.append(Share(lots=lots, shapes=shapes, through=tuple(inside)))
    return Shares(
        shares=tuple(shares),
        cuts=tuple(_cuts(view, cut, found)),
        broken=tuple((c.doorway, _why(view, c, cut, found)) for c in cut if c.doorway is not None),
    )


def _left_of(view: _View, n: int, own: Sequence[_Cell], cut: Sequence[_Break]) -> Iterator[Polygon]:
    """What of a lot lies in the part of the floor that has these cells: the lot as it was given if it is
    not cut.
    """
    lines = tuple(dict.fromkeys(c.line for c in cut if c.lot == n and c.line is not None))
    if not lines:
        yield from view.lots[n].shapes
        return
    cells = shapely.MultiPolygon([c.shape for c in own if c.lot == n])
    mine = [
        part
        for shape in view.seen[n]
        for part in parted(shape, lines)
        if shapely.intersects(cells, part.representative_point())
    ]
    joined = mine[0] if len(mine) == 1 else shapely.union_all(mine, grid_size=GRID_MM)
    for part in shapely.get_parts(joined):
        if isinstance(part, Polygon):
            yield shapely.orient_polygons(view.frame.to_plan(part))


def _cuts(view: _View, cut: Sequence[_Break], found: Breaks) -> Iterator[LimitCut]:
    """The joints across rooms; stretches of one line that meet are one joint."""
    by_line: dict[Line, list[_Break]] = {}
    for c in cut:
        if c.line is not None:
            by_line.setdefault(c.line, []).append(c)
    for line, breaks in by_line.items():
        why = _why(view, breaks[0], cut, found)
        for low, high in joined_stretches([s for b in breaks for s in b.stretches]):
            ends = (
                view.frame.point_to_plan(line.point(low)),
                view.frame.point_to_plan(line.point(high)),
            )
            yield LimitCut(line=ends, why=why)


def _why(view: _View, broken: _Break, cut: Sequence[_Break], found: Breaks) -> str:
    """Why the floor is broken there, in plain sentences."""
    said = []
    for axis, way in enumerate(("along", "across")):
        if view.extent(axis) > view.limit(axis) + LENGTH_MM:
            said.append(
                f"The floor would run {view.extent(axis) / 1000:.2f} m {way} the rows; "
                f"{view.limit(axis) / 1000:g} m are allowed without a joint."
            )
    said.append(_PLACED[broken.cost])
    if len(cut) > 1 and found.is_best:
        said.append(f"No fewer or better breaks than these {len(cut)} serve.")
    elif len(cut) > 1:
        said.append(f"One of {len(cut)} breaks; fewer might serve.")
    return " ".join(said)


_PLACED: Final = {
    LEAF_COST: "Placed under this door, where the leaf hides it.",
    OPENING_COST: "Placed in this opening, between two rooms.",
    NECK_COST: "Placed at the narrowest part.",
    FREE_COST: "Placed across the room: no doorway and no narrow part serves.",
}
