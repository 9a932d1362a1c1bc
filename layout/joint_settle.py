"""Breaches before planks: which ends each run may have so that the least rules are broken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from layout.demand import BayDemand
from layout.joint_candidates import RunKind, Tier, Trying, kind_of, lowest_tier
from layout.joint_problem import Problem, build
from layout.joint_rows import first_rows, is_exact
from layout.joint_search import EPS, Search

SEED: Final = 20
FINE_MM: Final = 2.0
FINE_POINTS: Final = 450
"""Spacing of first pieces where the usual one leaves joints too close, and most of them to a plank."""
WIDENINGS: Final = 4
"""Times that runs in conflict may give up one tier."""
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
    """Find the tiers. A run keeps the best tier in which it has a choice at all. Where joints still
    come too close, first pieces are tried more finely; then the runs concerned and their neighbours
    may give up the tolerance, then the minimum end, as long as that lessens the breaches.
    """
    tiers = tuple(lowest_tier(run, demand) for run in demand.runs)
    best = _searched(build(demand, tiers), tiers)
    if _is_best(best):
        return best
    best = min(best, _searched(build(demand, tiers, riding=False), tiers), key=_weight)
    if not _is_best(best):
        best = min(best, _fine(demand, tiers), key=_weight)
    widest = best
    for _ in range(WIDENINGS):
        wider = _widened(widest)
        if _is_best(best) or wider == widest.tiers:
            break
        widest = _searched(build(demand, wider, riding=False), wider)
        best = min(best, widest, key=_weight)
    if not _is_best(best) and best.tiers != tiers:
        best = min(best, _fine(demand, best.tiers), key=_weight)
    return best


def _weight(settled: Settled) -> float:
    return round(settled.weight, 6)


def _is_best(settled: Settled) -> bool:
    return settled.weight <= _unavoidable(settled.problem) + EPS


def _fine(demand: BayDemand, tiers: Sequence[Tier]) -> Settled:
    """With first pieces tried finely, then only the usual ones and those that it takes."""
    step = max(FINE_MM, demand.stock.plank_length / FINE_POINTS)
    problem = build(demand, tiers, riding=False, trying=Trying(step=step))
    return _thinned(_searched(problem, tiers))


def _searched(problem: Problem, tiers: Sequence[Tier]) -> Settled:
    choice = first_rows(problem, SEED)
    weight = problem.breach_weight(choice)
    if weight > _unavoidable(problem) + EPS and not is_exact(problem):
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


def _thinned(fine: Settled) -> Settled:
    """The same choice in a problem of the usual points and those it takes."""
    demand = fine.problem.demand
    kinds = [kind_of(run, tier) for run, tier in zip(demand.runs, fine.tiers, strict=True)]
    firsts = [float(fine.problem.options(n).first[k]) for n, k in enumerate(fine.choice)]
    more: dict[RunKind, tuple[float, ...]] = {}
    for node, first in zip(fine.problem.nodes, firsts, strict=True):
        for run in node.runs:
            more[kinds[run]] = (*more.get(kinds[run], ()), first)
    problem = build(demand, fine.tiers, riding=False, trying=Trying(more=more))
    choice = [
        int(np.abs(problem.options(n).first - first).argmin()) for n, first in enumerate(firsts)
    ]
    weight = problem.breach_weight(choice)
    return replace(fine, problem=problem, choice=tuple(choice), weight=weight)


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
