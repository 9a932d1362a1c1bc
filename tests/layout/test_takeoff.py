from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil, pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Point, Polygon, box

from importer.plan import (
    Doorway,
    DoorwayId,
    DoorwayKind,
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
from layout.bays import form_bays
from layout.floor import PlanResult, PlanStatus, Quantities
from layout.rules_order import MembraneRules, SkirtingRules, UnderlayRules
from layout.takeoff import NO_FLAT, accessories_of, combine
from layout.takeoff_measure import FIRE_DOOR_NOTE
from layout.takeoff_sheets import sheet_order, strips_of
from layout.takeoff_walls import Wall, pieces_of, walls_of
from tests.layout.laid import rectangle_layout, rectangle_result, rules


def test_order_counts_planks_spares_and_packs() -> None:
    result = rectangle_result()
    job = combine([result], rules(order={"spare": "3 %"}))
    planks = len(result.bays[0].planks)
    assert job.totals.planks == planks
    assert job.totals.spare_planks == ceil(planks * 0.03)
    assert job.totals.packs == ceil((planks + ceil(planks * 0.03)) / 10)
    assert list(job.by_flat) == [NO_FLAT]


def test_skirting_is_the_perimeter_less_the_door() -> None:
    """check: 4 x 3.26 m room, one 900 mm opening: 14.52 - 0.9 m."""
    job = combine([rectangle_result()], rules())
    assert job.totals.skirting_mm == pytest.approx(2 * (4000 + 3260) - 900)
    assert job.totals.threshold_mm == (900.0,)


def test_waste_is_what_is_bought_and_not_laid() -> None:
    result = rectangle_result()
    q = combine([result], rules()).totals
    bought = q.planks * 1.220 * 0.180
    assert q.net_area_m2 == pytest.approx(3.984 * 3.244)
    assert q.waste_percent == pytest.approx(100 * (bought - q.net_area_m2) / bought)


def test_flats_of_several_plans_are_told_apart() -> None:
    job = combine([rectangle_result(), rectangle_result()], rules())
    assert list(job.by_flat) == [f"room: {NO_FLAT}"]
    assert job.totals.planks == 2 * len(rectangle_result().bays[0].planks)


# --- skirting -----------------------------------------------------------------------------------

GROUND = StoreyId("S1")


def plan_of(
    rooms: Sequence[tuple[str, Polygon]],
    doorways: Sequence[Doorway] = (),
    obstacles: Sequence[tuple[ObstacleKind, Polygon]] = (),
) -> Plan:
    return Plan(
        file="plan.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="test"),
        storeys=(Storey(id=GROUND, name="Ground"),),
        flats=(),
        rooms=tuple(
            Room(id=RoomId(f"R{n}"), shape=shape, storey=GROUND, name=name)
            for n, (name, shape) in enumerate(rooms, start=1)
        ),
        doorways=tuple(doorways),
        obstacles=tuple(
            Obstacle(id=ObstacleId(f"O{n}"), kind=kind, shape=shape, storey=GROUND)
            for n, (kind, shape) in enumerate(obstacles, start=1)
        ),
    )


def doorway(
    number: int,
    x: float,
    y: float,
    *,
    rooms: tuple[str, str | None] = ("R1", "R2"),
    kind: DoorwayKind = DoorwayKind.HINGED,
    entrance: bool = False,
) -> Doorway:
    """900 wide along x from (x, y) in a wall 100 thick above y."""
    first, second = rooms
    return Doorway(
        id=DoorwayId(f"D{number}"),
        rooms=(RoomId(first), None if second is None else RoomId(second)),
        storey=GROUND,
        shape=box(x, y, x + 900, y + 100),
        leaf_line=((x, y + 50), (x + 900, y + 50)),
        width_mm=900,
        wall_thickness_mm=100,
        kind=kind,
        flat_entrance=entrance,
    )


TWO_ROOMS = (("Hall", box(0, 0, 5000, 1500)), ("Living", box(0, 1600, 5000, 5600)))


def laid(plan: Plan, **sections: object) -> tuple[PlanResult, Quantities]:
    """The bays of a plan with its joints; their planks do not matter here, so that none are laid."""
    rule_set = rules(**sections)
    formed = form_bays(plan, rule_set)
    result = PlanResult(
        source=plan.file,
        status=PlanStatus.CLEAN,
        plan=plan,
        bays=tuple(replace(rectangle_layout(), bay=bay) for bay in formed.bays),
        joints=formed.joints,
        accessories=None,
    )
    things = accessories_of(result, rule_set)
    return replace(result, accessories=things), combine([result], rule_set).totals


def test_published_room_of_5_by_4_m_with_a_door() -> None:
    """check: 5 x 4 m, one 900 door: skirting 18.0 - 0.9 = 17.1 m, one bar of 900, 20 m2 of underlay are
    two rolls of 10 m2 or two of 15 m2; no frame of a door to outside is cut.
    """
    plan = plan_of([("Room", box(0, 0, 5000, 4000))], [doorway(1, 2000, 4000, rooms=("R1", None))])
    result, q = laid(plan, doorways={"leaf_cover": "leaf"}, underlay={"roll_length": "10 m"})
    assert q.skirting_mm == pytest.approx(17_100)
    assert q.profiles.counts == {900.0: 1}
    assert q.underlay is not None
    tongue = 900 * 50 / 1e6
    assert q.underlay.net_m2 == pytest.approx(20.0 + tongue)
    # The half metre in the doorway is a scrap of a fifth strip.
    assert q.underlay.strips == 5
    assert q.underlay.rolled_mm == pytest.approx(4 * 5000 + 900)
    assert q.underlay.rolls == 3
    wide = combine([replace(result, accessories=None)], rules(underlay={"roll_length": "15 m"}))
    assert wide.totals.underlay is not None
    assert wide.totals.underlay.rolls == 2
    assert q.jambs == 0


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        (DoorwayKind.HINGED, 2 * (5000 + 1500) + 2 * (5000 + 4000) - 2 * 900),
        # No frame: skirting runs round the reveals.
        (DoorwayKind.OPENING, 2 * (5000 + 1500) + 2 * (5000 + 4000) - 2 * 900 + 2 * 100),
    ],
)
@pytest.mark.parametrize("default", ["through", "break"])
def test_skirting_ends_at_frames_and_runs_round_plain_reveals(
    kind: DoorwayKind, expected: float, default: str
) -> None:
    plan = plan_of(TWO_ROOMS, [doorway(1, 2000, 1500, kind=kind)])
    _, q = laid(plan, doorways={"default": default})
    assert q.skirting_mm == pytest.approx(expected, abs=0.1)
    assert len(q.threshold_mm) == (default == "break")
    assert q.jambs == (2 if kind is DoorwayKind.HINGED else 0)


