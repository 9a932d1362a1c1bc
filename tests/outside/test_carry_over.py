"""Sums of laying with the offcut of each row starting the next: rows of length R from planks of
length L, no kerf, no other rule: joints shift by R mod L, and n rows take ceil(n R / L) planks.
"""

from __future__ import annotations

from math import ceil

import pytest

from layout.bound import lower_bound
from layout.joints import place_joints
from layout.rules import Bond
from tests.layout.demands import ends, least_offset, rectangle, stock_rules

CASES = [(3980.0, 1220.0, 20), (3660.0, 1220.0, 18), (4270.0, 1220.0, 21), (5000.0, 1285.0, 24)]


@pytest.mark.parametrize(("row", "plank", "planks"), CASES)
def test_without_other_rules_planks_are_the_carry_over_sum(
    row: float, plank: float, planks: int
) -> None:
    assert planks == ceil(6 * row / plank)
    stock = stock_rules(plank, kerf=0.0)
    demand = rectangle(row, 6, stock, min_length=0.0, never_below=0.0, min_offset=0.0)
    assert place_joints(demand).planks == lower_bound(demand) == planks


@pytest.mark.parametrize(("row", "plank", "planks"), CASES)
def test_with_the_rules_nothing_lines_up_and_no_end_is_short(
    row: float, plank: float, planks: int
) -> None:
    """Plain carry-over breaks a rule in all but the half bond: a 60 mm end, every joint in line, a
    stair of 140 mm.
    """
    demand = rectangle(row, 6, stock_rules(plank, kerf=0.0))
    plan = place_joints(demand)
    assert plan.planks >= planks
    assert least_offset(demand, plan.joints) >= 300.0
    assert min(min(pair) for pair in ends(demand, plan.joints)) >= 300.0


def test_half_bond_falls_out_where_the_rest_is_half_a_plank() -> None:
    """4270 = 3.5 x 1220: rows alternate 1220 and 610, 21 planks for six rows."""
    demand = rectangle(4270.0, 6, stock_rules(kerf=0.0), bond=Bond.HALF)
    plan = place_joints(demand)
    assert plan.planks == 21
    assert {round(places[0], 3) for places in plan.joints} == {610.0, 1220.0}
    assert least_offset(demand, plan.joints) == 610.0
