"""Other joints for as few runs as possible, every other run keeping its own.

A run's joints are fixed by its first piece. Of the runs that are free, each takes the first piece
nearest to what it had that keeps its ends long enough and its joints apart from those of the runs it
touches; depth first over the free runs, with a fixed number of trials, so that a result never depends
on the clock.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from importer.tolerance import LENGTH_MM
from layout.floor import Run
from layout.rules import RuleSet
from layout.site_keep import Joints, Refloor, spaced

STEP_MM: Final = 5.0
"""Spacing of the first pieces that are tried: what a fitter would round to."""
MOST_TRIALS: Final = 4000
"""Placements tried before the best found so far is taken."""


def with_other_joints(new: Refloor, free: frozenset[int], rules: RuleSet) -> Refloor:
    """The floor with other joints in the free runs: as few pairs of joints too close as can be found,
    then as near to the old ones as possible.
    """
    search = _Search(new=new, rules=rules, free=sorted(free))
    return replace(new, joints=search.best())


@dataclass(slots=True)
class _Search:
    new: Refloor
    rules: RuleSet
    free: Sequence[int]
    trials: int = 0
    clashes: int = 1 << 30
    found: Joints = ()
    neighbours: Mapping[int, tuple[tuple[int, float, float], ...]] = field(init=False)

    def best(self) -> Joints:
        """The joints of all runs."""
        self.neighbours = _neighbours(self.new)
        self.found = self.new.joints
        choices = [
            list(first_pieces(self.new.runs[r], self.new.joints[r], self.rules)) for r in self.free
        ]
        start = list(self.new.joints)
        for run in self.free:
            start[run] = ()
        self._place(0, start, 0, choices)
        return self.found

    def _place(
        self, n: int, joints: list[tuple[float, ...]], clashes: int, choices: Sequence[list[float]]
    ) -> None:
        if clashes >= self.clashes or self.trials > MOST_TRIALS:
            return
        if n == len(self.free):
            self.clashes, self.found = clashes, tuple(joints)
            return
        run = self.free[n]
        options = []
        for rank, first in enumerate(choices[n]):
            places = spaced(self.new.runs[run], first, self.rules.plank.length)
            options.append((self._clashes(run, places, joints), rank, places))
        if not options:
            kept = self.new.joints[run]
            options = [(self._clashes(run, kept, joints), 0, kept)]
        options.sort(key=lambda o: o[:2])
        for more, _, places in options:
            if clashes + more >= self.clashes or self.trials > MOST_TRIALS:
                break
            self.trials += 1
            joints[run] = places
            self._place(n + 1, joints, clashes + more, choices)
        joints[run] = ()

    def _clashes(self, run: int, places: Sequence[float], joints: Sequence[Sequence[float]]) -> int:
        """Joints of the run too close to one of a run that it touches."""
        least = self.rules.joints.min_offset - LENGTH_MM
        count = 0
        for other, x0, x1 in self.neighbours.get(run, ()):
            theirs = [x for x in joints[other] if x0 - LENGTH_MM <= x <= x1 + LENGTH_MM]
            for x in places:
                if x0 - LENGTH_MM <= x <= x1 + LENGTH_MM:
                    count += sum(abs(x - y) < least for y in theirs)
        return count


def _neighbours(new: Refloor) -> Mapping[int, tuple[tuple[int, float, float], ...]]:
    found: dict[int, list[tuple[int, float, float]]] = {}
    for t in new.touches:
        found.setdefault(t.below, []).append((t.above, t.x0, t.x1))
        found.setdefault(t.above, []).append((t.below, t.x0, t.x1))
    return {run: tuple(others) for run, others in found.items()}


def first_pieces(run: Run, joints: Sequence[float], rules: RuleSet) -> Iterator[float]:
    """First pieces that give long enough ends, nearest to the old one first; where none does, those that
    keep the graver limit. Nothing where a piece from wall to wall is long enough.
    """
    plank, length = rules.plank.length, run.x1 - run.x0
    if length <= plank:
        return
    old = joints[0] - run.x0 if joints else length / 2
    for least in (rules.ends.min_length, rules.never_below_mm):
        low, high = least + run.void_start_mm, plank
        last_least = least + run.void_end_mm
        tried = np.unique(
            np.append(np.arange(low, high, STEP_MM), [high, min(max(old, low), high)])
        )
        rest = (length - tried) % plank
        last = np.where(rest <= LENGTH_MM, plank, rest)
        good = tried[(last >= last_least - LENGTH_MM) & (tried <= plank) & (tried < length)]
        if len(good):
            yield from good[np.argsort(np.abs(good - old), kind="stable")].tolist()
            return
