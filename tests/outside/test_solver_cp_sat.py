"""Joint solver and bound against OR-Tools CP-SAT, which gets the rules and nothing of the solver.

The referee's optimum on a 20 mm grid is proven; a layout of ours may beat it only by lengths between
the grid's. The bound must not exceed it, for real lengths contain the grid.
"""

from __future__ import annotations

from random import Random

import numpy as np
import pytest

from layout.bound import lower_bound
from layout.demand import BayDemand, RunDemand, StockRules
from layout.floor import Touch
from layout.joints import solve
from layout.rules import Bond
from tests.outside.referee import Verdict, choices, joints, judge, too_close

BAYS = 48
GRID_MM = 20.0


def small_bay(number: int) -> BayDemand:
    """Rows of one or two runs; a step in the room, a column, or a plain rectangle by turns."""
    random = Random(f"referee/{number}")
    plank, wide = random.choice([(900.0, 150.0), (1220.0, 180.0), (1290.0, 190.0)])
    rows = random.randint(3, 5)
    length = random.randrange(140, 420) * 10.0
    kind = ("rectangle", "step", "column")[number % 3]
    spans: list[list[tuple[float, float]]] = []
    step = random.randrange(0, 40) * 10.0
    for row in range(rows):
        if kind == "step" and row >= rows // 2:
            spans.append([(0.0, length + step)])
        elif kind == "column" and row == rows // 2 and length > 2.6 * plank:
            middle = random.randrange(13, 15) * 0.1 * plank // 10 * 10
            spans.append([(0.0, middle), (middle + 200.0, length)])
        else:
            spans.append([(0.0, length)])
    runs = []
    for row, parts in enumerate(spans):
        for x0, x1 in parts:
            end = max(x1, x0 + plank + 400.0)
            runs.append(RunDemand(index=len(runs), row=row + 1, x0=x0, x1=end, width_mm=wide))
    touches = tuple(
        Touch(below=a.index, above=b.index, x0=max(a.x0, b.x0), x1=min(a.x1, b.x1))
        for a in runs
        for b in runs
        if b.row == a.row + 1 and min(a.x1, b.x1) - max(a.x0, b.x0) > 1.0
    )
    return BayDemand(
        runs=tuple(runs),
        touches=touches,
        stock=StockRules(
            plank_length=plank,
            plank_width=wide,
            kerf=random.choice([0.0, 2.0]),
            keep_offcut=300.0,
            tolerance=random.choice([0.0, 10.0]),
        ),
        min_length=random.choice([200.0, 250.0, 300.0]),
        never_below=wide,
        min_offset=random.choice([150.0, 200.0, 300.0]),
        bond=Bond.OFFCUT_LED,
    )


@pytest.fixture(scope="module")
def verdicts() -> dict[int, Verdict]:
    return {n: judge(small_bay(n), grid=GRID_MM, seconds=1.0) for n in range(BAYS)}


def breaches(demand: BayDemand, plan: tuple[tuple[float, ...], ...]) -> list[str]:
    """Ends without the tolerance in hand and joints too close, found with the referee's own rules."""
    found = []
    plank, spare = demand.stock.plank_length, demand.stock.tolerance
    for run, places in zip(demand.runs, plan, strict=True):
        ends = (places[0] - run.x0, run.x1 - places[-1])
        for end in ends:
            whole = abs(end - plank) < 0.02
            if not whole and not demand.min_length + spare - 0.01 <= end <= plank - spare + 0.01:
                found.append(f"run {run.index}: end {end}")
    for t in demand.touches:
        a, b = np.array(plan[t.below]), np.array(plan[t.above])
        if too_close(a, b, (t.x0, t.x1), demand.min_offset - 0.01):
            found.append(f"{t.below} and {t.above}: joints too close")
    return found


def test_most_bays_are_proven_by_the_referee(verdicts: dict[int, Verdict]) -> None:
    assert sum(v.proven for v in verdicts.values()) >= 42


def test_planks_are_no_more_than_the_referees_optimum(verdicts: dict[int, Verdict]) -> None:
    for number, verdict in verdicts.items():
        if verdict.proven and verdict.planks is not None:
            assert solve(small_bay(number)).plan.planks <= verdict.planks, number


def test_bound_is_never_above_the_referees_optimum(verdicts: dict[int, Verdict]) -> None:
    for number, verdict in verdicts.items():
        if verdict.planks is not None:
            assert lower_bound(small_bay(number)) <= verdict.planks, number


def test_no_breach_where_the_referee_shows_none_is_needed(verdicts: dict[int, Verdict]) -> None:
    for number, verdict in verdicts.items():
        if verdict.planks is not None:
            demand = small_bay(number)
            assert breaches(demand, solve(demand).plan.joints) == [], number


def test_the_referee_sees_a_breach() -> None:
    demand = small_bay(0)
    run = demand.runs[0]
    option = choices(run, demand, GRID_MM)[0]
    aligned = tuple(tuple(joints(r, option, demand.stock.plank_length)) for r in demand.runs)
    assert any("too close" in text for text in breaches(demand, aligned))
