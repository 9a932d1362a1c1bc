"""flat_inches.dxf: one flat in inches: walls as lines, no room outlines, areas in square feet."""

from __future__ import annotations

from typing import Final

from ezdxf.document import Drawing

from sample_plans import kit
from sample_plans.building import Building, Leaf, Opening, Space, Thing, envelope, rectangle
from sample_plans.furniture import add_furniture
from sample_plans.sheet import Sheet, add_sheet

SCALE: Final = kit.Scale(name=8.0, area=6.0, note=5.0, leaf=1.75)
FEET: Final = 12.0


def building() -> Building:
    """Outer walls 8 inches, inner walls 4 1/2; rooms by their inner faces."""
    hall = (
        (124.5, 172.5),
        (208.5, 172.5),
        (208.5, 150.0),
        (252.0, 150.0),
        (252.0, 210.0),
        (168.0, 210.0),
        (168.0, 300.0),
        (124.5, 300.0),
    )
    spaces = (
        Space(
            name="LIVING ROOM", ring=rectangle(0, 0, 204, 168), label_at=(112, 114), number="101"
        ),
        Space(name="KITCHEN", ring=rectangle(0, 172.5, 120, 300), label_at=(72, 218), number="102"),
        Space(name="HALL", ring=hall, label_at=(196, 191), number="103"),
        Space(
            name="BATH", ring=rectangle(172.5, 214.5, 252, 300), label_at=(225, 257), number="104"
        ),
        Space(
            name="BEDROOM 1",
            ring=rectangle(256.5, 150, 396, 270),
            label_at=(330, 231),
            number="105",
        ),
        Space(
            name="CLOSET", ring=rectangle(256.5, 274.5, 396, 300), label_at=(318, 287), number="106"
        ),
        Space(
            name="BEDROOM 2", ring=rectangle(208.5, 0, 396, 145.5), label_at=(262, 72), number="107"
        ),
    )
    ring = ((0, 0), (396, 0), (396, 300), (0, 300))
    return Building(
        footprint=envelope(ring, 8.0),
        spaces=spaces,
        doors=_doors(),
        windows=(
            Opening(a=(36, -4), b=(108, -4), thickness=8),
            Opening(a=(270, -4), b=(330, -4), thickness=8),
            Opening(a=(400, 192), b=(400, 240), thickness=8),
            Opening(a=(-4, 216), b=(-4, 264), thickness=8),
            Opening(a=(-4, 60), b=(-4, 108), thickness=8),
        ),
        things=_things(),
    )


def _inner(a: tuple[float, float], b: tuple[float, float], *rooms: str, side: int = 1) -> Opening:
    return Opening(a=a, b=b, thickness=4.5, rooms=(rooms[0], rooms[1]), leaf=Leaf.HINGED, side=side)


def _doors() -> tuple[Opening, ...]:
    return (
        Opening(
            a=(164, 304),
            b=(128, 304),
            thickness=8,
            rooms=("HALL", None),
            leaf=Leaf.HINGED,
            flat_entrance=True,
        ),
        _inner((122.25, 284), (122.25, 252), "HALL", "KITCHEN", side=-1),
        _inner((164, 170.25), (132, 170.25), "HALL", "LIVING ROOM"),
        Opening(a=(24, 170.25), b=(96, 170.25), thickness=4.5, rooms=("KITCHEN", "LIVING ROOM")),
        _inner((246, 212.25), (216, 212.25), "HALL", "BATH", side=-1),
        _inner((254.25, 156), (254.25, 188), "HALL", "BEDROOM 1", side=-1),
        _inner((214, 147.75), (246, 147.75), "HALL", "BEDROOM 2", side=-1),
        Opening(
            a=(342, 272.25),
            b=(294, 272.25),
            thickness=4.5,
            rooms=("BEDROOM 1", "CLOSET"),
            leaf=Leaf.DOUBLE,
        ),
        Opening(
            a=(120, -4),
            b=(192, -4),
            thickness=8,
            rooms=("LIVING ROOM", None),
            leaf=Leaf.SLIDING,
        ),
    )