def test_units_have_plinths_and_columns_have_skirting() -> None:
    unit, column = box(0, 0, 600, 1200), box(2000, 1500, 2300, 1800)
    plan = plan_of(
        [("Kitchen", box(0, 0, 4000, 3000))],
        obstacles=[(ObstacleKind.FIXED_UNIT, unit), (ObstacleKind.COLUMN, column)],
    )
    result, q = laid(plan)
    walls = 2 * (4000 + 3000) - 600 - 1200
    assert q.skirting_mm == pytest.approx(walls + 4 * 300)
    corners = [w for w in accessories_of(result, rules()).skirting if w.length_mm < 301]
    assert [w.pieces_mm for w in corners] == [(340.0,)] * 4


def test_small_columns_are_pipes_with_collars() -> None:
    pipe = Point(1000, 2900).buffer(55, quad_segs=16)
    plan = plan_of([("Bath", box(0, 0, 4000, 3000))], obstacles=[(ObstacleKind.COLUMN, pipe)])
    result, q = laid(plan, pipes={"up_to": 120, "in_rooms": [{"match": "ba*", "count": 2}]})
    drawn, given_by_rule = accessories_of(result, rules()).collars
    assert q.collars == 3
    assert (drawn.count, given_by_rule.count) == (1, 2)
    assert drawn.at == pytest.approx((1000, 2900))
    assert drawn.across_mm == pytest.approx(110)
    assert q.skirting_mm == pytest.approx(14_000)
    _, none = laid(plan, pipes={"up_to": 100})
    assert none.collars == 0
    assert none.skirting_mm == pytest.approx(14_000 + 110 * pi, rel=1e-3)


