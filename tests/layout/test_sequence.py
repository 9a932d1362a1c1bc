from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from layout.floor import Run, Touch
from layout.sequence import (
    LayingOrder,
    is_trapped,
    lay_order,
    lay_parts,
    order_from,
    parts_of,
)
from tests.layout import build
from tests.layout.test_runs import cut, laid_out

W = 180.0


def rows_of(
    order: LayingOrder, runs: tuple[Run, ...], which: frozenset[int]
) -> list[tuple[float, int]]:
    """(x0, row) of some runs in the order of laying."""
    return [(runs[i].x0, runs[i].row) for i in order.runs if i in which]


def stack(x0: float, x1: float, first: int, last: int) -> Polygon:
    """A room of whole rows, `first` to `last`, counted from 0."""
    return box(x0, first * W, x1, (last + 1) * W)


def two_rooms() -> tuple[tuple[Run, ...], tuple[Touch, ...]]:
    """Rooms A (rows 0 to 19) and B (rows -2 to 17); rows 8 to 12 run through the door between them."""
    wide = stack(0, 3000, 0, 19).union(stack(2900, 3300, 8, 12)).union(stack(3200, 6000, -2, 17))
    assert isinstance(wide, Polygon)
    return cut(wide)


def at(runs: tuple[Run, ...], x: float, row_line: int) -> int:
    """The run that holds x in the row above row line `row_line`."""
    return next(r.index for r in runs if r.x0 <= x <= r.x1 and r.y0 == row_line * W)


def test_plain_room_is_laid_row_by_row_forward() -> None:
    runs, touches = cut(box(0, 0, 4000, 900))
    order = lay_order(runs, touches)
    assert order.runs == (0, 1, 2, 3, 4)
    assert order.reversed_runs == order.trapped == order.apart == frozenset()


def test_rows_behind_the_starter_row_are_laid_in_reverse_from_it() -> None:
    runs, touches = cut(box(0, -400, 4000, 900))
    order = lay_order(runs, touches)
    assert [runs[i].row for i in order.runs] == [1, 2, 3, 4, 5, -1, -2, -3]
    assert {runs[i].row for i in order.reversed_runs} == {-1, -2, -3}


def test_longest_run_of_the_starter_row_starts() -> None:
    floor = box(0, 0, 4000, 540).difference(box(1000, -1, 1400, 180))
    assert isinstance(floor, Polygon)
    runs, touches = cut(floor)
    assert runs[lay_order(runs, touches).runs[0]].x0 == 1400


def test_column_is_passed_row_by_row_on_both_sides() -> None:
    floor = Polygon(box(0, 0, 4000, 1800).exterior, [box(1500, 400, 2000, 1000).exterior])
    runs, touches = cut(floor)
    order = lay_order(runs, touches)
    assert [runs[i].row for i in order.runs] == sorted(r.row for r in runs)
    assert order.reversed_runs == order.trapped == frozenset()


def test_door_that_rows_run_through_reverses_what_lies_behind_it() -> None:
    """Worked example: from A's first row ten runs of B are reversed, from B's first row eight of A,
    from A's last row downwards the five of B above the door.
    """
    runs, touches = two_rooms()
    from_a = order_from(at(runs, 100, 0), runs, touches, upwards=True)
    assert rows_of(from_a, runs, from_a.reversed_runs) == [
        (3200, k) for k in (8, 7, 6, 5, 4, 3, 2, 1, -1, -2)
    ]
    from_b = order_from(at(runs, 5000, -2), runs, touches, upwards=True)
    assert len(from_b.reversed_runs) == 8
    assert {runs[i].x0 for i in from_b.reversed_runs} == {0.0}
    downwards = order_from(at(runs, 100, 19), runs, touches, upwards=False)
    assert len(downwards.reversed_runs) == 5
    assert from_a.trapped == from_b.trapped == downwards.trapped == frozenset()


def test_u_is_laid_from_its_bridge_without_reversing() -> None:
    """Legs rows 0 to 9, bridge 10 to 15: from the bridge down nothing is reversed, from a leg ten."""
    u = stack(0, 2000, 0, 15).union(stack(0, 6000, 10, 15)).union(stack(4000, 6000, 0, 15))
    assert isinstance(u, Polygon)
    runs, touches = cut(u)
    assert order_from(at(runs, 100, 15), runs, touches, upwards=False).reversed_runs == frozenset()
    from_leg = order_from(at(runs, 100, 0), runs, touches, upwards=True)
    assert len(from_leg.reversed_runs) == 10
    assert {runs[i].x0 for i in from_leg.reversed_runs} == {4000.0}


@pytest.mark.parametrize(
    ("order", "trapped"), [((0, 1, 2), set[int]()), ((0, 2, 1), {1}), ((2, 0, 1), {1})]
)
def test_run_laid_after_both_its_neighbours_is_trapped(
    order: tuple[int, ...], trapped: set[int]
) -> None:
    """It cannot be clicked in; going round a column one side first would do that."""
    neighbours = {0: ((1, 1),), 1: ((-1, 0), (1, 2)), 2: ((-1, 1),)}
    place = {run: n for n, run in enumerate(order)}
    assert {run for run in order if is_trapped(run, neighbours, place)} == trapped


