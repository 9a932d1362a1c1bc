"""flat_messy.dxf: a flat as it comes from somebody else's office. No unit in the header, German layer
names, far from the origin, oldest format. Wall lines stop short, overshoot, lie double; doors and
furniture are exploded; no room outlines, dimensions are plain lines.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import atan2, degrees
from random import Random
from typing import Final

from ezdxf.document import Drawing
from ezdxf.layouts.layout import Modelspace

from sample_plans import kit
from sample_plans.building import (
    Building,
    Leaf,
    Opening,
    Place,
    Point,
    Space,
    Thing,
    envelope,
    rectangle,
)
from sample_plans.furniture import add_furniture

PLACE: Final = Place(x=251340.0, y=183275.0)
SEED: Final = 20240311
LAYERS: Final = {
    "WAND": (7, 50),
    "WAND-NEU": (1, 50),
    "TUER": (3, 25),
    "FENSTER": (4, 25),
    "TEXT": (7, 18),
    "MOEBEL": (8, 13),
    "SANITAER": (5, 18),
    "BEMASSUNG": (1, 18),
}


def building() -> Building:
    """Outer walls 365, inner walls 115; what the untidy lines are meant to be."""
    spaces = tuple(s.placed(PLACE, "", "") for s in _spaces())
    ring = tuple(PLACE.point(p) for p in rectangle(0, 0, 10300, 8600))
    return Building(
        footprint=envelope(ring, 365.0),
        spaces=spaces,
        doors=tuple(d.placed(PLACE, "") for d in _doors()),
        windows=tuple(w.placed(PLACE, "") for w in _windows()),
        things=tuple(replace(t, place=PLACE) for t in _things()),
    )


def _spaces() -> tuple[Space, ...]:
    hall = (
        (3515, 5315),
        (5015, 5315),
        (5015, 4015),
        (7300, 4015),
        (7300, 5415),
        (5215, 5415),
        (5215, 8600),
        (3515, 8600),
    )
    return (
        Space(name="Wohnen", ring=rectangle(0, 0, 4900, 5200), label_at=(2900, 3650)),
        Space(name="Küche", ring=rectangle(0, 5315, 3400, 8600), label_at=(1750, 6350)),
        Space(name="Flur", ring=hall, label_at=(4300, 6400)),
        Space(name="Bad", ring=rectangle(5330, 5530, 7300, 8600), label_at=(5900, 6900)),
        Space(name="Schlafen", ring=rectangle(5015, 0, 10300, 3900), label_at=(6500, 1500)),
        Space(name="Kind", ring=rectangle(7415, 4015, 10300, 8600), label_at=(8750, 6100)),
    )


def _doors() -> tuple[Opening, ...]:
    def inner(a: Point, b: Point, room: str, side: int = 1) -> Opening:
        return Opening(a=a, b=b, thickness=115, rooms=("Flur", room), leaf=Leaf.HINGED, side=side)

    return (
        Opening(
            a=(4710, 8782.5),
            b=(3700, 8782.5),
            thickness=365,
            rooms=("Flur", None),
            leaf=Leaf.HINGED,
            flat_entrance=True,
        ),
        inner((4600, 5257.5), (3715, 5257.5), "Wohnen"),
        inner((3457.5, 6600), (3457.5, 5715), "Küche", side=-1),
        inner((6800, 5472.5), (6040, 5472.5), "Bad", side=-1),
        inner((6400, 3957.5), (5515, 3957.5), "Schlafen"),
        inner((7357.5, 5200), (7357.5, 4315), "Kind"),
        Opening(
            a=(1600, -182.5),
            b=(3360, -182.5),
            thickness=365,
            rooms=("Wohnen", None),
            leaf=Leaf.DOUBLE,
        ),
    )


def _windows() -> tuple[Opening, ...]:
    return (
        Opening(a=(-182.5, 1800), b=(-182.5, 3310), thickness=365),
        Opening(a=(-182.5, 6600), b=(-182.5, 7610), thickness=365),
        Opening(a=(7000, -182.5), b=(8760, -182.5), thickness=365),
        Opening(a=(10482.5, 5600), b=(10482.5, 7110), thickness=365),
        Opening(a=(6000, 8782.5), b=(6635, 8782.5), thickness=365),
    )


def _things() -> tuple[Thing, ...]:
    bath, move = "SANITAER", "MOEBEL"
    return (
        Thing(block="BATH", at=(7300, 6800), angle=90, layer=bath),
        Thing(block="WC", at=(5330, 8100), angle=-90, layer=bath),
        Thing(block="BASIN", at=(5330, 6400), angle=-90, layer=bath),
        Thing(block="SINK", at=(1700, 8600), angle=180, layer=move),
        Thing(block="HOB", at=(2300, 8600), angle=180, layer=move),
        Thing(block="UNIT", at=(700, 8600), angle=180, layer=move),
        Thing(block="SOFA", at=(0, 4700), angle=-90, layer=move),
        Thing(block="TABLE-LOW", at=(1250, 4150), angle=-90, layer=move),
        Thing(block="TABLE-4", at=(3300, 1500), layer=move),
        Thing(block="BED-DOUBLE", at=(10300, 1100), angle=90, layer=move),
        Thing(block="WARDROBE", at=(10200, 3900), angle=180, layer=move),
        Thing(block="WARDROBE", at=(9000, 3900), angle=180, layer=move),
        Thing(block="BED-SINGLE", at=(8500, 8600), angle=180, layer=move),
        Thing(block="DESK", at=(10300, 4200), angle=90, layer=move),
    )


def draw() -> Drawing:
    """The drawing. The format has no entry for the unit, and the coordinates do not tell either."""
    doc = kit.new_drawing("R12")
    kit.add_layers(doc, LAYERS)
    add_furniture(doc)
    msp = doc.modelspace()
    plan = building()
    _walls(msp, plan, Random(SEED))  # noqa: S311  # not for secrets: the same mess every time
    for door in plan.doors:
        _door(msp, door)
    for window in plan.windows:
        _window(msp, window)
    kit.draw_things(msp, plan.things)
    for insert in list(msp.query("INSERT")):
        layer = insert.dxf.layer
        for part in insert.explode():
            part.dxf.layer = layer
    _words(msp, plan)
    _dimensions(msp)
    return doc


# --- untidy walls ----------------------------------------------------------------------------


def _walls(msp: Modelspace, plan: Building, chance: Random) -> None:
    """Every wall face, some as polylines over corners, most as lines of their own."""
    for wall in plan.walls():
        for ring in (wall.exterior, *wall.interiors):
            faces = list(pairwise(ring.coords))
            while faces:
                count = chance.randint(2, 3) if chance.random() < 0.25 else 1
                _faces(msp, [faces[0][0], *(end for _, end in faces[:count])], chance)
                faces = faces[count:]


def _faces(msp: Modelspace, points: list[Point], chance: Random) -> None:
    points[0] = _missed(points[1], points[0], chance)
    points[-1] = _missed(points[-2], points[-1], chance)
    layer = {"layer": "WAND-NEU" if _is_new(points) else "WAND"}
    if len(points) > 2:
        msp.add_polyline2d(points, dxfattribs=layer)
        return
    msp.add_line(points[0], points[1], dxfattribs=layer)
    if chance.random() < 0.12:
        (x0, y0), (x1, y1) = points
        share = chance.choice((0.0, 0.0, 0.4))
        msp.add_line((x1, y1), (x0 + share * (x1 - x0), y0 + share * (y1 - y0)), dxfattribs=layer)


def _missed(start: Point, end: Point, chance: Random) -> Point:
    """The end of a stroke as a hurried hand leaves it: short, over, or a little beside."""
    length = max(abs(end[0] - start[0]), abs(end[1] - start[1]))
    way = chance.random()
    along = 0.0
    if way < 0.3:
        along = -chance.uniform(0.5, 6.0)
    elif way < 0.6:
        along = chance.uniform(1.0, 25.0 if length > 600 else 8.0)
    beside = chance.uniform(-0.5, 0.5) if chance.random() < 0.2 else 0.0
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    return (
        round(end[0] + ux * along - uy * beside, 3),
        round(end[1] + uy * along + ux * beside, 3),
    )


def _is_new(points: list[Point]) -> bool:
    """The wall between hall and bath was drawn later, on a layer of its own."""
    x = sum(p[0] for p in points) / len(points) - PLACE.x
    y = sum(p[1] for p in points) / len(points) - PLACE.y
    return 5200 < x < 5340 and y > 5415


# --- exploded doors and windows, words -------------------------------------------------------


def _door(msp: Modelspace, door: Opening) -> None:
    """Leaf and swing as loose line and arc."""
    if door.leaf is Leaf.DOUBLE:
        middle = ((door.a[0] + door.b[0]) / 2, (door.a[1] + door.b[1]) / 2)
        _leaf(msp, replace(door, b=middle))
        _leaf(msp, replace(door, a=door.b, b=middle, side=-door.side))
    else:
        _leaf(msp, door)


def _leaf(msp: Modelspace, door: Opening) -> None:
    open_end = door.across(door.hinge, door.side * door.width)
    angles = [
        degrees(atan2(p[1] - door.hinge[1], p[0] - door.hinge[0])) % 360.0
        for p in (door.closed_end, open_end)
    ]
    start, end = angles if door.side > 0 else reversed(angles)
    msp.add_line(door.hinge, open_end, dxfattribs={"layer": "TUER"})
    msp.add_arc(door.hinge, door.width, start, end, dxfattribs={"layer": "TUER"})


def _window(msp: Modelspace, window: Opening) -> None:
    for share in (-0.5, -0.06, 0.06, 0.5):
        ends = [window.across(p, share * window.thickness) for p in (window.a, window.b)]
        msp.add_line(ends[0], ends[1], dxfattribs={"layer": "FENSTER"})


def _words(msp: Modelspace, plan: Building) -> None:
    for space in plan.spaces:
        x, y = space.label_at
        area = f"{kit.area_m2(space):.2f} m²".replace(".", ",")
        kit.letter(msp, space.name, (x, y), 175.0, "TEXT")
        kit.letter(msp, area, (x, y - 260), 125.0, "TEXT")
    kit.letter(msp, "Grundriss Obergeschoss  M 1:50", PLACE.point((2000, -2900)), 200.0, "TEXT")


def _dimensions(msp: Modelspace) -> None:
    """Chains of plain lines, oblique ticks and figures."""
    pen = {"layer": "BEMASSUNG"}
    for y, marks in (
        (-1100, (-365, 0, 4900, 5015, 10300, 10665)),
        (-1600, (-365, 1600, 3360, 7000, 8760, 10665)),
        (-2100, (-365, 10665)),
    ):
        start, end = PLACE.point((marks[0] - 150, y)), PLACE.point((marks[-1] + 150, y))
        msp.add_line(start, end, dxfattribs=pen)
        for x in marks:
            low, high = PLACE.point((x - 75, y - 75)), PLACE.point((x + 75, y + 75))
            msp.add_line(low, high, dxfattribs=pen)
        for low_x, high_x in pairwise(marks):
            middle = PLACE.point(((low_x + high_x) / 2, y + 130))
            kit.letter(msp, f"{high_x - low_x}", middle, 125.0, "BEMASSUNG")