def test_profiles_name_their_doorway_and_rooms() -> None:
    doors = [
        doorway(1, 2000, 1500),
        doorway(2, 100, -100, rooms=("R1", None)),
        doorway(3, 3900, 5600, rooms=("R2", None), entrance=True),
    ]
    result, _ = laid(plan_of(TWO_ROOMS, doors), doorways={"default": "break"})
    things = accessories_of(result, rules())
    assert [(p.where, p.note) for p in things.profiles] == [
        ("doorway D1, Hall | Living", ""),
        ("doorway D2, Hall | outside", ""),
        ("doorway D3, Living | outside", FIRE_DOOR_NOTE),
    ]
    assert [(str(f.doorway), f.jambs) for f in things.frames] == [("D1", 2), ("D2", 0), ("D3", 0)]
    assert things.frames[2].note == FIRE_DOOR_NOTE


def test_joined_doorways_take_no_profile_and_run_limits_take_one() -> None:
    _, joined = laid(plan_of(TWO_ROOMS, [doorway(1, 2000, 1500)]))
    assert joined.profiles.bars == ()
    long_room = plan_of([("Gallery", box(0, 0, 9000, 2000))])
    result, q = laid(long_room, limits={"run": "6 m"})
    (profile,) = accessories_of(result, rules()).profiles
    assert profile.where == "across Gallery"
    assert q.profiles.counts == {2700.0: 1}


# --- walls --------------------------------------------------------------------------------------


@settings(derandomize=True, max_examples=30, deadline=None)
@given(
    st.lists(st.tuples(st.integers(2, 12), st.integers(2, 12)), min_size=1, max_size=5),
    st.sampled_from([(0.0, 0.0), (4.5e6, 6.1e6)]),
)
def test_walls_of_any_outline_add_up_to_its_length(
    steps: list[tuple[int, int]], at: tuple[float, float]
) -> None:
    """A staircase outline of steps: every wall once, and one more outside corner for every step."""
    xs = [sum(500 * a for a, _ in steps[:n]) for n in range(len(steps) + 1)]
    ys = [sum(500 * b for _, b in steps[:n]) for n in range(len(steps) + 1)]
    points = [(0.0, 0.0)]
    for n in range(len(steps)):
        points += [(xs[n + 1], ys[n]), (xs[n + 1], ys[n + 1])]
    points += [(0.0, ys[-1])]
    outline = Polygon([(x + at[0], y + at[1]) for x, y in points])
    bay = replace(rectangle_layout().bay, outline=outline)
    walls = walls_of(bay, None, [], [])
    assert sum(w.length_mm for w in walls) == pytest.approx(outline.length)
    assert sum(w.outside for w in walls) == 2 * (len(steps) - 1)
    for wall in walls:
        assert outline.boundary.distance(Point(wall.middle)) < 0.01


def test_bent_walls_are_one_stretch() -> None:
    disc = Point(0, 0).buffer(1500, quad_segs=24)
    bay = replace(rectangle_layout().bay, outline=disc)
    (wall,) = walls_of(bay, None, [], [])
    assert wall.length_mm == pytest.approx(disc.length)
    assert wall.outside == 0


@pytest.mark.parametrize(
    ("length", "outside", "expected"),
    [
        (2000, 0, (2000,)),
        (2000.2, 0, (2001,)),
        (2000, 2, (2040,)),
        (2400, 0, (2400,)),
        (2400, 1, (2140, 300)),  # never a rest below the least piece: 2420 and a mitred joint
        (4000, 0, (2400, 1620)),
        (4780, 0, (2400, 2400)),
        (7000, 0, (2400, 2400, 2240)),
    ],
)
def test_walls_longer_than_a_bar_are_joined_with_mitres(
    length: float, outside: int, expected: tuple[float, ...]
) -> None:
    wall = Wall(length_mm=length, outside=outside, middle=(0, 0))
    pieces = pieces_of(wall, SkirtingRules(stock=(2400, 1800), mitre=20, least_piece=300))
    assert pieces == expected
    joints = len(pieces) - 1
    assert sum(pieces) - joints * 20 == pytest.approx(ceil(length) + 20 * outside)


