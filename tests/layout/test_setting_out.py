from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from importer.plan import DoorwayId, Plan, RoomId
from layout.bay_edges import JAMB_WEIGHT, OBSTACLE_WEIGHT, Surroundings, grid_edges
from layout.bays import form_bays
from layout.directions import between_deg, directions_for, wall_peaks, walls_of
from layout.floor import Bay, SettingOut
from layout.rules import RuleSet
from layout.setting_out import floor_in, set_out, set_out_across
from tests.layout import build
from tests.layout.build import doorway, obstacle, plan, polygon, room, rules

PLAIN = rules()


def out_of(
    drawing: Plan | Polygon, rule_set: RuleSet = PLAIN, bay: int = 0
) -> tuple[Bay, SettingOut]:
    """The bay and the setting-out that comes first."""
    given_plan = plan(drawing) if isinstance(drawing, Polygon) else drawing
    made = form_bays(given_plan, rule_set).bays[bay]
    return made, set_out(made, given_plan, rule_set)[0]


def deg(setting_out: SettingOut) -> float:
    """Row direction, degrees in [0, 180)."""
    return setting_out.frame.along_deg % 180.0


# --- direction ----------------------------------------------------------------------------------


def test_rows_follow_the_longest_wall_not_the_bounding_box() -> None:
    """The long walls lean by 2 degrees in a room whose short walls do not."""
    leaning = polygon((0, 0), (6000, 209.5), (6000, 4209.5), (0, 4000))
    _, found = out_of(leaning)
    assert deg(found) == pytest.approx(2.0, abs=0.001)


def test_wall_interrupted_by_a_chimney_breast_counts_as_one() -> None:
    walls = walls_of([build.KINDS["chimney_breast"]])
    assert walls[0].built_mm == pytest.approx(5300)
    lower = next(w for w in walls if w.start == (0, 0))
    assert lower.end == (5300, 0)
    assert lower.built_mm == pytest.approx(5300 - 1550)


def test_wall_drawn_in_many_wavering_stretches_is_one_wall() -> None:
    """50 extra vertices a hundredth of a millimetre off the line."""
    bottom = [(4000 * k / 51, 0.01 * (-1) ** k) for k in range(52)]
    walls = walls_of([polygon(*bottom, (4000, 3000), (0, 3000))])
    assert len(walls) == 4
    assert walls[0].built_mm == pytest.approx(4000, abs=0.1)


def test_histogram_finds_the_directions_that_carry_the_walls() -> None:
    peaks = wall_peaks([build.moved(build.KINDS["l_shape"], 30)])
    assert sorted(peaks) == [pytest.approx(30), pytest.approx(120)]
    octagon = shapely.Point(0, 0).buffer(3000, quad_segs=2)
    assert len(wall_peaks([octagon])) == 4


@pytest.mark.parametrize(
    ("along", "expected"), [("longest-wall", 25), ("across", 115), (70, 70), ("30 deg", 30)]
)
def test_direction_by_rule(along: object, expected: float) -> None:
    _, found = out_of(build.moved(build.rectangle(), 25), rules(rows={"along": along}))
    assert deg(found) == pytest.approx(expected)


def test_rows_run_as_one_walks_in_through_the_entrance() -> None:
    entered = plan(box(0, 0, 6000, 4000), [doorway((1000, -200), (1900, 0))])
    _, found = out_of(entered, rules(rows={"along": "entrance"}))
    assert deg(found) == pytest.approx(90)
    assert "doorway D1" in found.why


def test_flat_entrance_decides_for_all_rooms_of_the_flat() -> None:
    flat = build.flat_of_three()
    way = rules(rows={"along": "entrance"})
    for rooms in (("R1",), ("R2",), ("R3",)):
        members = [r for r in flat.rooms if r.id in rooms]
        (direction,) = directions_for(members, flat, way)
        assert direction.degrees == pytest.approx(90)
        assert "D1" in direction.why


def test_room_without_doorway_falls_back_to_its_longest_wall() -> None:
    _, found = out_of(box(0, 0, 6000, 4000), rules(rows={"along": "entrance"}))
    assert deg(found) == pytest.approx(0)


def test_entrance_askew_is_brought_into_line_with_a_wall() -> None:
    shape = shapely.Polygon([(1000, -200), (1900, -140), (1900, 0), (1000, 0)])
    door = replace(
        doorway((1000, -200), (1900, 0)), shape=shape, leaf_line=((1000, -100), (1900, -60))
    )
    (direction,) = directions_for(
        [room(box(0, 0, 6000, 4000))],
        plan(box(0, 0, 6000, 4000), [door]),
        rules(rows={"along": "entrance"}),
    )
    assert direction.degrees == 90.0


