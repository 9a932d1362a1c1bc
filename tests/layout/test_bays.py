from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from importer.plan import DoorwayId, FlatId, ObstacleKind, Plan, RoomId, Severity, StoreyId
from layout.bays import BayPlan, form_bays
from layout.floor import JointKind
from tests.layout import build
from tests.layout.build import doorway, obstacle, plan, room, rules

PLAIN = rules()
BROKEN = rules(doorways={"default": "break"})


def codes(formed: BayPlan) -> list[str]:
    return [f.code for f in formed.findings]


# --- one room -----------------------------------------------------------------------------------


def test_room_becomes_a_bay_set_back_by_the_wall_gap() -> None:
    (bay,) = form_bays(plan([room(box(0, 0, 5000, 4000), 7, name="Study")]), PLAIN).bays
    assert (bay.id, bay.name, bay.rooms) == ("B7", "Study", ("R7",))
    assert bay.outline.equals(box(0, 0, 5000, 4000))
    assert bay.floor.equals(box(8, 8, 4992, 3992))
    assert bay.gap_mm == 8


def test_column_and_stair_are_taken_out_with_a_gap_around_them() -> None:
    things = [
        obstacle(box(2000, 1500, 2400, 1900), 1),
        obstacle(box(0, 3000, 1000, 4000), 2, ObstacleKind.STAIR),
    ]
    (bay,) = form_bays(plan(box(0, 0, 5000, 4000), obstacles=things), PLAIN).bays
    assert bay.outline.area == pytest.approx(20e6 - 0.16e6 - 1e6)
    for thing in things:
        assert bay.floor.distance(thing.shape) == pytest.approx(8.0)


def test_obstacle_of_another_storey_does_not_count() -> None:
    above = replace(obstacle(box(2000, 1500, 2400, 1900)), storey=StoreyId("S2"))
    (bay,) = form_bays(plan(box(0, 0, 5000, 4000), obstacles=[above]), PLAIN).bays
    assert bay.outline.area == pytest.approx(20e6)


def test_room_without_space_for_a_plank_is_unlaid_with_the_reason_and_the_rest_is_laid() -> None:
    rooms = [room(box(0, 0, 100, 60), 1, name="Duct"), room(box(200, 0, 5000, 4000), 2)]
    formed = form_bays(plan(rooms), PLAIN)
    assert [b.id for b in formed.bays] == ["B2"]
    assert [u.room for u in formed.unlaid] == ["R1"]
    assert "too small" in formed.unlaid[0].because
    assert formed.findings[0].severity is Severity.SETTLE


def test_crossing_outline_is_refused_for_that_room_only() -> None:
    bow_tie = shapely.Polygon([(0, 0), (4000, 3000), (4000, 0), (0, 3000)])
    rooms = [room(box(9000, 0, 12000, 4000), 2)]
    rooms.insert(0, replace(rooms[0], id=RoomId("R1"), shape=bow_tie))
    formed = form_bays(plan(rooms), PLAIN)
    assert [b.id for b in formed.bays] == ["B2"]
    assert codes(formed) == ["LAY-121"]


def test_obstacle_that_crosses_itself_costs_only_its_room() -> None:
    bow_tie = Polygon([(1000, 1000), (2000, 2000), (2000, 1000), (1000, 2000)])
    rooms = [room(box(0, 0, 4000, 4000), 1), room(box(6000, 0, 9000, 4000), 2)]
    formed = form_bays(plan(rooms, obstacles=[obstacle(bow_tie)]), PLAIN)
    assert [b.id for b in formed.bays] == ["B2"]
    assert codes(formed) == ["LAY-121"]
    assert "cross themselves" in formed.findings[0].what


def test_parts_of_a_room_behind_a_slit_become_bays_of_their_own() -> None:
    """Two wall ends leave a slit of 12 mm, less than two gaps."""
    walls = [obstacle(box(3000, 0, 3100, 1994), 1), obstacle(box(3000, 2006, 3100, 4000), 2)]
    formed = form_bays(plan(box(0, 0, 6100, 4000), obstacles=walls), PLAIN)
    assert [b.id for b in formed.bays] == ["B1a", "B1b"]
    for bay in formed.bays:
        assert bay.floor.area == pytest.approx(2984 * 3984)
        assert bay.outline.boundary.distance(bay.floor) == pytest.approx(8.0)