def test_bars_hold_every_piece_of_skirting() -> None:
    result, q = laid(plan_of(TWO_ROOMS, [doorway(1, 2000, 1500)]), skirting={"stock": [3000, 2400]})
    asked = sorted(p for w in accessories_of(result, rules()).skirting for p in w.pieces_mm)
    sawn = sorted(p.length_mm for bar in q.skirting.bars for p in bar.pieces)
    assert sawn == asked
    assert q.skirting.least_mm <= q.skirting.bought_mm
    for bar in q.skirting.bars:
        used = sum(p.length_mm for p in bar.pieces) + 3 * (len(bar.pieces) - 1)
        assert used <= bar.length_mm


# --- sheets -------------------------------------------------------------------------------------


def test_strips_run_along_the_longer_side() -> None:
    long_bay = rectangle_layout(length=6000, depth=3500)
    strips = strips_of(long_bay, UnderlayRules(roll_width=1000))
    assert (strips.strips, strips.length_mm) == (4, 24_000)
    deep = strips_of(rectangle_layout(length=3500, depth=6000), UnderlayRules(roll_width=1000))
    assert (deep.strips, deep.length_mm) == (4, 24_000)


def test_laps_and_upturns_take_more() -> None:
    """4 x 3.26 m with 100 turned up: 4.2 x 3.46 m; strips of 2 m lap by 150: 2 of them."""
    layout = rectangle_layout()
    sheet = MembraneRules(roll_width=2000, roll_length=25_000, lap=150, upturn=100)
    strips = strips_of(layout, sheet, sheet.upturn)
    assert (strips.strips, strips.length_mm) == (2, 8400)
    order = sheet_order([strips] * 3, 39.12, sheet)
    assert (order.strips, order.rolls, order.rolled_mm) == (6, 2, 25_200)
    assert order.rolled_m2 == pytest.approx(50.4)


@settings(derandomize=True, max_examples=25, deadline=None)
@given(st.floats(500, 3000), st.floats(0.0, 0.4), st.floats(2000, 9000), st.floats(2000, 9000))
def test_strips_cover_the_floor(width: float, lap: float, length: float, depth: float) -> None:
    roll = UnderlayRules(roll_width=width, lap=lap * width)
    layout = rectangle_layout(length=length, depth=depth)
    strips = strips_of(layout, roll)
    covered = strips.length_mm * width - (strips.strips - 1) * roll.lap * max(length, depth)
    assert covered >= layout.bay.outline.area - 1.0
    # One strip fewer would not do.
    short = (strips.strips - 1) * (width - roll.lap) + roll.lap
    assert strips.strips == 1 or short < min(length, depth)


def test_a_room_without_the_sheet_orders_none() -> None:
    _, q = laid(plan_of(TWO_ROOMS), underlay={"lay": False}, skirting={"lay": False})
    assert (q.underlay, q.membrane, q.skirting_mm, q.skirting.bars) == (None, None, 0, ())
    _, q = laid(plan_of(TWO_ROOMS), membrane={"lay": True})
    assert q.membrane is not None
    assert q.membrane.lap_mm == 150


# --- headings -----------------------------------------------------------------------------------


def test_storeys_and_flats_share_out_everything() -> None:
    job = combine([rectangle_result(), rectangle_result()], rules())
    assert list(job.by_storey) == ["room: Ground"]
    assert sum(q.planks for q in job.by_storey.values()) == job.totals.planks
    assert sum(q.skirting_mm for q in job.by_flat.values()) == pytest.approx(job.totals.skirting_mm)


def test_what_was_measured_for_bays_left_out_does_not_count() -> None:
    plan = plan_of(TWO_ROOMS, [doorway(1, 2000, 1500)])
    result, whole = laid(plan, doorways={"default": "break"})
    part = replace(result, bays=result.bays[:1], joints=result.joints)
    q = combine([part], rules(doorways={"default": "break"})).totals
    assert 0 < q.skirting_mm < whole.skirting_mm
    assert len(q.threshold_mm) == 1
