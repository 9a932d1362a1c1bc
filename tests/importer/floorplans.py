"""Generated floor plans with known rooms, and the damage that drawings come with."""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, replace

import numpy as np

from importer.dxf.doors import door_symbols
from importer.dxf.drawing import Drawing
from importer.dxf.found import Recovered
from importer.dxf.walls_to_rooms import recover_rooms
from importer.hints import Hints
from importer.plan import Point
from tests.importer.build import Sketch


@dataclass(kw_only=True)
class Walls:
    """Double-line walls along a grid of axes, with gaps cut for doors.

    Draws both faces of each wall between its jambs and the jambs themselves, as architects do.
    """

    sketch: Sketch
    layer: str = "A-WALL"
    door_layer: str = "DOORS"
    turn_deg: float = 0.0
    shift: Point = (0.0, 0.0)

    def at(self, x: float, y: float) -> Point:
        a = math.radians(self.turn_deg)
        return (
            self.shift[0] + x * math.cos(a) - y * math.sin(a),
            self.shift[1] + x * math.sin(a) + y * math.cos(a),
        )

    def line(self, a: Point, b: Point, layer: str | None = None) -> None:
        self.sketch.line(self.at(*a), self.at(*b), layer or self.layer)

    def door(self, hinge: Point, closed: Point, opens: float = 90.0) -> None:
        self.sketch.door(self.at(*hinge), self.at(*closed), opens=opens, layer=self.door_layer)

    def face(self, a: Point, b: Point, gaps: list[tuple[float, float]]) -> None:
        """A face from a to b, interrupted at the gaps given as distances from a."""
        length = math.dist(a, b)
        ux, uy = (b[0] - a[0]) / length, (b[1] - a[1]) / length
        cuts = [0.0, *[c for gap in sorted(gaps) for c in gap], length]
        for p, q in zip(cuts[0::2], cuts[1::2], strict=True):
            if q - p > 0.01:
                self.line((a[0] + ux * p, a[1] + uy * p), (a[0] + ux * q, a[1] + uy * q))


@dataclass(frozen=True, kw_only=True)
class Cells:
    """Rows and columns of rooms: clear sizes and wall thickness, mm."""

    widths: tuple[float, ...]
    heights: tuple[float, ...]
    inner: float = 100.0
    outer: float = 300.0

    def lefts(self) -> list[float]:
        return _starts(self.widths, self.outer, self.inner)

    def bottoms(self) -> list[float]:
        return _starts(self.heights, self.outer, self.inner)

    def size(self) -> Point:
        return (
            self.lefts()[-1] + self.widths[-1] + self.outer,
            self.bottoms()[-1] + self.heights[-1] + self.outer,
        )

    def areas(self) -> list[float]:
        return sorted(w * h for w in self.widths for h in self.heights)


def _starts(sizes: tuple[float, ...], outer: float, inner: float) -> list[float]:
    starts = [outer]
    for size in sizes[:-1]:
        starts.append(starts[-1] + size + inner)
    return starts


def grid_plan(cells: Cells, *, door: float = 900.0, leaves: bool = True, **kind: object) -> Sketch:
    """A house of rooms in rows and columns; every inner wall has a doorway in its middle.

    The faces are drawn as an architect trims them: continuous along each room, open at doorways, with
    jambs across the wall.
    """
    sketch = Sketch()
    walls = Walls(sketch=sketch, **kind)  # type: ignore[arg-type]
    width, height = cells.size()
    for a, b in (
        ((0, 0), (width, 0)),
        ((width, 0), (width, height)),
        ((width, height), (0, height)),
        ((0, height), (0, 0)),
    ):
        walls.face(a, b, [])
    for column, x in enumerate(cells.lefts()):
        for row, y in enumerate(cells.bottoms()):
            _room(walls, cells, (column, row), (x, y), door)
    half = door / 2
    for x, y, h in _upright_doors(cells):
        walls.line((x - cells.inner, y + h / 2 - half), (x, y + h / 2 - half))
        walls.line((x - cells.inner, y + h / 2 + half), (x, y + h / 2 + half))
        if leaves:
            walls.door((x, y + h / 2 - half), (x, y + h / 2 + half), -90)
    for x, y, w in _level_doors(cells):
        walls.line((x + w / 2 - half, y - cells.inner), (x + w / 2 - half, y))
        walls.line((x + w / 2 + half, y - cells.inner), (x + w / 2 + half, y))
        if leaves:
            walls.door((x + w / 2 - half, y), (x + w / 2 + half, y), 90)
    return sketch