def test_fewest_planks_tries_every_much_walled_direction_and_those_across() -> None:
    angled = polygon((0, 0), (6000, 0), (6000, 2000), (3000, 5000), (0, 5000))
    drawing, rule_set = plan(angled), rules(rows={"along": "fewest-planks"})
    (bay,) = form_bays(drawing, rule_set).bays
    found = set_out(bay, drawing, rule_set)
    assert sorted(round(deg(s)) for s in found) == [0, 45, 90, 135]
    assert deg(found[0]) == pytest.approx(0)


def test_directions_beyond_the_limits_are_left_out() -> None:
    drawing = plan(box(0, 0, 14_000, 6_000))
    rule_set = rules(rows={"along": "fewest-planks"}, limits={"run": "15 m", "across": "8 m"})
    (bay,) = form_bays(drawing, rule_set).bays
    (only,) = set_out(bay, drawing, rule_set)
    assert deg(only) == pytest.approx(0)
    assert set_out_across(bay, drawing, rule_set, only) is None


# --- start wall and frame -----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("lay", "left_to_right"), [("left-to-right", True), ("right-to-left", False)]
)
@pytest.mark.parametrize("degrees", [0, 90, 200, 311])
def test_facing_the_start_wall_rows_run_to_the_hand_of_the_plank(
    lay: str, left_to_right: bool, degrees: float
) -> None:
    rule_set = rules(plank={"length": 1220, "width": 180, "lay": lay})
    bay, found = out_of(build.moved(build.KINDS["rectangle"], degrees), rule_set)
    (ux, uy), (vx, vy) = found.frame.along, found.frame.across
    inside = bay.outline.centroid
    assert found.frame.point_to_bay((inside.x, inside.y))[1] > 0  # y away from the start wall
    facing = (-vx, -vy)
    right_hand = (facing[1], -facing[0])
    assert (ux * right_hand[0] + uy * right_hand[1] > 0) is left_to_right


def test_floor_begins_at_zero_at_the_start_wall() -> None:
    bay, found = out_of(build.moved(build.KINDS["l_shape"], 33, build.FAR))
    x0, y0, _, _ = floor_in(bay, found.frame).bounds
    assert (x0, y0) == (0, 0)


def test_work_starts_where_nothing_has_to_be_laid_in_reverse() -> None:
    """An alcove behind one long wall: the wall opposite is as long and has nothing behind it."""
    bay, found = out_of(build.KINDS["alcove"])
    assert floor_in(bay, found.frame).bounds[1] == 0.0
    assert {p[1] for p in found.reference} == {0.0}
    u_open_downwards = build.moved(build.KINDS["u_shape"], 180)
    bay, found = out_of(u_open_downwards)
    assert floor_in(bay, found.frame).bounds[1] == 0.0


def test_wall_parallel_to_the_rows_is_preferred_to_a_tapering_one() -> None:
    _, found = out_of(build.KINDS["out_of_square"])
    assert found.datum_offset_mm[0] == pytest.approx(found.datum_offset_mm[1], abs=0.01)


def test_joint_line_of_a_cut_room_is_no_start_wall_if_a_wall_serves() -> None:
    drawing = plan(box(0, 0, 12_000, 20_000))
    for index in (0, 1):
        _, found = out_of(drawing, rules(rows={"along": 0}), index)
        assert {round(p[1]) for p in found.reference} <= {0, 20_000}


def test_room_without_parallel_walls_starts_at_its_lowest_point() -> None:
    diamond = build.moved(box(-2000, -2000, 2000, 2000), 45)
    _, found = out_of(diamond, rules(rows={"along": 0}))
    assert found.strips == ()
    assert found.reference[0][1] == pytest.approx(found.reference[1][1])


# --- datum --------------------------------------------------------------------------------------


def test_datum_is_the_line_between_first_and_second_row() -> None:
    _, found = out_of(box(0, 0, 5000, 3276))
    assert found.first_row_mm == pytest.approx(100)
    assert found.last_row_mm == pytest.approx(100)
    assert list(found.datum_offset_mm) == pytest.approx([108, 108])
    line = shapely.LineString(found.datum)
    assert line.length == pytest.approx(5000)
    assert line.distance(shapely.LineString(found.reference)) == pytest.approx(108)


def test_datum_offsets_differ_where_the_start_wall_is_out_of_square() -> None:
    """Rows at 0 degrees by rule, start wall leaning by 20 mm over 4 m at both long sides."""
    leaning = polygon((0, 0), (4000, 20), (4000, 3020), (0, 3000))
    _, found = out_of(leaning, rules(rows={"along": 0}))
    assert abs(found.datum_offset_mm[0] - found.datum_offset_mm[1]) == pytest.approx(20, abs=0.1)
    ends = sorted(found.datum_offset_mm)
    datum = shapely.LineString(found.datum)
    distances = sorted(datum.distance(shapely.Point(p)) for p in found.reference)
    assert distances == [pytest.approx(e, abs=0.01) for e in ends]


