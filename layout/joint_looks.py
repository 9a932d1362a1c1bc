"""The look of the joints, bettered with the planks kept.

What a fitter sees: joints close to those of the touching row; an H, where the joints of every second
row line up; a staircase, equal shifts from row to row; a joint in line with a corner of the room; very
unequal ends. Cuts saved by whole first or last planks count as well, a little below an H. The weights
are judgement: common practice, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from importer.tolerance import SAME_POINT_MM
from layout.demand import BayDemand
from layout.joint_candidates import Floats, fits_one_plank
from layout.joint_problem import Problem
from layout.joint_search import Search

H_MM: Final = 50.0
"""Joints of rows two apart this close make an H."""
STAIR_MM: Final = 15.0
"""Shifts that differ by no more are equal."""
CORNER_MM: Final = 30.0
"""A joint this close to the end of a seam is in line with a corner."""
H_COST: Final = 3.0
STAIR_COST: Final = 2.0
CORNER_COST: Final = 1.5
CUT_COST: Final = 1.0
CLOSE_COST: Final = 4.5
"""A seam whose joints are 0 apart; nothing from a third of a plank on."""
UNEVEN_COST: Final = 0.2
SWEEPS: Final = 7
HOT: Final = 0.6
COLD: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Looks:
    """Figures of a plan: triples of touching rows, how many make an H or a staircase, and the joint
    offsets of touching runs, modulo the plank, ascending, mm.
    """

    triples: int
    h_joints: int
    stairs: int
    offsets: tuple[float, ...]


def looks_of(demand: BayDemand, joints: Sequence[Sequence[float]]) -> Looks:
    """The figures of any plan of a bay."""
    plank = demand.stock.plank_length
    phase = [places[0] % plank if places else np.nan for places in joints]
    pairs = [(t.below, t.above) for t in demand.touches if joints[t.below] and joints[t.above]]
    triples = _triples(pairs)
    a, b, c = (np.array([phase[t[n]] for t in triples]) for n in range(3))
    i, j = (np.array([phase[pair[n]] for pair in sorted(set(pairs))]) for n in range(2))
    return Looks(
        triples=len(triples),
        h_joints=int((_apart(a - c, plank) < H_MM).sum()),
        stairs=int((_apart(a + c - 2 * b, plank) < STAIR_MM).sum()),
        offsets=tuple(np.sort(_apart(i - j, plank)).tolist()),
    )


def better_looks(search: Search, planks: int) -> None:
    """Better the looks of the choice; planks (as the search counts them) stay within the number given
    and breaches grow no heavier.
    """
    painter = _Painter(search.problem)
    before, start = painter.total(search.choice), list(search.choice)
    nodes = list(range(search.problem.size))
    for sweep in range(SWEEPS):
        temperature = HOT * (COLD / HOT) ** (sweep / (SWEEPS - 1))
        search.random.shuffle(nodes)
        for node in nodes:
            cost = painter.cost(node, search.choice)
            search.choose_nicest(node, planks, cost, temperature)
    if painter.total(search.choice) > before:
        search.restart(start)


def _apart(difference: Floats, plank: float) -> Floats:
    """Distance of two phases round the plank."""
    found: Floats = np.abs((difference + plank / 2) % plank - plank / 2)
    return found


def _triples(pairs: Sequence[tuple[int, int]]) -> list[tuple[int, int, int]]:
    """Runs of three rows that touch in sequence, from below."""
    above: dict[int, list[int]] = defaultdict(list)
    for low, high in sorted(set(pairs)):
        above[low].append(high)
    return [(a, b, c) for a in sorted(above) for b in above[a] for c in above.get(b, ())]


class _Painter:
    """Costs of the looks of a problem's options."""

    def __init__(self, problem: Problem) -> None:
        demand = problem.demand
        self.plank = demand.stock.plank_length
        runs = demand.runs
        self._node = {r: n for n, node in enumerate(problem.nodes) for r in node.runs}
        self._members = [node.runs for node in problem.nodes]
        firsts = [k.options.first for k in problem.kinds]
        self._phases = [
            (runs[r].x0 + firsts[problem.nodes[self._node[r]].kind]) % self.plank
            for r in range(len(runs))
        ]
        long = [not fits_one_plank(run, demand) for run in runs]
        pairs = [(t.below, t.above) for t in demand.touches if long[t.below] and long[t.above]]
        self._beside: list[list[int]] = [[] for _ in runs]
        for a, b in sorted(set(pairs)):
            self._beside[a].append(b)
            self._beside[b].append(a)
        self._outer: list[list[tuple[int, int]]] = [[] for _ in runs]
        self._middle: list[list[tuple[int, int]]] = [[] for _ in runs]
        for a, b, c in _triples(pairs):
            self._outer[a].append((b, c))
            self._outer[c].append((b, a))
            self._middle[b].append((a, c))
        self._own = self._own_costs(problem)

    def total(self, choice: Sequence[int]) -> float:
        """Cost of a whole choice; what two nodes share counts once at each of them."""
        return float(sum(self.cost(n, choice)[k] for n, k in enumerate(choice)))

    def cost(self, node: int, choice: Sequence[int]) -> Floats:
        """Cost of every option of a node, the others being as chosen."""
        cost = self._own[node]
        for run in self._members[node]:
            mine = self._phases[run][:, None]
            if self._beside[run]:
                offsets = _apart(mine - self._at(self._beside[run], choice), self.plank)
                cost = cost + CLOSE_COST * np.maximum(1 / 3 - offsets / self.plank, 0).sum(axis=1)
            if self._outer[run]:
                middle, outer = self._both(self._outer[run], choice)
                cost = cost + H_COST * (_apart(mine - outer, self.plank) < H_MM).sum(axis=1)
                turn = _apart(mine + outer - 2 * middle, self.plank)
                cost = cost + STAIR_COST * (turn < STAIR_MM).sum(axis=1)
            if self._middle[run]:
                low, high = self._both(self._middle[run], choice)
                turn = _apart(low + high - 2 * mine, self.plank)
                cost = cost + STAIR_COST * (turn < STAIR_MM).sum(axis=1)
        return cost

    def _at(self, runs: Sequence[int], choice: Sequence[int]) -> Floats:
        return np.array([self._phases[r][choice[self._node[r]]] for r in runs])

    def _both(
        self, pairs: Sequence[tuple[int, int]], choice: Sequence[int]
    ) -> tuple[Floats, Floats]:
        return self._at([a for a, _ in pairs], choice), self._at([b for _, b in pairs], choice)

    def _own_costs(self, problem: Problem) -> list[Floats]:
        """Cuts, unequal ends and joints in line with corners, per node and option."""
        corners: list[list[float]] = [[] for _ in problem.demand.runs]
        for touch in problem.demand.touches:
            for run in (touch.below, touch.above):
                corners[run] += [touch.x0, touch.x1]
        found = []
        for node in problem.nodes:
            kind = problem.kinds[node.kind]
            cost = np.zeros(kind.options.size)
            for run, face in zip(node.runs, kind.faces, strict=True):
                if not fits_one_plank(problem.demand.runs[run], problem.demand):
                    cuts = (face.first < self.plank - SAME_POINT_MM).astype(float)
                    cuts += face.last < self.plank - SAME_POINT_MM
                    uneven = np.abs(face.first - face.last) / self.plank
                    cost = cost + CUT_COST * cuts + UNEVEN_COST * uneven
                    cost += CORNER_COST * self._in_line(run, corners[run], problem)
            found.append(cost)
        return found

    def _in_line(self, run: int, corners: Sequence[float], problem: Problem) -> Floats:
        """How many corners inside the run a joint is in line with, per option."""
        demand = problem.demand.runs[run]
        phases = self._phases[run]
        inside = {round(c, 1) for c in corners if demand.x0 + CORNER_MM < c < demand.x1 - CORNER_MM}
        near = [_apart(phases - c, self.plank) < CORNER_MM for c in sorted(inside)]
        return np.sum(near, axis=0, dtype=float) if near else np.zeros(len(phases))
