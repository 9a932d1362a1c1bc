"""Drawing a building with ezdxf the way an office does: layers, blocks, hatches, labels, dimensions."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, degrees
from typing import Final

from ezdxf.document import Drawing
from ezdxf.enums import MTextEntityAlignment, TextEntityAlignment
from ezdxf.layouts.base import BaseLayout
from ezdxf.layouts.layout import Modelspace
from shapely import Polygon

from sample_plans.building import Building, Leaf, Opening, Point, Space, Thing

LAYERS: Final[dict[str, tuple[int, int]]] = {
    # name: (colour index, lineweight in 1/100 mm); names after the US national CAD standard
    "A-WALL": (7, 50),
    "A-WALL-PATT": (9, 13),
    "A-COLS": (7, 50),
    "A-COLS-PATT": (8, 13),
    "A-DOOR": (3, 25),
    "A-GLAZ": (4, 25),
    "A-AREA": (6, 18),
    "A-AREA-IDEN": (7, 25),
    "A-FLOR-FIXT": (5, 18),
    "A-FLOR-CASE": (30, 25),
    "A-FLOR-STRS": (8, 25),
    "A-FLOR-EVTR": (8, 25),
    "A-FLOR-OTLN": (8, 18),
    "A-FURN": (8, 13),
    "A-ANNO-DIMS": (1, 18),
    "A-ANNO-NOTE": (7, 18),
    "A-ANNO-TTLB": (7, 35),
    "A-ANNO-NPLT": (8, 0),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Sizes of lettering and of the door leaf in drawing units."""

    name: float
    area: float
    note: float
    leaf: float


def new_drawing(version: str, *, insunits: int = 0, metric: bool = True) -> Drawing:
    """An empty drawing. The oldest format, R12, has no place for the unit."""
    doc = Drawing.new(version)
    if version == "R12":
        doc.header["$HANDLING"] = 1
    else:
        doc.units = insunits
        doc.header["$MEASUREMENT"] = 1 if metric else 0
    doc.styles.add("LETTERING", font="arial.ttf")
    return doc


def add_layers(doc: Drawing, layers: dict[str, tuple[int, int]] = LAYERS) -> None:
    """The layer table; room outlines and viewport frames are not plotted, as in an office."""
    for name, (colour, weight) in layers.items():
        layer = doc.layers.add(name, color=colour)
        if doc.dxfversion > "AC1009":
            layer.dxf.lineweight = weight
            layer.dxf.plot = 0 if name.endswith(("A-AREA", "NPLT")) else 1


# --- walls and openings ----------------------------------------------------------------------


def draw_walls(msp: Modelspace, building: Building, *, as_lines: bool) -> None:
    """Wall faces on A-WALL, as closed polylines or as single lines."""
    for wall in building.walls():
        for ring in (wall.exterior, *wall.interiors):
            points = list(ring.coords)
            if as_lines:
                for start, end in pairwise(points):
                    msp.add_line(start, end, dxfattribs={"layer": "A-WALL"})
            else:
                msp.add_lwpolyline(points[:-1], close=True, dxfattribs={"layer": "A-WALL"})


def fill(msp: Modelspace, shape: Polygon, layer: str, pattern: str, scale: float) -> None:
    """Hatch a polygon with its holes."""
    hatch = msp.add_hatch(dxfattribs={"layer": layer})
    if pattern != "SOLID":
        hatch.set_pattern_fill(pattern, scale=scale)
    hatch.paths.add_polyline_path(list(shape.exterior.coords)[:-1], is_closed=True, flags=1)
    for ring in shape.interiors:
        hatch.paths.add_polyline_path(list(ring.coords)[:-1], is_closed=True, flags=16)


def draw_columns(msp: Modelspace, building: Building) -> None:
    """Free columns: outline and solid fill."""
    for ring in building.columns:
        msp.add_lwpolyline(ring, close=True, dxfattribs={"layer": "A-COLS"})
        fill(msp, Polygon(ring), "A-COLS-PATT", "SOLID", 1.0)


def draw_shafts(msp: Modelspace, building: Building) -> None:
    """Risers: a cross from corner to corner."""
    for ring in building.shafts:
        for start, end in ((ring[0], ring[2]), (ring[1], ring[3])):
            msp.add_line(start, end, dxfattribs={"layer": "A-FLOR-OTLN"})


def door_block(doc: Drawing, door: Opening, leaf: float) -> str:
    """Block for a door of that kind and width: hinge at the base point, closed leaf along x,
    open leaf along y; made when it is first needed.
    """
    name = f"DOOR-{door.leaf.name[0]}-{door.width:.6g}".replace(".", "_")
    if name in doc.blocks:
        return name
    block = doc.blocks.new(name)
    if door.leaf is Leaf.HINGED:
        _hinged_leaf(block, (0.0, 0.0), door.width, leaf, left=True)
    elif door.leaf is Leaf.DOUBLE:
        _hinged_leaf(block, (0.0, 0.0), door.width / 2, leaf, left=True)
        _hinged_leaf(block, (door.width, 0.0), door.width / 2, leaf, left=False)
    else:
        _sliding_leaves(block, door, leaf)
    return name


def _hinged_leaf(block: BaseLayout, hinge: Point, width: float, leaf: float, *, left: bool) -> None:
    hand = 1 if left else -1
    x, y = hinge
    corners = [(x, y), (x + hand * leaf, y), (x + hand * leaf, y + width), (x, y + width)]
    block.add_lwpolyline(corners, close=True, dxfattribs={"layer": "0"})
    start, end = (0.0, 90.0) if left else (90.0, 180.0)
    block.add_arc(hinge, width, start, end, dxfattribs={"layer": "0"})


