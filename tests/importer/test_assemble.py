"""Plans put together: the sample drawings and the real ones against what is known to be in them."""

from __future__ import annotations

import json
import math
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from shapely import Point as ShapelyPoint

from importer.dxf.assemble import assemble
from importer.dxf.reader import read_dxf
from importer.hints import Hints
from importer.plan import Doorway, DoorwayKind, Plan, PlanError, Room, Severity, UnitReading
from importer.tolerance import area_slack
from tests.conftest import REPO
from tests.importer.build import Sketch

NO_HINTS = Hints()
MILLIMETRES = UnitReading(name="mm", to_mm=1.0, because="test")
SAMPLES = sorted(p.name for p in (REPO / "sample_plans").glob("*.dxf"))
REAL = ["apartment_librecad", "house_librecad_wrongunit", "house_imperial_xref"]


def plan_of(sketch: Sketch, hints: Hints = NO_HINTS) -> Plan:
    return assemble(sketch.build(), MILLIMETRES, hints)


@lru_cache(maxsize=16)
def read(path: Path) -> Plan:
    return read_dxf(path, NO_HINTS)


def codes(plan: Plan) -> list[str]:
    return [f.code for f in plan.findings]


def by_name(plan: Plan, name: str) -> Room:
    (room,) = [r for r in plan.rooms if r.name == name]
    return room


def pair(plan: Plan, doorway: Doorway) -> set[str | None]:
    return {plan.room(r).name if r else None for r in doorway.rooms}


# ---------------------------------------------------------------- laws of every plan


def check_laws(plan: Plan) -> None:
    """What holds of every plan, whatever the drawing."""
    ids = [r.id for r in plan.rooms]
    assert ids == [f"R{n}" for n in range(1, len(ids) + 1)]
    assert [d.id for d in plan.doorways] == [f"D{n}" for n in range(1, len(plan.doorways) + 1)]
    storeys = {s.id for s in plan.storeys}
    shapes = [r.shape for r in plan.rooms]
    assert all(s.is_valid and s.area > 0 and s.exterior.is_ccw for s in shapes)
    one, two = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    for i, j in zip(one.tolist(), two.tolist(), strict=True):
        if i < j:
            shared = shapes[i].intersection(shapes[j]).area
            assert shared <= area_slack(min(shapes[i].area, shapes[j].area)), (ids[i], ids[j])
    for room in plan.rooms:
        assert room.storey in storeys
        assert room.flat is None or room.flat in {f.id for f in plan.flats}
        assert not (room.flat and room.communal)
    for doorway in plan.doorways:
        check_doorway(plan, doorway)
    for obstacle in plan.obstacles:
        assert obstacle.room is not None
        room = plan.room(obstacle.room)
        assert obstacle.shape.difference(room.shape).area <= area_slack(obstacle.shape.area)
    assert all(f.remedy for f in plan.findings if f.severity is Severity.SETTLE)


def check_doorway(plan: Plan, doorway: Doorway) -> None:
    assert doorway.rooms[0] != doorway.rooms[1]
    assert doorway.shape.is_valid
    assert doorway.width_mm >= 400
    for room_id in doorway.rooms:
        if room_id is not None:
            room = plan.room(room_id)
            assert doorway.shape.distance(room.shape) <= 1.0, doorway.id
            over = doorway.shape.intersection(room.shape).area
            assert over <= 0.02 * doorway.shape.area + area_slack(0), doorway.id
    start, end = doorway.leaf_line
    assert math.dist(start, end) == pytest.approx(doorway.width_mm, rel=0.02)
    assert doorway.shape.buffer(1.0).contains(ShapelyPoint(doorway.at))
    if doorway.swings_into is not None:
        assert doorway.swings_into in doorway.rooms


# ---------------------------------------------------------------- the sample drawings