@pytest.mark.parametrize("start", [(3000, 2), (100, 2), (100, 0), (100, 4)])
def test_ring_around_a_column_traps_nothing_wherever_the_work_starts(
    start: tuple[int, int],
) -> None:
    floor = Polygon(box(0, 0, 4000, 5 * W).exterior, [box(1500, W, 2000, 4 * W).exterior])
    runs, touches = cut(floor)
    for upwards in (True, False):
        assert order_from(at(runs, *start), runs, touches, upwards=upwards).trapped == frozenset()


def test_part_that_no_seam_joins_is_laid_for_itself() -> None:
    runs, _ = cut(box(0, 0, 4000, 540))
    order = lay_order(runs, (Touch(below=0, above=1, x0=0, x1=4000),))
    assert order.runs == (0, 1, 2)
    assert order.apart == frozenset({2})


@pytest.mark.parametrize("kind", sorted(build.KINDS))
def test_one_room_with_its_best_start_wall_is_hardly_ever_laid_in_reverse(kind: str) -> None:
    _, runs, touches = laid_out(build.KINDS[kind])
    order = lay_order(runs, touches)
    assert order.trapped == frozenset()
    behind = len(order.reversed_runs)
    # Two rooms joined by a neck: what lies before the second one's first row cannot be avoided.
    assert behind == (8 if kind == "neck" else 0)


@given(kind=st.sampled_from(sorted(build.KINDS)), degrees=st.floats(0, 360))
@settings(max_examples=25, deadline=None)
def test_every_run_is_laid_once_beside_one_that_is_laid(kind: str, degrees: float) -> None:
    _, runs, touches = laid_out(build.moved(build.KINDS[kind], degrees))
    order = lay_order(runs, touches)
    assert sorted(order.runs) == [r.index for r in runs]
    place = {i: n for n, i in enumerate(order.runs)}
    beside = {i: set[int]() for i in order.runs}
    for t in touches:
        beside[t.below].add(t.above)
        beside[t.above].add(t.below)
    for i in order.runs[1:]:
        assert i in order.apart or any(place[j] < place[i] for j in beside[i])


def test_rows_never_go_back_in_a_forward_stretch() -> None:
    _, runs, touches = laid_out(build.KINDS["column_hole"])
    rows = [runs[i].row for i in lay_order(runs, touches).runs]
    assert all(a <= b for a, b in pairwise(rows))


def test_one_leg_is_finished_before_the_next_is_begun() -> None:
    """A bridge with two legs upwards: nobody walks from leg to leg after every row."""
    u = stack(0, 6000, 0, 3).union(stack(0, 2000, 3, 9)).union(stack(4000, 6000, 3, 9))
    assert isinstance(u, Polygon)
    runs, touches = cut(u)
    legs = [runs[i].x0 for i in lay_order(runs, touches).runs if runs[i].x1 - runs[i].x0 < 2500]
    assert legs == [0.0] * 6 + [4000.0] * 6


def test_room_is_finished_before_the_next_is_entered() -> None:
    """Rows 8 to 12 run through the door between A and B: all of A, then B on, then B back."""
    runs, touches = two_rooms()
    rooms = [int(r.x0 > 3100) for r in runs]
    order = lay_parts(parts_of(runs, rooms), touches, starter=at(runs, 100, 0))
    entered = [rooms[i] for i in order.runs]
    assert entered == sorted(entered)
    rows = [runs[i].row for i in order.runs if rooms[i]]
    assert rows == [*range(14, 19), *range(8, 0, -1), -1, -2]
    assert order.trapped == frozenset()


def test_stage_is_complete_before_the_next_begins() -> None:
    """The upper rows wait for the second stage, and so does an alcove that only they lead to."""
    hook = stack(0, 4000, 0, 9).union(stack(4000, 4500, 8, 9)).union(stack(4500, 5500, 4, 9))
    assert isinstance(hook, Polygon)
    runs, touches = cut(hook)
    parts = [replace(p, stage=2 if p.row > 6 else 1) for p in parts_of(runs)]
    order = lay_parts(parts, touches)
    assert list(order.stages) == sorted(order.stages)
    late = {runs[i].x0 for i, s in zip(order.runs, order.stages, strict=True) if s == 2}
    assert late == {0.0, 4500.0}
    assert order.trapped == frozenset()


@given(
    rooms=st.lists(st.tuples(st.integers(-6, 6), st.integers(8, 20)), min_size=2, max_size=6),
    doors=st.lists(st.integers(0, 12), min_size=5, max_size=5),
    gaps=st.booleans(),
)
@settings(max_examples=30, deadline=None)
def test_no_run_of_rooms_in_line_is_ever_closed_in(
    rooms: list[tuple[int, int]], doors: list[int], gaps: bool
) -> None:
    """Any rooms in line with any doors between them; with `gaps` each room has a column."""
    floor: BaseGeometry = Polygon()
    for n, (low, high) in enumerate(rooms):
        floor = floor.union(stack(3000 * n, 3000 * n + 2800, low, high))
        if gaps:
            floor = floor.difference(stack(3000 * n + 900, 3000 * n + 1400, low + 2, low + 4))
        if n:
            base = max(low, rooms[n - 1][0]) + doors[n - 1] % 3
            floor = floor.union(stack(3000 * n - 200, 3000 * n, base, base + 1))
    if not isinstance(floor, Polygon):
        return
    runs, touches = cut(floor)
    places = [int(r.x0 // 3000) for r in runs]
    order = lay_parts(parts_of(runs, places), touches)
    assert sorted(order.runs) == [r.index for r in runs]
    assert order.trapped == frozenset()
    assert order.apart == frozenset()
