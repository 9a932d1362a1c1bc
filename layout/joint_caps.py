"""How many runs may have their joints in one narrow window of phases.

Two runs that touch along at least a plank and an offset cannot both have joints whose phases (places
modulo the plank) lie in one window narrower than the offset. So of any set of runs, at most its
number less a greatest matching of such touches can.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from math import floor
from typing import Final

import numpy as np
import numpy.typing as npt

from importer.tolerance import GRID_MM
from layout.demand import BayDemand
from layout.stock_program import SAFE, Answer, Cap, Cases, Floats, Ints, Program

CLOSE_MM: Final = 2 * GRID_MM
"""Windows are this much narrower than the offset: what the conflicts forgive is never capped."""
ROUNDS: Final = 4
"""Times that limits are added to one programme."""
AT_ONCE: Final = 25
"""Broken limits added before the programme is solved again, the most broken first."""


class Windows:
    """The limits on phases of a programme's cases, found as they are broken.

    A case stands for first pieces above `low` and up to `high`, and belongs to a window (w, w + d] of
    phases when all of it lies there.
    """

    def __init__(
        self, kind: Sequence[int], x0: Sequence[float], cases: Sequence[Cases], demand: BayDemand
    ) -> None:
        """Args:
        kind: Per run of the demand the number of its kind, -1 for runs not counted.
        x0: Per kind the start of its runs.
        cases: Per kind its cases.
        demand: Touches and rules.
        """
        self._plank = demand.stock.plank_length
        self._width = demand.min_offset - CLOSE_MM
        serves = 0.0 < demand.min_offset <= self._plank / 2
        self._limits = _limits(kind, demand) if serves else []
        self._start = np.concatenate([c.low + x for c, x in zip(cases, x0, strict=True)])
        self._span = np.concatenate([c.high - c.low for c in cases])
        of_kind = np.repeat(np.arange(len(cases)), [c.size for c in cases])
        jointed = np.concatenate([np.isfinite(c.last) for c in cases])
        self._members = [
            np.flatnonzero(jointed & ((of_kind == which) | (which < 0)))
            for which, _ in self._limits
        ]

    def broken(self, counts: Floats) -> list[Cap]:
        """Limits that these counts break, at most a few of each set of runs."""
        found: list[Cap] = []
        for (_, most), member in zip(self._limits, self._members, strict=True):
            used = member[counts[member] > SAFE]
            ends = self._start[used] + self._span[used] - self._width
            windows = np.unique(np.concatenate([self._start[used], ends]) % self._plank)
            inside = self._inside(used, windows)
            over = inside @ counts[used] - most
            worst = np.argsort(-over, kind="stable")[:AT_ONCE]
            worst = worst[over[worst] > SAFE * 10]
            found += [
                Cap(columns=member[full], most=most)
                for full in self._inside(member, windows[worst])
            ]
        return found

    def _inside(self, columns: Ints, windows: Floats) -> npt.NDArray[np.bool_]:
        offset = (self._start[columns][None, :] - windows[:, None] + GRID_MM / 2) % self._plank
        inside: npt.NDArray[np.bool_] = offset + self._span[columns] <= self._width + GRID_MM
        return inside


def solved(program: Program, windows: Windows, enough: int, low: Floats | None = None) -> Answer:
    """Solve, adding limits that are broken, until none is, `enough` planks are needed, or the limits
    lift the value too little to reach the next plank in the rounds left.
    """
    answer = program.solve(low)
    for left in reversed(range(ROUNDS)):
        if answer.counts is None or answer.least >= enough:
            break
        broken = windows.broken(answer.counts)
        if not broken:
            break
        program.cap(broken)
        before, answer = answer.value, program.solve(low)
        lacking = floor(before) + 1 - answer.value
        if low is None and (answer.value - before) * left < lacking:
            break
    return answer


def _limits(kind: Sequence[int], demand: BayDemand) -> list[tuple[int, int]]:
    """Per kind, and with number -1 for all, how many runs may share a window; only where touches
    make it fewer than there are.
    """
    least = demand.stock.plank_length + demand.min_offset
    partners: dict[int, list[int]] = defaultdict(list)
    for touch in demand.touches:
        if touch.x1 - touch.x0 >= least and kind[touch.below] >= 0 <= kind[touch.above]:
            partners[touch.below].append(touch.above)
            partners[touch.above].append(touch.below)
    found = []
    for which in (*range(max(kind, default=-1) + 1), -1):
        runs = [r for r, k in enumerate(kind) if k >= 0 and which in {k, -1}]
        matched = _matching(runs, partners, demand)
        if matched:
            found.append((which, len(runs) - matched))
    return found


def _matching(runs: Sequence[int], partners: dict[int, list[int]], demand: BayDemand) -> int:
    """Greatest matching among some runs; rows of odd and even number are the two sides."""
    from scipy.sparse import csr_array  # slow to load
    from scipy.sparse.csgraph import maximum_bipartite_matching

    chosen = set(runs)
    place = {run: n for n, run in enumerate(runs)}
    pairs = [
        (place[r], place[q])
        for r in runs
        if _is_odd(demand.runs[r].row)
        for q in partners[r]
        if q in chosen
    ]
    if not pairs:
        return 0
    row, column = zip(*pairs, strict=True)
    graph = csr_array((np.ones(len(pairs)), (row, column)), shape=(len(runs), len(runs)))
    return int((maximum_bipartite_matching(graph, perm_type="column") >= 0).sum())


def _is_odd(row: int) -> bool:
    """Rows alternate; there is no row 0, so those behind the starter row count one further."""
    return (row if row > 0 else row + 1) % 2 == 1