def _sliding_leaves(block: BaseLayout, door: Opening, leaf: float) -> None:
    half, middle = door.width / 2, -door.thickness / 2
    for x, y in ((0.0, middle), (half, middle - leaf)):
        corners = [(x, y), (x + half, y), (x + half, y + leaf), (x, y + leaf)]
        block.add_lwpolyline(corners, close=True, dxfattribs={"layer": "0"})


def draw_doors(doc: Drawing, building: Building, scale: Scale) -> None:
    """A block reference a door; mirrored ones by a negative scale, as MIRROR leaves them."""
    for door in building.doors:
        if door.leaf is Leaf.OPENING:
            continue
        ux, uy = door.along
        doc.modelspace().add_blockref(
            door_block(doc, door, scale.leaf),
            _rounded(door.hinge),
            dxfattribs={
                "layer": "A-DOOR",
                "rotation": round(degrees(atan2(uy, ux)), 6),
                "yscale": door.side,
            },
        )


def draw_windows(doc: Drawing, building: Building) -> None:
    """One window block, unit long and unit thick, stretched to every opening."""
    if "WINDOW" not in doc.blocks:
        block = doc.blocks.new("WINDOW")
        frame = [(0.0, -0.5), (1.0, -0.5), (1.0, 0.5), (0.0, 0.5)]
        block.add_lwpolyline(frame, close=True, dxfattribs={"layer": "0"})
        for y in (-0.08, 0.08):
            block.add_line((0.0, y), (1.0, y), dxfattribs={"layer": "0"})
    for window in building.windows:
        ux, uy = window.along
        doc.modelspace().add_blockref(
            "WINDOW",
            _rounded(window.a),
            dxfattribs={
                "layer": "A-GLAZ",
                "rotation": round(degrees(atan2(uy, ux)), 6),
                "xscale": round(window.width, 6),
                "yscale": window.thickness,
            },
        )


def _rounded(p: Point) -> Point:
    return (round(p[0], 3) + 0.0, round(p[1], 3) + 0.0)


# --- rooms, things, words --------------------------------------------------------------------


def draw_outlines(msp: Modelspace, spaces: Sequence[Space]) -> None:
    """A closed outline a room, along the wall faces."""
    for space in spaces:
        ring = [_rounded(p) for p in space.ring]
        msp.add_lwpolyline(ring, close=True, dxfattribs={"layer": "A-AREA"})


def draw_things(msp: Modelspace, things: Sequence[Thing]) -> None:
    """Furniture, sanitary ware and units."""
    for thing in things:
        hand = thing.place.hand
        turned = thing.place.turn(hand * thing.angle, (1.0, 0.0))
        msp.add_blockref(
            thing.block,
            _rounded(thing.place.point(thing.at)),
            dxfattribs={
                "layer": thing.layer,
                "rotation": round(turned % 360.0, 6),
                "xscale": thing.scale[0],
                "yscale": hand * thing.scale[1],
            },
        )


def letter(layout: BaseLayout, text: str, at: Point, height: float, layer: str) -> None:
    """A single line of text about its middle."""
    attribs = {"layer": layer, "style": "LETTERING"}
    entity = layout.add_text(text, height=height, dxfattribs=attribs)
    entity.set_placement(_rounded(at), align=TextEntityAlignment.MIDDLE_CENTER)


def paragraph(msp: Modelspace, lines: Sequence[str], at: Point, height: float, layer: str) -> None:
    """Several lines of text in one MTEXT about its middle."""
    attribs = {"layer": layer, "style": "LETTERING", "char_height": height}
    entity = msp.add_mtext("\\P".join(lines), dxfattribs=attribs)
    entity.set_location(_rounded(at), attachment_point=MTextEntityAlignment.MIDDLE_CENTER)


def area_m2(space: Space, unit_mm: float = 1.0) -> float:
    """Floor area of a room in square metres."""
    return float(space.shape.area) * (unit_mm / 1000.0) ** 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """A chain of dimensions drawn at x = `at` when upright, else at y = `at`, for a wall whose face
    is at `face`; `words` turns a length into text where the style cannot.
    """

    at: float
    face: float
    style: str
    upright: bool = False
    words: Callable[[float], str] | None = None


def dimension(msp: Modelspace, chain: Chain, marks: Sequence[float]) -> None:
    """One dimension between each mark and the next."""
    for low, high in pairwise(marks):
        ends = [(m, chain.face) for m in (low, high)]
        if chain.upright:
            ends = [(y, x) for x, y in ends]
        dim = msp.add_linear_dim(
            base=(chain.at, low) if chain.upright else (low, chain.at),
            p1=ends[0],
            p2=ends[1],
            angle=90 if chain.upright else 0,
            text="<>" if chain.words is None else chain.words(high - low),
            dimstyle=chain.style,
            dxfattribs={"layer": "A-ANNO-DIMS"},
        )
        dim.render()


def dimension_style(doc: Drawing, name: str, height: float, **more: float) -> None:
    """Dimensions with oblique ticks, lettering of that height."""
    style = doc.dimstyles.new(name)
    style.dxf.dimtxt = height
    style.dxf.dimtxsty = "LETTERING"
    style.dxf.dimtsz = height * 0.6
    style.dxf.dimexo = height * 0.8
    style.dxf.dimexe = height * 0.6
    style.dxf.dimdle = height * 0.6
    style.dxf.dimgap = height * 0.4
    style.dxf.dimtad = 1
    style.dxf.dimclrt = 7
    style.dxf.dimlwd = style.dxf.dimlwe = 13
    style.dxf.dimfxlon, style.dxf.dimfxl = 1, height * 1.5
    style.dxf.dimdec = 0
    for key, value in more.items():
        style.set_dxf_attrib(key, value)
