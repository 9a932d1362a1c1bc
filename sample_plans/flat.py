"""flat.dxf: one flat in millimetres, room outlines, walls as closed polylines, a sheet at 1:50."""

from __future__ import annotations

from ezdxf.document import Drawing

from sample_plans import kit
from sample_plans.building import Building, Leaf, Opening, Space, Thing, envelope, rectangle
from sample_plans.furniture import add_furniture
from sample_plans.sheet import Sheet, add_sheet

SCALE = kit.Scale(name=175.0, area=125.0, note=125.0, leaf=40.0)
SHAFT = rectangle(5100, 7300, 5600, 7600)


def building() -> Building:
    """Walls 300 outside, 100 inside, 200 to the stair side; rooms by their inner faces."""
    spaces = (
        Space(
            name="Living room", ring=rectangle(0, 0, 5200, 4300), label_at=(3000, 2500), number="01"
        ),
        Space(
            name="Kitchen", ring=rectangle(0, 4400, 3200, 7600), label_at=(1700, 5800), number="02"
        ),
        Space(
            name="Hall",
            ring=(
                (3300, 4400),
                (5300, 4400),
                (5300, 3500),
                (7100, 3500),
                (7100, 4800),
                (5000, 4800),
                (5000, 7600),
                (3300, 7600),
            ),
            label_at=(4150, 5650),
            number="03",
        ),
        Space(
            name="Bathroom",
            ring=(
                (5100, 4900),
                (7100, 4900),
                (7100, 7600),
                (5650, 7600),
                (5650, 7250),
                (5100, 7250),
            ),
            label_at=(5730, 6300),
            number="04",
        ),
        Space(
            name="Bedroom 1",
            ring=rectangle(5300, 0, 9800, 3400),
            label_at=(6350, 1250),
            number="05",
        ),
        Space(
            name="Bedroom 2",
            ring=rectangle(7200, 3500, 9800, 7600),
            label_at=(8300, 5050),
            number="06",
        ),
    )
    ring = ((0, 0), (9800, 0), (9800, 7600), (0, 7600))
    return Building(
        footprint=envelope(ring, 300.0),
        spaces=spaces,
        doors=_doors(),
        windows=_windows(),
        shafts=(SHAFT,),
        things=_things(),
    )


def _doors() -> tuple[Opening, ...]:
    hinged = Leaf.HINGED
    return (
        Opening(
            a=(4710, 7750),
            b=(3700, 7750),
            thickness=300,
            rooms=("Hall", None),
            leaf=hinged,
            flat_entrance=True,
        ),
        Opening(
            a=(4400, 4350),
            b=(3500, 4350),
            thickness=100,
            rooms=("Hall", "Living room"),
            leaf=hinged,
        ),
        Opening(
            a=(3250, 5000), b=(3250, 5900), thickness=100, rooms=("Hall", "Kitchen"), leaf=hinged
        ),
        Opening(
            a=(5900, 4850), b=(6700, 4850), thickness=100, rooms=("Hall", "Bathroom"), leaf=hinged
        ),
        Opening(
            a=(6500, 3450), b=(5600, 3450), thickness=100, rooms=("Hall", "Bedroom 1"), leaf=hinged
        ),
        Opening(
            a=(7150, 4600),
            b=(7150, 3700),
            thickness=100,
            rooms=("Hall", "Bedroom 2"),
            leaf=hinged,
        ),
        Opening(a=(900, 4350), b=(2400, 4350), thickness=100, rooms=("Kitchen", "Living room")),
        Opening(
            a=(2900, -150),
            b=(4700, -150),
            thickness=300,
            rooms=("Living room", None),
            leaf=Leaf.SLIDING,
        ),
    )


def _windows() -> tuple[Opening, ...]:
    return (
        Opening(a=(600, -150), b=(2100, -150), thickness=300),
        Opening(a=(6600, -150), b=(8400, -150), thickness=300),
        Opening(a=(9950, 4900), b=(9950, 6400), thickness=300),
        Opening(a=(-150, 5200), b=(-150, 6400), thickness=300),
    )


