"""Named bonds: the joints of every row follow from one number, so all that is left is to choose it.

Half bond moves the joints of each row by half a plank against the one before, third bond by a third.
Where the joints lie is the phase of the first row; phases at which a row's ends change, and a grid
between them, are all tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from importer.tolerance import GRID_MM, SAME_POINT_MM
from layout.demand import BayDemand
from layout.joint_blanks import blanks_of
from layout.joint_candidates import Floats, end_price, fits_one_plank, joints_of
from layout.joint_search import EPS
from layout.rules import Bond
from layout.stock import count_planks
from layout.stock_shares import SLACK_MM

PHASE_STEP_MM: Final = 2.0
"""Spacing of the phases tried between those where something changes."""
PER_STEP: Final = 0.02
"""More weight than the ends of all rows can gain between two phases tried, less than a breach."""
COUNTED: Final = 12
"""How many of the best phases are cut from real planks to choose among them."""

SHIFTS: Final = {Bond.HALF: (1 / 2,), Bond.THIRD: (1 / 3, 2 / 3)}
"""Parts of a plank by which each row may move on against the one before."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bonded:
    """First pieces per run (0 where one plank fits), the weight of their breaches, and the planks."""

    joints: tuple[tuple[float, ...], ...]
    weight: float
    planks: int


def bonded(demand: BayDemand) -> Bonded:
    """The phase with the least breaches, then the fewest planks, then the longest shortest end."""
    found = []
    for shift in SHIFTS[demand.bond]:
        rows = _Rows(demand, shift)
        phases = rows.phases()
        weight, planks, shortest = rows.judged(phases)
        order = np.lexsort((phases, -shortest, planks, weight))[:COUNTED]
        for place in order[weight[order] <= weight[order[0]] + EPS]:
            joints = rows.joints(float(phases[place]))
            cut = count_planks(blanks_of(demand, joints), demand.stock)
            rank = (float(weight[place]), cut, -float(shortest[place]), float(phases[place]))
            found.append((rank, joints))
    rank, joints = min(found)
    return Bonded(joints=joints, weight=rank[0], planks=rank[1])


def bond_bound(demand: BayDemand, runs: Sequence[int], weight: float) -> int:
    """Planks that no phase with at most this weight of breaches can beat, for runs whose pieces can't
    lie side by side. Between two phases tried every run counts with the shortest ends it can have.
    """
    return min(_Rows(demand, shift).least(runs, weight) for shift in SHIFTS[demand.bond])


class _Rows:
    """The runs that have joints, moved by `shift` of a plank from row to row."""

    def __init__(self, demand: BayDemand, shift: float) -> None:
        self.demand = demand
        self.plank = demand.stock.plank_length
        long = [r for r in demand.runs if not fits_one_plank(r, demand)]
        self.index = np.array([r.index for r in long], dtype=np.intp)
        # There is no row 0: rows behind the starter row count one on.
        number = np.array([r.row if r.row < 0 else r.row - 1 for r in long], dtype=float)
        self.offset = number * shift * self.plank - np.array([r.x0 for r in long])
        self.length = np.array([r.x1 - r.x0 for r in long])
        self.void_start = np.array([r.void_start_mm for r in long])
        self.void_end = np.array([r.void_end_mm for r in long])

    def phases(self) -> Floats:
        """Phases to try, ascending in [0, plank)."""
        spare, least = self.demand.stock.tolerance, self.demand.min_length
        end = self.length % self.plank
        firsts = [
            least + spare + self.void_start,
            end - least - spare - self.void_end,
            np.full_like(end, self.plank - spare),
            end + spare,
            np.zeros_like(end),
            end,
        ]
        special = np.concatenate([first - self.offset for first in firsts]) % self.plank
        grid = np.arange(0.0, self.plank, PHASE_STEP_MM)
        phases: Floats = np.unique(np.round(np.concatenate([grid, special]), 4))
        return phases

    def ends(self, phases: Floats) -> tuple[Floats, Floats, Floats]:
        """First pieces, last pieces and planks between them: a row per phase, a column per run."""
        first = (phases[:, None] + self.offset) % self.plank
        first = np.where(first < SAME_POINT_MM, self.plank, first)
        rest = self.length - first
        whole = np.maximum(np.ceil((rest - SAME_POINT_MM) / self.plank) - 1, 0)
        return first, rest - whole * self.plank, whole

    def judged(self, phases: Floats) -> tuple[Floats, Floats, Floats]:
        """Per phase the weight of the breaches, the planks if every offcut may serve any run, and the
        shortest end.
        """
        first, last, whole = self.ends(phases)
        weight = self._weight(first, last)
        shortest = np.minimum(first, last).min(axis=1, initial=self.plank)
        return weight, self._planks(first, last, whole), shortest

    def _weight(self, first: Floats, last: Floats) -> Floats:
        price = end_price(first, self.void_start, self.demand)
        price = price + end_price(last, self.void_end, self.demand)
        weight: Floats = np.round(price.sum(axis=1), 6)
        return weight

    def _planks(self, first: Floats, last: Floats, whole: Floats) -> Floats:
        """Planks of every row of ends; see `joint_problem.greatest_matching` for the count."""
        stock = self.demand.stock
        room = self.plank - stock.kerf - stock.tolerance - last
        runs = first.shape[1]
        matched = np.empty(len(first))
        for k, (needs, rooms) in enumerate(zip(np.sort(first), np.sort(room), strict=True)):
            roomy = runs - np.searchsorted(rooms, needs - GRID_MM)
            matched[k] = min((np.arange(runs) + roomy).min(initial=runs), runs)
        planks: Floats = whole.sum(axis=1) + 2 * runs - matched
        return planks

    def joints(self, phase: float) -> tuple[tuple[float, ...], ...]:
        """Joints of all runs at a phase."""
        found: list[tuple[float, ...]] = [()] * len(self.demand.runs)
        for run, first in zip(self.index, self.ends(np.array([phase]))[0][0], strict=True):
            found[run] = joints_of(self.demand.runs[run], float(first), self.demand)
        return tuple(found)

    def least(self, runs: Sequence[int], weight: float) -> int:
        """Fewest planks of these runs at any phase; see `bond_bound`."""
        inside = np.isin(self.index, runs)
        phases = self.phases()
        nexts = np.append(phases[1:], phases[0] + self.plank)
        # Right at a phase an end may be a whole plank that a little further on is a whole plank and a
        # sliver, so the stretches between phases are looked at just inside their ends.
        inset = np.minimum(2 * SAME_POINT_MM, (nexts - phases) / 2)
        stretches = (
            (self.ends(phases), self.ends(phases)),
            (self.ends(phases + inset), self.ends(nexts - inset)),
        )
        best = len(self.demand.runs) * (2 + int(self.length.max(initial=0.0) / self.plank))
        for start, stop in stretches:
            lightest = np.minimum(self._weight(*start[:2]), self._weight(*stop[:2]))
            serves = lightest <= weight + PER_STEP
            first, last, whole = (
                np.minimum(a, b)[serves][:, inside] for a, b in zip(start, stop, strict=True)
            )
            slack = SLACK_MM + 4 * SAME_POINT_MM
            planks = self._planks(first, last - slack, whole)
            best = min(best, int(planks.min(initial=best)))
        return best