def test_nook_too_narrow_for_a_plank_is_left_out_and_said_so() -> None:
    wardrobe = obstacle(box(3950, 0, 4000, 2990))
    formed = form_bays(plan(box(0, 0, 4070, 3000), obstacles=[wardrobe]), PLAIN)
    assert [b.id for b in formed.bays] == ["B1"]
    assert codes(formed) == ["LAY-126"]
    assert "0.16" in formed.findings[0].what  # 54 x 2984 mm


@pytest.mark.parametrize("off", [10.0, 1e-9])
def test_slit_behind_a_unit_drawn_off_its_wall_is_no_part_of_the_outline(off: float) -> None:
    unit = obstacle(box(1000, off, 3000, 600))
    (bay,) = form_bays(plan(box(0, 0, 5000, 4000), obstacles=[unit]), PLAIN).bays
    assert list(bay.outline.interiors) == []
    assert bay.outline.area == pytest.approx(20e6 - 2000 * 600)
    assert bay.outline.length == pytest.approx(18_000 + 2 * 600)


# --- rules for rooms ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "number", "laid"),
    [
        ("BATHROOM", None, False),
        ("Wc", None, False),
        (None, "0.03", False),
        ("Kitchen", "1", True),
        (None, None, True),
    ],
)
def test_rooms_are_left_out_by_name_or_number_without_regard_to_case(
    name: str | None, number: str | None, laid: bool
) -> None:
    left_out = rules(rooms=[{"match": "bath* | wc|0.0?", "lay": "no", "because": "tiled"}])
    formed = form_bays(plan([room(box(0, 0, 5000, 4000), name=name, number=number)]), left_out)
    assert bool(formed.bays) is laid
    assert [u.because for u in formed.unlaid] == ([] if laid else ["tiled"])


def test_room_without_name_or_number_is_named_by_its_id_written_out() -> None:
    rooms = [room(box(0, 0, 3000, 3000), 1), room(box(4000, 0, 7000, 3000), 2, name="Hall")]
    for match, left_out in (("R1", ["R1"]), ("wc|r1", ["R1"]), ("r*", []), ("R2", [])):
        formed = form_bays(plan(rooms), rules(rooms=[{"match": match, "lay": "no"}]))
        assert [u.room for u in formed.unlaid] == left_out


def test_first_rule_that_names_a_room_decides() -> None:
    some = rules(rooms=[{"match": "bath 1"}, {"match": "bath*", "lay": "no"}])
    rooms = [
        room(box(0, 0, 3000, 3000), 1, name="Bath 1"),
        room(box(4000, 0, 7000, 3000), 2, name="Bath 2"),
    ]
    formed = form_bays(plan(rooms), some)
    assert [b.id for b in formed.bays] == ["B1"]
    assert formed.unlaid[0].because == "Left out by the rule for 'bath*'."


# --- doorways -----------------------------------------------------------------------------------


def door_plan(wall: float = 120.0, **fields: object) -> Plan:
    """Two rooms side by side, a door of 860 mm in the wall between them."""
    rooms = [room(box(0, 0, 4000, 4000), 1), room(box(4000 + wall, 0, 8000, 4000), 2)]
    return plan(rooms, [doorway((4000, 1000), (4000 + wall, 1860), 1, (1, 2), **fields)])


def test_floor_runs_to_the_middle_of_the_wall_in_a_doorway() -> None:
    left, right = form_bays(door_plan(), BROKEN).bays
    assert left.outline.area == pytest.approx(16e6 + 60 * 860)
    assert left.outline.bounds[2] == pytest.approx(4060)
    assert left.floor.bounds[2] == pytest.approx(4052)
    assert right.outline.bounds[0] == pytest.approx(4060)
    assert left.floor.distance(right.floor) == pytest.approx(16.0)


