"""Cutting patterns of bars, generated against the linear relaxation (Gilmore and Gomory 1961).

A pattern is how often each size is cut from one bar. The dearest pattern under the prices of the
relaxation is found exactly, so that the relaxation's value is a true lower bound; only patterns that cut
no size oftener than it is asked for are made, which lifts it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, gcd
from typing import Any, Final

import numpy as np

from layout.stock_fill import filled
from layout.stock_program import SAFE, Floats

ROUNDS: Final = 400
"""Rounds of generation: far more than any case took."""
NODES: Final = 500
"""Nodes of the search for whole numbers of patterns; a count, so that no clock decides."""
FEWER: Final = 1e-6
"""What a bar counts beside its cost, so that of equal ways the one with fewest bars is taken."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A bar of the `stock`-th length with `counts` of each size."""

    stock: int
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Patterns:
    """What is asked for: `demand` of each of `sizes` (descending), from bars of `rooms` (descending),
    each at a cost. Sizes and rooms are whole numbers of some unit, kerfs in them already.
    """

    sizes: tuple[int, ...]
    demand: tuple[int, ...]
    rooms: tuple[int, ...]
    costs: tuple[float, ...]

    def cost(self, way: Sequence[Pattern]) -> float:
        """Of all bars of a way to cut them."""
        return sum(self.costs[p.stock] for p in way)

    def rank(self, way: Sequence[Pattern]) -> tuple[float, int]:
        """Smaller is better."""
        return self.cost(way), len(way)

    def cheapest(self, need: int) -> int:
        """The cheapest bar that holds so much, by its place in `rooms`."""
        fitting = [k for k, room in enumerate(self.rooms) if need <= room]
        return min(fitting, key=lambda k: (self.costs[k], self.rooms[k]))

    def rounded_up(self, value: float) -> float:
        """The least sum of costs that is not below a value, where costs are whole numbers."""
        if any(c != int(c) for c in self.costs):
            return value
        step = gcd(*(int(c) for c in self.costs))
        return float(ceil(value / step - SAFE) * step)


def improved(task: Patterns, start: list[Pattern]) -> tuple[list[Pattern], float]:
    """The best whole number of generated patterns, or `start` where none is better; and what no way
    costs less than.
    """
    columns = list(dict.fromkeys([*start, *_singles(task, task.demand)]))
    known = set(columns)
    least = 0.0
    for _ in range(ROUNDS):
        value, prices, _ = _relaxed(task, columns, task.demand)
        found = [_dearest(task, k, prices) for k in range(len(task.rooms))]
        # Prices scaled down until no pattern gains solve the dual (Farley 1990; from memory).
        most = max(0.0, *(gain for _, gain in found))
        least = max(least, task.rounded_up(value / (1.0 + most) - SAFE))
        new = [p for p, gain in found if gain > SAFE * 10 and p not in known]
        if not new or task.cost(start) <= least + SAFE:
            break
        columns += new
        known.update(new)
    best = start
    for find in (_dived, _whole):
        if task.cost(best) > least + SAFE:
            whole = find(task, columns)
            if whole is not None and task.rank(whole) < task.rank(best):
                best = whole
    return best, least


