"""The laws of a laid floor, over rooms of every kind that strains geometry; and that broken ones show.

`python -m tests.bench.laws` does the same for many more, with rules at random and whole flats.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import box
from shapely.affinity import scale, translate

from importer.plan import Plan
from layout.bay_parting import form_floors
from layout.floor import BayLayout, Piece, PlanResult, PlanStatus
from layout.job import lay_bays
from layout.job_equal import lay_equal
from layout.job_pools import pools_of
from layout.rules import RuleSet
from layout.takeoff_measure import measured
from tests.layout import build
from tests.layout.law_moves import move_laws, read_back_laws
from tests.layout.law_rooms import ROOMS
from tests.layout.laws import all_laws, floor_laws

RULES = build.rules(
    plank={"length": 900, "width": 240},
    ends={"min_length": 250},
    joints={"min_offset": 200},
    site={"tolerance": 0},
)
"""A large plank, so that there are few pieces."""


def floors(plan: Plan, rules: RuleSet) -> PlanResult:
    """As `lay_plan`, without what to measure on site, which takes most of its time."""
    formed = form_floors(plan, rules)
    layouts: list[BayLayout] = []
    for pool in pools_of(formed.bays, rules):
        bays = [formed.bays[n] for n in pool]
        layouts += lay_equal(bays, plan, rules, lay_bays) or lay_bays(bays, plan, rules)
    return PlanResult(
        source=plan.file,
        status=PlanStatus.TO_SETTLE,
        plan=plan,
        bays=tuple(layouts),
        joints=formed.joints,
        accessories=measured(layouts, formed.joints, plan, rules),
    )


def some_room(kind: str, number: int, degrees: float, *, far: bool) -> Plan:
    shape = ROOMS[kind](Random(f"{kind}/{number}"))
    return build.plan(build.moved(shape, degrees, build.FAR if far else (0.0, 0.0)))


def two_rooms() -> Plan:
    """Two small rooms that one floor runs through."""
    rooms = [build.room(box(0, 0, 1500, 900), 1), build.room(box(1620, 0, 2900, 1100), 2)]
    return build.plan(rooms, [build.doorway((1500, 60), (1620, 820), 1, (1, 2))])


NUMBERS = st.integers(0, 10**6)


@pytest.mark.parametrize("kind", sorted(ROOMS))
@given(number=NUMBERS, degrees=st.sampled_from([0.0, 90.0, 33.0]), far=st.booleans())
@settings(max_examples=2, deadline=None, derandomize=True, database=None)
def test_laws_hold_in_a_room_of_any_kind_anywhere(
    kind: str, number: int, degrees: float, far: bool
) -> None:
    result = floors(some_room(kind, number, degrees, far=far), RULES)
    assert result.bays
    assert all_laws(result, RULES) == ()


@given(kind=st.sampled_from(sorted(ROOMS)), number=NUMBERS)
@settings(max_examples=2, deadline=None, derandomize=True, database=None)
def test_moved_or_told_otherwise_a_room_takes_the_same_planks(kind: str, number: int) -> None:
    room = some_room(kind, number, 0.0, far=False)
    assert list(move_laws(room, RULES, floors, Random(number))) == []


def test_flat_told_in_another_order_takes_the_same_planks() -> None:
    assert list(move_laws(two_rooms(), RULES, floors, Random(1))) == []


@given(kind=st.sampled_from(sorted(ROOMS)), number=NUMBERS, far=st.booleans())
@settings(
    max_examples=3,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_what_is_read_of_a_marked_drawing_is_what_was_written(
    tmp_path: Path, kind: str, number: int, far: bool
) -> None:
    result = floors(some_room(kind, number, 33.0, far=far), RULES)
    assert list(read_back_laws(result, RULES, tmp_path)) == []


# --- these laws see what is wrong ---------------------------------------------------------------


@cache
def sound() -> PlanResult:
    return floors(build.plan(build.rectangle(2600.0, 1500.0)), RULES)


def with_piece(result: PlanResult, n: int, change: Callable[[Piece], Piece]) -> PlanResult:
    (bay,) = result.bays
    pieces = [change(p) if k == n else p for k, p in enumerate(bay.pieces)]
    return replace(result, bays=(replace(bay, pieces=tuple(pieces)),))


def dropped(result: PlanResult) -> PlanResult:
    (bay,) = result.bays
    return replace(result, bays=(replace(bay, pieces=bay.pieces[1:]),))


def doubled(result: PlanResult) -> PlanResult:
    (bay,) = result.bays
    return replace(result, bays=(replace(bay, pieces=(*bay.pieces, bay.pieces[0])),))


def moved(result: PlanResult) -> PlanResult:
    return with_piece(result, 0, lambda p: replace(p, shape=translate(p.shape, -3, 0)))


def stretched(result: PlanResult) -> PlanResult:
    return with_piece(result, 1, lambda p: replace(p, shape=scale(p.shape, 1.01, 1.0)))


def turned_about(result: PlanResult) -> PlanResult:
    """An end that is sawn from the middle of its plank keeps no joint."""
    return with_piece(result, 0, lambda p: replace(p, plank_x_mm=p.plank_x_mm - 5.0))


def of_another_plank(result: PlanResult) -> PlanResult:
    last = result.bays[0].pieces[-1].plank
    return with_piece(result, 0, lambda p: replace(p, plank=last))


@pytest.mark.parametrize(
    "fault", [dropped, doubled, moved, stretched, turned_about, of_another_plank]
)
def test_broken_law_is_seen(fault: Callable[[PlanResult], PlanResult]) -> None:
    assert all_laws(sound(), RULES) == ()
    assert all_laws(fault(sound()), RULES) != ()


@pytest.mark.parametrize(
    ("sections", "says"),
    [({"ends": {"min_length": 448}}, "end "), ({"joints": {"min_offset": 440}}, "joints at ")],
)
def test_breach_that_is_not_named_is_seen(sections: dict[str, object], says: str) -> None:
    stricter = build.rules(plank={"length": 900, "width": 240}, **sections)
    (bay,) = sound().bays
    assert any(w.startswith(says) for w in floor_laws(bay, stricter))