def test_floor_runs_under_the_closed_leaf_by_rule() -> None:
    leaf = ((4105.0, 1000.0), (4105.0, 1860.0))
    under_leaf = rules(doorways={"default": "break", "leaf_cover": "leaf"})
    left, right = form_bays(door_plan(leaf_line=leaf), under_leaf).bays
    assert left.outline.bounds[2] == pytest.approx(4105)
    assert right.outline.bounds[0] == pytest.approx(4105)


def test_leaf_flush_with_a_wall_face_gives_the_whole_doorway_to_the_other_room() -> None:
    leaf = ((4000.0, 1000.0), (4000.0, 1860.0))
    under_leaf = rules(doorways={"default": "break", "leaf_cover": "leaf"})
    left, right = form_bays(door_plan(leaf_line=leaf), under_leaf).bays
    assert left.outline.area == pytest.approx(16e6)
    assert right.outline.bounds[0] == pytest.approx(4000)


def test_threshold_joint_lies_under_the_door_between_both_bays() -> None:
    formed = form_bays(door_plan(), BROKEN)
    (joint,) = formed.joints
    assert joint.kind is JointKind.THRESHOLD
    assert joint.bays == ("B1", "B2")
    assert joint.doorway == "D1"
    assert joint.length_mm == pytest.approx(860)
    assert LineString(joint.line).equals(LineString([(4060, 1000), (4060, 1860)]))
    assert all(b.joints == (joint.id,) for b in formed.bays)


def test_threshold_says_why_it_is_there() -> None:
    tiled = rules(
        rooms=[{"match": "bath", "lay": "no", "because": "tiled"}], doorways={"default": "break"}
    )
    formed = form_bays(build.flat_of_three(), tiled)
    why = {j.doorway: j.why for j in formed.joints}
    assert why[DoorwayId("D1")] == "The flat's floor ends under its entrance door."
    assert why[DoorwayId("D2")] == "Doorways like this break the floor by rule."
    assert why[DoorwayId("D3")] == "The floor ends here: 0.03 Bath is not laid (tiled)."
    assert [j.bays for j in formed.joints] == [("B1",), ("B1", "B2"), ("B1",)]


def test_doorway_between_two_unlaid_rooms_has_no_joint() -> None:
    formed = form_bays(
        door_plan(), rules(rooms=[{"match": "r*", "lay": "no"}], doorways={"default": "break"})
    )
    assert formed.joints != ()
    named = plan(
        [room(box(0, 0, 4000, 4000), 1, name="r1"), room(box(4120, 0, 8000, 4000), 2, name="r2")],
        door_plan().doorways,
    )
    assert form_bays(named, rules(rooms=[{"match": "r*", "lay": "no"}])).joints == ()


@pytest.mark.parametrize(("off", "code"), [(1.0, None), (20.0, "LAY-125"), (80.0, "LAY-124")])
def test_doorway_drawn_off_the_wall_face_is_bridged_or_reported(
    off: float, code: str | None
) -> None:
    rooms = [room(box(0, 0, 4000 - off, 4000))]
    formed = form_bays(plan(rooms, [doorway((4000, 1000), (4120, 1860))]), PLAIN)
    assert codes(formed) == ([code] if code else [])
    (bay,) = formed.bays
    reaches = bay.outline.bounds[2] == pytest.approx(4060)
    assert reaches is (off < 50)


def test_doorway_drawn_with_rebates_counts_as_its_box_along_the_leaf() -> None:
    rebated = Polygon(
        [
            (4000, 1000),
            (4080, 1000),
            (4080, 970),
            (4120, 970),
            (4120, 1890),
            (4080, 1890),
            (4080, 1860),
            (4000, 1860),
        ]
    )
    door = replace(doorway((4000, 1000), (4120, 1860)), shape=rebated)
    (bay,) = form_bays(plan(box(0, 0, 4000, 4000), [door]), PLAIN).bays
    assert bay.outline.bounds[2] == pytest.approx(4060)
    assert bay.outline.area == pytest.approx(16e6 + 60 * 920)


