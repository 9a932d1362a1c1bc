"""The order of laying.

From the starter run upwards every row locks into the one below it: forward. A stretch that can only be
reached from a row above it, behind the starter row or back down a leg, is laid in reverse, tongue and
groove swapped. The way of working with the fewest changes of hand is a shortest path over touching runs
(0-1 Dijkstra, cost 1 where the hand changes), ties by row, then by place along it. Within one cost the
rows only go on in one direction, so no run is ever reached from both its sides: whichever neighbour was
laid first offered it a way that was no dearer.

What may be laid before what follows from that; among the orders it allows, the one taken stays in a room
as long as there is something to lay, and finishes one leg before it begins the next.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from layout.floor import Run, Touch
from layout.laying_legs import Neighbours, Part, Reached, leg_by_leg


@dataclass(frozen=True, slots=True, kw_only=True)
class LayingOrder:
    """Indices of runs (or parts of runs) in the order of laying; those laid in reverse; those whose two
    sides were both laid before them (they cannot be clicked in); those not joined to the starter run by
    any seam. `stages` are the stages in which they are laid, in that order.
    """

    runs: tuple[int, ...]
    reversed_runs: frozenset[int]
    trapped: frozenset[int]
    apart: frozenset[int]
    stages: tuple[int, ...] = ()


def lay_order(runs: Sequence[Run], touches: Sequence[Touch]) -> LayingOrder:
    """The order from the longest run of the starter row, upwards."""
    return lay_parts(parts_of(runs), touches)


def order_from(
    starter: int, runs: Sequence[Run], touches: Sequence[Touch], *, upwards: bool
) -> LayingOrder:
    """The order from one run, the work going on upwards or downwards from it."""
    return lay_parts(parts_of(runs), touches, starter=starter, upwards=upwards)


def parts_of(runs: Sequence[Run], places: Sequence[int] = ()) -> tuple[Part, ...]:
    """Every run as one part."""
    rooms = places or [0] * len(runs)
    return tuple(
        Part(index=r.index, run=r.index, row=r.row, x0=r.x0, x1=r.x1, place=room)
        for r, room in zip(runs, rooms, strict=True)
    )


def lay_parts(
    parts: Sequence[Part],
    touches: Sequence[Touch],
    *,
    starter: int | None = None,
    upwards: bool = True,
) -> LayingOrder:
    """The order of parts, each stage finished before the next begins.

    Args:
        parts: What is to be laid; indices count from 0 in the order row, then x.
        touches: Seams between parts, by their indices.
        starter: Where the work begins; left out, the longest part of the starter row.
        upwards: Whether the work goes on upwards from there.
    """
    if not parts:
        return LayingOrder(
            runs=(), reversed_runs=frozenset(), trapped=frozenset(), apart=frozenset()
        )
    neighbours = _neighbours(parts, touches)
    reached = Reached(ahead=1 if upwards else -1)
    _reach(parts, neighbours, _starter(parts) if starter is None else starter, reached)
    order = leg_by_leg(parts, neighbours, reached)
    place = {i: n for n, i in enumerate(order)}
    return LayingOrder(
        runs=order,
        reversed_runs=frozenset(i for i, h in reached.hand.items() if h != reached.ahead),
        trapped=frozenset(i for i in order if is_trapped(i, neighbours, place)),
        apart=frozenset(reached.apart),
        stages=tuple(reached.stage[i] for i in order),
    )


def _starter(parts: Sequence[Part]) -> int:
    first = min(p.stage for p in parts)
    rows = [p for p in parts if p.stage == first]
    rows = [p for p in rows if p.row > 0] or rows
    lowest = min(p.row for p in rows)
    return max(
        (p for p in rows if p.row == lowest), key=lambda p: (round(p.x1 - p.x0), -p.index)
    ).index


def _neighbours(parts: Sequence[Part], touches: Sequence[Touch]) -> Neighbours:
    """Each pair once; parts of one run only from the first on."""
    found: dict[int, set[tuple[int, int]]] = {p.index: set() for p in parts}
    for t in touches:
        found[t.below].add((1, t.above))
        found[t.above].add((-1, t.below))
    before: dict[int, int] = {}
    for p in sorted(parts, key=lambda p: (p.run, p.x0)):
        if p.run in before:
            found[before[p.run]].add((0, p.index))
        before[p.run] = p.index
    return {i: tuple(sorted(pairs)) for i, pairs in found.items()}


def is_trapped(index: int, neighbours: Neighbours, place: Mapping[int, int]) -> bool:
    """Whether a row on either side of a run was laid before it. `place` is the place in the order."""
    sides = {side for side, other in neighbours[index] if side and place[other] < place[index]}
    return len(sides) == 2


# --- which way every part is reached ------------------------------------------------------------


def _reach(parts: Sequence[Part], neighbours: Neighbours, starter: int, reached: Reached) -> None:
    by_index = {p.index: p for p in parts}
    stages = sorted({p.stage for p in parts})
    for stage in stages:
        spread = _Spread(neighbours, by_index, reached, stage)
        if not reached.order:
            spread.offer(0, starter, reached.ahead)
        for laid in reached.order:
            spread.offer_beside(laid, 0)
        spread.run()
    for seed in sorted(by_index, key=lambda i: (reached.ahead * by_index[i].row, by_index[i].x0)):
        if seed not in reached.hand:
            reached.apart.add(seed)
            spread = _Spread(neighbours, by_index, reached, stages[-1])
            spread.offer(0, seed, reached.ahead)
            spread.run()


class _Spread:
    """Reaches everything that a stage allows and that hangs together with what was offered."""

    def __init__(
        self, neighbours: Neighbours, parts: Mapping[int, Part], reached: Reached, stage: int
    ) -> None:
        self._neighbours = neighbours
        self._parts = parts
        self._reached = reached
        self._stage = stage
        self._queue: list[tuple[int, int, float, int, int]] = []

    def offer(self, cost: int, index: int, way: int) -> None:
        """A way to lay a part."""
        part = self._parts[index]
        if part.stage <= self._stage:
            heappush(self._queue, (cost, way * part.row, part.x0, index, way))

    def offer_beside(self, index: int, cost: int) -> None:
        """The ways to go on from a laid part."""
        hand = self._reached.hand
        for side, other in self._neighbours[index]:
            if other not in hand:
                way = side or hand[index]
                self.offer(cost + (way != hand[index]), other, way)

    def run(self) -> None:
        """Reach what can be reached, the least changes of hand first."""
        reached = self._reached
        while self._queue:
            cost, _, _, index, way = heappop(self._queue)
            if index in reached.hand:
                continue
            reached.hand[index] = way
            reached.stage[index] = self._stage
            reached.changes[index] = cost
            reached.order.append(index)
            self.offer_beside(index, cost)
