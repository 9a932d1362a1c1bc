"""Joined rooms parted under a door where no first row suits them all."""

from __future__ import annotations

from itertools import pairwise

from shapely import box

from importer.plan import Plan
from layout.bay_edges import thin_strips
from layout.bay_parting import form_floors
from layout.bays import BayPlan, form_bays
from layout.job import lay_plan
from layout.rules import RuleSet
from layout.setting_out import set_out
from layout.site_file import load_site_text
from layout.site_lay import lay_measured
from tests.layout.build import doorway, plan, room, rules

WIDTH = 180.0
GAP = 8.0


def rule_set(**sections: object) -> RuleSet:
    """Rows of 180 mm along y, none narrower than 60 mm."""
    given: dict[str, object] = {
        "rows": {"along": "90 deg", "min_width": 60},
        "plank": {"length": 1200, "width": WIDTH},
        "gap": {"wall": GAP},
        "site": {"tolerance": 0},
    }
    return rules(**{**given, **sections})


def side_by_side(*edges: float) -> Plan:
    """Rooms beside each other, 4 m deep, a door in every wall between them.

    `edges`: left and right edge of each room's floor from the first, mm. A row line may not lie less
    than 60 mm right of a left edge or left of a right one; modulo the width of a row this says which
    first rows suit a room.
    """
    sides = list(zip(edges[::2], edges[1::2], strict=True))
    rooms = [
        room(box(left - GAP, 0, right + GAP, 4000), n, name=f"Room {n}")
        for n, (left, right) in enumerate(sides, 1)
    ]
    walls = pairwise(sides)
    doorways = [
        doorway((left[1] + GAP, 1000), (right[0] - GAP, 1860), n, (n, n + 1))
        for n, (left, right) in enumerate(walls, 1)
    ]
    return plan(rooms, doorways)


# Row lines at 110 to 180 mm (modulo 180) suit the first room, at 10 to 105 the second, at 0 to 115 the third.
FIRST = (0.0, 16 * WIDTH + 110)
SECOND = (17 * WIDTH + 105, 37 * WIDTH + 10)
THIRD = (37 * WIDTH + 115, 55 * WIDTH)
MISFIT = (*FIRST, *SECOND, *THIRD)


def strips(formed: BayPlan, drawing: Plan, under: RuleSet) -> int:
    return sum(
        min(thin_strips(out, under) for out in set_out(bay, drawing, under)) for bay in formed.bays
    )


def test_floor_that_no_first_row_suits_is_parted_under_a_door() -> None:
    drawing = side_by_side(*MISFIT)
    assert strips(form_bays(drawing, rule_set()), drawing, rule_set()) > 0
    formed = form_floors(drawing, rule_set())
    assert strips(formed, drawing, rule_set()) == 0
    assert len(formed.bays) == 2
    (joint,) = formed.joints
    assert "No width of the first row suits both Room" in joint.why
    assert "without a strip below the least width" in joint.why


def test_only_the_door_that_saves_a_strip_is_parted() -> None:
    drawing = side_by_side(*MISFIT)
    formed = form_floors(drawing, rule_set())
    assert [b.rooms for b in formed.bays] == [("R1",), ("R2", "R3")]


def test_floor_that_one_first_row_suits_stays_one() -> None:
    drawing = side_by_side(*SECOND, *THIRD)
    assert form_floors(drawing, rule_set()) == form_bays(drawing, rule_set())


def test_rule_set_may_keep_the_floor_one() -> None:
    drawing = side_by_side(*MISFIT)
    whole = rule_set(doorways={"misfit": "through"})
    assert form_floors(drawing, whole) == form_bays(drawing, whole)
    assert strips(form_floors(drawing, whole), drawing, whole) > 0


def test_strip_that_no_joint_helps_parts_nothing() -> None:
    """Both rooms are of such a width that one strip stays wherever the rows lie."""
    narrow = rule_set(rows={"along": "90 deg", "min_width": 150})
    left, right = (0.0, 1840.0), (2020.0, 3860.0)
    for lone in (left, right):
        drawing = side_by_side(*lone)
        assert strips(form_bays(drawing, narrow), drawing, narrow) == 1
    drawing = side_by_side(*left, *right)
    assert strips(form_bays(drawing, narrow), drawing, narrow) == 2
    assert form_floors(drawing, narrow).joints == ()


def test_parts_keep_the_direction_of_their_floor() -> None:
    """By themselves the rooms would be laid along their own longest walls."""
    drawing = side_by_side(*MISFIT)
    free = rule_set(rows={"along": "longest-wall", "min_width": 60})
    (whole,) = form_bays(drawing, free).bays
    outs = set_out(whole, drawing, free)
    along = min(outs, key=lambda out: thin_strips(out, free)).frame.along
    for bay in form_floors(drawing, free).bays:
        ways = {out.frame.along for out in set_out(bay, drawing, free)}
        assert all(abs(a[0] * along[1] - a[1] * along[0]) < 1e-9 for a in ways)


def test_floor_is_parted_in_the_finished_layout() -> None:
    drawing = side_by_side(*FIRST, *SECOND)
    result = lay_plan(drawing, rule_set())
    assert len(result.bays) == 2
    assert not any(b.rule == "rows.min_width" for bay in result.bays for b in bay.breaches)


def test_measured_on_site_it_stays_parted_at_the_same_door() -> None:
    drawing = side_by_side(*FIRST, *SECOND)
    result = lay_plan(drawing, rule_set())
    size = result.bays[0].dimensions[0]
    bay = result.bays[0].bay.id
    text = f"plan: test.dxf\nbays:\n  {bay}: {{{size.id}: {size.drawn_mm + 0.5}}}\n"
    again = lay_measured(result, load_site_text(text, "site.yaml"), rule_set())
    assert [b.bay.rooms for b in again.bays] == [b.bay.rooms for b in result.bays]
    assert [j.doorway for j in again.joints] == [j.doorway for j in result.joints]
