"""The programme over counts: how many runs of each kind take which case, for fewest planks.

Its linear relaxation over optimistic cases is the bound; with whole numbers over real options it is
a plan of the stock that only wants putting in order. Matchings of pieces need no variables: the
number M of pieces cut from the rest of another's plank is the least of V(j) over all marks j.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

SAFE: Final = 1e-6
"""What the value of a linear programme may be too large by; subtracted before rounding up."""
MANY_COLUMNS: Final = 1500
"""A programme with more cases is solved over a growing part of them."""
CLOSE: Final = 0.02
"""Planks that the value of a part may be short of that of the whole."""
TURNS: Final = 25
"""Most times that cases are added."""
AT_ONCE: Final = 8
"""Cases of one kind added at a time."""
FIRST_COLUMNS: Final = 24
"""About how many cases of each kind to begin with."""
NEVER: Final = 1 << 40
"""Mark of a piece that never counts."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cases:
    """What `times` alike runs can amount to; arrays of one length.

    At mark j a first piece counts in V(j) when j >= `need` and a last one when j < `room`. `opened`
    planks are opened, `ends` of them for end pieces. The case stands for first pieces from `low` to
    `high` mm, and its last piece is at least `last` long (infinite: the run has none). Where no first or
    last piece is counted, `need` is `NEVER` or `room` 0.
    """

    need: Ints
    room: Ints
    opened: Ints
    low: Floats
    high: Floats
    last: Floats
    ends: Ints
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
    when the programme has no answer. `value` before rounding.
    """

    least: int
    value: float
    counts: Floats | None


class Program:
    """A sparse programme: one variable per case, the slack of V at every mark, M and the planks."""

    def __init__(self, cases: Sequence[Cases], marks: int) -> None:
        self.cases = tuple(cases)
        self.columns = sum(c.size for c in cases)
        self._matched = self.columns + marks
        self._planks = self._matched + 1
        self._equal = _Rows()
        self._most = _Rows()
        self._add_values(marks)
        self._add_choices()
        opened = np.concatenate([c.opened for c in cases])
        self.at_least([*range(self.columns), self._matched], [*-opened, 1.0], 0.0)
        self._active = self._first_columns()
        self._known: Answer | None = None

    def at_least(self, index: npt.ArrayLike, value: npt.ArrayLike, fixed: float) -> None:
        """Planks + sum of value x variable >= fixed."""
        self._known = None
        self._most.add(index, -np.asarray(value, dtype=float), -fixed)
        self._most.extend([self._planks], -1.0)

    def cap(self, caps: Sequence[Cap]) -> None:
        """Add limits on how many runs take some cases."""
        self._known = None
        for cap in caps:
            self._most.add(cap.columns, 1.0, cap.most)

    def solve(self, low: Floats | None = None) -> Answer:
        """Fewest planks when counts may be fractions, each at least `low`.

        A large programme is solved over a part of its cases, to which those are added that the prices
        of its rows make worth while; the value it is short of by the rest is known at every turn.
        """
        if low is not None:
            return self._solved(low)
        if self._known is None:
            self._known = self._solved(None)
        return self._known

    def _solved(self, low: Floats | None) -> Answer:
        equal, most = (rows.matrix(self._planks + 1) for rows in (self._equal, self._most))
        if self.columns <= MANY_COLUMNS:
            return self._part(equal, most, np.arange(self.columns), low)[0]
        active = self._active if low is None else self._active | (low > 0)
        for _ in range(TURNS):
            answer, gain = self._part(equal, most, np.flatnonzero(active), low)
            if answer.counts is None:
                return self._part(equal, most, np.arange(self.columns), low)[0]
            short, worth = self._worth(gain)
            self._active = active = active | worth
            if short <= CLOSE or not worth.any():
                break
        return Answer(
            least=max(0, ceil(answer.value - short - SAFE)),
            value=answer.value - short,
            counts=answer.counts,
        )

    def _part(
        self, equal: csr_array, most: csr_array, columns: Ints, low: Floats | None
    ) -> tuple[Answer, Floats]:
        """The programme with some of the cases, and what one more of each case would gain."""
        from scipy.optimize import linprog  # slow to load

        kept = np.concatenate([columns, np.arange(self.columns, self._planks + 1)])
        cost = np.zeros(len(kept))
        cost[-1] = 1.0
        least = np.zeros(len(kept))
        if low is not None:
            least[: len(columns)] = low[columns]
        solve: Any = linprog  # its stubs know no sparse matrices
        result = solve(
            cost,
            A_ub=most[:, kept],
            b_ub=self._most.limits,
            A_eq=equal[:, kept],
            b_eq=self._equal.limits,
            bounds=np.stack([least, np.full(len(kept), np.inf)], axis=1),
            method="highs",
        )
        if result.x is None:
            return Answer(least=0, value=0.0, counts=None), np.zeros(0)
        counts = np.zeros(self.columns)
        counts[columns] = result.x[: len(columns)]
        value = float(result.fun)
        gain = equal.T @ result.eqlin.marginals + most.T @ result.ineqlin.marginals
        answer = Answer(least=max(0, ceil(value - SAFE)), value=value, counts=counts)
        return answer, gain[: self.columns]

    def _worth(self, gain: Floats) -> tuple[float, npt.NDArray[np.bool_]]:
        """By how much the value of the whole programme may be below that of a part, and which cases
        to add: per kind those that gain most.
        """
        short, start = 0.0, 0
        worth = np.zeros(self.columns, dtype=bool)
        for case in self.cases:
            part = gain[start : start + case.size]
            best = float(part.max())
            if best > SAFE:
                short += case.times * best
                add = np.argsort(-part, kind="stable")[:AT_ONCE]
                worth[start + add[part[add] > SAFE]] = True
            start += case.size
        return short, worth

    def _first_columns(self) -> npt.NDArray[np.bool_]:
        active = np.zeros(self.columns, dtype=bool)
        start = 0
        for case in self.cases:
            active[start : start + case.size : max(1, case.size // FIRST_COLUMNS)] = True
            active[start + case.size - 1] = True
            start += case.size
        return active

    def _add_values(self, marks: int) -> None:
        """V(j) >= M at every mark, as differences: with w(j) = V(j) - M >= 0,
        w(j) - w(j - 1) = #(need = j) - #(room = j).
        """
        need = np.concatenate([c.need for c in self.cases])
        room = np.concatenate([c.room for c in self.cases])
        put = self._equal.put
        self._equal.limits += [0.0] * marks
        every, each = np.arange(marks), np.arange(self.columns)
        put(every, self.columns + every, 1.0)
        put(every[1:], self.columns + every[:-1], -1.0)
        put([0], [self._matched], 1.0)
        comes = need < marks
        put(need[comes], each[comes], -1.0)
        started = room > 0
        put(np.zeros(int(started.sum())), each[started], -1.0)
        goes = started & (room < marks)
        put(room[goes], each[goes], 1.0)

    def _add_choices(self) -> None:
        """Every run takes one case."""
        start = 0
        for case in self.cases:
            self._equal.add(np.arange(start, start + case.size), 1.0, case.times)
            start += case.size


class _Rows:
    """Rows of a sparse matrix with a limit each, collected term by term."""

    def __init__(self) -> None:
        self.limits: list[float] = []
        self._index: list[Ints] = []
        self._value: list[Floats] = []
        self._row: list[Ints] = []

    def add(self, index: npt.ArrayLike, value: npt.ArrayLike, limit: float) -> None:
        """One more row."""
        self.limits.append(limit)
        self.extend(index, value)

    def extend(self, index: npt.ArrayLike, value: npt.ArrayLike) -> None:
        """More terms in the last row."""
        index = np.asarray(index, dtype=np.intp)
        self.put(np.full(len(index), len(self.limits) - 1), index, value)

    def put(self, row: npt.ArrayLike, index: npt.ArrayLike, value: npt.ArrayLike) -> None:
        """Terms anywhere."""
        index = np.asarray(index, dtype=np.intp)
        self._row.append(np.asarray(row, dtype=np.intp))
        self._index.append(index)
        self._value.append(np.broadcast_to(np.asarray(value, dtype=float), index.shape))

    def matrix(self, columns: int) -> csr_array:
        """All rows, terms of one place summed."""
        from scipy.sparse import csr_array  # slow to load

        place = (np.concatenate(self._row), np.concatenate(self._index))
        shape = (len(self.limits), columns)
        return csr_array((np.concatenate(self._value), place), shape=shape)
