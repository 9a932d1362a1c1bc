"""Bars against published cutting-stock instances with proven optima, and against CP-SAT and HiGHS.

Optima of the list: proven twice, by complete enumeration of patterns with SCIP and by arc-flow with
HiGHS. Sources: the paper mill of the Wikipedia article "Cutting stock problem"; Chvatal, Linear
Programming (1983), p. 195; the toy of the MiniZinc handbook; t60_00 and u120_00 of Falkenauer (1996);
N1W1B1R0 of Scholl; the mixed stock of Gilmore and Gomory (1961), its data from memory. The largest are
in tests/bench/bar_stock.py.
"""

from __future__ import annotations

from itertools import pairwise
from random import Random

import numpy as np
import pytest
from ortools.sat.python import cp_model
from scipy.optimize import Bounds, LinearConstraint, milp

from layout.stock_bars import BarPlan, cut_bars
from tests.outside.test_cutting_stock import PAPER, T60, expanded

INSTANCES = [
    (5600.0, PAPER, 73),  # first fit decreasing 82
    (100.0, "45x97 36x610 31x395 14x211", 453),  # FFD 485
    (20.0, "9x511 8x301 7x263 6x383", 601),  # FFD 622
    (10.0, "7x2 5x2 3x4", 4),
    (100.0, "60 30 50 20", 2),
    (132.0, "44x2 33x3 12x6", 3),  # its relaxation rounds up to 2
    (1000.0, "505x6 260x6 255x6 240x12", 9),  # FFD 11, its worst family
    (1000.0, "505x18 260x18 255x18 240x36", 27),  # FFD 33
    (101.0, "6x7 10x7 16x3 34x10 51x10", 10),
    (1000.0, T60, 20),  # FFD 23
]


def assert_sound(
    plan: BarPlan, lengths: list[float], stock: tuple[float, ...], kerf: float
) -> None:
    """Every piece once, on a bar that is sold and holds it; the bound never above what was found."""
    assert sorted(n for bar in plan.bars for n in bar.pieces) == list(range(len(lengths)))
    for bar in plan.bars:
        used = sum(lengths[n] for n in bar.pieces) + kerf * (len(bar.pieces) - 1)
        assert any(abs(bar.length_mm - s) < 1e-6 for s in stock)
        assert used <= bar.length_mm + 1e-6
        assert bar.offcut_mm == pytest.approx(max(0.0, bar.length_mm - used - kerf), abs=0.3)
    assert plan.least_mm <= plan.bought_mm + 1e-6


@pytest.mark.parametrize(("bar", "items", "optimum"), INSTANCES)
def test_published_instances_are_cut_with_the_proven_optimum(
    bar: float, items: str, optimum: int
) -> None:
    lengths = expanded(items)
    plan = cut_bars(lengths, [bar])
    assert_sound(plan, lengths, (bar,), 0.0)
    assert len(plan.bars) == optimum
    assert plan.is_proven


def test_mixed_stock_is_bought_at_least_cost() -> None:
    """Bars of 9, 6 and 5 at 10, 7 and 6: 170, as ten of 2 + 3 + 4 and ten of 2 + 4."""
    plan = cut_bars(expanded("2x20 3x10 4x20"), [9, 6, 5], costs=[10, 7, 6])
    assert plan.bought_mm == plan.least_mm == 170
    assert len(plan.bars) == 20


def least_by_cp_sat(lengths: list[int], stock: list[int], kerf: int) -> int:
    """Least length of bars, by assigning every piece to a bar of a length to choose."""
    model = cp_model.CpModel()
    bars = range(len(lengths))
    uses = [[model.new_bool_var("") for _ in stock] for _ in bars]
    puts = [[model.new_bool_var("") for _ in bars] for _ in lengths]
    for own in puts:
        model.add_exactly_one(own)
    for b in bars:
        model.add_at_most_one(uses[b])
        room = sum((s + kerf) * u for s, u in zip(stock, uses[b], strict=True))
        model.add(sum((v + kerf) * p[b] for v, p in zip(lengths, puts, strict=True)) <= room)
    for b in bars[1:]:
        longer, shorter = (
            sum(s * u for s, u in zip(stock, uses[k], strict=True)) for k in (b - 1, b)
        )
        model.add(longer >= shorter)
    model.minimize(sum(s * u for own in uses for s, u in zip(stock, own, strict=True)))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = 5.0
    assert solver.solve(model) == cp_model.OPTIMAL
    return round(solver.objective_value)


