"""block_storey.dxf: one storey of a block, millimetres. Four flats about a corridor with stair, lift
and plant room; flats 1 and 2 are one type mirrored, 3 and 4 another, 4 with a slanted gable.

    flat 3 | stair, lift, plant | flat 4
    -------------- corridor ------------
         flat 1      |      flat 2
"""

from __future__ import annotations

from ezdxf.document import Drawing
from ezdxf.layouts.layout import Modelspace
from shapely import Polygon

from sample_plans import kit
from sample_plans.building import Building, Leaf, Opening, Place, Point, Space, envelope, rectangle
from sample_plans.flat_types import FlatType, north_flat, south_flat
from sample_plans.furniture import add_furniture
from sample_plans.sheet import Sheet, add_sheet

SCALE = kit.Scale(name=200.0, area=160.0, note=160.0, leaf=40.0)
LIFT = rectangle(-200, 1800, 1500, 3700)
STAIR = rectangle(-3000, 1800, -400, 6800)


def flats() -> dict[str, FlatType]:
    """The four flats in their places."""
    south = south_flat()
    return {
        "Flat 1": south.placed(Place(x=-100, y=-200, mirror_x=True, mirror_y=True), "Flat 1", "1"),
        "Flat 2": south.placed(Place(x=100, y=-200, mirror_y=True), "Flat 2", "2"),
        "Flat 3": north_flat().placed(Place(x=-3200, y=1800, mirror_x=True), "Flat 3", "3"),
        "Flat 4": north_flat(slant=0.1).placed(Place(x=3200, y=1800), "Flat 4", "4"),
    }


def building() -> Building:
    """Outer walls 300, between flats and to the corridor 200, inside the flats 100."""
    inner = (
        (-11500, -7600),
        (11500, -7600),
        (11500, 1800),
        (10800, 8800),
        (3200, 8800),
        (3200, 6800),
        (-3200, 6800),
        (-3200, 8800),
        (-11500, 8800),
    )
    homes = tuple(flats().values())
    bays = [Polygon(ring) for f in homes for ring in f.bays]
    return Building(
        footprint=envelope(inner, 300.0, *bays),
        spaces=_communal() + tuple(s for f in homes for s in f.spaces),
        doors=_communal_doors() + tuple(d for f in homes for d in f.doors),
        windows=_communal_windows() + tuple(w for f in homes for w in f.windows),
        shafts=(LIFT, *(s for f in homes for s in f.shafts)),
        columns=tuple(c for f in homes for c in f.columns),
        things=tuple(t for f in homes for t in f.things),
    )


def _communal() -> tuple[Space, ...]:
    plant = ((1700, 1800), (3000, 1800), (3000, 6800), (-200, 6800), (-200, 3900), (1700, 3900))
    return (
        Space(
            name="Corridor",
            ring=rectangle(-11500, 0, 11500, 1600),
            label_at=(0, 920),
            number="0.1",
            communal=True,
        ),
        Space(name="Stair", ring=STAIR, label_at=(-1700, 3000), number="0.2", communal=True),
        Space(name="Plant", ring=plant, label_at=(1500, 5500), number="0.3", communal=True),
    )


def _communal_doors() -> tuple[Opening, ...]:
    return (
        Opening(
            a=(-2400, 1700),
            b=(-1000, 1700),
            thickness=200,
            rooms=("/Corridor", "/Stair"),
            leaf=Leaf.DOUBLE,
        ),
        Opening(
            a=(2800, 1700),
            b=(1900, 1700),
            thickness=200,
            rooms=("/Corridor", "/Plant"),
            leaf=Leaf.HINGED,
            side=-1,
        ),
        Opening(
            a=(200, 1700),
            b=(1100, 1700),
            thickness=200,
            rooms=("/Corridor", None),
            leaf=Leaf.SLIDING,
        ),
    )


def _communal_windows() -> tuple[Opening, ...]:
    return (
        Opening(a=(-11650, 300), b=(-11650, 1300), thickness=300),
        Opening(a=(11650, 1300), b=(11650, 300), thickness=300),
        Opening(a=(-2300, 6950), b=(-1100, 6950), thickness=300),
    )


