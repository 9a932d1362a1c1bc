"""Planks that no layout under the rules can beat.

Valid for real lengths: nothing is rounded in a layout's favour that a finer grid could use. Planks
are counted as opened - M, and M as at most V(t) = #(first pieces <= t) + #(last pieces that leave
more than t) for every t of a fixed list. A first piece is told apart only by the cells between those
t in which its own length and the room beside its last piece fall, so finitely many cases stand for
all lengths, and a linear programme over them has the least number of planks as its value.

Strips: pieces that all keep the same long edge, or are too wide to lie side by side, can never share
a length of plank; every such set of runs gives a bound, and the largest counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from math import ceil
from typing import Final

import numpy as np

from layout.bound_program import NEVER, Cases, least_planks
from layout.demand import BayDemand, RunDemand
from layout.joint_candidates import (
    Floats,
    Reach,
    RunKind,
    Tier,
    fits_one_plank,
    kind_of,
    reaches,
)
from layout.joint_settle import settle
from layout.stock_pool import FIT_MM

CELL_MM: Final = 5.0
"""Spacing of the lengths t while the programme is small, and twice that for many kinds of run."""
MANY_KINDS: Final = 12
SLACK_MM: Final = 2 * FIT_MM
"""Fits are counted this much more generously than the stock does: rounding never lifts the bound."""


def relaxed_bound(demand: BayDemand, tiers: Sequence[Tier]) -> int:
    """The bound when every run's ends keep the given tier."""
    return max((_bound_of(group, demand) for group in _groups(demand, tiers)), default=0)


Group = tuple[tuple[tuple[RunKind, int], ...], tuple[tuple[float, int], ...]]
"""Kinds of longer runs with how many, and lengths of `only` runs with how many."""


def _groups(demand: BayDemand, tiers: Sequence[Tier]) -> list[Group]:
    """Sets of runs whose pieces can't lie side by side, without repeats."""
    runs = demand.runs
    starts = [
        [r for r in runs if r.keeps_far],
        [r for r in runs if r.keeps_near],
        [r for r in runs if 2 * _width(r, demand) + demand.stock.kerf > demand.stock.plank_width],
    ]
    found: list[Group] = []
    for chosen in starts:
        strips = [r for r in chosen if not (r.keeps_near and r.keeps_far)]
        inside = {r.index for r in chosen}
        for run in runs:
            if run.index not in inside and not any(_side_by_side(run, r, demand) for r in strips):
                chosen.append(run)
                strips.append(run)
        group = _group(chosen, demand, tiers)
        if group not in found:
            found.append(group)
    return found


def _side_by_side(a: RunDemand, b: RunDemand, demand: BayDemand) -> bool:
    """Whether pieces of the two runs can share a length of plank."""
    if (a.keeps_near and b.keeps_near) or (a.keeps_far and b.keeps_far):
        return False
    room = demand.stock.plank_width - demand.stock.kerf + SLACK_MM
    return _width(a, demand) + _width(b, demand) <= room


def _width(run: RunDemand, demand: BayDemand) -> float:
    return demand.stock.plank_width if run.keeps_near and run.keeps_far else run.width_mm


def _group(runs: Sequence[RunDemand], demand: BayDemand, tiers: Sequence[Tier]) -> Group:
    long = Counter(
        _anywhere(kind_of(r, tiers[r.index])) for r in runs if not fits_one_plank(r, demand)
    )
    short = Counter(round(r.x1 - r.x0, 3) for r in runs if fits_one_plank(r, demand))
    return tuple(sorted(long.items())), tuple(sorted(short.items()))


def _anywhere(kind: RunKind) -> RunKind:
    return RunKind(0.0, kind.length, kind.void_start, kind.void_end, kind.tier)


def _bound_of(group: Group, demand: BayDemand) -> int:
    long, short = group
    cell = CELL_MM if len(long) <= MANY_KINDS else 2 * CELL_MM
    cases = [_cases(kind, times, demand, cell) for kind, times in long]
    onlys = [length for length, times in short for _ in range(times)]
    singles, many = _split_onlys(onlys, cases, demand)
    cases += [_only_cases(length, demand, cell) for length in singles]
    return least_planks(cases, many, demand.stock, ceil(demand.stock.plank_length / cell) + 1)


def _cases(kind: RunKind, times: int, demand: BayDemand, cell: float) -> Cases:
    """Every pair of cells that a first piece and the room beside the last one can fall in, with the
    shortest pieces of each.
    """
    lowest = RunKind(kind.x0, kind.length, kind.void_start, kind.void_end, Tier.TOO_SHORT)
    found = reaches(kind, demand) or reaches(lowest, demand)
    parts = [_cases_in(reach, demand, cell) for reach in found]
    need, room, first, last = (np.concatenate(column) for column in zip(*parts, strict=True))
    opened = np.repeat([r.whole + 2 for r in found], [len(p[0]) for p in parts])
    found_cells = np.stack([need, np.maximum(room, 0), opened])
    cells, of_point = np.unique(found_cells, axis=1, return_inverse=True)
    shortest = np.full((2, cells.shape[1]), np.inf)
    np.minimum.at(shortest[0], of_point, first)
    np.minimum.at(shortest[1], of_point, last)
    return Cases(
        need=cells[0].astype(np.intp),
        room=cells[1].astype(np.intp),
        opened=cells[2].astype(np.intp),
        first=shortest[0],
        last=shortest[1],
        times=times,
    )


def _cases_in(reach: Reach, demand: BayDemand, cell: float) -> tuple[Floats, ...]:
    stock = demand.stock
    shift = stock.plank_length - stock.kerf - stock.tolerance - reach.ends + SLACK_MM
    marks = np.arange(-1, ceil(stock.plank_length / cell) + 1) * cell
    marks = np.concatenate([[reach.low, reach.high], marks, marks - shift])
    marks = np.unique(marks[(marks >= reach.low) & (marks <= reach.high)])
    middles = (marks[1:] + marks[:-1]) / 2
    points = np.concatenate([marks, middles])
    first = np.concatenate([marks, marks[:-1]])
    last = reach.ends - np.concatenate([marks, marks[1:]])
    # A first piece counts at every t >= it, a last piece at every t < the room it leaves.
    return np.ceil(points / cell), np.ceil((points + shift) / cell), first, last


def _split_onlys(
    onlys: Sequence[float], cases: Sequence[Cases], demand: BayDemand
) -> tuple[list[float], list[float]]:
    """`only` lengths so long that they share a plank with one other piece at most, and the rest."""
    stock = demand.stock
    first = min((float(c.first.min()) for c in cases), default=np.inf)
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


def _only_cases(length: float, demand: BayDemand, cell: float) -> Cases:
    """An `only` piece beside a last piece, where it counts like a first one, or the other way."""
    stock = demand.stock
    taken = length + stock.tolerance
    room = stock.plank_length - stock.kerf - taken + SLACK_MM
    return Cases(
        need=np.array([ceil(taken / cell), NEVER]),
        room=np.array([0, max(0, ceil(room / cell))]),
        opened=np.array([1, 1]),
        first=np.array([length, length]),
        last=np.array([np.inf, np.inf]),
        times=1,
    )


def lower_bound(demand: BayDemand) -> int:
    """Planks that no layout under the rules can beat.

    Holds for every layout whose ends keep the rules with the tolerance in hand. Where a run leaves no
    such choice, or joints can't be kept apart otherwise, that run counts with the ends it must be
    allowed.

    Args:
        demand: Runs, touches and rules, mm.
    """
    return relaxed_bound(demand, settle(demand).tiers)
