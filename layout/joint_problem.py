"""The joint problem as the search sees it: nodes with options, conflict tables per pair of nodes.

A node is a run, or two runs whose strips are ripped from the same planks and so share their first
piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from importer.tolerance import SAME_POINT_MM
from layout.demand import BayDemand
from layout.joint_candidates import (
    Options,
    RunKind,
    Tier,
    Trying,
    joints_of,
    kind_of,
    options_at,
    points_of,
)
from layout.joint_conflicts import Table, conflicts
from layout.joint_strips import Rides, rides


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Node:
    """Runs that share their first piece, the host of the planks first. `kind` numbers its options."""

    runs: tuple[int, ...]
    kind: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kind:
    """What alike nodes choose from: the options, and the same options as each run sees them."""

    options: Options
    faces: tuple[Options, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seam:
    """Two nodes that touch, and the weight of their conflicts by option of `lower`, of `upper`."""

    lower: int
    upper: int
    table: Table


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """`links[n]` lists the nodes that n touches, each with a table whose row for the neighbour's
    option prices n's options.
    """

    demand: BayDemand
    nodes: tuple[Node, ...]
    kinds: tuple[Kind, ...]
    seams: tuple[Seam, ...]
    links: tuple[tuple[tuple[int, Table], ...], ...]

    @property
    def size(self) -> int:
        """Number of nodes."""
        return len(self.nodes)

    def options(self, node: int) -> Options:
        """The options of a node."""
        return self.kinds[self.nodes[node].kind].options

    def breach_weight(self, choice: Sequence[int]) -> float:
        """Weight of all breaches of a choice of one option per node."""
        own = sum(float(self.options(n).price[k]) for n, k in enumerate(choice))
        return own + sum(float(s.table[choice[s.lower], choice[s.upper]]) for s in self.seams)

    def planks(self, choice: Sequence[int]) -> int:
        """Planks of a choice when every offcut may serve any run."""
        opened = sum(int(self.options(n).opened[k]) for n, k in enumerate(choice))
        need = np.sort([self.options(n).need[k] for n, k in enumerate(choice)])
        room = np.sort([self.options(n).room[k] for n, k in enumerate(choice)])
        return opened - greatest_matching(need, room)

    def joints(self, choice: Sequence[int]) -> tuple[tuple[float, ...], ...]:
        """Per run of the demand its joints."""
        runs = self.demand.runs
        found: list[tuple[float, ...]] = [()] * len(runs)
        for node, option in zip(self.nodes, choice, strict=True):
            first = float(self.kinds[node.kind].options.first[option])
            for run in node.runs:
                found[run] = joints_of(runs[run], first, self.demand)
        return tuple(found)


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


def build(
    demand: BayDemand, tiers: Sequence[Tier], *, riding: bool = True, trying: Trying | None = None
) -> Problem:
    """Options and tables for the given tier of every run; equal pairs share one table.

    Args:
        demand: Runs, touches and rules.
        tiers: Per run, how well its ends must keep the rules.
        riding: Whether strips may share planks (and then their first pieces).
        trying: Which first pieces are tried, if not the usual ones.
    """
    run_kinds = [kind_of(run, tier) for run, tier in zip(demand.runs, tiers, strict=True)]
    ride = rides(demand) if riding else Rides(bound={}, free=frozenset())
    nodes, kinds = _nodes(demand, run_kinds, ride, trying or Trying())
    place = {run: (n, m) for n, node in enumerate(nodes) for m, run in enumerate(node.runs)}
    made: dict[tuple[int, int, int, int, float, float], Table] = {}
    between: dict[tuple[int, int], Table] = {}
    for touch in demand.touches:
        (a, member_a), (b, member_b) = place[touch.below], place[touch.above]
        pair = (nodes[a].kind, member_a, nodes[b].kind, member_b)
        key = (*pair, round(touch.x0, 3), round(touch.x1, 3))
        if key not in made:
            faces = (kinds[pair[0]].faces[pair[1]], kinds[pair[2]].faces[pair[3]])
            runs = (demand.runs[touch.below], demand.runs[touch.above])
            made[key] = conflicts(runs, touch, faces, demand)
        table = made[key]
        if b < a:
            a, b, table = b, a, made.setdefault((*key[2:4], *key[:2], *key[4:]), table.T)
        between[a, b] = between[a, b] + table if (a, b) in between else table
    seams = tuple(Seam(lower=a, upper=b, table=between[a, b]) for a, b in sorted(between))
    return Problem(
        demand=demand, nodes=nodes, kinds=kinds, seams=seams, links=_links(seams, len(nodes))
    )


def _nodes(
    demand: BayDemand, run_kinds: Sequence[RunKind], ride: Rides, trying: Trying
) -> tuple[tuple[Node, ...], tuple[Kind, ...]]:
    rider_of = {h: q for q, h in ride.bound.items()}
    number: dict[tuple[RunKind | None, RunKind | None, bool], int] = {}
    kinds: list[Kind] = []
    nodes: list[Node] = []
    seated: set[int] = set()
    order = [*rider_of, *(r for r in range(len(run_kinds)) if r not in rider_of)]
    for run in order:
        if run in seated:
            continue
        free = run in ride.free
        rider = rider_of.get(run)
        key = (run_kinds[run], None if rider is None else run_kinds[rider], free)
        if key not in number:
            kind = (
                None if rider is None else _shared(run_kinds[run], run_kinds[rider], demand, trying)
            )
            if kind is None:
                key = (run_kinds[run], None, free)
            if key not in number:
                number[key] = len(kinds)
                kinds.append(kind or _alone(run_kinds[run], demand, trying, free=free))
        runs = (run,) if rider is None or key[1] is None else (run, rider)
        seated.update(runs)
        nodes.append(Node(runs=runs, kind=number[key]))
    nodes.sort(key=lambda node: node.runs)
    return tuple(nodes), tuple(kinds)


def _alone(kind: RunKind, demand: BayDemand, trying: Trying, *, free: bool) -> Kind:
    face = options_at(points_of(kind, demand, trying), kind, demand)
    if not free:
        return Kind(options=face, faces=(face,))
    never = np.full(face.size, np.inf)
    planks = np.zeros_like(face.opened)
    return Kind(options=replace(face, opened=planks, need=never, room=-never), faces=(face,))


def _shared(host: RunKind, rider: RunKind, demand: BayDemand, trying: Trying) -> Kind | None:
    """First pieces that serve both, the rider's pieces beside the host's; None when there is none."""
    points = np.union1d(points_of(host, demand, trying), points_of(rider, demand, trying))
    points = options_at(options_at(points, host, demand).first, rider, demand).first
    long, short = options_at(points, host, demand), options_at(points, rider, demand)
    whole = long.opened - short.opened
    inside = (whole > 0) | ((whole == 0) & (short.last <= long.last + SAME_POINT_MM))
    if not inside.any():
        return None
    points = points[inside]
    long, short = options_at(points, host, demand), options_at(points, rider, demand)
    return Kind(options=replace(long, price=long.price + short.price), faces=(long, short))


def _links(seams: Sequence[Seam], nodes: int) -> tuple[tuple[tuple[int, Table], ...], ...]:
    links: list[list[tuple[int, Table]]] = [[] for _ in range(nodes)]
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
