"""Bars out of stock lengths: skirting, beads and profiles, as pieces that may lie anywhere in a bar.

The planks' own way with pieces from wall to wall (bin completion, `layout.stock_fill`; dual-feasible
bounds, `layout.stock_shares`) comes first and is proven best in most cases. Where it is not, patterns
are generated against the linear relaxation (Gilmore and Gomory 1961; from memory) and a whole number of
each is chosen from them; the relaxation over patterns that keep to the demand is the bound.

n pieces of a bar take their sum and n - 1 kerfs, which is the same as a bar longer by a kerf and every
piece longer by one.
"""

from __future__ import annotations

from bisect import bisect_left, insort
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import ceil, floor, gcd
from typing import Final

import numpy as np

from layout.stock_fill import filled
from layout.stock_patterns import Pattern, Patterns, improved
from layout.stock_program import SAFE, Floats
from layout.stock_shares import SHARES

UNIT_MM: Final = 0.1
"""Lengths are reckoned in whole tenths: pieces and kerf rounded up, bars down."""
MOST_FILLED: Final = 400
"""Pieces up to which bars are filled by search; more are put where they fit best."""
MOST_SIZES: Final = 80
"""Different lengths up to which patterns are generated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar as bought and the pieces cut from it, longest first, by their place in what was asked for.
    `offcut_mm` is what is left of it.
    """

    length_mm: float
    pieces: tuple[int, ...]
    offcut_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BarPlan:
    """Every piece on one bar. `bought_mm` is the cost of the bars, their length unless costs were given;
    no way to cut the pieces costs less than `least_mm`.
    """

    bars: tuple[Bar, ...]
    bought_mm: float
    least_mm: float

    @property
    def is_proven(self) -> bool:
        """Whether nothing cheaper exists."""
        return self.bought_mm <= self.least_mm + SAFE


def cut_bars(
    lengths: Sequence[float],
    stock: Sequence[float],
    kerf: float = 0.0,
    costs: Sequence[float] | None = None,
) -> BarPlan:
    """Cut pieces from bars of one or several stock lengths, buying as little as can be; of equal ways
    the one with the fewest bars.

    Args:
        lengths: Of the pieces, mm; none longer than the longest bar.
        stock: Lengths that are sold, mm.
        kerf: Between two pieces, mm.
        costs: Of a bar of each stock length; its length where left out.

    Raises:
        ValueError: a piece is longer than every bar.
    """
    if lengths and max(lengths) > max(stock) + UNIT_MM / 2:
        raise ValueError(f"a piece of {max(lengths):g} mm is longer than every bar")
    saw = _up(kerf)
    bars = tuple(sorted({_down(s) for s in stock}, reverse=True))
    sizes = [min(_up(v), bars[0]) for v in lengths]
    priced = dict(zip(map(_down, stock), costs or stock, strict=True))
    asked = tuple(sorted(sizes, reverse=True))
    found, least = _solved(asked, bars, saw, tuple(priced[b] for b in bars))
    places: dict[int, list[int]] = {}
    for n in range(len(sizes) - 1, -1, -1):
        places.setdefault(sizes[n], []).append(n)
    cut = tuple(
        Bar(
            length_mm=bar * UNIT_MM,
            pieces=tuple(places[v].pop() for v in pieces),
            offcut_mm=max(0, bar - sum(pieces) - saw * len(pieces)) * UNIT_MM,
        )
        for bar, pieces in found
    )
    return BarPlan(bars=cut, bought_mm=sum(priced[bar] for bar, _ in found), least_mm=least)


def _up(length: float) -> int:
    return ceil(round(length / UNIT_MM, 4))


def _down(length: float) -> int:
    return floor(round(length / UNIT_MM, 4))


@lru_cache(maxsize=4096)
def _solved(
    lengths: tuple[int, ...], stock: tuple[int, ...], kerf: int, costs: tuple[float, ...]
) -> tuple[tuple[tuple[int, tuple[int, ...]], ...], float]:
    """The bars, each with the lengths cut from it, and the least cost. `lengths` and `stock` descend, so
    that flats that are alike are cut once.
    """
    if not lengths:
        return (), 0.0
    demand = Counter(lengths)
    step = gcd(*(v + kerf for v in (*demand, *stock)))
    task = Patterns(
        sizes=tuple((v + kerf) // step for v in demand),
        demand=tuple(demand.values()),
        rooms=tuple((s + kerf) // step for s in stock),
        costs=costs,
    )
    sizes = [(v + kerf) // step for v in lengths]
    best = min(_simple(sizes, task), key=lambda way: (_cost(way, task), len(way)))
    least = _least(sizes, task)
    if _cost(best, task) > least + SAFE and len(demand) <= MOST_SIZES:
        patterns, proven = improved(task, [Pattern(k, _counts(own, task)) for k, own in best])
        best = [(p.stock, _sizes(p, task)) for p in patterns]
        least = max(least, proven)
    bars = [(stock[k], tuple(v * step - kerf for v in own)) for k, own in best]
    return tuple(sorted(bars, key=lambda bar: (-bar[0], tuple(-v for v in bar[1])))), least


_Way = list[tuple[int, tuple[int, ...]]]
"""Bars by the place of their length in the stock, each with the sizes cut from it."""


def _cost(way: _Way, task: Patterns) -> float:
    return sum(task.costs[k] for k, _ in way)


def _counts(own: Sequence[int], task: Patterns) -> tuple[int, ...]:
    times = Counter(own)
    return tuple(times[size] for size in task.sizes)


def _sizes(pattern: Pattern, task: Patterns) -> tuple[int, ...]:
    return tuple(v for v, n in zip(task.sizes, pattern.counts, strict=True) for _ in range(n))


def _least(sizes: Sequence[int], task: Patterns) -> float:
    """Bound by the parts of the longest bar that pieces take, at the best price of a length. With one
    stock length it counts whole bars.
    """
    longest = task.rooms[0]
    shares: Floats = np.array(sizes) / longest
    if len(task.rooms) == 1:
        return task.costs[0] * max(ceil(float(f(shares).sum()) - SAFE) for f in SHARES)
    price = min(c / r for c, r in zip(task.costs, task.rooms, strict=True))
    return task.rounded_up(float(sum(sizes)) * price)


# --- quick ways ---------------------------------------------------------------------------------


def _simple(sizes: Sequence[int], task: Patterns) -> list[_Way]:
    """Bars filled from each stock length that every piece fits, each bar then as short as it may be."""
    ways = []
    for room in task.rooms:
        if sizes[0] > room:
            continue
        ways.append(_best_fit(sizes, room))
        if len(sizes) <= MOST_FILLED:
            ways.append(filled([], sizes, room, 0.0, 0.0)[1])
    own = [[tuple(sizes[n] for n in bar) for bar in way] for way in ways]
    return [[(task.cheapest(sum(bar)), bar) for bar in way] for way in own]


def _best_fit(sizes: Sequence[int], room: int) -> list[list[int]]:
    """Every piece, longest first, into the fullest bar that it fits."""
    bars: list[list[int]] = []
    free: list[tuple[int, int]] = []
    for n, size in enumerate(sizes):
        place = bisect_left(free, (size, -1))
        if place < len(free):
            rest, bar = free.pop(place)
        else:
            rest, bar = room, len(bars)
            bars.append([])
        bars[bar].append(n)
        insort(free, (rest - size, bar))
    return bars
