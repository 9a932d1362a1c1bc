"""What the floor stops at inside a room: columns, shafts, stairs, fixed units, as they are drawn."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import line_array, sources_where
from importer.dxf.drawing import Drawing
from importer.dxf.drawn_outlines import repaired
from importer.dxf.layer_words import About, is_ignored_name, says
from importer.hints import Hints, matches_layer
from importer.plan import ObstacleKind

SMALLEST_MM2: Final = {
    ObstacleKind.COLUMN: 5e3,  # a post 70 mm square
    ObstacleKind.SHAFT: 4e4,  # a duct 200 mm square
    ObstacleKind.FIXED_UNIT: 1e5,  # a cabinet 330 by 300 mm; burners and basins are smaller
    ObstacleKind.STAIR: 8e5,  # three treads of the narrowest stair
}
"""Area, mm2, below which an outline on such a layer is a mark and not the thing."""

MOST_OF_IT: Final = 0.5
"""An outline is in a room when at least so much of it is: units stand against walls, not across."""

COLUMN_ACROSS_MM: Final = (100.0, 1200.0)
"""Sides of a column; a filled outline of such a size standing in a room is one, whatever its layer."""

COLUMN_SLENDER: Final = 4.0
"""Longer than so many widths it is a piece of wall."""

TREADS_APART_MM: Final = 450.0
"""Strokes of one stair are no further apart than the deepest tread."""

_KINDS: Final = (
    (About.COLUMN, ObstacleKind.COLUMN),
    (About.SHAFT, ObstacleKind.SHAFT),
    (About.STAIR, ObstacleKind.STAIR),
    (About.FIXED_UNIT, ObstacleKind.FIXED_UNIT),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ObstacleDraft:
    """Something fixed in a room, by the room's index; its shape is cut to the room."""

    kind: ObstacleKind
    shape: Polygon
    room: int
    source: int


def find_obstacles(
    drawing_mm: Drawing, rooms: Sequence[Polygon], hints: Hints
) -> tuple[ObstacleDraft, ...]:
    """Columns, shafts, stairs and fixed units inside the rooms.

    Args:
        drawing_mm: the drawing in millimetres.
        rooms: the rooms' shapes.
        hints: layers to ignore.

    Returns:
        Obstacles cut to their room, none inside another of the same kind, in order of room and file.
    """
    if not rooms:
        return ()
    shapes, kinds, sources = _outlines(drawing_mm, hints)
    found = _in_rooms(shapes, kinds, sources, rooms)
    found += _stairs(drawing_mm, rooms, hints, [f for f in found if f.kind is ObstacleKind.STAIR])
    found.sort(key=lambda o: (o.room, o.source, o.shape.bounds))
    return tuple(_apart(found))


def _outlines(
    drawing: Drawing, hints: Hints
) -> tuple[list[Polygon], list[ObstacleKind], list[int]]:
    shapes: list[Polygon] = []
    kinds: list[ObstacleKind] = []
    sources: list[int] = []
    for ring in drawing.rings:
        source = drawing.sources[ring.source]
        if matches_layer(source.layer, hints.ignore_layers + hints.room_layers):
            continue
        kind = _kind(source.layer, source.blocks)
        if kind is None and not ring.filled:
            continue
        shape = Polygon(ring.points)
        if kind is None and ring.filled and _is_column(shape, source.layer):
            kind = ObstacleKind.COLUMN
        if kind is None:
            continue
        for part in [shape] if shape.is_valid else repaired(shape):
            if part.area >= SMALLEST_MM2[kind]:
                shapes.append(part)
                kinds.append(kind)
                sources.append(ring.source)
    return shapes, kinds, sources