# --- edges that the grid heeds ------------------------------------------------------------------


def edges_of(
    drawing: Plan, rule_set: RuleSet = PLAIN
) -> dict[tuple[float, bool], tuple[float, float]]:
    """(distance, floor above) -> (weight per mm, least width) of every parallel edge."""
    bay, found = out_of(drawing, rule_set)
    floor = floor_in(bay, found.frame)
    around = Surroundings.of(bay, drawing).seen_from(found.frame)
    return {
        (round(e.low, 1), e.floor_above): (e.weight / (e.x1 - e.x0), e.least_mm)
        for e in grid_edges(floor, around, rule_set.rows.min_width)
    }


def test_edges_weigh_by_what_stands_there() -> None:
    drawing = plan(
        box(0, 0, 6000, 4000),
        [doorway((6000, 1000), (6800, 1860))],
        [obstacle(box(2000, 2000, 2500, 2400)), obstacle(box(3500, 3300, 5000, 4000), 2)],
    )
    found = edges_of(drawing)
    assert sorted(w for w, _ in found.values()) == [
        *[OBSTACLE_WEIGHT] * 3,  # column below and above, unit
        *[1.0] * 2,
        *[JAMB_WEIGHT] * 2,
    ]


def test_short_edge_may_keep_a_narrower_tongue() -> None:
    niche = polygon(
        (0, 0),
        (5000, 0),
        (5000, 4000),
        (2200, 4000),
        (2200, 4300),
        (2000, 4300),
        (2000, 4000),
        (0, 4000),
    )
    leasts = {least for _, least in edges_of(plan(niche)).values()}
    assert leasts == {60.0, 30.0}


def test_slanting_wall_within_three_degrees_is_one_tapering_edge() -> None:
    _, found = out_of(build.KINDS["out_of_square"])
    tapers = [round(s.y_high - s.y_low) for s in found.strips]
    assert sorted(tapers) == [0, 59]


def test_no_strip_breaks_the_least_width_when_the_grid_says_so() -> None:
    for name, shape in build.KINDS.items():
        _, found = out_of(shape)
        if found.slack_mm >= 0:
            for strip in found.strips:
                least = 30.0 if strip.x1 - strip.x0 < 300 else 60.0
                assert strip.width_mm >= least + PLAIN.site.tolerance - 0.01, name


@pytest.mark.parametrize("depth", [3300.0, 3471.0, 3616.0, 4000.0, 4391.5])
def test_first_and_last_row_of_a_rectangular_room_are_equal(depth: float) -> None:
    _, found = out_of(box(0, 0, 5200, depth))
    assert found.first_row_mm == pytest.approx(found.last_row_mm, abs=0.01)
    assert "equal" in found.why


@given(
    kind=st.sampled_from(sorted(set(build.KINDS) - {"bay_window"})),
    degrees=st.floats(0, 360),
    mirrored=st.booleans(),
    far=st.booleans(),
)
@settings(max_examples=40, deadline=None)
def test_setting_out_is_the_same_wherever_the_drawing_lies(
    kind: str, degrees: float, mirrored: bool, far: bool
) -> None:
    shape = build.KINDS[kind]
    there = build.moved(shape, degrees, build.FAR if far else (0.0, 0.0), mirrored=mirrored)
    _, a = out_of(shape)
    _, b = out_of(there)
    # Rows lie modulo the plank: in rooms alike upside down the work may start at either wall.
    assert b.slack_mm == pytest.approx(a.slack_mm, abs=0.05)
    assert sorted((b.first_row_mm, b.last_row_mm)) == pytest.approx(
        sorted((a.first_row_mm, a.last_row_mm)), abs=0.05
    )


def test_other_rooms_do_not_matter() -> None:
    alone = build.flat_of_three()
    ids = [r.id for r in alone.rooms]
    assert ids == [RoomId("R1"), RoomId("R2"), RoomId("R3")]
    apart = rules(doorways={"default": "break"})
    _, living = out_of(alone, apart, bay=1)
    only = plan(
        [r for r in alone.rooms if r.id == "R2"],
        [d for d in alone.doorways if d.id == DoorwayId("D2")],
    )
    _, again = out_of(only, apart)
    assert again == living


def test_between_degrees_knows_no_sense() -> None:
    assert between_deg((1, 0), (-1, 0)) == 0
    assert between_deg((1, 0), (0, -1)) == pytest.approx(90)
