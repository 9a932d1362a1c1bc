"""Search over the whole stock: any offcut may start any row of the bay.

Planks = planks opened - M, and M, the number of pieces cut from the rest of another's plank, is the
least over all lengths t of V(t) = #(first pieces shorter than t) + #(last pieces that leave t or
more). Changing one run moves V only a little, and the least of V not at all until every low spot is
filled: a plateau. So for a wanted number of planks the search works on the sum of what V still lacks
at every t, with conflicts priced in, and goes on to one plank fewer when nothing is lacking.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random
from typing import Final

import numpy as np
import numpy.typing as npt

from layout.joint_candidates import STEP_MM, Floats, Ints, Options
from layout.joint_conflicts import Table
from layout.joint_problem import Problem

HOT: Final = 0.3
COLD: Final = 0.005
"""Temperatures at the start and the end of a cycle; a conflict weighs 1."""
CYCLE_SWEEPS: Final = 30
"""Sweeps over all runs in one cooling."""
LACK_SHARE: Final = 0.15
"""A lack of one plank over this share of all lengths weighs as much as a conflict."""
MANY_MARKS: Final = 300
"""Most lengths at which the number of pieces is kept; more cost time and gain little."""
EPS: Final = 1e-6
NOISE: Final = 1 << 15
"""Random numbers drawn at once; every move takes a stretch of them."""
SIGNS: Final = np.array([1.0, 1.0, -1.0, -1.0, 1.0], dtype=np.float32)

Links = tuple[tuple[tuple[int, Table], ...], ...]
_Small = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Steps:
    """Per kind: what each option adds to V (a row per option), the planks each opens, the least of
    them, and where to read the sum of lacks for all options.
    """

    added: _Small
    opened: tuple[int, ...]
    least: int
    reads: npt.NDArray[np.intp]


def _marks(problem: Problem) -> Floats:
    """Lengths t at which V is kept: every first piece's, or where these are many, multiples of the step
    (first pieces then count as the next longer one, and planks may come out fewer than the search
    thinks).
    """
    lengths = np.concatenate([k.options.need for k in problem.kinds])
    marks: Floats = np.unique(lengths[np.isfinite(lengths)])
    if len(marks) <= MANY_MARKS:
        return marks
    plank = problem.demand.stock.plank_length
    return np.append(np.arange(STEP_MM, plank, STEP_MM), plank)


class Search:
    """A choice of one option per node, and V for it.

    `allowed` is the weight of breaches that a choice may have. Where that is less than one breach,
    every pair of nodes in conflict weighs the same here, however many joints they have: the moves get
    over such walls more easily.
    """

    def __init__(
        self, problem: Problem, choice: Sequence[int], seed: int, *, allowed: float
    ) -> None:
        self.problem = problem
        self.allowed = allowed
        self.choice = list(choice)
        self.random = Random(seed)  # noqa: S311 (repeatable on purpose)
        self.marks = _marks(problem)
        self.size = len(self.marks) + 1
        spread = max(int(np.ptp(k.options.opened)) for k in problem.kinds)
        self._levels = np.arange(-spread, 3, dtype=np.float32)[:, None]
        self._lack = np.zeros((spread + 3, self.size), dtype=np.float32)
        sums = np.zeros((spread + 3, self.size + 1), dtype=np.float32)
        self._sums_from_first, self._flat = sums[:, 1:], sums.reshape(-1)
        self._one = 1.0 / (LACK_SHARE * self.size)
        self._signs = (SIGNS * self._one).astype(np.float32)
        draw = np.random.default_rng(seed)
        self._noise = draw.gumbel(size=NOISE).astype(np.float32)
        kinds = tuple(self._steps_of(k.options, spread) for k in problem.kinds)
        self.steps = tuple(kinds[node.kind] for node in problem.nodes)
        self._prices = tuple(
            problem.options(n).price.astype(np.float32) for n in range(problem.size)
        )
        self._links = _clipped(problem.links) if allowed < 1.0 - EPS else problem.links
        self.values = np.zeros(self.size, dtype=np.float32)
        self.opened = 0
        self.weight = 0.0
        self.restart(choice)

    @property
    def planks(self) -> int:
        """Planks of the present choice."""
        return self.opened - int(self.values.min())

    def restart(self, choice: Sequence[int]) -> None:
        """Go on from another choice."""
        self.choice = list(choice)
        self.values[:] = 0
        self.opened = 0
        for steps, option in zip(self.steps, choice, strict=True):
            self.values += steps.added[option]
            self.opened += steps.opened[option]
        self.weight = self._weigh()

    def places(self, options: Options) -> tuple[Ints, Ints]:
        """Per option, the mark from which its first piece counts in V, and the number of marks at
        which its last piece does.
        """
        above = np.searchsorted(self.marks, options.need - EPS) + 1
        above[~np.isfinite(options.need)] = self.size
        return above, np.searchsorted(self.marks, options.room + EPS, side="right")

    def improve(self, floor: int, moves: int) -> bool:
        """Look for a layout with fewer planks than now, down to `floor`, and no more breaches than
        allowed; give up after `moves` moves without one. The choice is the best found.
        """
        found = False
        while self.planks > floor and self.repair(self.planks - 1, moves):
            found = True
        return found

    def repair(self, target: int, moves: int) -> bool:
        """Look for a choice with at most `target` planks and no more breaches than allowed;
        the choice stays as it was when there is none.
        """
        before = list(self.choice)
        reached = self._reach(target, moves)
        self.restart(self.choice if reached else before)
        return reached

    def settle(self, moves: int, least: float) -> float:
        """Look for a choice with less weight of breaches, whatever the planks, down to `least`; the
        weight reached.
        """
        best, lightest = list(self.choice), self.weight
        done = 0
        while done < moves and lightest > least + EPS:
            for node, temperature in self._cycle():
                self._move(node, temperature, self.opened + self.size)
                done += 1
                if self.weight < lightest - EPS:
                    best, lightest = list(self.choice), self.weight
        self.restart(best)
        return lightest

    def _reach(self, target: int, moves: int) -> bool:
        """Move until the choice needs at most `target` planks and weighs no more than allowed."""
        done = 0
        while done < moves:
            for node, temperature in self._cycle():
                lack = self._move(node, temperature, target)
                if lack < self._one / 2 and self.weight <= self.allowed + EPS:
                    return True
                done += 1
        return False

    def _weigh(self) -> float:
        """Weight of the choice; every seam is listed at both its nodes."""
        total = 0.0
        for node, option in enumerate(self.choice):
            total += float(self._prices[node][option])
            total += sum(float(t[self.choice[q], option]) for q, t in self._links[node] if q < node)
        return total

    def _cycle(self) -> list[tuple[int, float]]:
        """One cooling: nodes in random order, each sweep a little colder."""
        plan = []
        nodes = list(range(self.problem.size))
        for sweep in range(CYCLE_SWEEPS):
            temperature = HOT * (COLD / HOT) ** (sweep / (CYCLE_SWEEPS - 1))
            self.random.shuffle(nodes)
            plan += [(node, temperature) for node in nodes]
        return plan

    def _move(self, node: int, temperature: float, target: int) -> float:
        """Choose again for one node, likelier what costs less; what V then lacks for the target.

        Drawn by the Gumbel trick: the least of cost / temperature less a Gumbel number falls on an
        option with the chance exp(-cost / temperature), up to a factor.
        """
        choice, steps = self.choice, self.steps[node]
        old = choice[node]
        weights = self._prices[node]
        for other, table in self._links[node]:
            weights = weights + table[choice[other]]
        rest = self.values - steps.added[old]
        opened = self.opened - steps.opened[old]
        lacks = self._lacks(rest, opened + steps.least - target, steps.reads)
        at = int(self.random.random() * (NOISE - len(lacks)))
        scores = lacks + weights - temperature * self._noise[at : at + len(lacks)]
        new = int(scores.argmin())
        np.add(rest, steps.added[new], out=self.values)
        self.opened = opened + steps.opened[new]
        self.weight += float(weights[new] - weights[old])
        choice[node] = new
        return float(lacks[new])

    def _lacks(self, rest: _Small, wanted: int, reads: npt.NDArray[np.intp]) -> _Small:
        """For each option of a node, what V, `rest` without it, would lack in all, as a weight."""
        lack = self._lack
        np.subtract(wanted - rest, self._levels, out=lack)
        np.maximum(lack, 0.0, out=lack)
        np.add.accumulate(lack, axis=1, out=self._sums_from_first)
        lacks: _Small = self._signs @ self._flat.take(reads)
        return lacks

    def choose_nicest(self, node: int, target: int, cost: Floats, temperature: float) -> None:
        """Choose again for one node by a cost of its options, among those that neither need more than
        `target` planks nor weigh more in breaches than its present one.
        """
        choice, steps = self.choice, self.steps[node]
        old = choice[node]
        weights = self._prices[node]
        for other, table in self._links[node]:
            weights = weights + table[choice[other]]
        rest = self.values - steps.added[old]
        opened = self.opened - steps.opened[old]
        lacks = self._lacks(rest, opened + steps.least - target, steps.reads)
        serves = (lacks < self._one / 2) & (weights <= weights[old] + EPS)
        serves[old] = True
        cost = np.where(serves, cost, np.inf)
        chances = np.add.accumulate(np.exp((cost.min() - cost) / temperature))
        new = int(chances.searchsorted(self.random.random() * chances[-1]))
        np.add(rest, steps.added[new], out=self.values)
        self.opened = opened + steps.opened[new]
        self.weight += float(weights[new] - weights[old])
        choice[node] = new

    def _steps_of(self, options: Options, spread: int) -> _Steps:
        """V at mark j counts first pieces below it and last pieces that leave it; past all marks, all
        first pieces. So an option adds 1 from `above` on and 1 before `below`.

        With an option in, what lacks at j is max(0, rest + extra - added - V): `added` is 1 outside
        the stretch between `above` and `below` and 2 or 0 inside. So its sum over all j is read from
        running sums of max(0, rest - V - level) at level = added - extra.
        """
        above, below = self.places(options)
        every = np.arange(self.size)
        added = (every >= above[:, None]).astype(np.float32) + (every < below[:, None])
        least = int(options.opened.min())
        extra = options.opened - least
        width = self.size + 1
        outside = (spread + 1 - extra) * width
        inside = (spread + np.where(above < below, 2, 0) - extra) * width
        start, stop = np.minimum(above, below), np.maximum(above, below)
        places = (
            outside + self.size,
            inside + stop,
            inside + start,
            outside + stop,
            outside + start,
        )
        return _Steps(
            added=added.astype(np.float32),
            opened=tuple(options.opened.tolist()),
            least=least,
            reads=np.stack(places),
        )


def _clipped(links: Links) -> Links:
    """The same tables with no weight above 1; tables shared stay shared."""
    made: dict[int, Table] = {}
    for _, table in (pair for node in links for pair in node):
        if id(table) not in made:
            made[id(table)] = np.minimum(table, 1.0)
    return tuple(tuple((other, made[id(table)]) for other, table in node) for node in links)