def _things() -> tuple[Thing, ...]:
    fixt, case = "A-FLOR-FIXT", "A-FLOR-CASE"
    return (
        Thing(block="BATH", at=(7100, 5850), angle=90, layer=fixt),
        Thing(block="WC", at=(5100, 6900), angle=-90, layer=fixt),
        Thing(block="BASIN", at=(5100, 5750), angle=-90, layer=fixt),
        Thing(block="SINK", at=(0, 6400), angle=-90, layer=case),
        Thing(block="HOB", at=(0, 5400), angle=-90, layer=case),
        Thing(block="UNIT", at=(0, 7000), angle=-90, layer=case),
        Thing(block="UNIT", at=(600, 7600), angle=180, layer=case),
        Thing(block="UNIT", at=(1200, 7600), angle=180, layer=case),
        Thing(block="TALL", at=(1800, 7600), angle=180, layer=case),
        Thing(block="SOFA", at=(0, 3250), angle=-90),
        Thing(block="TABLE-LOW", at=(1300, 2700), angle=-90),
        Thing(block="TABLE-4", at=(5000, 400), angle=90),
        Thing(block="BED-DOUBLE", at=(9800, 700), angle=90),
        Thing(block="WARDROBE", at=(9700, 3400), angle=180),
        Thing(block="WARDROBE", at=(8500, 3400), angle=180),
        Thing(block="BED-SINGLE", at=(8600, 7600), angle=180),
        Thing(block="WARDROBE", at=(9800, 3600), angle=90),
    )


def draw() -> Drawing:
    """The drawing."""
    doc = kit.new_drawing("R2018", insunits=4, metric=True)
    kit.add_layers(doc)
    add_furniture(doc)
    msp = doc.modelspace()
    plan = building()
    for wall in plan.walls():
        kit.fill(msp, wall, "A-WALL-PATT", "ANSI31", 40.0)
    kit.draw_walls(msp, plan, as_lines=False)
    kit.draw_shafts(msp, plan)
    kit.draw_doors(doc, plan, SCALE)
    kit.draw_windows(doc, plan)
    kit.draw_outlines(msp, plan.spaces)
    kit.draw_things(msp, plan.things)
    balcony = [(2300, -300), (2300, -1600), (5300, -1600), (5300, -300)]
    msp.add_lwpolyline(balcony, dxfattribs={"layer": "A-FLOR-OTLN"})
    kit.letter(msp, "Balcony", (3800, -950), SCALE.note, "A-ANNO-NOTE")
    for space in plan.spaces:
        x, y = space.label_at
        kit.letter(msp, space.name, (x, y), SCALE.name, "A-AREA-IDEN")
        below = (x, y - 260)
        kit.letter(msp, f"{kit.area_m2(space):.2f} m2", below, SCALE.area, "A-AREA-IDEN")
    _dimensions(doc)
    _sheet(doc)
    return doc


def _dimensions(doc: Drawing) -> None:
    msp = doc.modelspace()
    kit.dimension_style(doc, "PLAN-50", 125.0)
    south = [-300, 600, 2100, 2900, 4700, 6600, 8400, 10100]
    rooms = [-300, 0, 5200, 5300, 9800, 10100]
    for at, marks in ((-2050, south), (-2450, rooms), (-2850, [-300, 10100])):
        kit.dimension(msp, kit.Chain(at=at, face=-300, style="PLAN-50"), marks)
    for at, marks in ((-900, [-300, 0, 4300, 4400, 7600, 7900]), (-1400, [-300, 7900])):
        kit.dimension(msp, kit.Chain(at=at, face=-300, style="PLAN-50", upright=True), marks)
    east = [-300, 0, 3400, 3500, 4900, 6400, 7600, 7900]
    kit.dimension(msp, kit.Chain(at=10700, face=10100, style="PLAN-50", upright=True), east)


def _sheet(doc: Drawing) -> None:
    words = {
        "PROJECT": "Plan house 7",
        "TITLE": "Flat type A, floor plan",
        "STATUS": "For construction",
        "DATE": "2024-03-11",
        "SHEET": "7-101",
        "REV": "B",
        "UNITS": "millimetres",
    }
    add_sheet(
        doc,
        Sheet(
            name="7-101",
            paper=(420.0, 297.0),
            paper_name="A3",
            scale="1:50",
            middle=(4700.0, 2480.0),
            ratio=50.0,
            words=words,
        ),
    )
