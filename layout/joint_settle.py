"""Breaches before planks: which ends each run may have so that the least rules are broken."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

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
    breaches found. `strict` says that no run had to give way: no breach, tolerance in hand.
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
    best = _settled(demand, tiers)
    while best.weight > _unavoidable(best.problem) + EPS:
        wider = _widened(best)
        if wider == best.tiers:
            break
        tried = _settled(demand, list(wider))
        if tried.weight > best.weight - EPS and max(wider) >= Tier.SHORT:
            break
        best = tried
    return best


def _settled(demand: BayDemand, tiers: list[Tier]) -> Settled:
    problem = build(demand, tiers)
    choice = first_rows(problem, SEED)
    weight = problem.breach_weight(choice)
    if weight > _unavoidable(problem) + EPS:
        search = Search(problem, choice, SEED)
        weight = search.settle(SETTLE_MOVES * problem.runs, _unavoidable(problem))
        choice = search.choice
    return Settled(
        problem=problem,
        tiers=tuple(tiers),
        choice=tuple(choice),
        weight=weight,
        strict=weight < EPS,
    )


def _unavoidable(problem: Problem) -> float:
    """Weight that remains however the neighbours are set: the lightest option of every run."""
    return sum(float(problem.of_run(r).price.min()) for r in range(problem.runs))


def _widened(settled: Settled) -> tuple[Tier, ...]:
    """One tier more for runs whose joints come too close to a neighbour's, and their neighbours."""
    problem, choice = settled.problem, settled.choice
    ends = {
        run
        for s in problem.seams
        if s.table[choice[s.lower], choice[s.upper]] > EPS
        for run in (s.lower, s.upper)
    }
    around = ends | {other for run in ends for other, _ in problem.links[run]}
    return tuple(
        Tier(max(tier, min(tier + 1, Tier.SHORT))) if run in around else tier
        for run, tier in enumerate(settled.tiers)
    )