@lru_cache(maxsize=1)
def sample_truth() -> dict[str, Any]:
    text = (REPO / "sample_plans" / "truth.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)["files"]
    return found


@pytest.mark.parametrize("file", SAMPLES)
def test_sample_keeps_the_laws(file: str, sample_plans: Path) -> None:
    check_laws(read(sample_plans / file))


@pytest.mark.parametrize("file", SAMPLES)
def test_every_room_of_a_sample_is_found_named_and_measured(file: str, sample_plans: Path) -> None:
    plan, truth = read(sample_plans / file), sample_truth()[file]
    assert plan.units.name == truth["units"]["name"]
    assert len(plan.rooms) == len(truth["rooms"])
    for known in truth["rooms"]:
        (room,) = [r for r in plan.rooms if r.shape.contains(ShapelyPoint(known["inside_mm"]))]
        assert room.name == known["name"]
        slack = max(truth["room_slack"], 5e-4)
        assert room.shape.area / 1e6 == pytest.approx(known["area_m2"], rel=slack)
        assert room.communal == known["communal"]
        flat = next((f.name for f in plan.flats if f.id == room.flat), None)
        assert flat == known["flat"]


@pytest.mark.parametrize("file", SAMPLES)
def test_every_doorway_of_a_sample_is_found_between_its_rooms(
    file: str, sample_plans: Path
) -> None:
    plan, truth = read(sample_plans / file), sample_truth()[file]
    rooms = {
        known["key"]: next(
            r.id for r in plan.rooms if r.shape.contains(ShapelyPoint(known["inside_mm"]))
        )
        for known in truth["rooms"]
    }
    left = list(plan.doorways)
    for known in truth["doorways"]:
        wanted = {rooms[k] if k else None for k in known["rooms"]}
        near = [
            d
            for d in left
            if d.shape.distance(ShapelyPoint(known["at_mm"])) < 50 and set(d.rooms) == wanted
        ]
        assert len(near) == 1, known
        left.remove(near[0])
        assert near[0].kind.value == known["kind"]
        slack = 15.0 if truth["room_slack"] > 1e-3 else 1.0
        assert near[0].width_mm == pytest.approx(known["width_mm"], abs=slack)
        assert near[0].wall_thickness_mm == pytest.approx(known["thickness_mm"], abs=slack)
    assert left == []


@pytest.mark.parametrize("file", ["block_storey.dxf"])
def test_flat_entrances_are_the_doorways_between_a_flat_and_the_corridor(
    file: str, sample_plans: Path
) -> None:
    plan = read(sample_plans / file)
    entrances = [d for d in plan.doorways if d.flat_entrance]
    assert len(entrances) == len(plan.flats) == 4
    for doorway in entrances:
        one, two = (plan.room(r) for r in doorway.rooms if r)
        assert {one.communal, two.communal} == {True, False}


def test_printed_areas_of_the_samples_agree_with_the_rooms(sample_plans: Path) -> None:
    for file in SAMPLES:
        assert "IMP-501" not in codes(read(sample_plans / file))


# ---------------------------------------------------------------- real drawings


@pytest.mark.parametrize("name", REAL)
def test_real_plan_keeps_the_laws(name: str, real_plans: Path) -> None:
    check_laws(read(real_plans / "dxf" / f"{name}.dxf"))


@pytest.mark.parametrize("name", REAL)
def test_enclosed_rooms_of_a_real_plan_are_found_and_named(name: str, real_plans: Path) -> None:
    plan, truth = read(real_plans / "dxf" / f"{name}.dxf"), real_truth(real_plans, name)
    assert plan.units.to_mm == pytest.approx(truth["unit_to_mm"])
    for known in truth["rooms"]:
        if not known["enclosed"] or known.get("ambiguous") or known["kind"] == "open-plan":
            continue
        at = ShapelyPoint([v * plan.units.to_mm for v in known["point"]])
        holding = [r for r in plan.rooms if r.shape.contains(at)]
        assert len(holding) == 1, known["id"]
        tolerance = max(known["tolerance"], 0.005)
        assert holding[0].shape.area / 1e6 == pytest.approx(known["area_m2"], rel=tolerance)
        if known["name"]:
            assert holding[0].name == known["name"]


@pytest.mark.parametrize("name", REAL)
def test_doorways_of_a_real_plan_join_the_right_rooms(name: str, real_plans: Path) -> None:
    plan, truth = read(real_plans / "dxf" / f"{name}.dxf"), real_truth(real_plans, name)
    place = {k["id"]: [v * plan.units.to_mm for v in k["point"]] for k in truth["rooms"]}
    right = 0
    judged = [d for d in truth["doorways"] if not d.get("ambiguous") and "?" not in d["between"]]
    for known in judged:
        wanted = {room_at(plan, place[k]) if k else None for k in known["between"]}
        at = ShapelyPoint([v * plan.units.to_mm for v in known["at"]])
        near = [d for d in plan.doorways if d.shape.distance(at) < 300]
        right += any(set(d.rooms) == wanted for d in near)
    assert right >= 0.9 * len(judged)


def room_at(plan: Plan, xy: list[float]) -> str | None:
    return next((r.id for r in plan.rooms if r.shape.contains(ShapelyPoint(xy))), None)


def real_truth(real_plans: Path, name: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((real_plans / "truth.json").read_text(encoding="utf-8"))[
        name
    ]
    return found


@pytest.mark.parametrize(
    "name", ["door_wipeout_blocks", "elevation_r12_exploded", "plot_outline_solvespace"]
)
def test_drawing_without_a_plan_is_refused_with_a_remedy(name: str, real_plans: Path) -> None:
    with pytest.raises(PlanError) as caught:
        read(real_plans / "dxf" / f"{name}.dxf")
    assert caught.value.finding.severity is Severity.REFUSED
    assert "drawing." in caught.value.finding.remedy


# ---------------------------------------------------------------- kinds, drawn by hand


def two_rooms(*, layer: str = "A-AREA") -> Sketch:
    """Two outlines with a wall of 100 between them, 4 x 3 m each."""
    sketch = Sketch()
    sketch.box(0, 0, 4000, 3000, layer)
    sketch.box(4100, 0, 8100, 3000, layer)
    sketch.text("Bedroom", (2000, 1500))
    sketch.text("Study", (6000, 1500))
    return sketch


def test_door_between_outlines_reaches_from_face_to_face() -> None:
    sketch = two_rooms()
    sketch.door((4000, 1000), (4000, 1900))
    plan = plan_of(sketch)
    check_laws(plan)
    (doorway,) = plan.doorways
    assert pair(plan, doorway) == {"Bedroom", "Study"}
    assert doorway.shape.equals(shapely.box(4000, 1000, 4100, 1900))
    assert doorway.kind is DoorwayKind.HINGED
    assert doorway.swings_into == by_name(plan, "Bedroom").id
    assert doorway.at == pytest.approx((4020, 1450))


@pytest.mark.parametrize("x", [3960.0, 3985.0, 4050.0, 4100.0, 4130.0])
def test_door_is_found_wherever_across_the_wall_its_leaf_is_drawn(x: float) -> None:
    sketch = two_rooms()
    sketch.door((x, 1000), (x, 1900))
    plan = plan_of(sketch)
    (doorway,) = plan.doorways
    assert pair(plan, doorway) == {"Bedroom", "Study"}
    assert doorway.shape.area == pytest.approx(90_000, rel=0.01)


def test_door_to_the_outside_has_one_room() -> None:
    sketch = two_rooms()
    sketch.door((1000, 0), (2000, 0))
    plan = plan_of(sketch)
    (doorway,) = plan.doorways
    assert doorway.rooms == (by_name(plan, "Bedroom").id, None)
    check_doorway(plan, doorway)


def test_double_door_between_outlines_is_one_doorway() -> None:
    sketch = two_rooms()
    sketch.door((4000, 500), (4000, 1300))
    sketch.door((4000, 2100), (4000, 1300), opens=-90)
    (doorway,) = plan_of(sketch).doorways
    assert doorway.kind is DoorwayKind.DOUBLE
    assert doorway.width_mm == pytest.approx(1600)


def test_sliding_door_block_between_outlines_is_a_doorway() -> None:
    sketch = two_rooms()
    sketch.insert("SLIDING-900", (4000, 1000, 4100, 1900), "A-DOOR")
    plan = plan_of(sketch)
    (doorway,) = plan.doorways
    assert doorway.kind is DoorwayKind.SLIDING
    assert doorway.width_mm == pytest.approx(900)
    check_doorway(plan, doorway)


def test_door_inside_one_room_makes_no_doorway_and_is_said() -> None:
    sketch = two_rooms()
    sketch.door((1000, 1000), (1900, 1000))
    plan = plan_of(sketch)
    assert plan.doorways == ()
    assert "IMP-402" in codes(plan)


def test_door_far_from_every_room_is_nobodys() -> None:
    sketch = two_rooms()
    sketch.door((40_000, 1000), (40_900, 1000))
    assert not {"IMP-401", "IMP-402"} & set(codes(plan_of(sketch)))


def test_printed_area_that_contradicts_is_told_and_the_room_stays_as_drawn() -> None:
    sketch = two_rooms()
    sketch.text("20,0 m²", (2000, 1150))
    plan = plan_of(sketch)
    room = by_name(plan, "Bedroom")
    assert room.printed_area_m2 == 20.0
    assert room.shape.area == pytest.approx(12e6)
    (finding,) = [f for f in plan.findings if f.code == "IMP-501"]
    assert "0.60" in finding.what


def test_label_in_no_room_is_told() -> None:
    sketch = two_rooms()
    sketch.text("Kitchen", (4050, 3300))
    assert "IMP-504" in codes(plan_of(sketch))


def test_labels_of_another_view_on_the_sheet_are_told_once() -> None:
    sketch = two_rooms()
    for k in range(5):
        sketch.text("Kitchen", (40_000 + 3000 * k, 0))
    told = codes(plan_of(sketch))
    assert told.count("IMP-506") == 1
    assert "IMP-504" not in told


def test_outline_on_wall_centre_lines_is_moved_to_the_wall_faces() -> None:
    sketch = Sketch()
    for x in (0.0, 4200.0):
        sketch.box(x, 0, x + 4200, 3200, "A-AREA")
        sketch.box(x + 100, 100, x + 4100, 3100, "A-WALL")
    sketch.box(-100, -100, 8500, 3300, "A-WALL")
    sketch.text("Bedroom", (2000, 1500))
    sketch.text("Study", (6000, 1500))
    plan = plan_of(sketch)
    assert [r.shape.area / 1e6 for r in plan.rooms] == pytest.approx([12.0, 12.0])
    assert "IMP-315" in codes(plan)


def test_outline_around_walled_rooms_is_their_sum_unless_the_user_says_it_is_a_room() -> None:
    sketch = Sketch()
    sketch.box(0, 0, 8200, 3200, "A-AREA")
    for x in (100.0, 4200.0):
        sketch.box(x, 100, x + 3900, 3100, "A-WALL")
    sketch.box(0, 0, 8200, 3200, "A-WALL")
    plan = plan_of(sketch)
    assert [r.shape.area / 1e6 for r in plan.rooms] == pytest.approx([11.7, 11.7])
    assert "IMP-316" in codes(plan)
    told = plan_of(sketch, Hints(room_layers=("A-AREA",)))
    assert [r.shape.area / 1e6 for r in told.rooms] == pytest.approx([26.24])


def test_plan_lies_in_drawing_coordinates_wherever_the_drawing_is() -> None:
    sketch = two_rooms()
    sketch.door((4000, 1000), (4000, 1900))
    far = assemble(sketch.build(origin=(4_500_000.0, 5_800_000.0)), MILLIMETRES, NO_HINTS)
    here = plan_of(sketch)
    for one, two in zip(here.rooms, far.rooms, strict=True):
        moved = shapely.transform(one.shape, lambda xy: xy + np.array([4.5e6, 5.8e6]))
        assert moved.equals_exact(two.shape, 1e-6)
    assert far.doorways[0].at == pytest.approx((4_504_020, 5_801_450))


def test_rooms_are_numbered_from_the_top_of_the_sheet_and_from_the_left() -> None:
    sketch = Sketch()
    for name, x, y in (
        ("Bath", 3100, 0),
        ("Hall", 0, 10),
        ("Study", 3100, 3100),
        ("Kitchen", 0, 3110),
    ):
        sketch.box(x, y, x + 3000, y + 3000, "ROOMS")
        sketch.text(name, (x + 1500, y + 1500))
    assert [r.name for r in plan_of(sketch).rooms] == ["Kitchen", "Study", "Hall", "Bath"]


def test_drawing_without_rooms_is_refused_and_says_what_was_seen() -> None:
    sketch = Sketch()
    sketch.line((0, 0), (5000, 0), "A-WALL")
    sketch.door((0, 0), (900, 0))
    with pytest.raises(PlanError) as caught:
        plan_of(sketch)
    finding = caught.value.finding
    assert finding.code == "IMP-300"
    assert "1 door leaves" in finding.what
    assert "A-WALL" in finding.what
    assert "drawing.layers.walls" in finding.remedy


def two_walled_rooms(*, in_wall: str = "") -> Sketch:
    """Two rooms of 4 x 3 m behind outer walls of 200, with a hinged door between and a gap of 1 m
    in the outer wall below the first; `in_wall` is written into that gap.
    """
    sketch = Sketch()
    outer = [(1500, -200), (-200, -200), (-200, 3200), (8300, 3200), (8300, -200), (2500, -200)]
    sketch.polyline([(1500, 0), (0, 0), (0, 3000), (4000, 3000), (4000, 1900)], "A-WALL")
    sketch.polyline([(4000, 1000), (4000, 0), (2500, 0), (2500, -200)], "A-WALL")
    right = [(4100, 1000), (4100, 0), (8100, 0), (8100, 3000), (4100, 3000), (4100, 1900)]
    sketch.polyline(right, "A-WALL")
    sketch.polyline([*outer], "A-WALL")
    sketch.line((1500, -200), (1500, 0), "A-WALL")
    for y in (1000, 1900):
        sketch.line((4000, y), (4100, y), "A-WALL")
    sketch.door((4000, 1000), (4000, 1900))
    if in_wall:
        sketch.text(in_wall, (2000, -100), 120)
    return sketch


def test_gap_in_an_outer_wall_is_no_doorway_and_is_told() -> None:
    plan = plan_of(two_walled_rooms())
    check_laws(plan)
    assert len(plan.rooms) == 2
    assert [d.rooms for d in plan.doorways] == [("R1", "R2")]
    assert "IMP-403" in codes(plan)


def test_gap_in_an_outer_wall_beside_a_text_that_says_door_is_a_doorway() -> None:
    plan = plan_of(two_walled_rooms(in_wall="3068 DOOR"))
    check_laws(plan)
    assert [d.rooms for d in plan.doorways] == [("R1", "R2"), ("R1", None)]
    assert "IMP-403" not in codes(plan)


def test_hinted_room_layer_decides_over_everything() -> None:
    sketch = two_rooms()
    sketch.box(0, 5000, 5000, 9000, "MINE")
    plan = plan_of(sketch, Hints(room_layers=("mine",)))
    assert [r.shape.area / 1e6 for r in plan.rooms] == [20.0]


def test_open_room_is_parted_where_an_opening_lies_between_its_labels() -> None:
    sketch = Sketch()
    sketch.box(-200, -200, 8200, 3200, "A-WALL")
    jambs = [(0, 0), (4000, 0), (4000, 800), (4100, 800), (4100, 0), (8000, 0), (8000, 3000)]
    back = [(4100, 3000), (4100, 2400), (4000, 2400), (4000, 3000), (0, 3000)]
    sketch.polyline([*jambs, *back], "A-WALL", closed=True)
    sketch.text("Kitchen", (2000, 1500))
    sketch.text("Living", (6000, 1500))
    plan = plan_of(sketch)
    check_laws(plan)
    assert [r.name for r in plan.rooms] == ["Kitchen", "Living"]
    (doorway,) = plan.doorways
    assert doorway.kind is DoorwayKind.OPENING
    assert (doorway.width_mm, doorway.wall_thickness_mm) == pytest.approx((1600, 100))


def test_plan_is_the_same_whatever_the_order_of_the_file() -> None:
    one, two = Sketch(), Sketch()
    boxes = [(0, 0, 4000, 3000), (4100, 0, 8100, 3000), (0, 3100, 4000, 6000)]
    doors = [((4000, 1000), (4000, 1900)), ((1000, 3000), (1900, 3000))]
    for box in boxes:
        one.box(*box, "A-AREA")
    for door in doors:
        one.door(*door)
    for door in reversed(doors):
        two.door(*door)
    for box in reversed(boxes):
        two.box(*box, "A-AREA")
    a, b = plan_of(one), plan_of(two)
    assert [r.shape.normalize() for r in a.rooms] == [r.shape.normalize() for r in b.rooms]
    assert [(d.rooms, d.leaf_line) for d in a.doorways] == [
        (d.rooms, d.leaf_line) for d in b.doorways
    ]
