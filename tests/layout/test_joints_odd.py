"""Laws of the solver on bays no architect would draw: tiny and huge runs, several to a row, slants,
strips of any width, rules that contradict each other.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from random import Random

import pytest

from layout.bound import lower_bound
from layout.demand import BayDemand, RunDemand, StockRules
from layout.floor import Touch
from layout.joints import Effort, blanks_of, solve
from layout.rules import Bond
from layout.stock import cut_planks
from tests.layout.demands import demand_of, stock_rules
from tests.layout.test_stock import laws


def odd_spans(random: Random, plank: float) -> list[tuple[int, float, float]]:
    found = []
    start = random.uniform(-3000, 3000)
    for row in range(1, random.randint(2, 9)):
        at = start + random.choice([0.0, 0.0, random.uniform(0, 500)])
        for _ in range(random.choice([1, 1, 1, 2, 3])):
            length = random.choice(
                [
                    random.uniform(60, 4 * plank),
                    random.choice([1, 2, 3]) * plank,
                    plank + random.uniform(1, 400),
                    random.uniform(20, plank),
                ]
            )
            found.append((row, round(at, 3), round(at + length, 3)))
            at += length + random.uniform(100, 900)
    return found


def odd_demand(seed: int) -> BayDemand:
    random = Random(seed)
    plank, wide = random.choice([600.0, 900.0, 1220.0, 2200.0]), random.choice([100.0, 180.0])
    spans = odd_spans(random, plank)
    touches = tuple(
        Touch(below=i, above=j, x0=max(a[1], b[1]), x1=min(a[2], b[2]))
        for i, a in enumerate(spans)
        for j, b in enumerate(spans)
        if b[0] == a[0] + 1 and min(a[2], b[2]) - max(a[1], b[1]) > 1
    )
    below, above = {t.above for t in touches}, {t.below for t in touches}
    runs = tuple(
        RunDemand(
            index=i,
            row=row,
            x0=x0,
            x1=x1,
            void_start_mm=random.choice([0.0, 0.0, random.uniform(0, 150)]),
            void_end_mm=random.choice([0.0, 0.0, random.uniform(0, 300)]),
            width_mm=wide if i in below and i in above else random.uniform(20, wide),
            keeps_near=i in below,
            keeps_far=i in above,
        )
        for i, (row, x0, x1) in enumerate(spans)
    )
    return BayDemand(
        runs=runs,
        touches=touches,
        stock=StockRules(
            plank_length=plank,
            plank_width=wide,
            kerf=random.choice([0.0, 2.0, 4.0]),
            keep_offcut=300.0,
            tolerance=random.choice([0.0, 10.0, 25.0]),
        ),
        min_length=random.choice([0.0, 100.0, 250.0, 300.0, 450.0]),
        never_below=random.choice([0.0, 100.0, wide]),
        min_offset=random.choice([0.0, 150.0, 300.0, plank / 2, plank * 0.6]),
        bond=random.choice([Bond.OFFCUT_LED, Bond.OFFCUT_LED, Bond.HALF, Bond.THIRD]),
    )


@pytest.mark.parametrize("seed", range(0, 48, 8))
def test_anything_is_laid_cut_and_bounded(seed: int) -> None:
    for number in range(seed, seed + 8):
        demand = odd_demand(number)
        solved = solve(demand, effort=Effort.NORMAL if number % 4 == 0 else Effort.QUICK)
        plan, plank = solved.plan, demand.stock.plank_length
        for run, places in zip(demand.runs, plan.joints, strict=True):
            stops = (run.x0, *places, run.x1)
            pieces = [b - a for a, b in pairwise(stops)]
            assert 0.0 < min(pieces) <= max(pieces) <= plank + 0.02, number
            assert all(abs(piece - plank) < 1e-6 for piece in pieces[1:-1]), number
        blanks = blanks_of(demand, plan.joints)
        cuts = cut_planks(blanks, demand.stock)
        laws(list(blanks), demand.stock, cuts)
        assert len(cuts) == plan.planks
        assert solved.bound <= plan.planks, number
        assert lower_bound(demand) <= plan.planks, number


@pytest.mark.parametrize(("start", "end"), [(953.15, 978.14), (1300.0, 0.0), (0.0, 1284.0)])
def test_run_that_is_all_tip_is_still_cut_into_planks(start: float, end: float) -> None:
    demand = demand_of([[(0, 4000)], [(1000, 2284)], [(1500, 2000)]], stock_rules())
    tip = replace(demand.runs[1], void_start_mm=start, void_end_mm=end)
    demand = replace(demand, runs=(demand.runs[0], tip, demand.runs[2]))
    solved = solve(demand)
    (joint,) = solved.plan.joints[1]
    assert 1284 - 1220 <= joint - tip.x0 <= 1220
    assert lower_bound(demand) <= solved.plan.planks


def test_a_bay_without_runs_needs_nothing() -> None:
    demand = odd_demand(0)
    empty = BayDemand(
        runs=(),
        touches=(),
        stock=demand.stock,
        min_length=demand.min_length,
        never_below=demand.never_below,
        min_offset=demand.min_offset,
        bond=Bond.OFFCUT_LED,
    )
    assert (solve(empty).plan.joints, solve(empty).plan.planks, lower_bound(empty)) == ((), 0, 0)


@pytest.mark.parametrize("seed", range(3))
def test_equal_bays_mirrored_and_moved_need_the_same_planks(seed: int) -> None:
    demand = next(d for n in range(seed * 50, 10**4) if without_onlys(d := odd_demand(n)))
    here = solve(demand, effort=Effort.QUICK)
    for along, across in ((True, False), (False, True), (True, True)):
        there = solve(mirrored(demand, along=along, across=across), effort=Effort.QUICK)
        assert (there.plan.planks, there.bound) == (here.plan.planks, here.bound)


def test_joints_of_a_mirrored_bay_are_the_mirrored_joints() -> None:
    demand = next(d for n in range(10**4) if without_onlys(d := odd_demand(n)))
    here = solve(demand, effort=Effort.QUICK).plan.joints
    there = solve(mirrored(demand, along=True, across=False), effort=Effort.QUICK).plan.joints
    back = [tuple(sorted(7000.0 - x for x in places)) for places in there]
    for run, places in zip(demand.runs, here, strict=True):
        twin = next(t for t in back if t and abs(t[0] - places[0]) < 0.02)
        assert twin == pytest.approx(places, abs=0.02), run.index


def without_onlys(demand: BayDemand) -> bool:
    long = all(r.x1 - r.x0 > demand.stock.plank_length + 1.0 for r in demand.runs)
    return long and len({r.row for r in demand.runs}) == len(demand.runs) >= 3


def mirrored(demand: BayDemand, *, along: bool, across: bool) -> BayDemand:
    """One run to a row: x becomes 7000 - x, and rows are counted from the other side."""
    last = len(demand.runs) - 1
    runs = []
    for r in reversed(demand.runs) if across else demand.runs:
        x0, x1 = (7000.0 - r.x1, 7000.0 - r.x0) if along else (r.x0, r.x1)
        voids = (r.void_start_mm, r.void_end_mm)
        edges = (r.keeps_near, r.keeps_far)
        runs.append(
            RunDemand(
                index=len(runs),
                row=len(runs) + 1,
                x0=x0,
                x1=x1,
                void_start_mm=voids[along],
                void_end_mm=voids[not along],
                width_mm=r.width_mm,
                keeps_near=edges[across],
                keeps_far=edges[not across],
            )
        )
    touches = []
    for t in demand.touches:
        x0, x1 = (7000.0 - t.x1, 7000.0 - t.x0) if along else (t.x0, t.x1)
        ends = (last - t.above, last - t.below) if across else (t.below, t.above)
        touches.append(Touch(below=ends[0], above=ends[1], x0=x0, x1=x1))
    return replace(demand, runs=tuple(runs), touches=tuple(sorted(touches, key=lambda t: t.below)))
