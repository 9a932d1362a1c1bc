"""The first layout: row after row, exactly, with offcuts going to the next row only.

A dynamic programme over a forest of touching runs. In a bay without holes that forest is all of the
touching graph, so the programme also tells whether a layout without breaches exists.
"""

from __future__ import annotations

from random import Random
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from layout.joint_problem import Problem, Seam

BREACH_WEIGHT: Final = 1000.0
"""A breach in planks: more than any bay could save by it."""
JITTER: Final = 0.01
"""Spread of the small random prices that keep equally good rows from all being alike."""

Costs = npt.NDArray[np.floating[Any]]


def first_rows(problem: Problem, seed: int) -> list[int]:
    """One option per run: least breaches, then fewest planks with neighbours sharing offcuts."""
    random = Random(seed)  # noqa: S311 (repeatable on purpose)
    noise = [np.array([random.random() for _ in range(k.options.size)]) for k in problem.kinds]
    cost: list[Costs] = []
    for run in range(problem.size):
        options = problem.options(run)
        shuffled = np.roll(noise[problem.nodes[run].kind], random.randrange(options.size))
        cost.append(options.opened + BREACH_WEIGHT * options.price + JITTER * shuffled)
    order, toward = _forest(problem)
    pair: dict[int, Costs] = {}
    for child in reversed(order):
        seam = toward[child]
        if seam is not None:
            table = _pair_cost(problem, seam[0], shares=seam[1])
            pair[child] = table if seam[0].lower == child else table.T
            parent = _other(seam[0], child)
            cost[parent] = cost[parent] + (cost[child][:, None] + pair[child]).min(axis=0)
    choice = [0] * problem.size
    for run in order:
        seam = toward[run]
        here = cost[run]
        if seam is not None:
            here = here + pair[run][:, choice[_other(seam[0], run)]]
        choice[run] = int(here.argmin())
    return choice


def is_exact(problem: Problem) -> bool:
    """Whether no nodes touch in a ring, so that `first_rows` has the least breaches there are."""
    roots = sum(seam is None for seam in _forest(problem)[1].values())
    return len(problem.seams) == problem.size - roots


def _other(seam: Seam, run: int) -> int:
    return seam.lower if seam.upper == run else seam.upper


def _pair_cost(problem: Problem, seam: Seam, *, shares: bool) -> Costs:
    """Breaches between two neighbours, less the plank saved when the lower one's offcut starts the
    upper.
    """
    table = BREACH_WEIGHT * seam.table
    if not shares:
        return table
    room, need = problem.options(seam.lower).room, problem.options(seam.upper).need
    return table - (room[:, None] >= need[None, :])


def _forest(problem: Problem) -> tuple[list[int], dict[int, tuple[Seam, bool] | None]]:
    """Runs in order from the roots, and for each the seam to its parent; the flag says whether the
    offcut may pass along it (each run gives one and takes one).
    """
    links: list[list[Seam]] = [[] for _ in range(problem.size)]
    for seam in problem.seams:
        links[seam.lower].append(seam)
        links[seam.upper].append(seam)
    order: list[int] = []
    toward: dict[int, tuple[Seam, bool] | None] = {}
    gives, takes = set[int](), set[int]()
    for root in range(problem.size):
        if root in toward:
            continue
        toward[root] = None
        ahead = [root]
        while ahead:
            run = ahead.pop()
            order.append(run)
            for seam in links[run]:
                if _other(seam, run) in toward:
                    continue
                shares = seam.lower not in gives and seam.upper not in takes
                if shares:
                    gives.add(seam.lower)
                    takes.add(seam.upper)
                toward[_other(seam, run)] = (seam, shares)
                ahead.append(_other(seam, run))
    return order, toward
