"""The fewest and best-placed breaks of a floor that is longer than the limits: an exact search.

The floor is a graph: cells (rooms, or parts of rooms that are themselves too long), and links where it
could be broken (doorways, necks, lines across a room), each at a cost. A part of the floor is within the
limits exactly if every two of its cells are, so the cells at its two ends tell whether it is too long,
and on the way from one to the other some link has to be cut. Branch and bound on that: every
branch cuts one link of such a way and keeps the links before it; ways that share no cost give a lower
bound. (Minimum multicut; Garg, Vazirani, Yannakakis 1996 give the packing of ways as its dual.)

    [A]--door--[B]--door--[C]     A to C is too long: cut one door or the other
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from importer.tolerance import LENGTH_MM

Floats = NDArray[np.float64]

MOST_BRANCHES: Final = 2000
"""Branches that are looked into before the best found so far is taken: far more than any flat needs."""

_OPEN, _CUT, _KEPT = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A place where the floor between two cells (by index) could be broken, and what that costs."""

    a: int
    b: int
    cost: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cells:
    """Cells by their boxes (n, 4) x0 y0 x1 y1, x along the rows; the links; the greatest extents."""

    boxes: Floats
    links: tuple[Link, ...]
    limits: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Breaks:
    """Links cut (by index), the part of the floor that every cell is in, counted in the order of the
    cells, and whether no cheaper set of links exists.
    """

    cut: tuple[int, ...]
    part: tuple[int, ...]
    is_best: bool

    @property
    def parts(self) -> int:
        """How many parts the floor falls into."""
        return max(self.part, default=-1) + 1


def fewest_breaks(cells: Cells) -> Breaks:
    """The cheapest set of links whose cutting leaves every part of the floor within the limits. A cell
    that is too long by itself does not count against its part.
    """
    search = _Search(cells)
    search.branch([_OPEN] * len(cells.links), 0)
    cut = search.best
    state = [_CUT if i in cut else _OPEN for i in range(len(cells.links))]
    part = search.parts(state)
    # What lies inside one part needs no cutting.
    needed = tuple(i for i in cut if part[cells.links[i].a] != part[cells.links[i].b])
    return Breaks(cut=needed, part=tuple(part), is_best=search.branches < MOST_BRANCHES)


class _Search:
    """Branch and bound over the states of the links."""

    def __init__(self, cells: Cells) -> None:
        self._cells = cells
        self._links = cells.links
        self._at: list[list[tuple[int, int]]] = [[] for _ in range(len(cells.boxes))]
        for i, link in enumerate(self._links):
            self._at[link.a].append((i, link.b))
            self._at[link.b].append((i, link.a))
        self._low = cells.boxes[:, :2].tolist()
        self._high = cells.boxes[:, 2:].tolist()
        self.best: tuple[int, ...] = tuple(range(len(self._links)))
        self._best_cost = sum(link.cost for link in self._links) + 1
        self.branches = 0

    def branch(self, state: list[int], cost: int) -> None:
        """Look into every way to go on from a state; `cost` is that of the links cut in it."""
        if self.branches >= MOST_BRANCHES:
            return
        self.branches += 1
        way = self._too_long(state)
        if way is None:
            if cost < self._best_cost:
                self._best_cost = cost
                self.best = tuple(i for i, s in enumerate(state) if s == _CUT)
            return
        if cost + self._least(state) >= self._best_cost:
            return
        following = list(state)
        for i in sorted(way, key=lambda i: (self._links[i].cost, i)):
            following[i] = _CUT
            self.branch(list(following), cost + self._links[i].cost)
            following[i] = _KEPT

    def parts(self, state: Sequence[int]) -> list[int]:
        """Per cell the part of the floor that it is in."""
        part = [-1] * len(self._at)
        count = 0
        for start in range(len(part)):
            if part[start] >= 0:
                continue
            part[start] = count
            todo = [start]
            while todo:
                for i, other in self._at[todo.pop()]:
                    if state[i] != _CUT and part[other] < 0:
                        part[other] = count
                        todo.append(other)
            count += 1
        return part

    def _too_long(self, state: Sequence[int]) -> list[int] | None:
        """The open links of a way between two cells of one part that are too far apart for it; None
        where every part is within the limits.
        """
        part = self.parts(state)
        members: dict[int, list[int]] = {}
        for cell, p in enumerate(part):
            members.setdefault(p, []).append(cell)
        for own in members.values():
            for axis, limit in enumerate(self._cells.limits):
                first = min(own, key=lambda c: self._low[c][axis])
                last = max(own, key=lambda c: self._high[c][axis])
                if first != last and (
                    self._high[last][axis] - self._low[first][axis] > limit + LENGTH_MM
                ):
                    return self._way(first, last, state)
        return None

    def _way(self, start: int, end: int, state: Sequence[int]) -> list[int]:
        """The open links on the way from cell to cell with the fewest of them (0-1 breadth first)."""
        came: dict[int, tuple[int, int]] = {}
        seen = {start}
        now = [start]
        while now and end not in seen:
            later: list[int] = []
            while now:
                cell = now.pop()
                for i, other in self._at[cell]:
                    if other in seen or state[i] == _CUT:
                        continue
                    if state[i] == _KEPT:
                        seen.add(other)
                        came[other] = (i, cell)
                        now.append(other)
                    else:
                        later.append(cell)
            now = self._step(later, seen, came, state)
        found = []
        while end != start:
            i, end = came[end]
            if state[i] == _OPEN:
                found.append(i)
        return found

    def _step(
        self,
        cells: Sequence[int],
        seen: set[int],
        came: dict[int, tuple[int, int]],
        state: Sequence[int],
    ) -> list[int]:
        """The cells one open link further on."""
        reached = []
        for cell in cells:
            for i, other in self._at[cell]:
                if other not in seen and state[i] == _OPEN:
                    seen.add(other)
                    came[other] = (i, cell)
                    reached.append(other)
        return reached

    def _least(self, state: Sequence[int]) -> int:
        """What cutting must still cost: ways that are too long are paid for one by one, each out of
        what the ways before it left of the costs of its links.
        """
        left = [link.cost for link in self._links]
        trial = list(state)
        total = 0
        while (way := self._too_long(trial)) is not None:
            if not way:
                return self._best_cost
            paid = min(left[i] for i in way)
            total += paid
            for i in way:
                left[i] -= paid
                if left[i] == 0:
                    trial[i] = _CUT
        return total
