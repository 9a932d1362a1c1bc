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

from layout.joint_candidates import STEP_MM, Floats, Options
from layout.joint_conflicts import Table
from layout.joint_problem import Problem

HOT: Final = 0.25
COLD: Final = 0.01
"""Temperatures at the start and the end of a cycle; a conflict weighs 1."""
CYCLE_SWEEPS: Final = 25
"""Sweeps over all runs in one cooling."""
LACK_SHARE: Final = 0.15
"""A lack of one plank over this share of all lengths weighs as much as a conflict."""
MANY_MARKS: Final = 300
"""Most lengths at which the number of pieces is kept; more cost time and gain little."""
EPS: Final = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Steps:
    """Per kind: where its options step in V, and where to read the sum of lacks for all of them.

    Option k adds 1 to V from `above[k]` on and 1 below `below[k]`.
    """

    above: npt.NDArray[np.intp]
    below: npt.NDArray[np.intp]
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
    """A choice of one option per run, and V for it."""

    def __init__(self, problem: Problem, choice: Sequence[int], seed: int) -> None:
        self.problem = problem
        self.choice = list(choice)
        self.random = Random(seed)  # noqa: S311 (repeatable on purpose)
        self.marks = _marks(problem)
        self.size = len(self.marks) + 1
        self._levels = np.array([[-1.0], [0.0], [1.0], [2.0]])
        self._sums = np.zeros((4, self.size + 1))
        self.steps = tuple(self._steps_of(k.options) for k in problem.kinds)
        self.values = np.zeros(self.size)
        self.opened = 0
        for run, option in enumerate(self.choice):
            self._put(run, option, 1)
            self.opened += int(problem.options(run).opened[option])
        self.weight = problem.breach_weight(self.choice)

    @property
    def planks(self) -> int:
        """Planks of the present choice."""
        return self.opened - int(self.values.min())

    def improve(self, floor: int, moves: int) -> bool:
        """Look for a layout with fewer planks than now and no worse breaches, down to `floor`; give
        up after `moves` moves without one. The choice is the best found.
        """
        best, best_planks, allowed = list(self.choice), self.planks, self.weight
        found = False
        while best_planks > floor and self._reach(best_planks - 1, allowed, moves):
            best, best_planks, allowed = list(self.choice), self.planks, self.weight
            found = True
        self.restart(best)
        return found

    def repair(self, target: int, allowed: float, moves: int) -> bool:
        """Look for a choice with at most `target` planks and breaches of at most the allowed weight."""
        before = list(self.choice)
        if self._reach(target, allowed, moves):
            return True
        self.restart(before)
        return False

    def settle(self, moves: int, least: float) -> float:
        """Look for a choice with less weight of breaches, whatever the planks, down to `least`; the
        weight reached.
        """
        best, lightest = list(self.choice), self.weight
        done = 0
        while done < moves and lightest > least + EPS:
            for run, temperature in self._cycle():
                self._move(run, temperature, target=self.opened + self.size)
                done += 1
                if self.weight < lightest - EPS:
                    best, lightest = list(self.choice), self.weight
        self.restart(best)
        return lightest

    def _reach(self, target: int, allowed: float, moves: int) -> bool:
        """Move until the choice needs at most `target` planks and weighs no more than allowed."""
        done = 0
        while done < moves:
            for run, temperature in self._cycle():
                lack = self._move(run, temperature, target)
                if lack < EPS and self.weight <= allowed + EPS:
                    return True
                done += 1
        return False

    def _cycle(self) -> list[tuple[int, float]]:
        """One cooling: runs in random order, each sweep a little colder."""
        plan = []
        runs = list(range(self.problem.size))
        for sweep in range(CYCLE_SWEEPS):
            temperature = HOT * (COLD / HOT) ** (sweep / (CYCLE_SWEEPS - 1))
            self.random.shuffle(runs)
            plan += [(run, temperature) for run in runs]
        return plan

    def _move(self, run: int, temperature: float, target: int) -> float:
        """Choose again for one run; returns what is still lacking of V for the target."""
        old = self.choice[run]
        weights = self._weights(run)
        lacks = self._lacks(run, target)
        cost = lacks * (1.0 / (LACK_SHARE * self.size)) + weights
        chances = np.exp((cost.min() - cost) * (1.0 / temperature)).cumsum()
        new = int(chances.searchsorted(self.random.random() * chances[-1], side="right"))
        new = min(new, len(cost) - 1)
        self._put(run, new, 1)
        opened = self.problem.options(run).opened
        self.opened += int(opened[new] - opened[old])
        self.weight += float(weights[new] - weights[old])
        self.choice[run] = new
        return float(lacks[new])

    def _weights(self, run: int) -> Table:
        weights = self.problem.options(run).price
        for other, table in self.problem.links[run]:
            weights = weights + table[self.choice[other]]
        return weights

    def _lacks(self, run: int, target: int) -> Floats:
        """Take the run out and tell, for each of its options, what V would then lack in all."""
        old = self.choice[run]
        self._put(run, old, -1)
        steps = self.steps[self.problem.nodes[run].kind]
        rest = self.opened - int(self.problem.options(run).opened[old]) + steps.least - target
        lack = np.maximum(rest - self.values - self._levels, 0.0)
        np.cumsum(lack, axis=1, out=self._sums[:, 1:])
        read = self._sums.ravel().take(steps.reads)
        lacks: Floats = read[0] + read[1] - read[2] - read[3] + read[4]
        return lacks

    def _put(self, run: int, option: int, sign: int) -> None:
        steps = self.steps[self.problem.nodes[run].kind]
        self.values[steps.above[option] :] += sign
        self.values[: steps.below[option]] += sign

    def restart(self, choice: Sequence[int]) -> None:
        """Go on from another choice."""
        for run, option in enumerate(choice):
            if option != self.choice[run]:
                opened = self.problem.options(run).opened
                self._put(run, self.choice[run], -1)
                self._put(run, option, 1)
                self.opened += int(opened[option] - opened[self.choice[run]])
                self.choice[run] = option
        self.weight = self.problem.breach_weight(self.choice)

    def _steps_of(self, options: Options) -> _Steps:
        """V at mark j counts first pieces below it and last pieces that leave it; past all marks, all
        first pieces.

        With an option in, what lacks at j is max(0, rest + extra - added - V): `added` is 1 outside
        the stretch between `above` and `below` and 2 or 0 inside. So its sum over all j is read from
        running sums of max(0, rest - V - level) at level = added - extra.
        """
        above = np.where(
            np.isfinite(options.need),
            np.searchsorted(self.marks, options.need - EPS) + 1,
            self.size,
        )
        below = np.searchsorted(self.marks, options.room + EPS, side="right")
        least = int(options.opened.min())
        extra = options.opened - least
        outside = 2 - extra
        inside = np.where(above < below, 3, 1) - extra
        start, stop = np.minimum(above, below), np.maximum(above, below)
        width = self.size + 1
        reads = np.stack(
            [
                outside * width + self.size,
                inside * width + stop,
                inside * width + start,
                outside * width + stop,
                outside * width + start,
            ]
        )
        return _Steps(above=above, below=below, least=least, reads=reads)