def _singles(task: Patterns, demand: Sequence[int]) -> list[Pattern]:
    """Each size alone as often as fits, so that the relaxation always has an answer."""
    found = []
    for n, size in enumerate(task.sizes):
        for k, room in enumerate(task.rooms):
            times = min(demand[n], room // size)
            if times:
                counts = tuple(times if m == n else 0 for m in range(len(task.sizes)))
                found.append(Pattern(k, counts))
    return found


def _relaxed(
    task: Patterns, columns: Sequence[Pattern], demand: Sequence[int]
) -> tuple[float, Floats, Floats]:
    """Value of the relaxation over these patterns, the price of each size, how often each pattern."""
    from scipy.optimize import linprog  # slow to load

    solve: Any = linprog
    result = solve(
        np.array([task.costs[p.stock] for p in columns]),
        A_ub=-np.array([p.counts for p in columns], dtype=float).T,
        b_ub=-np.array(demand, dtype=float),
        method="highs-ds",
    )
    return float(result.fun), -np.asarray(result.ineqlin.marginals), np.asarray(result.x)


def _dived(task: Patterns, columns: Sequence[Pattern]) -> list[Pattern] | None:
    """The best of a dive: take the whole part of the relaxation, or its likeliest pattern where there is
    none, solve for what is left, and so on; at each depth what is left is filled by search.
    """
    left = list(task.demand)
    way: list[Pattern] = []
    best: list[Pattern] | None = None
    while any(left):
        fitting = [p for p in columns if all(n <= m for n, m in zip(p.counts, left, strict=True))]
        _, _, times = _relaxed(task, [*fitting, *_singles(task, left)], left)
        order = np.argsort(-times[: len(fitting)], kind="stable").tolist()
        wanted = [n for n in order for _ in range(int(times[n] + SAFE * 10))] or order[:1]
        taken = 0
        for own in (fitting[n] for n in wanted):
            if all(n <= m for n, m in zip(own.counts, left, strict=True)):
                left = [m - n for n, m in zip(own.counts, left, strict=True)]
                way.append(own)
                taken += 1
        whole = [*way, *_filled(task, left)]
        if best is None or task.rank(whole) < task.rank(best):
            best = whole
        if not taken:
            break
    return best


def _filled(task: Patterns, demand: Sequence[int]) -> list[Pattern]:
    """Bars for a demand, filled one after the other."""
    sizes = [size for size, n in zip(task.sizes, demand, strict=True) for _ in range(n)]
    way = []
    for bar in filled([], sizes, task.rooms[0], 0.0, 0.0)[1] if sizes else ():
        own = Counter(sizes[n] for n in bar)
        counts = tuple(own[size] for size in task.sizes)
        way.append(Pattern(task.cheapest(sum(sizes[n] for n in bar)), counts))
    return way


def _whole(task: Patterns, columns: Sequence[Pattern]) -> list[Pattern] | None:
    """A whole number of each pattern at least cost; what is cut too often is left out of the bars."""
    from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load

    counts = np.array([p.counts for p in columns], dtype=float).T
    solve: Any = milp
    result = solve(
        np.array([task.costs[p.stock] * (1.0 + FEWER / max(task.costs)) for p in columns]) + FEWER,
        integrality=np.ones(len(columns)),
        bounds=Bounds(0, sum(task.demand)),
        constraints=LinearConstraint(counts, lb=np.array(task.demand, dtype=float)),
        options={"node_limit": NODES, "mip_rel_gap": 0.0},
    )
    if result.x is None:
        return None
    left = list(task.demand)
    way = []
    for pattern, times in zip(columns, np.rint(result.x).astype(int).tolist(), strict=True):
        for _ in range(times):
            own = tuple(min(n, rest) for n, rest in zip(pattern.counts, left, strict=True))
            left = [rest - n for rest, n in zip(left, own, strict=True)]
            if any(own):
                need = sum(n * size for n, size in zip(own, task.sizes, strict=True))
                way.append(Pattern(task.cheapest(need), own))
    return way if not any(left) else None


# --- the dearest pattern ------------------------------------------------------------------------


def _dearest(task: Patterns, stock: int, prices: Floats) -> tuple[Pattern, float]:
    """The pattern of a stock length with the highest price, and what it gains over its cost, as a share
    of it: a bounded knapsack by dynamic programming over whole units.
    """
    room = task.rooms[stock]
    lots = [
        (n, times)
        for n, price in enumerate(prices.tolist())
        if price > SAFE
        for times in _binary(min(task.demand[n], room // task.sizes[n]))
    ]
    best = np.zeros(room + 1)
    taken = np.zeros((len(lots), room + 1), dtype=bool)
    for row, (n, times) in enumerate(lots):
        width, value = times * task.sizes[n], times * float(prices[n])
        with_lot = best[: room + 1 - width] + value
        better = with_lot > best[width:] + SAFE * 1e-3
        taken[row, width:] = better
        best[width:] = np.where(better, with_lot, best[width:])
    counts = [0] * len(task.sizes)
    place = room
    for row in range(len(lots) - 1, -1, -1):
        if taken[row, place]:
            n, times = lots[row]
            counts[n] += times
            place -= times * task.sizes[n]
    cost = task.costs[stock]
    return Pattern(stock, tuple(counts)), (float(best[room]) - cost) / cost


def _binary(most: int) -> list[int]:
    """Lots whose sums give every number up to `most`: 1, 2, 4, ... and what is left.

    >>> _binary(6)
    [1, 2, 3]
    """
    lots, lot = [], 1
    while most > 0:
        lots.append(min(lot, most))
        most -= lots[-1]
        lot *= 2
    return lots
