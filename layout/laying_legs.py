"""Room by room, leg by leg: of all orders in which no two neighbours change places, the one to take."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush

Neighbours = Mapping[int, tuple[tuple[int, int], ...]]
"""Per part (side, part): +1 above it, -1 below it, 0 further on in the same run."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A run, or the stretch of it that is laid in one stage: [x0, x1] in the bay frame, mm. `place` is
    the room it lies in, `stage` the earliest in which it may be laid.
    """

    index: int
    run: int
    row: int
    x0: float
    x1: float
    stage: int = 1
    place: int = 0


@dataclass(slots=True, kw_only=True)
class Reached:
    """Filled in while parts are reached: the way the work goes on when a part is laid, the stage, how
    often the hand changed on the way there in that stage, and all parts one after the other.
    """

    ahead: int
    hand: dict[int, int] = field(default_factory=dict)
    stage: dict[int, int] = field(default_factory=dict)
    changes: dict[int, int] = field(default_factory=dict)
    order: list[int] = field(default_factory=list)
    apart: set[int] = field(default_factory=set)


def leg_by_leg(parts: Sequence[Part], neighbours: Neighbours, reached: Reached) -> tuple[int, ...]:
    """The parts in an order in which no two neighbours change places, staying in one group of parts (one
    room, one hand, one stage, in one piece) as long as there is something to lay in it.
    """
    after = _after(neighbours, reached)
    groups = _Groups(parts, after, reached)
    ready = _Ready(after, groups, reached.order)
    here = groups.of[reached.order[0]]
    order: list[int] = []
    while len(order) < len(reached.order):
        here = ready.group(here)
        order.append(ready.take(here))
    return tuple(order)


def _after(neighbours: Neighbours, reached: Reached) -> dict[int, list[int]]:
    """Per part the neighbours that were reached after it."""
    place = {i: n for n, i in enumerate(reached.order)}
    after: dict[int, list[int]] = {i: [] for i in reached.order}
    for i in reached.order:
        for side, other in neighbours[i]:
            if place[other] > place[i]:
                after[i].append(other)
            elif side == 0:
                after[other].append(i)
    return after


class _Ready:
    """Parts that nothing stands in the way of any more, by group."""

    def __init__(
        self, after: Mapping[int, Sequence[int]], groups: _Groups, order: Sequence[int]
    ) -> None:
        self._after = after
        self._groups = groups
        self._waits = dict.fromkeys(order, 0)
        self._ready: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for later in after.values():
            for i in later:
                self._waits[i] += 1
        for i in order:
            if not self._waits[i]:
                self._add(i)

    def _add(self, i: int) -> None:
        heappush(self._ready[self._groups.of[i]], (self._groups.place[i], i))

    def group(self, here: int) -> int:
        """The group to go on in: this one while it has something to lay."""
        if self._ready[here]:
            return here
        return min(
            (g for g, own in self._ready.items() if own), key=lambda g: self._groups.far(g, here)
        )

    def take(self, group: int) -> int:
        """The next part of a group."""
        _, index = heappop(self._ready[group])
        for i in self._after[index]:
            self._waits[i] -= 1
            if not self._waits[i]:
                self._add(i)
        return index


class _Groups:
    """Parts of one room, hand and stage that hang together. `of` is a part's group (one of its parts),
    `place` its place in the order that goes through the group leg by leg: a row that the floor is parted
    above is followed by all of one leg, then all of the next; legs that meet again are one.
    """

    def __init__(
        self, parts: Sequence[Part], after: Mapping[int, Sequence[int]], reached: Reached
    ) -> None:
        self._room = {p.index: p.place for p in parts}
        self._reached = reached
        self._when = {i: n for n, i in enumerate(reached.order)}
        alike = {
            i: (reached.stage[i], reached.hand[i], reached.changes[i], self._room[i])
            for i in reached.order
        }
        root = {i: i for i in reached.order}
        legs: dict[int, list[int]] = {}
        for i in reversed(reached.order):
            own = {_root(root, o) for o in after[i] if alike[o] == alike[i]}
            legs[i] = sorted(own, key=lambda leg: self._when[leg])
            for leg in legs[i]:
                root[leg] = i
        self.of = {i: _root(root, i) for i in reached.order}
        self.place = _preorder(legs, [i for i in reached.order if self.of[i] == i])

    def far(self, group: int, here: int) -> tuple[int, bool, int, int]:
        """What comes first is the stage, then the same room, then fewest changes of hand."""
        return (
            self._reached.stage[group],
            self._room[group] != self._room[here],
            self._reached.changes[group],
            self._when[group],
        )


def _root(root: dict[int, int], i: int) -> int:
    while root[i] != i:
        root[i] = root[root[i]]
        i = root[i]
    return i


def _preorder(legs: Mapping[int, Sequence[int]], roots: Sequence[int]) -> dict[int, int]:
    """Places in the walk that finishes one leg before the next."""
    place: dict[int, int] = {}
    stack = list(reversed(roots))
    while stack:
        i = stack.pop()
        place[i] = len(place)
        stack.extend(reversed(legs[i]))
    return place
