"""The order of laying.

From the starter run upwards every row locks into the one below it: forward. A stretch that can only be
reached from a row above it, behind the starter row or back down a leg, is laid in reverse, tongue and
groove swapped. The order with the fewest changes of hand is a shortest path over touching runs (0-1
Dijkstra, cost 1 where the hand changes), ties by row, then by place along it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from layout.floor import Run, Touch


@dataclass(frozen=True, slots=True, kw_only=True)
class LayingOrder:
    """Run indices in the order of laying; those laid in reverse; those whose two sides were both laid
    before them (they cannot be clicked in); those not joined to the starter run by any seam.
    """

    runs: tuple[int, ...]
    reversed_runs: frozenset[int]
    trapped: frozenset[int]
    apart: frozenset[int]


def lay_order(runs: Sequence[Run], touches: Sequence[Touch]) -> LayingOrder:
    """The order from the longest run of the starter row, upwards."""
    starter_row = [r for r in runs if r.row == 1] or [r for r in runs if r.row > 0] or list(runs)
    lowest = min(r.row for r in starter_row)
    starter = max(
        (r for r in starter_row if r.row == lowest), key=lambda r: (round(r.length_mm), -r.index)
    )
    return order_from(starter.index, runs, touches, upwards=True)


def order_from(
    starter: int, runs: Sequence[Run], touches: Sequence[Touch], *, upwards: bool
) -> LayingOrder:
    """The order from one run, the work going on upwards or downwards from it."""
    neighbours = _neighbours(runs, touches)
    by_index = {r.index: r for r in runs}
    hand: dict[int, int] = {}
    order: list[int] = []
    apart: set[int] = set()
    ahead = 1 if upwards else -1
    seeds = [starter, *sorted(by_index, key=lambda i: (ahead * by_index[i].row, by_index[i].x0))]
    for seed in seeds:
        if seed in hand:
            continue
        if order:
            apart.add(seed)
        _spread(seed, neighbours, by_index, ahead, (hand, order))
    place = {i: n for n, i in enumerate(order)}
    return LayingOrder(
        runs=tuple(order),
        reversed_runs=frozenset(i for i, h in hand.items() if h != ahead),
        trapped=frozenset(i for i in order if is_trapped(i, neighbours, place)),
        apart=frozenset(apart),
    )


def _spread(
    seed: int,
    neighbours: Mapping[int, tuple[tuple[int, int], ...]],
    runs: Mapping[int, Run],
    ahead: int,
    laid: tuple[dict[int, int], list[int]],
) -> None:
    """Lay everything that hangs together with `seed`, whose hand is forward. `laid` is filled in: hand
    (the way the work went on when the run was laid) and order.
    """
    hand, order = laid
    queue: list[tuple[int, int, float, int, int]] = []

    def offer(cost: int, index: int, way: int) -> None:
        run = runs[index]
        heappush(queue, (cost, way * run.row, run.x0, index, way))

    offer(0, seed, ahead)
    while queue:
        cost, _, _, index, way = heappop(queue)
        if index in hand:
            continue
        hand[index] = way
        order.append(index)
        for side, other in neighbours[index]:
            if other not in hand:
                offer(cost + (side != way), other, side)


def _neighbours(
    runs: Sequence[Run], touches: Sequence[Touch]
) -> Mapping[int, tuple[tuple[int, int], ...]]:
    """Per run (side, run): +1 above it, -1 below it; each pair once."""
    found: dict[int, set[tuple[int, int]]] = {r.index: set() for r in runs}
    for t in touches:
        found[t.below].add((1, t.above))
        found[t.above].add((-1, t.below))
    return {i: tuple(sorted(pairs)) for i, pairs in found.items()}


def is_trapped(
    index: int, neighbours: Mapping[int, tuple[tuple[int, int], ...]], place: Mapping[int, int]
) -> bool:
    """Whether a row on either side of a run was laid before it. `place` is the place in the order."""
    sides = {side for side, other in neighbours[index] if place[other] < place[index]}
    return len(sides) == 2