def _upright_doors(cells: Cells) -> list[tuple[float, float, float]]:
    """Left edge, bottom and height of the rooms that have a door in their left wall."""
    rows = list(zip(cells.bottoms(), cells.heights, strict=True))
    return [(x, y, h) for x in cells.lefts()[1:] for y, h in rows]


def _level_doors(cells: Cells) -> list[tuple[float, float, float]]:
    """Left edge, bottom and width of the rooms that have a door in their bottom wall."""
    columns = list(zip(cells.lefts(), cells.widths, strict=True))
    return [(x, y, w) for y in cells.bottoms()[1:] for x, w in columns]


def _room(walls: Walls, cells: Cells, place: tuple[int, int], corner: Point, door: float) -> None:
    (column, row), (x, y) = place, corner
    w, h = cells.widths[column], cells.heights[row]
    across = [(w / 2 - door / 2, w / 2 + door / 2)]
    up = [(h / 2 - door / 2, h / 2 + door / 2)]
    last_column, last_row = len(cells.widths) - 1, len(cells.heights) - 1
    walls.face((x, y), (x + w, y), across if row > 0 else [])
    walls.face((x, y + h), (x + w, y + h), across if row < last_row else [])
    walls.face((x, y), (x, y + h), up if column > 0 else [])
    walls.face((x + w, y), (x + w, y + h), up if column < last_column else [])


def recovered(sketch: Sketch | Drawing, hints: Hints | None = None) -> Recovered:
    """What the importer makes of a sketch."""
    drawing = sketch.build() if isinstance(sketch, Sketch) else sketch
    given = hints or Hints()
    return recover_rooms(drawing, door_symbols(drawing, given), given)


def room_areas(found: Recovered) -> list[float]:
    """Areas of the recovered rooms, ascending, mm2."""
    return sorted(r.shape.area for r in found.rooms)


# ---------------------------------------------------------------- damage


Layers = str | frozenset[str]
"""The layer that the walls are drawn on, or all of them."""


def _walls_of(drawing: Drawing, layers: Layers) -> np.ndarray:
    wanted = {layers} if isinstance(layers, str) else layers
    on = np.array([s.layer in wanted for s in drawing.sources])
    return on[drawing.segments.source] & ~drawing.segments.curved


def _with_ends(drawing: Drawing, ends: np.ndarray, keep: np.ndarray | None = None) -> Drawing:
    seg = drawing.segments
    if keep is None:
        keep = np.ones(len(seg), dtype=bool)
    return replace(
        drawing,
        segments=replace(seg, ends=ends[keep], source=seg.source[keep], curved=seg.curved[keep]),
    )


def with_ends_moved(drawing: Drawing, low: float, high: float, seed: int, layer: Layers) -> Drawing:
    """Wall strokes lengthened at both ends by low..high mm (negative: shortened)."""
    rng = np.random.default_rng(seed)
    ends = drawing.segments.ends.copy()
    rows = np.flatnonzero(_walls_of(drawing, layer))
    run = ends[rows, 2:] - ends[rows, :2]
    length = np.hypot(run[:, 0], run[:, 1])
    unit = run / length[:, None]
    least = -0.45 * length
    for sign, part in ((-1, slice(0, 2)), (1, slice(2, 4))):
        by = np.maximum(rng.uniform(low, high, len(rows)), least)
        ends[rows, part] += sign * unit * by[:, None]
    return _with_ends(drawing, ends)


def with_jitter(drawing: Drawing, size: float, seed: int, layer: Layers) -> Drawing:
    """Both ends of every wall stroke moved by up to `size` mm in x and y."""
    rng = np.random.default_rng(seed)
    ends = drawing.segments.ends.copy()
    rows = np.flatnonzero(_walls_of(drawing, layer))
    ends[rows] += rng.uniform(-size, size, (len(rows), 4))
    return _with_ends(drawing, ends)


def with_lines_dropped(drawing: Drawing, share: float, seed: int, layer: Layers) -> Drawing:
    """A share of the wall strokes left out."""
    rng = random.Random(seed)
    rows = np.flatnonzero(_walls_of(drawing, layer)).tolist()
    keep = np.ones(len(drawing.segments), dtype=bool)
    keep[rng.sample(rows, round(share * len(rows)))] = False
    return _with_ends(drawing, drawing.segments.ends.copy(), keep)