def draw() -> Drawing:
    """The drawing."""
    doc = kit.new_drawing("R2013", insunits=4, metric=True)
    kit.add_layers(doc)
    add_furniture(doc)
    _tag_block(doc)
    msp = doc.modelspace()
    plan = building()
    for wall in plan.walls():
        kit.fill(msp, wall, "A-WALL-PATT", "SOLID", 1.0)
    kit.draw_walls(msp, plan, as_lines=True)
    kit.draw_columns(msp, plan)
    kit.draw_shafts(msp, plan)
    kit.draw_doors(doc, plan, SCALE)
    kit.draw_windows(doc, plan)
    kit.draw_outlines(msp, plan.spaces)
    kit.draw_things(msp, plan.things)
    _stair(msp)
    _lift(msp)
    for space in plan.spaces:
        _tag(msp, space)
    for name, flat in flats().items():
        kit.letter(msp, name, flat.title_at, 300.0, "A-ANNO-NOTE")
    _dimensions(doc)
    _sheet(doc)
    return doc


def _tag_block(doc: Drawing) -> None:
    """Room tag: name, number and area as attributes about the base point."""
    block = doc.blocks.new("ROOM-TAG")
    for tag, y, height in (
        ("NAME", 300.0, SCALE.name),
        ("NUMBER", 0.0, SCALE.area),
        ("AREA", -270.0, SCALE.area),
    ):
        attribs = {"layer": "A-AREA-IDEN", "style": "LETTERING", "height": height}
        attdef = block.add_attdef(tag, (0.0, y), dxfattribs=attribs)
        attdef.dxf.halign, attdef.dxf.valign = 1, 2
        attdef.dxf.align_point = (0.0, y)


def _tag(msp: Modelspace, space: Space) -> None:
    reference = msp.add_blockref("ROOM-TAG", space.label_at, dxfattribs={"layer": "A-AREA-IDEN"})
    words = {
        "NAME": space.name,
        "NUMBER": space.number,
        "AREA": f"{kit.area_m2(space):.2f} m2",
    }
    reference.add_auto_attribs(words)


def _stair(msp: Modelspace) -> None:
    """Two flights of eight goings of 260, a landing between, walking line with its arrow."""
    pen = {"layer": "A-FLOR-STRS"}
    start, end = 3500, 3500 + 8 * 260
    for low, high in ((-3000, -1800), (-1600, -400)):
        for k in range(9):
            y = start + 260 * k
            msp.add_line((low, y), (high, y), dxfattribs=pen)
    well = [(-1800, start), (-1600, start), (-1600, end), (-1800, end)]
    msp.add_lwpolyline(well, close=True, dxfattribs=pen)
    walk: list[Point] = [
        (-2400, start),
        (-2400, end + 500),
        (-1000, end + 500),
        (-1000, start + 300),
    ]
    msp.add_lwpolyline(walk, dxfattribs=pen)
    for side in (-90, 90):
        msp.add_line((-1000, start + 300), (-1000 + side, start + 520), dxfattribs=pen)
    msp.add_circle((-2400, start), 60, dxfattribs=pen)
    kit.letter(msp, "UP", (-2650, start - 130), 150.0, "A-FLOR-STRS")


def _lift(msp: Modelspace) -> None:
    pen = {"layer": "A-FLOR-EVTR"}
    car = [(-50, 1950), (1350, 1950), (1350, 3350), (-50, 3350)]
    msp.add_lwpolyline(car, close=True, dxfattribs=pen)


def _dimensions(doc: Drawing) -> None:
    msp = doc.modelspace()
    kit.dimension_style(doc, "PLAN-100", 180.0)
    south = [-11800, -11500, -100, 100, 11500, 11800]
    for at, marks in ((-9700, south), (-10300, [-11800, 11800])):
        kit.dimension(msp, kit.Chain(at=at, face=-8900, style="PLAN-100"), marks)
    west = [-7900, -7600, -200, 0, 1600, 1800, 8800, 9100]
    for at, marks in ((-12600, west), (-13250, [-7900, 9100])):
        kit.dimension(msp, kit.Chain(at=at, face=-11800, style="PLAN-100", upright=True), marks)


def _sheet(doc: Drawing) -> None:
    words = {
        "PROJECT": "Plan house 7",
        "TITLE": "Second storey, four flats",
        "STATUS": "For construction",
        "DATE": "2024-03-11",
        "SHEET": "7-202",
        "REV": "C",
        "UNITS": "millimetres",
    }
    add_sheet(
        doc,
        Sheet(
            name="7-202",
            paper=(420.0, 297.0),
            paper_name="A3",
            scale="1:100",
            middle=(-500.0, -500.0),
            ratio=100.0,
            words=words,
        ),
    )
