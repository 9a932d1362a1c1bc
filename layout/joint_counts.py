"""Plan the stock by counts, then put the counted lengths in order.

Where many runs are alike, what matters is how many of a kind take which first piece, not which of
them. A programme over counts finds the fewest planks; handing the lengths to the actual rows so that
joints keep apart is a puzzle of its own, solved by exchanging the lengths of two rows of a kind.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from random import Random
from typing import Final

import numpy as np

from importer.tolerance import GRID_MM
from layout.joint_candidates import Ints
from layout.joint_caps import Windows, solved
from layout.joint_conflicts import Table
from layout.joint_problem import Problem
from layout.joint_search import EPS, Search
from layout.stock_program import NEVER, Cases, Program

MANY_KINDS: Final = 12
"""Above this many kinds of run the programme takes longer than the search and gains nothing."""
DIVES: Final = 40
"""Most times that the programme is solved on the way to whole counts."""
WHOLE: Final = 1e-6
"""How near to a whole number a count of the programme is one."""
HOT: Final = 0.5
COLD: Final = 0.05


def counted_choice(problem: Problem, search: Search) -> list[int] | None:
    """A choice of few planks, its joints kept apart as well as exchanges manage; None when the
    programme has no answer in its limits.
    """
    if len(problem.kinds) > MANY_KINDS:
        return None
    cases = _cases(problem, search)
    program = Program(cases, search.size)
    # Riders are left out of the limits: their joints only narrow what a host can do.
    kind_of_run = [-1] * len(problem.demand.runs)
    x0 = [0.0] * len(problem.kinds)
    for node in problem.nodes:
        kind_of_run[node.runs[0]] = node.kind
        x0[node.kind] = problem.demand.runs[node.runs[0]].x0
    windows = Windows(kind_of_run, x0, cases, problem.demand)
    counts = _dive(program, windows)
    return None if counts is None else _handed_out(problem, counts)


def _dive(program: Program, windows: Windows) -> Ints | None:
    """Whole counts from fractions: keep what is whole, round up some of the rest, solve again."""
    low = np.zeros(program.columns)
    for _ in range(DIVES):
        answer = solved(program, windows, NEVER, low)
        if answer.counts is None:
            return None
        low = np.floor(answer.counts + WHOLE)
        part = answer.counts - low
        open_parts = np.flatnonzero(part > WHOLE)
        if not len(open_parts):
            return low.astype(np.intp)
        order = open_parts[np.argsort(-part[open_parts], kind="stable")]
        for column in order[: max(1, len(order) // 3)]:
            low[column] += 1
    return None


def _cases(problem: Problem, search: Search) -> list[Cases]:
    """The options of every kind as cases of the programme, at the marks of the search."""
    found = []
    times = Counter(node.kind for node in problem.nodes)
    for number, kind in enumerate(problem.kinds):
        options = kind.options
        above, below = search.places(options)
        allowed = options.price <= options.price.min() + EPS
        found.append(
            Cases(
                need=np.where((above < search.size) & allowed, above, NEVER),
                room=np.where(allowed, below, 0),
                opened=options.opened + np.where(allowed, 0, 1),
                low=options.first - GRID_MM,
                high=options.first,
                last=np.where(options.last > 0, options.last, np.inf),
                times=times[number],
            )
        )
    return found


def _handed_out(problem: Problem, counts: np.ndarray) -> list[int]:
    """Lengths to rows: rows of a kind in order take its lengths in turn, small and large by turns."""
    choice = [0] * problem.size
    start = 0
    for number, kind in enumerate(problem.kinds):
        options = kind.options
        lengths = np.repeat(np.arange(options.size), counts[start : start + options.size]).tolist()
        start += options.size
        half = (len(lengths) + 1) // 2
        by_turns = [lengths[n // 2 + (n % 2) * half] for n in range(len(lengths))]
        runs = [n for n, node in enumerate(problem.nodes) if node.kind == number]
        for run, option in zip(runs, by_turns, strict=True):
            choice[run] = option
    return choice


def ordered(problem: Problem, choice: Sequence[int], moves: int, seed: int) -> list[int]:
    """Exchange options between runs of one kind until no joints come too close, or moves run out;
    the best order seen.
    """
    exchange = _Exchange(problem, choice)
    random = Random(seed)  # noqa: S311 (repeatable on purpose)
    best, lightest = list(exchange.choice), exchange.weight
    for move in range(moves):
        if lightest < EPS:
            break
        exchange.step(random, HOT * (COLD / HOT) ** (move / moves))
        if exchange.weight < lightest - EPS:
            best, lightest = list(exchange.choice), exchange.weight
    return best


class _Exchange:
    """A choice with the weight of every option of every run kept up to date."""

    def __init__(self, problem: Problem, choice: Sequence[int]) -> None:
        self.problem = problem
        self.choice = np.array(choice)
        self.kind = np.array([node.kind for node in problem.nodes])
        self.alike = [np.flatnonzero(self.kind == n) for n in range(len(problem.kinds))]
        widest = max(k.options.size for k in problem.kinds)
        self.weights: Table = np.zeros((problem.size, widest))
        for run in range(problem.size):
            self.weights[run, : problem.options(run).size] = problem.options(run).price
            for other, table in problem.links[run]:
                self.weights[run, : table.shape[1]] += table[choice[other]]
        self.weight = problem.breach_weight(choice)

    def step(self, random: Random, temperature: float) -> None:
        """Exchange the option of a run in conflict with that of another of its kind."""
        every = np.arange(self.problem.size)
        now = self.weights[every, self.choice]
        troubled = np.flatnonzero(now > EPS)
        run = int(troubled[random.randrange(len(troubled))])
        others = self.alike[self.kind[run]]
        mine, theirs = self.choice[run], self.choice[others]
        cost = self.weights[run, theirs] + self.weights[others, mine] - now[others]
        near = [other for other, _ in self.problem.links[run]]
        cost[np.isin(others, near) | (theirs == mine)] = np.inf
        if not np.isfinite(cost).any():
            return
        chances = np.exp((cost.min() - cost) / temperature).cumsum()
        place = int(chances.searchsorted(random.random() * chances[-1], side="right"))
        other = int(others[min(place, len(others) - 1)])
        self._set(run, int(self.choice[other]), other, int(mine))

    def _set(self, run: int, option: int, other: int, other_option: int) -> None:
        for one, new in ((run, option), (other, other_option)):
            old = self.choice[one]
            self.weight += float(self.weights[one, new] - self.weights[one, old])
            for neighbour, _ in self.problem.links[one]:
                turned = self._toward(neighbour, one)
                self.weights[neighbour, : turned.shape[1]] += turned[new] - turned[old]
            self.choice[one] = new

    def _toward(self, run: int, other: int) -> Table:
        return next(table for q, table in self.problem.links[run] if q == other)
