"""Where joints go: rules kept, planks counted, worked cases of the research notes."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.bound import lower_bound
from layout.demand import BayDemand
from layout.floor import Role, Touch
from layout.joint_candidates import Tier, kind_of, options_at
from layout.joint_conflicts import conflicts
from layout.joint_looks import looks_of
from layout.joints import Effort, blanks_of, place_joints, solve
from layout.rules import Bond
from layout.stock import cut_planks
from tests.layout.demands import demand_of, ends, least_offset, rectangle, stock_rules

PLANKS = [(900.0, 150.0), (1220.0, 180.0), (2200.0, 190.0)]


@pytest.mark.parametrize(("length", "rows"), [(5631.0, 12), (7830.0, 10), (3980.0, 17)])
@pytest.mark.parametrize("tolerance", [0.0, 10.0])
def test_rectangle_meets_its_bound(length: float, rows: int, tolerance: float) -> None:
    demand = rectangle(length, rows, stock_rules(tolerance=tolerance))
    solved = solve(demand)
    assert solved.plan.planks == solved.bound == lower_bound(demand)


@settings(max_examples=40, deadline=None)
@given(
    length=st.integers(2600, 9000),
    rows=st.integers(2, 14),
    plank=st.sampled_from(PLANKS),
    tolerance=st.sampled_from([0.0, 10.0]),
    step=st.integers(0, 900),
)
def test_laws_of_a_bay_with_a_step(
    length: int, rows: int, plank: tuple[float, float], tolerance: float, step: int
) -> None:
    stock = stock_rules(*plank, tolerance=tolerance)
    spans = [[(0.0, float(length + (step if row > rows // 2 else 0)))] for row in range(rows)]
    demand = demand_of(spans, stock, min_length=250.0, min_offset=200.0, edge_width=80.0)
    solved = solve(demand, effort=Effort.QUICK)
    joints = solved.plan.joints
    for run, places in zip(demand.runs, joints, strict=True):
        assert len(places) > 0
        np.testing.assert_allclose(np.diff(places), stock.plank_length)
        assert run.x0 < places[0] <= places[-1] < run.x1
    for first, last in ends(demand, joints):
        for end in (first, last):
            whole = abs(end - stock.plank_length) < 0.02
            assert whole or 250 + tolerance - 0.01 <= end <= stock.plank_length - tolerance + 0.01
    assert least_offset(demand, joints) >= 200.0 - 0.01
    assert solved.plan.planks == len(cut_planks(blanks_of(demand, joints), stock))
    area = sum((r.x1 - r.x0) * r.width_mm for r in demand.runs)
    face = stock.plank_length * stock.plank_width
    assert area / face <= solved.bound <= solved.plan.planks


def test_same_demand_gives_the_same_joints() -> None:
    demand = rectangle(7739.0, 20, stock_rules(tolerance=10.0))
    assert place_joints(demand) == place_joints(demand)


def test_more_effort_never_takes_more_planks() -> None:
    demand = rectangle(4870.0, 11, stock_rules(1285.0, 192.0, tolerance=10.0), min_length=250.0)
    planks = [place_joints(demand, effort=effort).planks for effort in Effort]
    assert planks == sorted(planks, reverse=True)


@pytest.mark.parametrize("shift", [-431.7, 1220.0, 5000.25])
def test_moving_the_bay_along_its_rows_changes_no_count(shift: float) -> None:
    here = demand_of([[(0.0, 4105.0)]] * 6 + [[(0.0, 5210.0)]] * 6, stock_rules())
    there = demand_of(
        [[(shift, shift + 4105.0)]] * 6 + [[(shift, shift + 5210.0)]] * 6, stock_rules()
    )
    assert place_joints(here).planks == place_joints(there).planks


# --- worked example of two runs on a short seam (plank 1220, offset 300) --------------------------


def two_runs() -> tuple[BayDemand, Touch]:
    demand = demand_of([[(0.0, 3000.0)], [(2100.0, 4600.0)]], stock_rules())
    return demand, demand.touches[0]


@pytest.mark.parametrize(("first", "breaches"), [(310.0, 1), (1200.0, 0)])
def test_joints_are_held_apart_on_the_seam_only(first: float, breaches: int) -> None:
    demand, touch = two_runs()
    lower, upper = demand.runs
    options = tuple(
        options_at(np.array([s]), kind_of(run, Tier.TOO_SHORT), demand)
        for run, s in ((lower, 1000.0), (upper, first))
    )
    table = conflicts((lower, upper), touch, (options[0], options[1]), demand)
    assert int(table[0, 0]) == breaches


def test_every_pair_of_close_joints_counts() -> None:
    demand = rectangle(5000.0, 2)
    run = demand.runs[0]
    options = options_at(np.array([500.0, 700.0, 810.0]), kind_of(run, Tier.IN_HAND), demand)
    table = conflicts((run, run), demand.touches[0], (options, options), demand)
    assert [[int(weight) for weight in row] for row in table] == [[4, 4, 0], [4, 4, 4], [0, 4, 4]]


# --- what gives way when not everything can be had ------------------------------------------------


def test_tolerance_is_given_up_before_a_minimum() -> None:
    demand = rectangle(1830.0, 1, stock_rules(tolerance=20.0), min_length=610.0)
    ((first, last),) = ends(demand, place_joints(demand).joints)
    assert min(first, last) >= 610.0
    wider = rectangle(1830.0, 1, stock_rules(tolerance=0.0), min_length=610.0)
    assert place_joints(wider).planks == place_joints(demand).planks


def test_unavoidable_short_end_is_as_long_as_can_be() -> None:
    demand = rectangle(1300.0, 1, stock_rules(), min_length=700.0, never_below=180.0)
    ((first, last),) = ends(demand, place_joints(demand).joints)
    # One short end is a smaller evil than two, and the longer it is the better.
    assert sorted((first, last)) == [pytest.approx(600.0, abs=0.5), pytest.approx(700.0, abs=0.5)]


def test_rows_of_whole_planks_do_not_line_up() -> None:
    """3660 = 3 x 1220: laid from whole planks every joint would line up."""
    demand = rectangle(3660.0, 6, stock_rules(kerf=0.0))
    joints = place_joints(demand).joints
    assert least_offset(demand, joints) >= 300.0
    assert min(min(pair) for pair in ends(demand, joints)) >= 300.0


def test_bound_gives_way_with_the_rules() -> None:
    """No first piece keeps 500 mm at both ends here, so the bound must not ask for it."""
    demand = rectangle(1700.0, 5, stock_rules(900.0, 150.0), min_length=440.0, min_offset=440.0)
    solved = solve(demand)
    assert solved.bound <= solved.plan.planks
    assert lower_bound(demand) <= solved.plan.planks


# --- pieces from wall to wall, strips -------------------------------------------------------------


def test_narrow_bay_has_no_joints_and_shares_planks() -> None:
    demand = rectangle(600.0, 8, stock_rules(kerf=0.0))
    plan = place_joints(demand)
    assert plan.joints == ((),) * 8
    assert plan.planks == lower_bound(demand) == 4


def test_starter_and_closing_row_come_out_of_the_same_planks() -> None:
    thin = rectangle(5000.0, 9, stock_rules(), edge_width=85.0)
    thick = rectangle(5000.0, 9, stock_rules(), edge_width=100.0)
    eight = rectangle(5000.0, 8, stock_rules())
    assert place_joints(thin).planks == place_joints(eight).planks == lower_bound(thin)
    assert place_joints(thick).planks == place_joints(rectangle(5000.0, 9)).planks


def test_short_strip_finds_room_beside_whole_planks() -> None:
    long = [(0.0, 6000.0)]
    demand = demand_of([long, long, long, [(0.0, 900.0)]], stock_rules(), edge_width=80.0)
    plan = place_joints(demand)
    assert plan.planks == lower_bound(demand)
    blanks = blanks_of(demand, plan.joints)
    (only,) = (b.key for b in blanks if b.role is Role.ONLY)
    whole = {b.key for b in blanks if b.role is Role.FULL}
    (shared,) = (
        {p.key for p in cut.placed}
        for cut in cut_planks(blanks, demand.stock)
        if only in {p.key for p in cut.placed}
    )
    assert len(shared & whole) == 1


@pytest.mark.parametrize("short", [3700.0, 3600.0, 3500.0, 3400.0, 3300.0, 3200.0, 3100.0, 2900.0])
def test_strip_that_rides_along_keeps_its_joints_apart(short: float) -> None:
    """Starter row of 9 m and a short closing row: it needs no planks, but its joints count."""
    rows = [[(0.0, 9000.0)], [(0.0, 9000.0)], [(0.0, short)]]
    demand = demand_of(rows, stock_rules(tolerance=10.0), edge_width=80.0)
    plan = place_joints(demand)
    assert plan.planks == lower_bound(demand)
    assert least_offset(demand, plan.joints) >= 300.0
    assert min(min(pair) for pair in ends(demand, plan.joints)) >= 310.0


def test_runs_beside_a_column_keep_their_joints_apart_too() -> None:
    rows = [[(0.0, 6200.0)]] * 3
    rows += [[(0.0, 2400.0), (2800.0, 6200.0)]] * 2 + [[(0.0, 6200.0)]] * 3
    demand = demand_of(rows, stock_rules(tolerance=10.0))
    solved = solve(demand)
    assert least_offset(demand, solved.plan.joints) >= 300.0
    assert min(min(pair) for pair in ends(demand, solved.plan.joints)) >= 310.0
    assert solved.bound <= solved.plan.planks


# --- bonds and looks ------------------------------------------------------------------------------


@pytest.mark.parametrize(("bond", "part"), [(Bond.HALF, 2), (Bond.THIRD, 3)])
def test_bond_moves_every_row_by_its_part_of_a_plank(bond: Bond, part: int) -> None:
    demand = rectangle(5210.0, 7, bond=bond)
    solved = solve(demand)
    phases = [places[0] % 1220.0 for places in solved.plan.joints]
    steps = {round((b - a) % 1220.0, 3) for a, b in pairwise(phases)}
    assert steps in ({round(1220.0 / part, 3)}, {round(1220.0 * (part - 1) / part, 3)})
    assert min(min(pair) for pair in ends(demand, solved.plan.joints)) >= 300.0
    assert lower_bound(demand) == solved.bound <= solved.plan.planks


def test_bond_of_a_bay_without_joints() -> None:
    demand = rectangle(600.0, 3, stock_rules(kerf=0.0), bond=Bond.HALF)
    solved = solve(demand)
    assert (solved.plan.planks, solved.bound) == (2, 2)


def test_looks_are_bettered_without_more_planks() -> None:
    demand = rectangle(5353.0, 16, stock_rules(tolerance=10.0))
    plan = place_joints(demand)
    looks = looks_of(demand, plan.joints)
    assert looks.triples == 14
    assert looks.h_joints <= 1
    assert looks.stairs <= 1
    assert plan.planks == lower_bound(demand)


def test_looks_see_an_h_and_a_staircase() -> None:
    demand = rectangle(5000.0, 5)
    every = tuple(tuple(s + 1220.0 * k for k in range(4)) for s in (500, 900, 500, 900, 1300))
    looks = looks_of(demand, every)
    assert (looks.triples, looks.h_joints, looks.stairs) == (3, 2, 1)
    assert looks.offsets[0] == 400.0