@pytest.mark.parametrize("seed", range(8))
def test_cp_sat_finds_nothing_cheaper(seed: int) -> None:
    random = Random(seed)
    stock = [2400] if seed % 2 else [3000, 2400, 1800]
    lengths = [random.randint(250, 1750) for _ in range(7 + seed % 3)]
    kerf = seed % 4
    plan = cut_bars(lengths, stock, kerf)
    assert_sound(plan, [float(v) for v in lengths], tuple(map(float, stock)), kerf)
    assert plan.bought_mm == least_by_cp_sat(lengths, stock, kerf)
    assert plan.is_proven


def least_by_arc_flow(lengths: list[int], bar: int) -> int:
    """Fewest bars as a flow along the bar, an integer programme for HiGHS (Valerio de Carvalho 1999)."""
    sizes = sorted(set(lengths), reverse=True)
    arcs = [(a, a + s, s) for s in sizes for a in range(bar - s + 1)]
    arcs += [(a, a + 1, 0) for a in range(bar)]
    flow = np.zeros((bar + 1, len(arcs) + 1))
    for n, (tail, head, _) in enumerate(arcs):
        flow[tail, n] -= 1
        flow[head, n] += 1
    flow[bar, -1] -= 1
    flow[0, -1] += 1
    asked = np.array([[float(s == size) for _, _, s in arcs] + [0.0] for size in sizes])
    demand = np.array([lengths.count(s) for s in sizes])
    result = milp(
        np.eye(1, len(arcs) + 1, len(arcs))[0],
        integrality=np.ones(len(arcs) + 1),
        bounds=Bounds(0, len(lengths)),
        constraints=[LinearConstraint(flow, 0, 0), LinearConstraint(asked, demand, np.inf)],
    )
    assert result.status == 0
    return round(result.fun)


@pytest.mark.parametrize("seed", range(4))
def test_arc_flow_with_highs_needs_as_many_bars(seed: int) -> None:
    random = Random(100 + seed)
    lengths = [random.randint(6, 22) for _ in range(20)]
    plan = cut_bars(lengths, [40])
    assert_sound(plan, [float(v) for v in lengths], (40.0,), 0.0)
    assert len(plan.bars) == least_by_arc_flow(lengths, 40)
    assert plan.is_proven


@pytest.mark.parametrize("seed", range(3))
def test_bars_sawn_up_without_loss_are_put_together_again(seed: int) -> None:
    """Known answer: sawn from K bars without loss, so exactly K."""
    random = Random(seed)
    lengths = []
    for _ in range(8):
        marks = sorted({0, 1000, *random.sample(range(150, 850), 2)})
        lengths += [float(b - a) for a, b in pairwise(marks)]
    random.shuffle(lengths)
    assert len(cut_bars(lengths, [1000.0]).bars) == 8


@pytest.mark.parametrize(("kerf", "last", "bars"), [(0.0, 400, 1), (3.0, 395, 2), (3.0, 394, 1)])
def test_kerf_is_lost_between_pieces(kerf: float, last: float, bars: int) -> None:
    """n pieces of a bar need their sum and n - 1 kerfs."""
    assert len(cut_bars([300, 300, last], [1000], kerf).bars) == bars


def test_a_great_many_pieces_are_cut_near_their_bound() -> None:
    random = Random(3)
    lengths = [float(random.randint(300, 2400)) for _ in range(3000)]
    plan = cut_bars(lengths, [2400], 3)
    assert_sound(plan, lengths, (2400.0,), 3.0)
    assert plan.bought_mm <= 1.02 * plan.least_mm


def test_a_piece_longer_than_every_bar_is_refused() -> None:
    with pytest.raises(ValueError, match="2500 mm is longer"):
        cut_bars([2500], [2400, 1800])
    assert cut_bars([], [2400]).bars == ()
