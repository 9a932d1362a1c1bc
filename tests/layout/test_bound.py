"""The bound: never above a layout, close below it, and its parts sound on their own."""

from __future__ import annotations

from math import ceil

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.bound import Bound, lower_bound
from layout.bound_cases import cases_of, marks_of
from layout.joint_candidates import Tier, Trying, kind_of, options_at, points_of
from layout.joint_caps import Windows
from layout.joint_rows import first_rows
from layout.joint_settle import settle
from layout.joints import Effort, solve
from layout.stock_shares import planks_of
from tests.bench.generated_bays import KINDS, generated_bays
from tests.layout.demands import demand_of, rectangle, stock_rules


@pytest.mark.parametrize("kind", KINDS)
def test_bound_is_never_above_a_layout(kind: str) -> None:
    for bay in generated_bays(2, 42, (kind,)):
        solved = solve(bay.demand, effort=Effort.QUICK)
        bound = lower_bound(bay.demand)
        assert bound <= solved.plan.planks
        stock = bay.demand.stock
        # Slanted ends are cut from squared-off blanks, so the bound is above the area of the bay.
        assert bound >= ceil(bay.shape.area / stock.plank_length / stock.plank_width - 1e-6)


def test_bound_stops_at_the_layout_at_hand() -> None:
    demand = rectangle(4597.7, 26, stock_rules(900.0, 150.0))
    settled = settle(demand)
    first = Bound(demand, settled.tiers, strict=settled.strict).planks
    assert lower_bound(demand, found=first) == first < lower_bound(demand)


def test_limits_on_phases_lift_the_bound() -> None:
    """First pieces in [300, 397.7] need neighbours in [600, 697.7]; without offsets all could be the
    same.
    """
    near = rectangle(4597.7, 26, stock_rules(900.0, 150.0), min_offset=300.0)
    far = rectangle(4597.7, 26, stock_rules(900.0, 150.0), min_offset=0.0)
    assert lower_bound(far) < lower_bound(near) == solve(near).plan.planks


@pytest.mark.parametrize("tolerance", [0.0, 10.0])
def test_tolerance_costs_no_less_than_none(tolerance: float) -> None:
    with_it = rectangle(5117.0, 9, stock_rules(tolerance=tolerance))
    assert lower_bound(with_it) >= lower_bound(rectangle(5117.0, 9))


def test_strips_that_fit_beside_each_other_count_once() -> None:
    rows = [[(0.0, 5000.0)]] * 9
    thin = demand_of(rows, stock_rules(), edge_width=85.0)
    thick = demand_of(rows, stock_rules(), edge_width=95.0)
    assert lower_bound(thin) == lower_bound(rectangle(5000.0, 8))
    assert lower_bound(thick) == lower_bound(rectangle(5000.0, 9))


@settings(max_examples=60, deadline=None)
@given(
    length=st.floats(1300.0, 9000.0), first=st.floats(0.0, 1.0), tolerance=st.sampled_from([0, 10])
)
def test_every_first_piece_has_its_case(length: float, first: float, tolerance: int) -> None:
    """Cells of need and room are exact: a real first piece counts at the same marks as its case."""
    demand = rectangle(length, 2, stock_rules(tolerance=float(tolerance)))
    kind = kind_of(demand.runs[0], Tier.IN_HAND)
    options = options_at(points_of(kind, demand, Trying()), kind, demand)
    marks = marks_of((kind,), demand, 5.0)
    cases = cases_of(kind, 2, demand, marks)
    pick = int(first * (options.size - 1))
    s, room = options.first[pick], options.room[pick]
    served = [
        k
        for k in range(cases.size)
        if cases.low[k] - 1e-9 <= s <= cases.high[k] + 1e-9
        and cases.opened[k] == options.opened[pick]
    ]
    counts_first = s <= marks + 1e-9
    counts_last = room > marks + 1e-9
    assert any(
        (np.arange(len(marks)) >= cases.need[k])[counts_first].all()
        and (np.arange(len(marks)) < cases.room[k])[counts_last].all()
        for k in served
    )


def test_no_layout_breaks_a_limit_on_phases() -> None:
    for bay in generated_bays(20, 8, ("rectangle", "L", "column", "rooms")):
        settled = settle(bay.demand)
        if not settled.strict:
            continue
        problem = settled.problem
        for seed in range(3):
            choice = first_rows(problem, seed)
            if problem.breach_weight(choice) > 0.5:
                continue
            joints = problem.joints(choice)
            kinds = [kind_of(r, t) for r, t in zip(bay.demand.runs, settled.tiers, strict=True)]
            named = sorted({k for k, j in zip(kinds, joints, strict=True) if j})
            number = [named.index(k) if j else -1 for k, j in zip(kinds, joints, strict=True)]
            marks = marks_of((), bay.demand, 10.0)
            cases = [cases_of(k, number.count(n), bay.demand, marks) for n, k in enumerate(named)]
            windows = Windows(number, [k.x0 for k in named], cases, bay.demand)
            start = np.cumsum([0, *(c.size for c in cases)])
            counts = np.zeros(start[-1])
            for run, n in enumerate(number):
                if n >= 0:
                    s = joints[run][0] - bay.demand.runs[run].x0
                    inside = (cases[n].low < s - 1e-6) & (s <= cases[n].high + 1e-6)
                    counts[start[n] + np.flatnonzero(inside)[0]] += 1
            assert windows.broken(counts) == [], bay.kind


@pytest.mark.parametrize(
    ("lengths", "planks"),
    [([600.0] * 8, 4), ([700.0] * 3, 3), ([400.0] * 7, 3), ([700.0, 500.0] * 4, 4)],
)
def test_pieces_from_wall_to_wall_by_their_shares(lengths: list[float], planks: int) -> None:
    assert planks_of(lengths, stock_rules(kerf=0.0)) == planks
