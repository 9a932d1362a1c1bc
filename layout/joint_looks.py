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
from layout.joint_candidates import Floats, Ints, fits_one_plank
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


def better_looks(search: Search, planks: int, sweeps: int) -> None:
    """Better the looks of the choice; planks (as the search counts them) stay within the number given
    and breaches grow no heavier. `sweeps` (2 at least): times that every node is visited.
    """
    painter = _Painter(search.problem, search.choice)
    before, start = painter.total(), list(search.choice)
    nodes = list(range(search.problem.size))
    for sweep in range(sweeps):
        temperature = HOT * (COLD / HOT) ** (sweep / (sweeps - 1))
        search.random.shuffle(nodes)
        for node in nodes:
            search.choose_nicest(node, planks, painter.cost(node), temperature)
            painter.choose(node, search.choice[node])
    if painter.total() > before:
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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Around:
    """Numbers of the runs that decide how a run looks: those it touches; the middle and the far run of
    the triples it ends; the lower and upper of the triples it is the middle of.
    """

    beside: Ints
    middle: Ints
    outer: Ints
    low: Ints
    high: Ints


def _arounds(demand: BayDemand) -> list[_Around]:
    long = [not fits_one_plank(run, demand) for run in demand.runs]
    pairs = [(t.below, t.above) for t in demand.touches if long[t.below] and long[t.above]]
    beside: list[list[int]] = [[] for _ in long]
    outer: list[list[tuple[int, int]]] = [[] for _ in long]
    middle: list[list[tuple[int, int]]] = [[] for _ in long]
    for a, b in sorted(set(pairs)):
        beside[a].append(b)
        beside[b].append(a)
    for a, b, c in _triples(pairs):
        outer[a].append((b, c))
        outer[c].append((b, a))
        middle[b].append((a, c))
    return [
        _Around(
            beside=np.array(beside[r], dtype=np.intp),
            middle=np.array([m for m, _ in outer[r]], dtype=np.intp),
            outer=np.array([o for _, o in outer[r]], dtype=np.intp),
            low=np.array([a for a, _ in middle[r]], dtype=np.intp),
            high=np.array([c for _, c in middle[r]], dtype=np.intp),
        )
        for r in range(len(long))
    ]


class _Painter:
    """Costs of the looks of a problem's options, the other nodes being as chosen."""

    def __init__(self, problem: Problem, choice: Sequence[int]) -> None:
        demand = problem.demand
        self._plank = demand.stock.plank_length
        self._members = [node.runs for node in problem.nodes]
        self._phases: list[Floats] = [np.zeros(0)] * len(demand.runs)
        for n, node in enumerate(problem.nodes):
            for run in node.runs:
                self._phases[run] = (demand.runs[run].x0 + problem.options(n).first) % self._plank
        self._around = _arounds(demand)
        self._own = self._own_costs(problem)
        self._choice = list(choice)
        self._now = np.zeros(len(demand.runs))
        for n, option in enumerate(choice):
            self.choose(n, option)

    def choose(self, node: int, option: int) -> None:
        """Take note of a choice."""
        self._choice[node] = option
        for run in self._members[node]:
            self._now[run] = self._phases[run][option]

    def total(self) -> float:
        """Cost of the whole choice; what several nodes share counts at each of them."""
        return float(sum(self.cost(n)[k] for n, k in enumerate(self._choice)))

    def cost(self, node: int) -> Floats:
        """Cost of every option of a node."""
        cost = self._own[node]
        now, plank = self._now, self._plank
        for run in self._members[node]:
            mine, around = self._phases[run][:, None], self._around[run]
            if len(around.beside):
                near = 1 / 3 - _apart(mine - now[around.beside], plank) / plank
                cost = cost + CLOSE_COST * np.maximum(near, 0.0).sum(axis=1)
            if len(around.outer):
                outer = now[around.outer]
                in_line = _apart(mine - outer, plank) < H_MM
                even = _apart(mine + (outer - 2 * now[around.middle]), plank) < STAIR_MM
                cost = cost + (H_COST * in_line + STAIR_COST * even).sum(axis=1)
            if len(around.low):
                turn = _apart((now[around.low] + now[around.high]) - 2 * mine, plank)
                cost = cost + STAIR_COST * (turn < STAIR_MM).sum(axis=1)
        return cost

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
                    cuts = (face.first < self._plank - SAME_POINT_MM).astype(float)
                    cuts += face.last < self._plank - SAME_POINT_MM
                    uneven = np.abs(face.first - face.last) / self._plank
                    cost = cost + CUT_COST * cuts + UNEVEN_COST * uneven
                    cost += CORNER_COST * self._in_line(run, corners[run], problem)
            found.append(cost)
        return found

    def _in_line(self, run: int, corners: Sequence[float], problem: Problem) -> Floats:
        """How many corners inside the run a joint is in line with, per option."""
        demand = problem.demand.runs[run]
        phases = self._phases[run]
        inside = {round(c, 1) for c in corners if demand.x0 + CORNER_MM < c < demand.x1 - CORNER_MM}
        near = [_apart(phases - c, self._plank) < CORNER_MM for c in sorted(inside)]
        return np.sum(near, axis=0, dtype=float) if near else np.zeros(len(phases))