def test_doorway_through_a_slanting_wall_keeps_straight_jambs() -> None:
    """The wall leans, so the two jambs have different lengths; the joint joins their middles."""
    shape = shapely.Polygon([(4000, 1000), (4150, 1000), (4350, 1900), (4000, 1900)])
    door = replace(
        doorway((4000, 1000), (4150, 1900)), shape=shape, leaf_line=((4075, 1000), (4175, 1900))
    )
    formed = form_bays(plan([room(box(0, 0, 4000, 4000))], [door]), PLAIN)
    assert LineString(formed.joints[0].line).equals(LineString([(4075, 1000), (4175, 1900)]))
    assert formed.bays[0].outline.area == pytest.approx(16e6 + (75 + 175) / 2 * 900)


# --- run limit ----------------------------------------------------------------------------------


def test_floor_of_15_m_runs_without_a_break_and_15_01_m_does_not() -> None:
    """Common practice, no source."""
    assert len(form_bays(plan(box(0, 0, 15_000, 4000)), PLAIN).bays) == 1
    formed = form_bays(plan(box(0, 0, 15_010, 4000)), PLAIN)
    assert [b.id for b in formed.bays] == ["B1a", "B1b"]
    (joint,) = formed.joints
    assert joint.kind is JointKind.BAY_JOINT
    assert joint.bays == ("B1a", "B1b")
    assert "15.01 m along the rows" in joint.why
    assert LineString(joint.line).equals(LineString([(7505, 0), (7505, 4000)]))


def test_room_of_10_m_needs_no_break() -> None:
    """Common practice, no source."""
    formed = form_bays(plan(box(0, 0, 10_000, 10_000)), PLAIN)
    assert len(formed.bays) == 1
    assert formed.joints == ()


def test_gap_is_kept_on_both_sides_of_a_movement_joint() -> None:
    a, b = form_bays(plan(box(0, 0, 20_000, 4000)), PLAIN).bays
    assert a.floor.distance(b.floor) == pytest.approx(16.0)
    assert a.floor.bounds[2] == pytest.approx(9992)


def test_limits_along_and_across_the_rows_are_separate() -> None:
    limits = {"run": 15_000, "across": 8_000}
    formed = form_bays(plan(box(0, 0, 14_000, 9_000)), rules(limits=limits))
    assert [b.floor.bounds for b in formed.bays] == [
        pytest.approx((8, 4508, 13_992, 8992)),
        pytest.approx((8, 8, 13_992, 4492)),
    ]
    assert "across the rows" in formed.joints[0].why


def joined(*parts: Polygon) -> Polygon:
    whole = shapely.union_all(parts)
    assert isinstance(whole, Polygon)
    return whole


def test_long_floor_is_cut_at_its_neck() -> None:
    """Wide parts of 9 m and 8 m, between them a passage from 9 to 10 m."""
    passage = box(9000, 2000, 10_000, 3000)
    shape = joined(box(0, 0, 9000, 5000), passage, box(10_000, 0, 18_000, 5000))
    (joint,) = form_bays(plan(shape), PLAIN).joints
    assert joint.length_mm == pytest.approx(1000)
    assert 9000 < joint.line[0][0] < 10_000
    assert "narrowest" in joint.why


def test_neck_out_of_reach_does_not_save_the_limit() -> None:
    passage = box(2000, 2000, 3000, 3000)
    shape = joined(box(0, 0, 2000, 5000), passage, box(3000, 0, 20_000, 5000))
    formed = form_bays(plan(shape), PLAIN)
    widths = [b.outline.bounds[2] - b.outline.bounds[0] for b in formed.bays]
    assert max(widths) <= 15_000.05
    assert formed.joints[0].length_mm == pytest.approx(5000)


def test_joint_on_a_step_of_the_wall_covers_only_where_the_floor_goes_on() -> None:
    """Equal parts would end 40 mm beside the step at 10,040 mm; the joint moves onto it."""
    shape = joined(box(0, 0, 10_040, 5000), box(10_040, 0, 20_000, 4200))
    (joint,) = form_bays(plan(shape), PLAIN).joints
    assert LineString(joint.line).equals(LineString([(10_040, 0), (10_040, 4200)]))


