"""The linear programme behind the bound on planks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

import numpy as np
import numpy.typing as npt

from layout.demand import StockRules

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

SAFE: Final = 1e-6
"""What the value of a linear programme may be too large by; subtracted before rounding up."""
SLACK_MM: Final = 0.05
"""Lengths count this much less than they are: what the stock forgives never lifts the bound."""
NEVER: Final = 1 << 40
"""Cell number of a piece that is never short enough to come out of another's plank."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cases:
    """What `times` alike runs can amount to; arrays of one length.

    At mark j a first piece counts when j >= `need` and a last one when j < `room`. `opened` planks
    are opened; `first` and `last` are the shortest end pieces of the case, mm (infinite: none).
    """

    need: Ints
    room: Ints
    opened: Ints
    first: Floats
    last: Floats
    times: int


def least_planks(
    cases: Sequence[Cases], others: Sequence[float], stock: StockRules, marks: int
) -> int:
    """Least planks for runs that must take one of their cases, and for `others`, lengths of pieces
    from wall to wall that are only counted by their share of a plank.
    """
    if not cases:
        return max(
            (ceil(sum(f(_share(o, stock)) for o in others) - SAFE) for f in SHARES), default=0
        )
    columns = sum(len(c.need) for c in cases)
    rows = _Rows(columns + marks + 2)
    matched, planks = columns + marks, columns + marks + 1
    need = np.concatenate([c.need for c in cases])
    room = np.concatenate([c.room for c in cases])
    opened = np.concatenate([c.opened for c in cases]).astype(float)
    _add_values(rows, need, room, marks, matched)
    _add_choices(rows, cases)
    rows.add(np.arange(columns), -opened, low=0.0)
    rows.extend([planks, matched], [1.0, 1.0])
    if others or any(np.isinf(c.last).any() for c in cases):
        _add_shares(rows, cases, others, stock, planks)
    return ceil(rows.least(planks, free=matched) - SAFE)


class _Rows:
    """Rows of a sparse linear programme with variables >= 0."""

    def __init__(self, columns: int) -> None:
        self.columns = columns
        self._index: list[Ints] = []
        self._value: list[Floats] = []
        self._row: list[Ints] = []
        self.low: list[float] = []
        self.high: list[float] = []

    def add(
        self, index: npt.ArrayLike, value: npt.ArrayLike, *, low: float, high: float = np.inf
    ) -> None:
        """One more row, low <= sum of value x variable <= high."""
        self.low.append(low)
        self.high.append(high)
        self.extend(index, value)

    def extend(self, index: npt.ArrayLike, value: npt.ArrayLike) -> None:
        """More terms in the last row."""
        self.put(np.full(len(np.atleast_1d(index)), len(self.low) - 1), index, value)

    def put(self, row: Ints, index: npt.ArrayLike, value: npt.ArrayLike) -> None:
        """Terms anywhere."""
        index = np.atleast_1d(np.asarray(index, dtype=np.intp))
        self._row.append(np.asarray(row, dtype=np.intp))
        self._index.append(index)
        self._value.append(np.broadcast_to(np.asarray(value, dtype=float), index.shape))

    def least(self, column: int, *, free: int) -> float:
        """Least value of one variable; `free` is a variable without limits."""
        from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load
        from scipy.sparse import csr_array

        data = np.concatenate(self._value)
        place = (np.concatenate(self._row), np.concatenate(self._index))
        matrix = csr_array((data, place), shape=(len(self.low), self.columns))
        low = np.zeros(self.columns)
        low[free] = -np.inf
        cost = np.zeros(self.columns)
        cost[column] = 1.0
        constraint = LinearConstraint(matrix, np.array(self.low), np.array(self.high))
        result = milp(cost, constraints=constraint, bounds=Bounds(low, np.inf))
        return 0.0 if result.fun is None else float(result.fun)


def _add_values(rows: _Rows, need: Ints, room: Ints, marks: int, matched: int) -> None:
    """V(j) >= M at every mark, as differences: with w(j) = V(j) - M >= 0,
    w(j) - w(j - 1) = #(need = j) - #(room = j).
    """
    columns = len(need)
    base = len(rows.low)
    rows.low += [0.0] * marks
    rows.high += [0.0] * marks
    every = np.arange(marks)
    rows.put(base + every, columns + every, 1.0)
    rows.put(base + every[1:], columns + every[:-1], -1.0)
    rows.put(np.array([base]), [matched], 1.0)
    each = np.arange(columns)
    comes = need < marks
    rows.put(base + need[comes], each[comes], -1.0)
    started = room > 0
    rows.put(np.full(int(started.sum()), base), each[started], -1.0)
    goes = started & (room < marks)
    rows.put(base + room[goes], each[goes], 1.0)


def _add_choices(rows: _Rows, cases: Sequence[Cases]) -> None:
    """Every run takes one case."""
    start = 0
    for case in cases:
        stop = start + len(case.need)
        rows.add(np.arange(start, stop), 1.0, low=case.times, high=case.times)
        start = stop


def _share(length: float, stock: StockRules) -> float:
    """Part of a plank that a piece takes, kerf included, so that pieces of one plank sum to 1."""
    taken = min(length + stock.tolerance, stock.plank_length)
    return max(0.0, taken + stock.kerf - SLACK_MM) / (stock.plank_length + stock.kerf)


def _rounded(k: int) -> Callable[[float], float]:
    """Dual-feasible function u(k) of Fekete and Schepers (2001): sums of shares of one plank stay at
    most 1 when every share x is replaced by floor((k + 1) x) / k, whole multiples by x itself.
    """

    def share(x: float) -> float:
        turns = (k + 1) * x
        return x if abs(turns - round(turns)) < SAFE else min(1.0, floor(turns) / k)

    return share


def _cut_off(least: float) -> Callable[[float], float]:
    """Dual-feasible: shares below `least` count nothing, those above 1 - `least` a whole plank."""

    def share(x: float) -> float:
        if x < least:
            return 0.0
        return 1.0 if x > 1.0 - least else x

    return share


SHARES: Final[tuple[Callable[[float], float], ...]] = (
    _cut_off(0.0),
    _cut_off(0.2),
    _cut_off(0.3),
    _cut_off(0.4),
    *(_rounded(k) for k in (1, 2, 3, 4, 5)),
)


def _add_shares(
    rows: _Rows,
    cases: Sequence[Cases],
    others: Sequence[float],
    stock: StockRules,
    planks: int,
) -> None:
    """Planks at least the sum of all pieces' shares, for each dual-feasible function."""
    for share in SHARES:
        parts = [_shares_of(case, stock, share) for case in cases]
        value = np.concatenate(parts)
        fixed = sum(share(_share(o, stock)) for o in others)
        rows.add(np.arange(len(value)), -value, low=fixed)
        rows.extend([planks], [1.0])


def _shares_of(case: Cases, stock: StockRules, share: Callable[[float], float]) -> Floats:
    """Sum of the shares of all pieces of a run, per case. First pieces need no tolerance."""
    found = np.zeros(len(case.need))
    for n, (first, last) in enumerate(zip(case.first, case.last, strict=True)):
        if np.isinf(last):
            found[n] = share(_share(float(first), stock))
        else:
            first_share = share(_share(float(first) - stock.tolerance, stock))
            found[n] = case.opened[n] - 2 + first_share + share(_share(float(last), stock))
    return found
