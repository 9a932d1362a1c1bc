"""Sketches of walls drawn in the ways that programs and offices draw them, with the rooms they hold.

Each function gives a sketch and the areas of its rooms, mm2, ascending.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np

from importer.dxf.drawing import Ring
from importer.plan import Point
from tests.importer.build import Sketch
from tests.importer.floorplans import Cells, Walls, grid_plan

Drawn = tuple[Sketch, list[float]]
TWO_ROOMS = [3900 * 5700.0] * 2
HOUSE = Cells(widths=(3000, 4200, 2500), heights=(3600, 2800))

PIECES = (
    (0, 0, 8500, 300),
    (0, 6000, 8500, 6300),
    (0, 300, 300, 6000),
    (8200, 300, 8500, 6000),
    (4200, 300, 4300, 2000),
    (4200, 2900, 4300, 6000),
)
"""Two rooms side by side with a doorway between them, as rectangles of wall."""


def _two_rooms_door(sketch: Sketch, layer: str = "DOORS") -> None:
    sketch.door((4200, 2000), (4200, 2900), layer=layer)


def single_lines() -> Drawn:
    sketch = Sketch()
    walls = Walls(sketch=sketch, layer="WALLS")
    for a, b in (((0, 0), (8000, 0)), ((8000, 0), (8000, 6000)), ((8000, 6000), (0, 6000))):
        walls.face(a, b, [])
    walls.face((0, 6000), (0, 0), [])
    walls.face((4000, 0), (4000, 6000), [(1000, 1900), (4000, 4900)])
    walls.face((0, 3000), (8000, 3000), [(500, 1400), (5000, 5900)])
    sketch.door((4000, 1000), (4000, 1900))
    sketch.door((4000, 4000), (4000, 4900))
    sketch.door((500, 3000), (1400, 3000))
    return sketch, [12e6] * 4


def four_lines() -> Drawn:
    sketch = Sketch()
    corners = [(0.0, 0.0), (4000.0, 0.0), (4000.0, 3000.0), (0.0, 3000.0)]
    for a, b in itertools.pairwise([*corners, corners[0]]):
        sketch.line(a, b, "A-WALL")
    return sketch, [12e6]


def filled_pieces() -> Drawn:
    """Solid fills without a stroke, as cut walls are drawn by some programs."""
    sketch = Sketch()
    for x0, y0, x1, y1 in PIECES:
        points = np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], dtype=float)
        source = sketch.source("SOLID", "Mauern")
        sketch._rings.append(Ring(points=points, source=source, filled=True))
    _two_rooms_door(sketch)
    return sketch, TWO_ROOMS


def closed_polylines() -> Drawn:
    """A closed outline for each piece of wall."""
    sketch = Sketch()
    for piece in PIECES:
        sketch.box(*piece, layer="WAND")
    _two_rooms_door(sketch)
    return sketch, TWO_ROOMS


def outline_of_each_room() -> Drawn:
    """Closed outlines along the inner faces, one round the house; the door on the uncut wall."""
    sketch = Sketch()
    for box in ((0, 0, 8500, 6300), (300, 300, 4200, 6000), (4300, 300, 8200, 6000)):
        sketch.box(*box, layer="A-WALL")
    _two_rooms_door(sketch)
    return sketch, TWO_ROOMS


def drawn_through_the_door() -> Drawn:
    sketch = Sketch()
    for box in ((0, 0, 8500, 6300), (300, 300, 8200, 6000)):
        sketch.box(*box, layer="MUR")
    sketch.line((4200, 300), (4200, 6000), "MUR")
    sketch.line((4300, 300), (4300, 6000), "MUR")
    _two_rooms_door(sketch, "PORTES")
    return sketch, TWO_ROOMS


def half_round_room() -> Drawn:
    sketch = Sketch()
    for thickness in (0, 250):
        low, high, left = -thickness, 4000 + thickness, -thickness
        sketch.line((left, low), (4000, low), "A-WALL")
        sketch.line((left, high), (4000, high), "A-WALL")
        sketch.line((left, low), (left, high), "A-WALL")
        _fine_arc(sketch, (4000, 2000), 2000 + thickness, (-90, 180))
    return sketch, [16e6 + math.pi * 2000**2 / 2]


def round_corner_with_a_doorway() -> Drawn:
    """A quarter-round double wall with a gap in its middle; the gap is closed straight."""
    sketch = Sketch()
    sketch.box(-300, -300, 10300, 8300, "A-WALL")
    sketch.box(0, 0, 10000, 8000, "A-WALL")
    half = math.degrees(900 / 3060) / 2
    for radius in (3000, 3120):
        _fine_arc(sketch, (0, 0), radius, (0, 45 - half))
        _fine_arc(sketch, (0, 0), radius, (45 + half, 45 - half))
    for angle in (math.radians(45 - half), math.radians(45 + half)):
        c, s = math.cos(angle), math.sin(angle)
        sketch.line((3000 * c, 3000 * s), (3120 * c, 3120 * s), "A-WALL")
    return sketch, [math.pi * 3000**2 / 4, 80e6 - math.pi * 3120**2 / 4]


def _fine_arc(sketch: Sketch, centre: Point, radius: float, turn: tuple[float, float]) -> None:
    from importer.dxf.drawing import Arc

    start, sweep = turn
    source = sketch.source("ARC", "A-WALL")
    arc = Arc(centre=centre, radius=radius, start_deg=start, sweep_deg=sweep, source=source)
    sketch._arcs.append(arc)
    points = [arc.point_at(k / 60) for k in range(61)]
    for a, b in itertools.pairwise(points):
        sketch._stroke(a, b, source, curved=True)


def windows_with_sills() -> Drawn:
    """Windows of four lines in cut walls, a sill board before one, a door among them."""
    sketch = Sketch()
    walls = Walls(sketch=sketch)
    w, h, t = 6000, 4000, 300
    gaps: dict[str, list[tuple[float, float]]] = {
        "low": [(1500, 3300)],
        "high": [(2000, 2900)],
        "right": [(1000, 3000)],
    }
    for off in (0, t):
        shifted = {k: [(a + off, b + off) for a, b in g] for k, g in gaps.items()}
        walls.face((-off, -off), (w + off, -off), shifted["low"])
        walls.face((-off, h + off), (w + off, h + off), shifted["high"])
        walls.face((-off, -off), (-off, h + off), [])
        walls.face((w + off, -off), (w + off, h + off), shifted["right"])
    for x, y in ((1500, -t), (3300, -t), (2000, h), (2900, h)):
        walls.line((x, y), (x, y + t))
    for y in (1000, 3000):
        walls.line((w, y), (w + t, y))
    for y in (-t, -170, -130, 0):
        sketch.line((1500, y), (3300, y), "WIN")
    sketch.polyline([(1400, 0), (1400, 60), (3400, 60), (3400, 0)], "WIN")
    for x in (w + 100, w + 140):
        sketch.line((x, 1000), (x, 3000), "WIN")
    sketch.door((2000, h), (2900, h))
    return sketch, [24e6]


def lined_and_insulated() -> Drawn:
    sketch = Sketch()
    for off in (0, 240, 360, 400):
        sketch.box(-off, -off, 8000 + off, 5000 + off, layer="Walls")
    sketch.line((4000, 0), (4000, 5000), "Walls")
    sketch.line((4100, 0), (4100, 5000), "Walls")
    sketch.door((4000, 500), (4000, 1400))
    return sketch, [3900 * 5000, 4000 * 5000]


def old_masonry() -> Drawn:
    cells = Cells(widths=(4000, 5000), heights=(4000, 3500), inner=500, outer=700)
    return grid_plan(cells, leaves=False), cells.areas()


def column_in_a_room() -> Drawn:
    sketch = grid_plan(HOUSE)
    sketch.box(4700, 5400, 5000, 5700, layer="A-WALL")
    areas = HOUSE.areas()
    areas[areas.index(4200 * 2800)] -= 300 * 300
    return sketch, sorted(areas)


def layers_without_meaning() -> Drawn:
    sketch = grid_plan(HOUSE, layer="Ebene 4")
    for x in (1000, 5000):
        sketch.box(x, 1000, x + 900, 3000, layer="Ebene 5")
    return sketch, HOUSE.areas()


def furnished_on_one_layer() -> Drawn:
    """Everything on layer 0: a worktop along the wall, a bed with pillows, treads."""
    sketch = grid_plan(HOUSE, layer="0", door_layer="0")
    for box in (
        (300, 300, 900, 2200),
        (900, 300, 1500, 900),
        (3700, 500, 5300, 2500),
        (3800, 600, 4400, 1000),
        (4500, 600, 5100, 1000),
    ):
        sketch.box(*box, layer="0")
    for k in range(12):
        sketch.line((8100, 400 + k * 100), (8900, 400 + k * 100), "0")
    return sketch, HOUSE.areas()


WALLS_AS_DRAWN: tuple[Callable[[], Drawn], ...] = (
    single_lines,
    four_lines,
    filled_pieces,
    closed_polylines,
    outline_of_each_room,
    drawn_through_the_door,
    half_round_room,
    windows_with_sills,
    lined_and_insulated,
    old_masonry,
    column_in_a_room,
    layers_without_meaning,
    furnished_on_one_layer,
)


# ---------------------------------------------------------------- what holds no rooms


def tiles() -> Sketch:
    sketch = Sketch()
    for k in range(20):
        sketch.line((k * 600, 0), (k * 600, 11400))
        sketch.line((0, k * 600), (11400, k * 600))
    return sketch


def tiles_with_joints() -> Sketch:
    sketch = Sketch()
    for k, joint in itertools.product(range(20), (0, 10)):
        sketch.line((k * 600 + joint, 0), (k * 600 + joint, 11400))
        sketch.line((0, k * 600 + joint), (11400, k * 600 + joint))
    return sketch


def stairs() -> Sketch:
    sketch = Sketch()
    for flight in range(2):
        y = flight * 1100.0
        for k in range(17):
            sketch.line((k * 270, y), (k * 270, y + 1000))
        sketch.box(0, y, 16 * 270, y + 1000)
    return sketch


def furniture() -> Sketch:
    sketch = Sketch()
    sizes = (300, 400, 600, 900, 2000)
    for k in range(60):
        x, y = (k * 1931) % 15000, (k * 2777) % 15000
        sketch.box(x, y, x + sizes[k % 5], y + sizes[(k // 5) % 5])
    return sketch


def title_block() -> Sketch:
    sketch = Sketch()
    sketch.box(0, 0, 42000, 29700)
    sketch.box(500, 500, 41500, 29200)
    for k in range(6):
        sketch.box(30000, 500 + k * 900, 41500, 1400 + k * 900)
    return sketch


def plot_outlines() -> Sketch:
    sketch = Sketch()
    sketch.polyline([(0, 0), (30000, 2000), (28000, 24000), (-2000, 21000)], closed=True)
    for x in (3000, 14000):
        sketch.box(x, 6000, x + 8000, 14000)
    return sketch


NO_PLANS: tuple[Callable[[], Sketch], ...] = (
    tiles,
    tiles_with_joints,
    stairs,
    furniture,
    title_block,
    plot_outlines,
)
