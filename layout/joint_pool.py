"""Where the joints of several bays go that share their offcuts.

A plank opened in one bay may give a piece to another, so the bays are one problem of the stock, though
no joint of one has to keep away from a joint of another. Each bay is solved alone first; the search
then goes on over all of them together from there, so the pool never needs more planks than its bays.

A bay solved in mirrored form has its first and last pieces exchanged; in the pool the hands of all bays
must agree, so such a bay enters with the two exchanged back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from layout.bound import Bound
from layout.demand import BayDemand, RunDemand
from layout.floor import Touch
from layout.joint_candidates import Options, fits_one_plank
from layout.joint_looks import better_looks
from layout.joint_mirror import Form, form_key, form_of
from layout.joint_problem import Kind, Node, Problem, Seam
from layout.joint_search import Search
from layout.joint_settle import SEED, Settled

Joints = tuple[tuple[float, ...], ...]

WORTH_PROVING: Final = 2
"""Planks over the bound up to which the bound of a pool is worth more work, which lifts it by one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Start:
    """A bay solved alone: its common form, what was settled there, and the choice of the search."""

    form: Form
    settled: Settled
    choice: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Together:
    """Joints per bay (each in its common form, in the order given), and the bound of the pool."""

    joints: tuple[Joints, ...]
    bound: int


def joined(demands: Sequence[BayDemand]) -> BayDemand:
    """One demand of several bays, side by side and touching nowhere; rules are those of the first."""
    runs: list[RunDemand] = []
    touches: list[Touch] = []
    row = 0
    for demand in demands:
        start = len(runs)
        # An even step keeps the rows of a bay odd and even as they were.
        step = row - 2 * (min((r.row for r in demand.runs), default=0) // 2)
        runs += [replace(r, index=start + r.index, row=r.row + step) for r in demand.runs]
        touches += [
            replace(t, below=start + t.below, above=start + t.above) for t in demand.touches
        ]
        row = 2 * (max((r.row for r in runs), default=0) // 2 + 1)
    return replace(demands[0], runs=tuple(runs), touches=tuple(touches))


def solve_together(starts: Sequence[Start], planks: int, moves: int, sweeps: int) -> Together:
    """Search over the stock of all bays.

    Args:
        starts: The bays, each solved alone.
        planks: Planks of these solutions with the offcuts pooled.
        moves: Moves a run without gain before giving up.
        sweeps: Times that every run is looked at to better the looks.
    """
    turns, order = _agreed(starts)
    pool = [starts[k] for k in order]
    turned = [turns[k] for k in order]
    bound = _bound(pool, turned)
    problem = _pooled(pool, turned)
    choice = [option for s in pool for option in s.choice]
    search = Search(problem, choice, SEED, allowed=sum(s.settled.weight for s in pool))
    if min(planks, search.planks) > bound.planks:
        search.improve(bound.planks, moves * problem.size)
        better_looks(search, search.planks, sweeps)
    least = min(planks, search.planks)
    if least - bound.planks <= WORTH_PROVING:
        bound.raised(least)
    found: dict[int, Joints] = {}
    begin = 0
    for k in order:
        own = starts[k].settled.problem
        found[k] = own.joints(search.choice[begin : begin + own.size])
        begin += own.size
    return Together(
        joints=tuple(found[k] for k in range(len(starts))),
        bound=bound.planks,
    )


def _agreed(starts: Sequence[Start]) -> tuple[list[bool], list[int]]:
    """For each bay whether its form is turned round, and the order of the bays; both the same however
    the bays were given, moved or mirrored.
    """
    ways = [[s.form.mirrored for s in starts]]
    if not any(_hands_matter(s.form.demand) for s in starts):
        ways.append([not m for m in ways[0]])
    keys = [form_key(s.form) for s in starts]
    ranked = []
    for way in ways:
        order = sorted(range(len(starts)), key=lambda k: (keys[k], way[k]))
        ranked.append(([(keys[k], way[k]) for k in order], way, order))
    _, way, order = min(ranked, key=lambda r: r[0])
    return way, order


def _hands_matter(demand: BayDemand) -> bool:
    """See `joint_mirror.common_form`."""
    return demand.stock.tolerance > 0 and any(fits_one_plank(r, demand) for r in demand.runs)


def _bound(pool: Sequence[Start], turned: Sequence[bool]) -> Bound:
    demands, tiers = [], []
    for start, turn in zip(pool, turned, strict=True):
        form = form_of(start.form.demand, along=turn, across=False)
        own = [start.settled.tiers[0]] * len(start.settled.tiers)
        for run, tier in enumerate(start.settled.tiers):
            own[form.place[run]] = tier
        demands.append(form.demand)
        tiers += own
    return Bound(joined(demands), tiers, strict=all(s.settled.strict for s in pool))


def _pooled(pool: Sequence[Start], turned: Sequence[bool]) -> Problem:
    """The problems of the bays as one; equal options stay one kind."""
    nodes: list[Node] = []
    kinds: list[Kind] = []
    seams: list[Seam] = []
    links: list[tuple[tuple[int, np.ndarray], ...]] = []
    run = 0
    for start, turn in zip(pool, turned, strict=True):
        own = start.settled.problem
        first, kind = len(nodes), len(kinds)
        nodes += [Node(runs=tuple(run + r for r in n.runs), kind=kind + n.kind) for n in own.nodes]
        kinds += [_turned(k, own.demand) if turn else k for k in own.kinds]
        seams += [replace(s, lower=first + s.lower, upper=first + s.upper) for s in own.seams]
        links += [tuple((first + n, table) for n, table in link) for link in own.links]
        run += len(own.demand.runs)
    return Problem(
        demand=joined([s.settled.problem.demand for s in pool]),
        nodes=tuple(nodes),
        kinds=tuple(kinds),
        seams=tuple(seams),
        links=tuple(links),
    )


def _turned(kind: Kind, demand: BayDemand) -> Kind:
    """The same pieces with first and last exchanged towards the stock; joints stay as they are."""
    options, stock = kind.options, demand.stock
    rest = stock.plank_length - stock.kerf - stock.tolerance
    turned: Options = replace(
        options,
        need=np.where(np.isfinite(options.room), rest - options.room, np.inf),
        room=np.where(np.isfinite(options.need), rest - options.need, -np.inf),
    )
    return replace(kind, options=turned)