def _kind(layer: str, blocks: tuple[str, ...]) -> ObstacleKind | None:
    """What layer and innermost block say; a writing, furniture or dimension layer says nothing."""
    for name in (layer, *blocks[-1:]):
        about = says(name)
        silent = {About.ANNOTATION, About.MEASURE, About.FURNITURE, About.BEYOND, About.DOOR}
        if about & silent:
            continue
        for word, kind in _KINDS:
            if word in about:
                return kind
    return None


def _is_column(shape: Polygon, layer: str) -> bool:
    """A compact filled outline of a column's size, not on a layer that says something else."""
    if is_ignored_name(layer) or shape.area < SMALLEST_MM2[ObstacleKind.COLUMN]:
        return False
    box = shapely.oriented_envelope(shape)
    if not isinstance(box, Polygon):
        return False
    x, y = np.asarray(box.exterior.coords).T
    sides = sorted(np.hypot(np.diff(x), np.diff(y))[:2])
    low, high = COLUMN_ACROSS_MM
    compact = low <= sides[0] and sides[1] <= high and sides[1] <= COLUMN_SLENDER * sides[0]
    return bool(compact and shape.area >= MOST_OF_IT * sides[0] * sides[1])


def _in_rooms(
    shapes: list[Polygon],
    kinds: list[ObstacleKind],
    sources: list[int],
    rooms: Sequence[Polygon],
) -> list[ObstacleDraft]:
    if not shapes:
        return []
    item, room = STRtree(rooms).query(shapes, predicate="intersects")
    found = []
    for i, r in sorted(zip(item.tolist(), room.tolist(), strict=True)):
        part = _largest(shapes[i].intersection(rooms[r]))
        if part is not None and part.area >= MOST_OF_IT * shapes[i].area:
            found.append(ObstacleDraft(kind=kinds[i], shape=part, room=r, source=sources[i]))
    return found


def _largest(shape: shapely.Geometry) -> Polygon | None:
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, Polygon)]
    return max(parts, key=lambda p: p.area, default=None)


def _stairs(
    drawing: Drawing, rooms: Sequence[Polygon], hints: Hints, known: Iterable[ObstacleDraft]
) -> list[ObstacleDraft]:
    """Flights drawn as strokes on a stair layer: what the strokes of one flight cover."""
    seg = drawing.segments
    named = sources_where(
        drawing,
        lambda layer: (
            About.STAIR in says(layer)
            and not says(layer) & {About.ANNOTATION, About.MEASURE}
            and not matches_layer(layer, hints.ignore_layers)
        ),
    )
    if not len(named) or not named[seg.source].any():
        return []
    picked = np.flatnonzero(named[seg.source])
    grown = shapely.buffer(line_array(seg.ends[picked]), TREADS_APART_MM / 2, cap_style="square")
    merged = shapely.union_all(grown)
    done = shapely.union_all([o.shape for o in known])
    found = []
    for flight in shapely.get_parts(merged):
        body = shapely.buffer(flight, -TREADS_APART_MM / 2, join_style="mitre")
        for r in sorted(STRtree(rooms).query(body, predicate="intersects").tolist()):
            rest = shapely.difference(body, done).intersection(rooms[r])
            found += [
                ObstacleDraft(
                    kind=ObstacleKind.STAIR, shape=part, room=r, source=int(seg.source[picked[0]])
                )
                for part in shapely.get_parts(rest)
                if isinstance(part, Polygon) and part.area >= SMALLEST_MM2[ObstacleKind.STAIR]
            ]
    return found


def _apart(found: list[ObstacleDraft]) -> list[ObstacleDraft]:
    """Obstacles without those that lie in another of the same room, so that nothing counts twice."""
    kept: list[ObstacleDraft] = []
    for o in sorted(found, key=lambda o: (o.room, -o.shape.area, o.source)):
        inside = any(
            k.room == o.room and o.shape.intersection(k.shape).area > 0.9 * o.shape.area
            for k in kept
        )
        if not inside:
            kept.append(o)
    return sorted(kept, key=lambda o: (o.room, o.source, o.shape.bounds))