def _things() -> tuple[Thing, ...]:
    fixt, case = "A-FLOR-FIXT", "A-FLOR-CASE"
    return (
        Thing(block="BATH", at=(252, 300), angle=180, layer=fixt),
        Thing(block="WC", at=(172.5, 262), angle=-90, layer=fixt),
        Thing(block="BASIN", at=(172.5, 240), angle=-90, layer=fixt),
        Thing(block="HOB", at=(0, 220), angle=-90, layer=case),
        Thing(block="SINK", at=(0, 260), angle=-90, layer=case),
        Thing(block="UNIT", at=(0, 284), angle=-90, layer=case),
        Thing(block="TALL", at=(48, 300), angle=180, layer=case),
        Thing(block="SOFA", at=(0, 125), angle=-90),
        Thing(block="TABLE-LOW", at=(51, 104), angle=-90),
        Thing(block="TABLE-4", at=(200, 26), angle=90),
        Thing(block="BED-DOUBLE", at=(396, 153), angle=90),
        Thing(block="BED-DOUBLE", at=(396, 40), angle=90),
        Thing(block="WARDROBE", at=(394, 145.5), angle=180),
        Thing(block="WARDROBE", at=(346, 145.5), angle=180),
    )


def feet(length: float) -> str:
    """Feet, inches and the half inch, as on a drawing: 7'-1 1/2" for 85.5."""
    whole, rest = divmod(length, FEET)
    half = " 1/2" if rest % 1 else ""
    return f"{whole:.0f}'-{int(rest)}{half}\""


def _label(space: Space) -> tuple[str, ...]:
    x0, y0, x1, y1 = space.shape.bounds
    area = f"{space.shape.area / FEET**2:.1f} SQ FT"
    small = min(x1 - x0, y1 - y0) < 7 * FEET or len(space.ring) > 4
    return (space.name, area) if small else (space.name, f"{feet(x1 - x0)} x {feet(y1 - y0)}", area)


def draw() -> Drawing:
    """The drawing."""
    doc = kit.new_drawing("R2010", insunits=1, metric=False)
    kit.add_layers(doc)
    add_furniture(doc, unit=1 / 25.4)
    msp = doc.modelspace()
    plan = building()
    kit.draw_walls(msp, plan, as_lines=True)
    kit.draw_doors(doc, plan, SCALE)
    kit.draw_windows(doc, plan)
    kit.draw_things(msp, plan.things)
    for space in plan.spaces:
        kit.paragraph(msp, _label(space), space.label_at, SCALE.area, "A-AREA-IDEN")
    _dimensions(doc)
    _sheet(doc)
    return doc


def _dimensions(doc: Drawing) -> None:
    msp = doc.modelspace()
    kit.dimension_style(doc, "ARCH-48", 5.0)
    south = [-8, 36, 108, 120, 192, 270, 330, 404]
    rooms = [-8, 0, 204, 208.5, 396, 404]
    for at, marks in ((-32, south), (-50, rooms), (-68, [-8, 404])):
        kit.dimension(msp, kit.Chain(at=at, face=-8, style="ARCH-48", words=feet), marks)
    for at, marks in ((-32, [-8, 0, 168, 172.5, 300, 308]), (-52, [-8, 308])):
        chain = kit.Chain(at=at, face=-8, style="ARCH-48", upright=True, words=feet)
        kit.dimension(msp, chain, marks)


def _sheet(doc: Drawing) -> None:
    words = {
        "PROJECT": "PLAN HOUSE 9",
        "TITLE": "UNIT B, FLOOR PLAN",
        "STATUS": "FOR CONSTRUCTION",
        "DATE": "2024-04-02",
        "SHEET": "A-102",
        "REV": "1",
        "UNITS": "FEET, INCHES",
    }
    add_sheet(
        doc,
        Sheet(
            name="A-102",
            paper=(420.0, 297.0),
            paper_name="A3",
            scale="1/4 in = 1 ft",
            middle=(180.0, 120.0),
            ratio=48.0 / 25.4,
            words=words,
        ),
    )