def test_joint_across_both_legs_of_a_u_makes_two_joints() -> None:
    shape = joined(box(0, 0, 2000, 8000), box(0, 0, 20_000, 2000), box(0, 6000, 20_000, 8000))
    formed = form_bays(plan(shape), PLAIN)
    assert sorted(j.bays for j in formed.joints) == [("B1a", "B1b"), ("B1a", "B1c")]
    assert len(formed.bays) == 3


@given(
    length=st.floats(3000, 40_000),
    depth=st.floats(2000, 25_000),
    degrees=st.floats(0, 360),
    limit=st.floats(5000, 20_000),
)
@settings(max_examples=20, deadline=None)
def test_no_bay_exceeds_the_limits_and_no_floor_is_lost(
    length: float, depth: float, degrees: float, limit: float
) -> None:
    whole = build.moved(box(0, 0, length, depth), degrees, build.FAR)
    formed = form_bays(plan(whole), rules(limits={"run": limit, "across": limit}))
    assert sum(b.outline.area for b in formed.bays) == pytest.approx(whole.area, rel=1e-6)
    for bay in formed.bays:
        near = build.moved(bay.outline, 0.0, (-build.FAR[0], -build.FAR[1]))
        x0, y0, x1, y1 = build.moved(near, -degrees).bounds
        assert max(x1 - x0, y1 - y0) <= limit + 0.05
        assert min(x1 - x0, y1 - y0) * 2 >= min(limit, length, depth) - 0.1


# --- any drawing --------------------------------------------------------------------------------


@given(
    kind=st.sampled_from(sorted(build.KINDS)),
    degrees=st.floats(0, 360),
    mirrored=st.booleans(),
    far=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_bay_of_any_room_keeps_its_gap_wherever_the_drawing_lies(
    kind: str, degrees: float, mirrored: bool, far: bool
) -> None:
    shape = build.KINDS[kind]
    at = build.FAR if far else (0.0, 0.0)
    here = form_bays(plan(shape), PLAIN).bays
    there = form_bays(plan(build.moved(shape, degrees, at, mirrored=mirrored)), PLAIN).bays
    assert len(there) == len(here)
    for bay in there:
        assert bay.outline.boundary.distance(bay.floor) == pytest.approx(8.0, abs=0.01)
    assert sum(b.floor.area for b in there) == pytest.approx(
        sum(b.floor.area for b in here), rel=1e-6
    )


def test_outline_is_kept_where_the_overlay_of_near_equal_polygons_fails() -> None:
    """Turned so, the floor grown back by its gap differs from the room by the last digit, and their
    overlay without a grid comes back as two points (seen with GEOS 3.14).
    """
    turned = build.moved(build.rectangle(), 218.55375504690534, build.FAR, mirrored=True)
    (bay,) = form_bays(plan(turned), PLAIN).bays
    assert bay.outline.area == pytest.approx(turned.area)


@given(degrees=st.floats(0, 360), far=st.booleans())
@settings(max_examples=40, deadline=None)
def test_units_flush_with_turned_walls_take_exactly_their_floor(degrees: float, far: bool) -> None:
    units = [box(0, 0, 600, 2400), box(600, 0, 2000, 600), box(4400, 3260, 5200, 3860)]
    flush = plan(build.rectangle(), obstacles=[obstacle(u, n) for n, u in enumerate(units)])
    there = build.moved_plan(flush, degrees, build.FAR if far else (0.0, 0.0))
    (bay,) = form_bays(there, PLAIN).bays
    assert bay.outline.area == pytest.approx(5200 * 3860 - sum(u.area for u in units), abs=30)
    assert bay.outline.length == pytest.approx(2 * (5200 + 3860), abs=0.1)


def test_flat_and_storey_go_with_the_bay() -> None:
    bays = form_bays(build.flat_of_three(), PLAIN).bays
    assert {b.flat for b in bays} == {FlatId("F1")}
    assert {b.storey for b in bays} == {build.STOREY}
