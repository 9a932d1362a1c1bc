"""Where joints go: worked cases of rectangles and of two runs that share a short seam."""

from __future__ import annotations

import pytest

from layout.bound import lower_bound
from layout.demand import BayDemand, RunDemand, StockRules
from layout.floor import Touch
from layout.joints import blanks_of, place_joints, solve
from layout.rules import Bond
from layout.stock import cut_planks


def rectangle(length: float, rows: int, *, tolerance: float = 0.0, kerf: float = 2.0) -> BayDemand:
    runs = tuple(
        RunDemand(
            index=i,
            row=i + 1,
            x0=0.0,
            x1=length,
            width_mm=180.0,
            keeps_near=i > 0,
            keeps_far=i < rows - 1,
        )
        for i in range(rows)
    )
    return BayDemand(
        runs=runs,
        touches=tuple(Touch(below=i, above=i + 1, x0=0.0, x1=length) for i in range(rows - 1)),
        stock=StockRules(
            plank_length=1220.0,
            plank_width=180.0,
            kerf=kerf,
            keep_offcut=300.0,
            tolerance=tolerance,
        ),
        min_length=300.0,
        never_below=180.0,
        min_offset=300.0,
        bond=Bond.OFFCUT_LED,
    )


@pytest.mark.parametrize(("length", "rows"), [(5631.0, 12), (7830.0, 10), (3980.0, 17)])
@pytest.mark.parametrize("tolerance", [0.0, 10.0])
def test_rectangle_meets_its_bound(length: float, rows: int, tolerance: float) -> None:
    demand = rectangle(length, rows, tolerance=tolerance)
    solved = solve(demand)
    assert solved.plan.planks == solved.bound == lower_bound(demand)


def test_planks_are_counted_from_the_assignment() -> None:
    demand = rectangle(5353.0, 21)
    plan = place_joints(demand)
    assert plan.planks == len(cut_planks(blanks_of(demand, plan.joints), demand.stock))


def test_same_demand_gives_the_same_joints() -> None:
    demand = rectangle(7739.0, 20, tolerance=10.0)
    assert place_joints(demand) == place_joints(demand)
