"""The joint problem as the search sees it: options per run, conflict tables per pair of runs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from layout.demand import BayDemand
from layout.joint_candidates import Options, RunKind, Tier, kind_of, kinds_of
from layout.joint_conflicts import Table, conflicts


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seam:
    """Two runs that touch, and the weight of their conflicts by option of `lower`, of `upper`."""

    lower: int
    upper: int
    table: Table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Runs by index with the number of their kind; `links[r]` lists the runs that r touches, each
    with a table whose row for the neighbour's option prices r's options.
    """

    demand: BayDemand
    kind: tuple[int, ...]
    options: tuple[Options, ...]
    seams: tuple[Seam, ...]
    links: tuple[tuple[tuple[int, Table], ...], ...]

    @property
    def runs(self) -> int:
        """Number of runs."""
        return len(self.kind)

    def of_run(self, run: int) -> Options:
        """The options of a run."""
        return self.options[self.kind[run]]

    def breach_weight(self, choice: Sequence[int]) -> float:
        """Weight of all breaches of a choice of one option per run."""
        own = sum(float(self.of_run(r).price[k]) for r, k in enumerate(choice))
        return own + sum(float(s.table[choice[s.lower], choice[s.upper]]) for s in self.seams)

    def planks(self, choice: Sequence[int]) -> int:
        """Planks of a choice when every offcut may serve any run and strips are not paired."""
        opened = sum(int(self.of_run(r).opened[k]) for r, k in enumerate(choice))
        need = np.sort([self.of_run(r).need[k] for r, k in enumerate(choice)])
        room = np.sort([self.of_run(r).room[k] for r, k in enumerate(choice)])
        return opened - greatest_matching(need, room)


def greatest_matching(need: Table, room: Table) -> int:
    """Most pieces that can be cut from the rest of another piece's plank; both arrays ascending.

    The graph of what fits where is a threshold graph, so by Koenig's theorem the matching equals
    the least over all t of #(need < t) + #(room >= t).
    """
    need, room = need[np.isfinite(need)], room[np.isfinite(room)]
    if not len(need):
        return 0
    smaller = np.searchsorted(need, need, side="left")
    roomy = len(room) - np.searchsorted(room, need, side="left")
    return int(min((smaller + roomy).min(), len(need)))


def build(demand: BayDemand, tiers: Sequence[Tier]) -> Problem:
    """Options and tables for the given tier of every run; equal pairs share one table."""
    kind, options = kinds_of(demand.runs, tiers, demand)
    kinds = [kind_of(run, tier) for run, tier in zip(demand.runs, tiers, strict=True)]
    made: dict[tuple[RunKind, RunKind, float, float], Table] = {}
    between: dict[tuple[int, int], Table] = {}
    for touch in demand.touches:
        i, j = touch.below, touch.above
        key = (kinds[i], kinds[j], round(touch.x0, 3), round(touch.x1, 3))
        if key not in made:
            pair = (options[kind[i]], options[kind[j]])
            made[key] = conflicts(demand.runs[i], demand.runs[j], touch, pair, demand)
        table = made[key]
        between[i, j] = between[i, j] + table if (i, j) in between else table
    seams = tuple(
        Seam(lower=i, upper=j, table=t) for (i, j), t in sorted(between.items(), key=_pair)
    )
    return Problem(
        demand=demand, kind=kind, options=options, seams=seams, links=_links(seams, kind)
    )


def _pair(item: tuple[tuple[int, int], Table]) -> tuple[int, int]:
    return item[0]


def _links(seams: Sequence[Seam], kind: Sequence[int]) -> tuple[tuple[tuple[int, Table], ...], ...]:
    links: list[list[tuple[int, Table]]] = [[] for _ in kind]
    turned: dict[int, Table] = {}
    for seam in seams:
        if not seam.table.any():
            continue
        key = id(seam.table)
        if key not in turned:
            turned[key] = np.ascontiguousarray(seam.table.T)
        links[seam.upper].append((seam.lower, seam.table))
        links[seam.lower].append((seam.upper, turned[key]))
    return tuple(tuple(link) for link in links)
