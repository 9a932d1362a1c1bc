"""Breaches before planks: which ends each run may have so that the least rules are broken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from layout.demand import BayDemand
from layout.joint_candidates import Tier, lowest_tier
from layout.joint_problem import Problem, build
from layout.joint_rows import first_rows
from layout.joint_search import EPS, Search

SEED: Final = 20
SETTLE_MOVES: Final = 150
"""Moves a run to look for fewer conflicts where rows touch in a ring (round a column)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Settled:
    """The problem with the tier of every run fixed, and a first choice with the least weight of
    breaches found. `strict` says that no rule had to be broken.
    """

    problem: Problem
    tiers: tuple[Tier, ...]
    choice: tuple[int, ...]
    weight: float
    strict: bool


def settle(demand: BayDemand) -> Settled:
    """Find the tiers. A run keeps the best tier in which it has a choice at all; where joints still
    come too close, the runs concerned and their neighbours may give up the tolerance, then the
    minimum end, as long as that lessens the breaches.
    """
    tiers = [lowest_tier(run, demand) for run in demand.runs]
    best = _settled(demand, tiers, riding=True)
    if best.weight > _unavoidable(best.problem) + EPS:
        best = _lighter(best, _settled(demand, tiers, riding=False))
    while best.weight > _unavoidable(best.problem) + EPS:
        wider = _widened(best)
        if wider == best.tiers:
            break
        tried = _settled(demand, wider, riding=False)
        if tried.weight > best.weight - EPS and max(wider) >= Tier.SHORT:
            break
        best = tried
    return best


def _lighter(one: Settled, other: Settled) -> Settled:
    return other if other.weight < one.weight - EPS else one


def _settled(demand: BayDemand, tiers: Sequence[Tier], *, riding: bool) -> Settled:
    problem = build(demand, tiers, riding=riding)
    choice = first_rows(problem, SEED)
    weight = problem.breach_weight(choice)
    if weight > _unavoidable(problem) + EPS:
        search = Search(problem, choice, SEED, allowed=np.inf)
        weight = search.settle(SETTLE_MOVES * problem.size, _unavoidable(problem))
        choice = search.choice
    return Settled(
        problem=problem,
        tiers=tuple(tiers),
        choice=tuple(choice),
        weight=weight,
        strict=weight < 1.0 - EPS,
    )


def _unavoidable(problem: Problem) -> float:
    """Weight that remains however the neighbours are set: the lightest option of every run."""
    return sum(float(problem.options(n).price.min()) for n in range(problem.size))


def _widened(settled: Settled) -> tuple[Tier, ...]:
    """One tier more for runs whose joints come too close to a neighbour's, and their neighbours."""
    problem, choice = settled.problem, settled.choice
    ends = {
        node
        for s in problem.seams
        if s.table[choice[s.lower], choice[s.upper]] > EPS
        for node in (s.lower, s.upper)
    }
    around = ends | {other for node in ends for other, _ in problem.links[node]}
    runs = {run for node in around for run in problem.nodes[node].runs}
    return tuple(
        Tier(max(tier, min(tier + 1, Tier.SHORT))) if run in runs else tier
        for run, tier in enumerate(settled.tiers)
    )
