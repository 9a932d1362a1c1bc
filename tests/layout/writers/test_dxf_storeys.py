"""Plans of storeys drawn from a model: layers, lettering, arcs, and one marked drawing a storey."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import cos, radians, sin
from pathlib import Path

import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.filemanagement import readfile
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from importer.plan import (
    Doorway,
    DoorwayId,
    DoorwayKind,
    Drawn,
    DrawnKind,
    Obstacle,
    ObstacleId,
    ObstacleKind,
    Plan,
    Room,
    RoomId,
    Storey,
    StoreyId,
    UnitReading,
)
from importer.read import read_plan
from layout.audit import audit
from layout.floor import PlanResult
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.writers.dxf.lettering import text_width
from layout.writers.dxf.reread import reread
from layout.writers.dxf.storey_drawing import arc_through, storey_drawing
from layout.writers.dxf.storey_labels import room_label
from layout.writers.dxf.storey_layers import LOOKS, NAMES, Part
from layout.writers.dxf.storey_marks import mark_storeys, storey_result

RULES = default_rules()
S1, S2, S3 = (
    Storey(id=StoreyId(f"S{k}"), name=name)
    for k, name in ((1, "Ground"), (2, "First: north/south"), (3, "Roof"))
)


def swing(hinge: tuple[float, float], width: float, start: float) -> LineString:
    turns = [radians(start + 90 * k / 24) for k in range(25)]
    return LineString([(hinge[0] + width * cos(t), hinge[1] + width * sin(t)) for t in turns])


def storey_things(storey: Storey, at: float) -> tuple[list[Room], list[Doorway], list[Drawn]]:
    """Two rooms with a door between them, as a model gives them."""
    left, right = box(at, 0, at + 3000, 4000), box(at + 3100, 0, at + 6000, 4000)
    number = storey.id[1:]
    rooms = [
        Room(id=RoomId(f"R{number}a"), shape=left, storey=storey.id, name="Study", number="1"),
        Room(id=RoomId(f"R{number}b"), shape=right, storey=storey.id, name="Bedroom Süd"),
    ]
    patch = box(at + 3000, 1500, at + 3100, 2400)
    door = Doorway(
        id=DoorwayId(f"D{number}"),
        rooms=(rooms[0].id, rooms[1].id),
        storey=storey.id,
        shape=patch,
        leaf_line=((at + 3080, 1500), (at + 3080, 2400)),
        width_mm=900,
        wall_thickness_mm=100,
        kind=DoorwayKind.HINGED,
    )
    rooms_and_door = shapely.union_all([left, right, patch])
    wall = box(at - 300, -300, at + 6300, 4300).difference(rooms_and_door)
    assert isinstance(wall, Polygon)
    lines: list[tuple[DrawnKind, Polygon | LineString]] = [
        (DrawnKind.WALL, wall),
        (DrawnKind.COLUMN, box(at + 500, 500, at + 800, 800)),
        (DrawnKind.DOOR_LEAF, box(at + 3100, 1500, at + 4000, 1540)),
        (DrawnKind.DOOR_SWING, swing((at + 3100, 1500), 900, 0)),
        (DrawnKind.WINDOW, LineString([(at + 1000, -150), (at + 2000, -150)])),
        (DrawnKind.OVERHEAD, LineString([(at, 3000), (at + 600, 3000), (at + 600, 4000)])),
    ]
    drawn = [Drawn(kind=k, storey=storey.id, shape=s) for k, s in lines]
    return rooms, [door], drawn


@cache
def plan(at: float = 0.0) -> Plan:
    things = [storey_things(s, at) for s in (S1, S2)]
    walls = [d.shape for _, _, drawn in things for d in drawn if d.kind is DrawnKind.WALL]
    return Plan(
        file="block.ifc",
        format="IFC4",
        units=UnitReading(name="m", to_mm=1000.0, because="the file says so"),
        storeys=(S1, S2, S3),
        flats=(),
        rooms=tuple(r for rooms, _, _ in things for r in rooms),
        doorways=tuple(d for _, doors, _ in things for d in doors),
        obstacles=(
            Obstacle(
                id=ObstacleId("O1"),
                kind=ObstacleKind.COLUMN,
                shape=box(at + 500, 500, at + 800, 800),
                storey=S1.id,
                room=RoomId("R1a"),
            ),
        ),
        walls=tuple(w for w in walls if isinstance(w, Polygon)),
        drawn=tuple(d for _, _, drawn in things for d in drawn),
    )


@cache
def result(at: float = 0.0) -> PlanResult:
    return lay_plan(plan(at), RULES)


def opened(data: bytes, folder: Path) -> Drawing:
    path = folder / "storey.dxf"
    path.write_bytes(data)
    return readfile(path)


# --- the drawing --------------------------------------------------------------------------------


@pytest.mark.parametrize("scheme", sorted(NAMES))
def test_every_part_lies_on_its_layer_and_is_drawn_as_the_layer_says(
    scheme: str, tmp_path: Path
) -> None:
    doc = opened(storey_drawing(plan(), S1, scheme), tmp_path)
    auditor = doc.audit()
    assert (auditor.errors, auditor.fixes) == ([], [])
    assert doc.header["$INSUNITS"] == 4
    names = NAMES[scheme]
    assert len(set(names.values())) == len(Part)
    for part, name in names.items():
        layer = doc.layers.get(name)
        assert (layer.color, layer.dxf.lineweight) == (LOOKS[part].aci, LOOKS[part].lineweight)
    for entity in doc.modelspace():
        assert entity.dxf.layer in set(names.values())
        assert entity.dxf.get("color", 256) == 256
    (arc,) = doc.modelspace().query("ARC")
    assert (arc.dxf.center.x, arc.dxf.center.y, arc.dxf.radius) == pytest.approx((3100, 1500, 900))
    assert (arc.dxf.start_angle, arc.dxf.end_angle) == pytest.approx((0, 90))


def test_drawing_is_the_same_every_time() -> None:
    assert storey_drawing(plan(), S1) == storey_drawing(plan(), S1)
    assert storey_drawing(plan(), S1) != storey_drawing(plan(), S2)


def test_drawing_reads_back_as_the_plan_it_was_drawn_from(tmp_path: Path) -> None:
    path = tmp_path / "ground.dxf"
    path.write_bytes(storey_drawing(plan(), S1))
    back = read_plan(path)
    rooms = {r.name: r for r in back.rooms}
    for room in plan().rooms[:2]:
        assert rooms[room.name].shape.symmetric_difference(room.shape).area < 1.0
        assert rooms[room.name].printed_area_m2 == pytest.approx(room.shape.area / 1e6, abs=0.005)
    (door,) = back.doorways
    assert door.kind is DoorwayKind.HINGED
    assert door.width_mm == pytest.approx(900)


def test_storey_whose_lines_could_not_be_drawn_shows_its_rooms(tmp_path: Path) -> None:
    bare = replace(plan(), drawn=())
    doc = opened(storey_drawing(bare, S1), tmp_path)
    assert doc.layers.get("PLAN-AREA").dxf.plot == 1
    assert len(doc.modelspace().query("LWPOLYLINE")) == 2


@given(
    st.floats(-5e8, 5e9), st.floats(100, 3000), st.floats(0, 360), st.floats(10, 180), st.booleans()
)
@settings(max_examples=40, deadline=None, derandomize=True)
def test_arc_is_found_again_through_its_points(
    far: float, radius: float, start: float, sweep: float, back: bool
) -> None:
    turns = [radians(start + sweep * k / 24) for k in range(25)]
    points = [(far + radius * cos(t), -far + radius * sin(t)) for t in turns]
    found = arc_through(LineString(points[::-1] if back else points))
    assert found is not None
    centre, size, begin, end = found
    assert centre == pytest.approx((far, -far), abs=0.02 + 1e-9 * abs(far))
    assert size == pytest.approx(radius, abs=0.02)
    assert (end - begin) % 360 == pytest.approx(sweep, abs=0.1)


def test_line_that_is_no_arc_stays_a_line() -> None:
    assert arc_through(LineString([(0, 0), (1, 0), (2, 0), (3, 0)])) is None
    assert arc_through(LineString([(0, 0), (500, 100), (900, 700), (2000, 100), (0, 900)])) is None


# --- names of rooms -----------------------------------------------------------------------------


def test_name_of_a_room_keeps_clear_of_door_column_and_fittings() -> None:
    room = plan().rooms[1]
    drawn = plan().drawn_of(S1.id)
    lines = room_label(room, drawn, ())
    assert [line.text for line in lines] == ["Bedroom Süd", "11.60 m2"]
    sector = swing((3100, 1500), 900, 0).convex_hull
    for line in lines:
        assert room.shape.contains(shapely.Point(line.at))
        assert sector.distance(shapely.Point(line.at)) > line.height / 2


def test_name_is_lettered_smaller_where_it_does_not_fit() -> None:
    room = Room(id=RoomId("R"), shape=box(0, 0, 1500, 2100), storey=S1.id, name="Bathroom 1")
    usual = room_label(replace(room, shape=box(0, 0, 5000, 4000)), (), ())
    small = room_label(room, (), ())
    assert [line.text for line in small] == ["Bathroom 1", "3.15 m2"]
    assert small[0].height == pytest.approx(0.72 * usual[0].height)
    assert text_width(small[0].text, small[0].height) < 1500


def test_name_stands_in_a_room_too_small_for_it() -> None:
    tiny = Room(id=RoomId("R"), shape=box(0, 0, 500, 300), storey=S1.id, name="A very long name")
    lines = room_label(tiny, (), ())
    assert lines[0].text == "A very long name"
    assert lines[0].at[0] == pytest.approx(250)


def test_name_stands_inside_a_bent_room() -> None:
    bent = box(0, 0, 6000, 800).union(box(0, 0, 800, 6000))
    room = Room(id=RoomId("R"), shape=bent, storey=S1.id, name="Hall", number="2")
    assert all(bent.contains(shapely.Point(line.at)) for line in room_label(room, (), ()))


# --- the marked drawings ------------------------------------------------------------------------


@pytest.mark.parametrize("at", [0.0, 4.5e8])
def test_each_storey_with_a_floor_gets_a_marked_drawing_that_checks(
    at: float, tmp_path: Path
) -> None:
    marked = mark_storeys(result(at), RULES, default_rules=True)
    assert [m.storey.name for m in marked] == ["Ground", "First: north/south"]
    for k, m in enumerate(marked):
        path = tmp_path / f"{k}-marked.dxf"
        path.write_bytes(m.marked.data)
        again = reread(path)
        assert again.findings == ()
        mine = [b for b in result(at).bays if b.bay.storey == m.storey.id]
        assert [b.bay.id for b in again.bays] == [b.bay.id for b in mine]
        for read, laid in zip(again.bays, mine, strict=True):
            assert len(read.pieces) == len(laid.pieces)
            assert {b.rule for b in audit(read, RULES)} == {b.rule for b in laid.breaches}


def test_marked_storey_is_in_millimetres_whatever_the_model_is_in() -> None:
    part = storey_result(result(), plan(), S2)
    assert part.plan is not None
    assert part.plan.units.to_mm == 1.0
    assert {r.storey for r in part.plan.rooms} == {S2.id}
    assert {b.bay.storey for b in part.bays} == {S2.id}
    laid = {b.bay.id for b in part.bays}
    assert all(laid & set(j.bays) or j.doorway == "D2" for j in part.joints)


def test_unread_plan_cannot_be_marked() -> None:
    with pytest.raises(ValueError, match="could not be read"):
        mark_storeys(replace(result(), plan=None), RULES)
