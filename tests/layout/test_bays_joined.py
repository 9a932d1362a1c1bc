"""Rooms on one floor: where it runs on through a doorway, where it is broken, and why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from importer.plan import DoorwayId, DoorwayKind, FlatId, Plan
from layout.bays import form_bays
from layout.rules import RuleSet
from tests.layout import build
from tests.layout.build import doorway, obstacle, plan, room, rules

PLAIN = rules()
DOOR = 120 * 860
"""Floor inside the door of `two_rooms`, mm2."""


def two_rooms(**fields: object) -> Plan:
    """Hall and bath side by side, a door of 860 mm in the wall of 120 mm between them."""
    rooms = [
        room(box(0, 0, 4000, 4000), 1, name="Hall", number="1"),
        room(box(4120, 0, 8000, 3000), 2, name="Bathroom", number="2"),
    ]
    return plan(rooms, [doorway((4000, 1000), (4120, 1860), 7, (1, 2), **fields)])


def bays_of(drawing: Plan, rule_set: RuleSet) -> list[tuple[str, ...]]:
    return [tuple(b.rooms) for b in form_bays(drawing, rule_set).bays]


def test_floor_runs_on_through_a_doorway_with_all_of_its_floor() -> None:
    formed = form_bays(two_rooms(), PLAIN)
    (bay,) = formed.bays
    assert (bay.id, bay.name, bay.rooms) == ("B1", "1 Hall + 2 Bathroom", ("R1", "R2"))
    assert bay.through == ("D7",)
    assert formed.joints == ()
    assert bay.outline.area == pytest.approx(16e6 + 3880 * 3000 + DOOR)
    assert bay.outline.boundary.distance(bay.floor) == pytest.approx(8.0)
    # 844 mm of floor between the jambs, once the gap is kept.
    across = bay.floor.intersection(LineString([(4060, 0), (4060, 4000)]))
    assert across.length == pytest.approx(844)


@pytest.mark.parametrize(
    ("fields", "sections", "why"),
    [
        ({}, {"default": "break"}, "Doorways like this break the floor by rule."),
        ({"kind": DoorwayKind.SLIDING}, {"break_at": ["sliding"]}, "by rule"),
        ({"flat_entrance": True}, {}, "entrance door"),
        ({"flat_entrance": True}, {"through_doors": ["D7"], "break_at": []}, "entrance door"),
        ({}, {"break_doors": ["d7"]}, "lists this doorway"),
        ({}, {"break_doors": ["hall -> bath*"]}, "lists this doorway"),
        ({}, {"break_doors": ["wc|2 -> 1"]}, "lists this doorway"),
        ({}, {"break_doors": ["D8", "hall -> kitchen"]}, ""),
        ({}, {"default": "break", "through_doors": ["bath* -> hall"]}, ""),
        (
            {"kind": DoorwayKind.SLIDING},
            {"break_at": ["sliding"], "through_doors": ["D7"]},
            "",
        ),
    ],
)
def test_rule_set_says_where_the_floor_is_broken(
    fields: dict[str, object], sections: dict[str, object], why: str
) -> None:
    formed = form_bays(two_rooms(**fields), rules(doorways=sections))
    assert len(formed.bays) == (2 if why else 1)
    assert [j.doorway for j in formed.joints] == (["D7"] if why else [])
    assert all(why in j.why for j in formed.joints)


def test_change_of_finish_breaks_the_floor_whatever_the_doorway() -> None:
    finishes = [{"match": "hall", "finish": "oak"}]
    formed = form_bays(two_rooms(), rules(rooms=finishes, doorways={"through_doors": ["D7"]}))
    assert len(formed.bays) == 2
    assert formed.joints[0].why == (
        "The finish changes here, from oak to the floor of the rule set."
    )
    same = [*finishes, {"match": "bath*", "finish": "Oak"}]
    assert bays_of(two_rooms(), rules(rooms=same)) == [("R1", "R2")]


def test_two_flats_never_share_a_floor_but_a_flat_and_a_room_of_no_flat_may() -> None:
    drawing = two_rooms()
    hall, bath = drawing.rooms
    flats = [replace(hall, flat=FlatId("F1")), replace(bath, flat=FlatId("F2"))]
    assert len(form_bays(replace(drawing, rooms=tuple(flats)), PLAIN).bays) == 2
    assert len(form_bays(replace(drawing, rooms=(flats[0], bath)), PLAIN).bays) == 1


def test_doorway_that_stands_off_a_room_joins_nothing() -> None:
    drawing = two_rooms()
    hall, bath = drawing.rooms
    far = replace(bath, shape=box(4200, 0, 8000, 3000))
    formed = form_bays(replace(drawing, rooms=(hall, far)), PLAIN)
    assert len(formed.bays) == 2
    assert [f.code for f in formed.findings] == ["LAY-124"]
    assert "stands off" in formed.joints[0].why


def joined_twice() -> Plan:
    """Two rooms with two doors between them."""
    rooms = [room(box(0, 0, 4000, 4000), 1), room(box(4120, 0, 8000, 4000), 2)]
    doors = [
        doorway((4000, 500), (4120, 1360), 1, (1, 2)),
        doorway((4000, 2500), (4120, 3360), 2, (1, 2)),
    ]
    return plan(rooms, doors)


def test_door_broken_between_rooms_that_another_joins_keeps_its_gap_on_both_sides() -> None:
    formed = form_bays(joined_twice(), rules(doorways={"break_doors": ["D2"]}))
    (bay,) = formed.bays
    assert bay.through == ("D1",)
    (joint,) = formed.joints
    assert joint.bays == (bay.id,)
    assert bay.joints == (joint.id,)
    line = LineString(joint.line)
    assert bay.floor.distance(line) == pytest.approx(8.0, abs=0.02)
    both = bay.floor.intersection(LineString([(3990, 2900), (4130, 2900)]))
    assert both.length == pytest.approx(140 - 16, abs=0.05)
    through = bay.floor.intersection(LineString([(3990, 900), (4130, 900)]))
    assert through.length == pytest.approx(140)


def test_rooms_around_a_core_make_a_floor_with_a_hole() -> None:
    walls = [box(0, 0, 4000, 4000), box(4100, 0, 8000, 4000), box(4100, 4100, 8000, 8000)]
    rooms = [room(w, n) for n, w in enumerate([*walls, box(0, 4100, 4000, 8000)], start=1)]
    doors = [
        doorway((4000, 1000), (4100, 1900), 1, (1, 2)),
        doorway((6000, 4000), (6900, 4100), 2, (2, 3)),
        doorway((4000, 6000), (4100, 6900), 3, (3, 4)),
        doorway((1000, 4000), (1900, 4100), 4, (4, 1)),
    ]
    (bay,) = form_bays(plan(rooms, doors), PLAIN).bays
    assert len(bay.outline.interiors) == len(bay.floor.interiors) == 1
    assert bay.name == "R1 + R2 + R3 + R4"


def test_many_rooms_are_counted_after_the_first_names() -> None:
    rooms = [room(box(3100 * n, 0, 3100 * n + 3000, 3000), n, name=f"Room {n}") for n in range(6)]
    doors = [
        doorway((3100 * n + 3000, 500), (3100 * n + 3100, 1300), n, (n, n + 1)) for n in range(5)
    ]
    wide = rules(limits={"run": "30 m", "across": "30 m"})
    (bay,) = form_bays(plan(rooms, doors), wide).bays
    assert bay.name == "Room 0 + Room 1 + Room 2 + 3 more rooms"
    assert len(bay.rooms) == 6


def test_obstacle_that_crosses_itself_costs_only_its_room_of_a_joined_floor() -> None:
    bow_tie = Polygon([(1000, 1000), (2000, 2000), (2000, 1000), (1000, 2000)])
    drawing = replace(two_rooms(), obstacles=(obstacle(bow_tie),))
    formed = form_bays(drawing, PLAIN)
    assert [b.rooms for b in formed.bays] == [("R2",)]
    assert [u.room for u in formed.unlaid] == ["R1"]
    assert "could not be put together" in formed.joints[0].why


@given(
    broken=st.sets(st.sampled_from(["D2", "D3"])),
    degrees=st.floats(0, 360),
    mirrored=st.booleans(),
)
@settings(max_examples=25, deadline=None)
def test_floors_and_joints_of_a_flat_fit_together_however_it_is_turned(
    broken: set[str], degrees: float, mirrored: bool
) -> None:
    """Whatever is broken: no floor is lost, and each doorway has either a joint or floor all through."""
    flat = build.moved_plan(build.flat_of_three(), degrees, build.FAR, mirrored=mirrored)
    formed = form_bays(flat, rules(doorways={"break_doors": sorted(broken)}))
    assert len(formed.bays) == 1 + len(broken)
    assert {j.doorway for j in formed.joints} == {DoorwayId("D1"), *broken}
    runs_on = [d for b in formed.bays for d in b.through]
    assert sorted([*runs_on, *broken]) == ["D2", "D3"]
    whole = sum(r.shape.area for r in flat.rooms) + sum(d.shape.area for d in flat.doorways)
    half_entrance = flat.doorways[0].shape.area / 2
    assert sum(b.outline.area for b in formed.bays) == pytest.approx(whole - half_entrance)
