"""Bays that share their offcuts, in the standard place: near the origin, turned so that the longest wall
runs along x with the floor on its left, in hundredths of a millimetre, with nothing of the drawing left
but what decides how they are laid. See `layout.job_equal`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from importer.plan import (
    Doorway,
    DoorwayId,
    Obstacle,
    ObstacleId,
    Plan,
    Point,
    Room,
    RoomId,
    Storey,
    StoreyId,
    UnitReading,
)
from layout.floor import Bay, BayId, Frame
from layout.rules import RuleSet

DECIMALS: Final = 2
"""Of a millimetre: what a turned copy differs by is below, what can be built far above."""
NEAR_MM: Final = 100.0
"""Obstacles within this of a floor matter to it, beside its wall gap."""
OPEN, CLOSE = "\ue000", "\ue001"
"""Around the number of a bay they are its id in the standard place: it can be found again in any text,
and meets no drawing's.
"""
_HERE: Final = StoreyId("S")

Coordinates = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Standard:
    """Bays and what stands about them, in the standard place. Equal by `key`, which all of it is in."""

    key: bytes
    bays: tuple[Bay, ...]
    plan: Plan
    rules: RuleSet

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Standard) and self.key == other.key

    def __hash__(self) -> int:
        return hash(self.key)


def standard_of(bays: Sequence[Bay], plan: Plan, rules: RuleSet) -> tuple[Frame, Standard]:
    """The standard place as a frame in the plan, and the bays in it."""
    scene = _scene_of(bays, plan)
    shapes = np.asarray(scene.shapes(), dtype=object)
    turnable = not isinstance(rules.rows.along, float | int)
    found = [_seen(shapes, along) for along in (_directions(bays) if turnable else [(1.0, 0.0)])]
    frame, moved = min(found, key=lambda f: [shapely.to_wkb(s) for s in f[1]])
    return frame, _standard(scene, moved, frame, rules)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Scene:
    """Bays, their rooms and doorways, and the obstacles by them."""

    bays: tuple[Bay, ...]
    rooms: tuple[Room, ...]
    doorways: tuple[Doorway, ...]
    obstacles: tuple[Obstacle, ...]

    def shapes(self) -> list[BaseGeometry]:
        """All geometry, in one order."""
        found: list[BaseGeometry] = []
        for bay in self.bays:
            found += [bay.outline, bay.floor, *bay.bare]
        found += [r.shape for r in self.rooms]
        for door in self.doorways:
            found += [door.shape, LineString(door.leaf_line)]
        return found + [o.shape for o in self.obstacles]


def _scene_of(bays: Sequence[Bay], plan: Plan) -> _Scene:
    inside = {r for b in bays for r in b.rooms}
    outlines = np.asarray([b.outline for b in bays], dtype=object)
    reach = NEAR_MM + max(b.gap_mm for b in bays)
    around = [o for o in plan.obstacles if o.storey == bays[0].storey]
    if around:
        tree = shapely.STRtree([o.shape for o in around])
        near = set(tree.query(outlines, predicate="dwithin", distance=reach)[1].tolist())
        around = [o for n, o in enumerate(around) if n in near]
    return _Scene(
        bays=tuple(bays),
        rooms=tuple(r for r in plan.rooms if r.id in inside),
        doorways=tuple(d for d in plan.doorways if not inside.isdisjoint(d.rooms)),
        obstacles=tuple(around),
    )


def _directions(bays: Sequence[Bay]) -> list[Point]:
    """Directions of the longest edges about the floor, the floor on their left."""
    rings = [shapely.get_coordinates(shapely.orient_polygons(b.outline).exterior) for b in bays]
    edges = np.vstack([np.diff(ring, axis=0) for ring in rings])
    lengths = np.round(np.hypot(edges[:, 0], edges[:, 1]), 1)
    longest = edges[lengths == lengths.max()]
    along = longest / np.hypot(longest[:, 0], longest[:, 1])[:, None] + 0.0
    _, first = np.unique(np.round(along, 6), axis=0, return_index=True)
    return [(float(x), float(y)) for x, y in along[np.sort(first)]]


def _seen(shapes: NDArray[np.object_], along: Point) -> tuple[Frame, list[Any]]:
    """All shapes with `along` for x, their lowest corner at nought; and that place in the plan."""
    near = np.floor(shapely.total_bounds(shapes)[:2])
    turn = np.array([[along[0], -along[1]], [along[1], along[0]]])
    low = ((shapely.get_coordinates(shapes) - near) @ turn).min(axis=0)

    def place(points: Coordinates) -> Coordinates:
        seen: Coordinates = np.round((points - near) @ turn - low, DECIMALS) + 0.0
        return seen

    corner = low @ turn.T + near
    frame = Frame(origin=(float(corner[0]), float(corner[1])), along=along)
    return frame, [_plain(s) for s in shapely.transform(shapes, place).tolist()]


def _plain(shape: BaseGeometry) -> BaseGeometry:
    """A polygon with its corners in one order and none along an edge, however it was drawn."""
    if not isinstance(shape, Polygon):
        return shape
    corners = shapely.simplify(shapely.normalize(shape), 10.0**-DECIMALS / 2)
    ordered: BaseGeometry = shapely.orient_polygons(corners)
    return ordered


def _standard(scene: _Scene, moved: Sequence[Any], frame: Frame, rules: RuleSet) -> Standard:
    shapes = iter(moved)
    bays = []
    for number, bay in enumerate(scene.bays):
        outline, floor = next(shapes), next(shapes)
        bare = tuple(next(shapes) for _ in bay.bare)
        bays.append(_standard_bay(bay, number, (outline, floor, bare), frame))
    rooms = _standard_rooms(scene.rooms, [next(shapes) for _ in scene.rooms])
    doors = [(d, next(shapes), next(shapes)) for d in scene.doorways]
    obstacles = [(o, next(shapes)) for o in scene.obstacles]
    ids = {given.id: room.id for given, room in rooms}
    doorways = _standard_doorways(doors, ids)
    plan = Plan(
        file="",
        format="",
        units=UnitReading(name="mm", to_mm=1.0, because=""),
        storeys=(Storey(id=_HERE, name=""),),
        flats=(),
        rooms=tuple(room for _, room in rooms),
        doorways=tuple(door for _, door in doorways),
        obstacles=_standard_obstacles(obstacles),
    )
    numbered = tuple(
        replace(
            bay,
            rooms=tuple(room.id for given, room in rooms if given.id in own.rooms),
            through=tuple(door.id for given, door in doorways if given.id in own.through),
        )
        for own, bay in zip(scene.bays, bays, strict=True)
    )
    return Standard(key=_key(numbered, plan, rules), bays=numbered, plan=plan, rules=rules)


def _standard_bay(
    bay: Bay,
    number: int,
    shapes: tuple[Polygon, Polygon, tuple[Polygon, ...]],
    frame: Frame,
) -> Bay:
    token = f"{OPEN}{number}{CLOSE}"
    outline, floor, bare = shapes
    along = None if bay.along is None else _turned_back(bay.along, frame)
    return replace(
        bay,
        id=BayId(token),
        name=token,
        storey=_HERE,
        flat=None,
        outline=outline,
        floor=floor,
        bare=bare,
        joints=(),
        along=along,
    )


def _turned_back(along: Point, frame: Frame) -> Point:
    (ux, uy), (x, y) = frame.along, along
    return round(x * ux + y * uy, 9) + 0.0, round(y * ux - x * uy, 9) + 0.0


def _standard_rooms(rooms: Sequence[Room], shapes: Sequence[Polygon]) -> list[tuple[Room, Room]]:
    """Each room and what it is in the standard place, in the order of their shapes there."""
    pairs = sorted(zip(rooms, shapes, strict=True), key=lambda p: shapely.to_wkb(p[1]))
    return [
        (
            room,
            Room(
                id=RoomId(f"R{n}"),
                shape=shape,
                storey=_HERE,
                name=room.name or room.number or str(room.id),
                communal=room.communal,
            ),
        )
        for n, (room, shape) in enumerate(pairs)
    ]


def _standard_doorways(
    doors: Sequence[tuple[Doorway, Polygon, LineString]], ids: dict[RoomId, RoomId]
) -> list[tuple[Doorway, Doorway]]:
    """Each doorway and what it is in the standard place, by their shapes there; a room beyond is not
    told.
    """
    found = []
    for n, (door, shape, leaf) in enumerate(sorted(doors, key=lambda d: shapely.to_wkb(d[1]))):
        own = sorted(ids[r] for r in door.rooms if r in ids)
        a, b = sorted((float(x), float(y)) for x, y in shapely.get_coordinates(leaf))
        there = Doorway(
            id=DoorwayId(f"D{n}"),
            rooms=(own[0], own[1] if len(own) > 1 else None),
            storey=_HERE,
            shape=shape,
            leaf_line=(a, b),
            width_mm=round(door.width_mm, DECIMALS),
            wall_thickness_mm=round(door.wall_thickness_mm, DECIMALS),
            kind=door.kind,
            swings_into=ids.get(door.swings_into) if door.swings_into else None,
            flat_entrance=door.flat_entrance,
        )
        found.append((door, there))
    return found


def _standard_obstacles(
    obstacles: Sequence[tuple[Obstacle, Polygon]],
) -> tuple[Obstacle, ...]:
    ordered = sorted(obstacles, key=lambda o: (shapely.to_wkb(o[1]), o[0].kind.value))
    return tuple(
        Obstacle(id=ObstacleId(f"O{n}"), kind=o.kind, shape=shape, storey=_HERE)
        for n, (o, shape) in enumerate(ordered)
    )


def _key(bays: Sequence[Bay], plan: Plan, rules: RuleSet) -> bytes:
    """All of it in bytes: shapes exactly, the rest as it prints."""
    shapes = [
        *(s for b in bays for s in (b.outline, b.floor, *b.bare)),
        *(r.shape for r in plan.rooms),
        *(d.shape for d in plan.doorways),
        *(o.shape for o in plan.obstacles),
    ]
    said = [
        *((b.id, b.rooms, b.through, b.gap_mm, len(b.bare), b.along) for b in bays),
        *((r.name, r.communal) for r in plan.rooms),
        *((d.rooms, d.leaf_line, d.width_mm, d.kind, d.flat_entrance) for d in plan.doorways),
        *(o.kind for o in plan.obstacles),
    ]
    return repr((said, rules)).encode() + b"".join(shapely.to_wkb(s) for s in shapes)
