"""The programme over counts: how many runs of each kind take which case, for fewest planks.

Its linear relaxation over optimistic cases is the bound; with whole numbers over real options it is
a plan of the stock that only wants putting in order. Matchings of pieces need no variables: the
number M of pieces cut from the rest of another's plank is the least of V(j) over all marks j.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

SAFE: Final = 1e-6
"""What the value of a linear programme may be too large by; subtracted before rounding up."""
NEVER: Final = 1 << 40
"""Mark of a piece that never counts."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cases:
    """What `times` alike runs can amount to; arrays of one length.

    At mark j a first piece counts in V(j) when j >= `need` and a last one when j < `room`. `opened`
    planks are opened. The case stands for first pieces from `low` to `high` mm, and its last piece is
    at least `last` long (infinite: the run has none).
    """

    need: Ints
    room: Ints
    opened: Ints
    low: Floats
    high: Floats
    last: Floats
    times: int

    @property
    def size(self) -> int:
        """Number of cases."""
        return len(self.need)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cap:
    """At most `most` runs may take one of the cases with these column numbers."""

    columns: Ints
    most: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Answer:
    """`least`: fewest planks, rounded up. `counts`: how often each case is taken, kind after kind; None
    when the programme has no answer.
    """

    least: int
    counts: Floats | None


class Program:
    """A sparse programme: one variable per case, the slack of V at every mark, M and the planks."""

    def __init__(self, cases: Sequence[Cases], marks: int) -> None:
        self.cases = tuple(cases)
        self.columns = sum(c.size for c in cases)
        self.matched = self.columns + marks
        self.planks = self.matched + 1
        self._index: list[Ints] = []
        self._value: list[Floats] = []
        self._row: list[Ints] = []
        self._low: list[float] = []
        self._high: list[float] = []
        self._add_values(marks)
        self._add_choices()
        opened = np.concatenate([c.opened for c in cases])
        self.at_least([*range(self.columns), self.matched], [*-opened, 1.0], 0.0)

    def at_least(self, index: npt.ArrayLike, value: npt.ArrayLike, fixed: float) -> None:
        """Planks + sum of value x variable >= fixed."""
        self._row_of(index, value, fixed, np.inf)
        self._put([len(self._low) - 1], [self.planks], 1.0)

    def cap(self, caps: Sequence[Cap]) -> None:
        """Add limits on how many runs take some cases."""
        for cap in caps:
            self._row_of(cap.columns, 1.0, -np.inf, cap.most)

    def solve(self, low: Floats | None = None) -> Answer:
        """Fewest planks when counts may be fractions, each at least `low`."""
        from scipy.optimize import Bounds, LinearConstraint, milp  # slow to load
        from scipy.sparse import csr_array

        place = (np.concatenate(self._row), np.concatenate(self._index))
        data = np.concatenate(self._value)
        matrix = csr_array((data, place), shape=(len(self._low), self.planks + 1))
        cost = np.zeros(self.planks + 1)
        cost[self.planks] = 1.0
        least = np.zeros(self.planks + 1)
        if low is not None:
            least[: self.columns] = low
        result = milp(
            cost,
            constraints=LinearConstraint(matrix, np.array(self._low), np.array(self._high)),
            bounds=Bounds(least, np.inf),
        )
        if result.x is None:
            return Answer(least=0, counts=None)
        counts = np.asarray(result.x)[: self.columns]
        return Answer(least=max(0, ceil(float(result.fun) - SAFE)), counts=counts)

    def _row_of(self, index: npt.ArrayLike, value: npt.ArrayLike, low: float, high: float) -> None:
        self._low.append(low)
        self._high.append(high)
        index = np.asarray(index, dtype=np.intp)
        self._put(np.full(len(index), len(self._low) - 1), index, value)

    def _put(self, row: npt.ArrayLike, index: npt.ArrayLike, value: npt.ArrayLike) -> None:
        index = np.asarray(index, dtype=np.intp)
        self._row.append(np.asarray(row, dtype=np.intp))
        self._index.append(index)
        self._value.append(np.broadcast_to(np.asarray(value, dtype=float), index.shape))

    def _add_values(self, marks: int) -> None:
        """V(j) >= M at every mark, as differences: with w(j) = V(j) - M >= 0,
        w(j) - w(j - 1) = #(need = j) - #(room = j).
        """
        need = np.concatenate([c.need for c in self.cases])
        room = np.concatenate([c.room for c in self.cases])
        self._low += [0.0] * marks
        self._high += [0.0] * marks
        every, each = np.arange(marks), np.arange(self.columns)
        self._put(every, self.columns + every, 1.0)
        self._put(every[1:], self.columns + every[:-1], -1.0)
        self._put([0], [self.matched], 1.0)
        comes = need < marks
        self._put(need[comes], each[comes], -1.0)
        started = room > 0
        self._put(np.zeros(int(started.sum())), each[started], -1.0)
        goes = started & (room < marks)
        self._put(room[goes], each[goes], 1.0)

    def _add_choices(self) -> None:
        """Every run takes one case."""
        start = 0
        for case in self.cases:
            self._row_of(np.arange(start, start + case.size), 1.0, case.times, case.times)
            start += case.size
