"""Equal floors are laid once and carried to where they are; mirrored ones are cut with their own hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
import shapely
from shapely import box

from importer.plan import Doorway, FlatId, Plan, Point, Room
from layout import job_equal
from layout.audit import audit
from layout.floor import Bay, BayLayout, PlanResult
from layout.job import lay_bays, lay_plan
from layout.job_equal import lay_equal
from layout.rules import RuleSet
from layout.takeoff import combine
from layout.writers.record import record_json
from tests.layout import build
from tests.layout.build import doorway, plan, room, rules

PLAIN = rules(doorways={"default": "break"})


def home() -> Plan:
    """Two rooms and a store with a door between, no two walls alike."""
    rooms = [
        room(box(0, 0, 3100, 1700), 1, name="Study"),
        room(box(0, 1800, 2300, 3500), 2, name="Bed"),
    ]
    return plan(rooms, [doorway((600, 1700), (1400, 1800), 1, (1, 2))])


def copies(*places: tuple[float, Point, bool]) -> Plan:
    """The home once for each place: turned by degrees, moved, mirrored."""
    rooms: list[Room] = []
    doors: list[Doorway] = []
    for n, (degrees, at, mirrored) in enumerate(places):
        there = build.moved_plan(home(), degrees, at, mirrored=mirrored)
        number = {r.id: f"R{2 * n + k}" for k, r in enumerate(there.rooms, start=1)}
        rooms += [
            replace(r, id=number[r.id], flat=FlatId(f"F{n}"), number=f"{n}.{r.id}")
            for r in there.rooms
        ]
        doors += [
            replace(d, id=f"D{n}", rooms=tuple(number[r] for r in d.rooms if r))
            for d in there.doorways
        ]
    return plan(rooms, doors)


class Counted:
    """`lay_bays`, and how often it was asked."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(
        self, bays: Sequence[Bay], drawing: Plan, rule_set: RuleSet
    ) -> tuple[BayLayout, ...]:
        self.count += 1
        return lay_bays(bays, drawing, rule_set)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Counted:
    found = Counted()
    monkeypatch.setattr("layout.job.lay_bays", found)
    return found


TURNED = ((0.0, (0.0, 0.0), False), (180.0, (9000.0, 500.0), False), (37.0, (2e8, 4e8), False))


def test_turned_and_moved_flats_are_laid_once_and_alike(counted: Counted) -> None:
    result = lay_plan(copies(*TURNED), PLAIN)
    assert counted.count == 1
    assert len(result.bays) == 6
    first = result.bays[:2]
    for other in (result.bays[2:4], result.bays[4:]):
        for a, b in zip(first, other, strict=True):
            assert [p.shape for p in a.pieces] == [p.shape for p in b.pieces]
            assert a.window == b.window
    assert len({p.id for b in result.bays for p in b.pieces}) == sum(
        len(b.pieces) for b in result.bays
    )
    assert {p.id.split("/")[0] for p in result.bays[4].pieces} == {result.bays[4].bay.id}


def assert_sound(result: PlanResult, rule_set: RuleSet) -> None:
    """Every bay is covered by its own pieces where it lies, and the audit there says what was said."""
    for layout in result.bays:
        frame = layout.setting_out.frame
        covered = shapely.union_all([frame.to_plan(p.shape) for p in layout.pieces])
        assert covered.symmetric_difference(layout.bay.floor).area < 50.0
        flat = [o for o in result.bays if o.bay.flat == layout.bay.flat and o is not layout]
        assert audit(layout, rule_set, pool=flat) == layout.breaches
        for point in layout.setting_out.reference:
            assert layout.bay.outline.exterior.distance(shapely.Point(point)) < 0.02


def test_carried_floors_lie_where_they_belong() -> None:
    assert_sound(lay_plan(copies(*TURNED), PLAIN), PLAIN)


def test_mirrored_flat_is_cut_with_its_own_hand() -> None:
    """Rows still run from left to right as one faces the start wall, and need as many planks."""
    result = lay_plan(copies(TURNED[0], (0.0, (9000.0, 0.0), True)), PLAIN)
    assert_sound(result, PLAIN)
    here, there = result.bays[:2], result.bays[2:]
    assert sum(len(b.planks) for b in here) == sum(len(b.planks) for b in there)
    assert all(b.setting_out.frame.mirrored for b in result.bays)


def test_what_was_laid_before_changes_nothing() -> None:
    turned = copies(TURNED[2])
    job_equal._laid.cache_clear()
    alone = lay_plan(turned, PLAIN)
    job_equal._laid.cache_clear()
    lay_plan(copies(TURNED[0]), PLAIN)
    assert lay_plan(turned, PLAIN) == alone
    assert job_equal._laid.cache_info().hits == 1


def test_no_mark_of_the_standard_place_is_left() -> None:
    tight = rules(doorways={"default": "break"}, ends={"min_length": 600}, site={"tolerance": 0})
    result = lay_plan(copies(TURNED[1]), tight)
    text = record_json(combine([result], tight)).decode()
    assert "\\ue000" not in text
    assert "\ue000" not in text


def test_rows_by_degrees_are_never_turned(counted: Counted) -> None:
    by_degrees = rules(doorways={"default": "break"}, rows={"along": 0})
    result = lay_plan(copies(TURNED[0], (0.0, (7000.0, 0.0), False), TURNED[2]), by_degrees)
    assert counted.count == 2
    assert {round(b.setting_out.frame.along_deg % 180.0, 6) for b in result.bays} == {0.0}


BEYOND: list[dict[str, object]] = [
    {"rows": {"along": "entrance"}},
    {"stages": {"layer": "STAGES"}},
    {"stages": {"lines": [{"room": "bed", "side": "left", "share": "40 %"}]}},
    {
        "laying": {
            "low": [{"room": "bed", "side": "left", "depth": 300, "what": "radiator"}],
        }
    },
]


@pytest.mark.parametrize("sections", BEYOND, ids=str)
def test_rules_that_look_at_the_drawing_lay_floors_where_they_are(
    sections: dict[str, object],
) -> None:
    assert lay_equal((), copies(TURNED[0]), rules(**sections), lay_bays) is None


def test_floor_through_a_doorway_is_carried_whole() -> None:
    through = rules(doorways={"default": "through"})
    result = lay_plan(copies(*TURNED[:2]), through)
    assert [len(b.bay.rooms) for b in result.bays] == [2, 2]
    assert_sound(result, through)
