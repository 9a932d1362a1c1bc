"""Planks that no layout under the rules can beat.

Valid for real lengths: nothing is rounded in a layout's favour that a finer grid could use. Planks
are counted as opened - M, and M as at most V(t) = #(first pieces <= t) + #(last pieces that leave
more than t) for every t of a fixed list. A first piece is told apart only by the cells between those
t in which its own length and the room beside its last piece fall, so finitely many cases stand for
all lengths. The linear programme over them is the bound; where a layout is still above it, limits on
phases and then whole numbers are asked for as well.

Strips: pieces that all keep the same long edge, or are too wide to lie side by side, can never share
a length of plank; every such set of pieces gives a bound, and the largest counts. Where a row tapers or
steps back, it depends on its joints which pieces of a run are in such a set (`joint_breadths`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np

from layout.bound_cases import cases_of, marks_of, only_cases
from layout.bound_sets import Inside, counted_in, counted_sets, part_of_cases
from layout.demand import BayDemand, RunDemand
from layout.joint_bonds import bond_bound, bonded
from layout.joint_breadths import Counted
from layout.joint_candidates import RunKind, Tier, fits_one_plank, kind_of
from layout.joint_caps import Windows, solved
from layout.joint_mirror import common_form
from layout.joint_settle import settle
from layout.rules import Bond
from layout.stock_program import SAFE, Cases, Program
from layout.stock_shares import SLACK_MM, add_shares, planks_of

FINE_MM: Final = 5.0
COARSE_MM: Final = 10.0
"""Spacing of the lengths t: fine while the programme stays small, coarse at the most."""
SMALL: Final = 1200
"""Cases of a small programme."""
MANY_KINDS: Final = 12
"""With more kinds of run than this, the lengths at which one of them changes are not singled out."""
MOST_LIFT: Final = 0.35
"""Limits on phases lift the value by less than this, unless first pieces have little choice (own
judgement: lifts measured were 0.05 to 0.2)."""
NO_LAYOUT: Final = 1 << 40
"""Planks of no layout at all: more than any bay needs."""


def lower_bound(demand: BayDemand, *, found: int | None = None) -> int:
    """Planks that no layout under the rules can beat.

    Holds for every layout whose ends keep the rules with the tolerance in hand. Where a run leaves no
    such choice, or joints can't be kept apart otherwise, that run counts with the ends it must be
    allowed.

    Args:
        demand: Runs, touches and rules, mm.
        found: Planks of a layout at hand: the work stops when the bound gets there.
    """
    if not demand.runs:
        return 0
    demand = common_form(demand).demand
    if demand.bond is not Bond.OFFCUT_LED:
        return bonded_bound(demand, bonded(demand).weight)
    enough = NO_LAYOUT if found is None else found
    settled = settle(demand)
    return Bound(demand, settled.tiers, strict=settled.strict).raised(enough)


def quick_bound(demand: BayDemand) -> int:
    """A bound to compare directions by: of the set of runs with most to cut alone, without limits on
    phases.
    """
    return lower_bound(demand, found=0)


def bonded_bound(demand: BayDemand, weight: float) -> int:
    """The same for a named bond with at most this weight of breaches."""
    found = [by_area(demand)]
    for counted in counted_sets(demand):
        ways = [counted_in(run, counted, demand) for run in demand.runs]
        runs = [run for run, inside in zip(demand.runs, ways, strict=True) if inside is Inside.ALL]
        onlys = [r.x1 - r.x0 for r in runs if fits_one_plank(r, demand)]
        if onlys:
            found.append(planks_of(onlys, demand.stock))
        found.append(bond_bound(demand, [r.index for r in runs], weight))
    return max(found)


class Bound:
    """The bound of a bay, `planks`, as far as it has been worked out: at first from the counts of the
    set of pieces with most to cut. `tiers`: how well the ends of each run keep the rules; `strict`: no
    joint need come too close to another.
    """

    def __init__(self, demand: BayDemand, tiers: Sequence[Tier], *, strict: bool) -> None:
        self._demand = demand
        self._tiers = tiers
        self._strict = strict
        self._sets = counted_sets(demand)
        self._groups: list[_Group] = []
        self._tried = 0
        self.planks = by_area(demand)
        self._next()

    def raised(self, found: int) -> int:
        """Look at the other sets of pieces, then ask for limits on phases, as long as the bound is below
        `found`, the planks of a layout at hand.
        """
        while self._sets and self.planks < found:
            self._next()
        while self._tried < len(self._groups) and self.planks < found:
            self._limit(self._groups[self._tried], found)
            self._tried += 1
        return self.planks

    def _limit(self, group: _Group, found: int) -> None:
        """Ask a set for limits on phases as well, where that may lift the bound."""
        if group.program is None or not self._strict:
            return
        lacking = self.planks + SAFE - group.program.solve().value
        if lacking > MOST_LIFT and not _is_tight(group, self._demand):
            return
        windows = Windows(group.kind, group.starts, group.program.cases, self._demand)
        self.planks = max(self.planks, solved(group.program, windows, found).least)

    def _next(self) -> None:
        if self._sets:
            group = self._programmed(self._sets.pop(0))
            self._groups.append(group)
            self.planks = max(self.planks, _linear(group))

    def _programmed(self, counted: Counted) -> _Group:
        demand, tiers = self._demand, self._tiers
        number: dict[tuple[RunKind, RunDemand | None], int] = {}
        kind = [-1] * len(demand.runs)
        onlys = []
        for run in demand.runs:
            inside = counted_in(run, counted, demand)
            if inside is Inside.NONE:
                continue
            if fits_one_plank(run, demand):
                onlys.append(round(run.x1 - run.x0, 3))
                continue
            alike = kind_of(run, tiers[run.index])
            uneven = None if inside is Inside.ALL else replace(run, index=0, row=0)
            kind[run.index] = number.setdefault((alike, uneven), len(number))
        cell = min(COARSE_MM, max(FINE_MM, 2 * demand.stock.plank_length * len(number) / SMALL))
        kinds = tuple(k for k, _ in number)
        marks = marks_of(kinds if len(number) <= MANY_KINDS else (), demand, cell)
        cases = [
            cases_of(alike, kind.count(n), demand, marks)
            if uneven is None
            else part_of_cases(
                cases_of(alike, kind.count(n), demand, marks), uneven, counted, demand.stock
            )
            for (alike, uneven), n in number.items()
        ]
        singles, others = _split_onlys(onlys, cases, demand)
        same = Counter(singles)
        cases += [only_cases(length, n, demand, marks) for length, n in same.items()]
        least = planks_of(others, demand.stock) if others else 0
        if not cases:
            return _Group(program=None, least=least)
        program = Program(cases, len(marks))
        if onlys:
            add_shares(program, others, demand.stock)
        starts = [*(k.x0 for k in kinds), *(0.0 for _ in same)]
        return _Group(program=program, least=least, kind=tuple(kind), starts=tuple(starts))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """Pieces that can't lie side by side: their programme (None: nothing but short pieces) and
    what is bound without it. `kind`: per run of the demand its number among the cases of the programme,
    -1 for others; `starts`: per number the place where its runs start.
    """

    program: Program | None
    least: int
    kind: tuple[int, ...] = ()
    starts: tuple[float, ...] = ()


def by_area(demand: BayDemand) -> int:
    """Planks for the area of the runs alone."""
    stock = demand.stock
    area = sum(_area(r, stock.plank_width) for r in demand.runs)
    return ceil(area / (stock.plank_length * stock.plank_width) - SAFE)


def _area(run: RunDemand, plank_width: float) -> float:
    if run.breadths:
        return sum((b.x1 - b.x0) * (b.high_mm - b.low_mm) for b in run.breadths)
    return (run.x1 - run.x0) * (plank_width if run.keeps_near and run.keeps_far else run.width_mm)


def _is_tight(group: _Group, demand: BayDemand) -> bool:
    """Whether most runs of the set have so little choice that offsets decide what they cost: where one
    has its joints in the middle of what it may, none is left to its neighbour.
    """
    if group.program is None:
        return False
    joined = [c for c in group.program.cases if np.isfinite(c.last).any()]
    small = [c.times for c in joined if float((c.high - c.low).sum()) < 2 * demand.min_offset]
    return 2 * sum(small) > sum(c.times for c in joined)


def _linear(group: _Group) -> int:
    return group.least if group.program is None else group.program.solve().least


def _split_onlys(
    onlys: Sequence[float], cases: Sequence[Cases], demand: BayDemand
) -> tuple[list[float], list[float]]:
    """`only` lengths so long that they share a plank with one other piece at most, and the rest."""
    stock = demand.stock
    first = min((float(c.low.min()) for c in cases), default=np.inf)
    last = min((float(c.last.min()) for c in cases), default=np.inf) + stock.tolerance
    alike = sorted(length + stock.tolerance for length in onlys)
    singles: list[float] = []
    others: list[float] = []
    for length in onlys:
        taken = length + stock.tolerance
        rest = sorted([first, last, *_without(alike, taken)[:2]])
        limit = stock.plank_length - 2 * stock.kerf + SLACK_MM
        (singles if taken + sum(rest[:2]) > limit else others).append(length)
    return singles, others


def _without(ascending: list[float], value: float) -> list[float]:
    place = ascending.index(value)
    return ascending[:place] + ascending[place + 1 :]
