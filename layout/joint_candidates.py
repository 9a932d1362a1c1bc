"""The first-piece lengths that a run may be given: which are allowed, at what price.

A run longer than a plank is settled by its first piece s: then n whole planks and a last piece
e = L - s - n P, so that s + e takes one of the values L - n P. The allowed s form a few stretches
(`Reach`); the solver works on points of them, the bound on the stretches themselves.

Four tiers, each tried only when the one before it leaves a run no choice:

    in hand   ends in [m + t, P - t], or exactly P: the site may differ by t and the rules still hold
    nominal   ends in [m, P]: right by the drawing, nothing in hand
    short     ends in [never_below, P]: a breach of the minimum
    too short any length that can be sawn: a grave breach

m is judged on the mean length of an end piece, P on its blank.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum
from math import floor
from typing import Final

import numpy as np
import numpy.typing as npt

from importer.tolerance import GRID_MM, SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.demand import BayDemand, RunDemand

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

STEP_MM: Final = 10.0
"""Spacing of the points tried inside a stretch, besides its breakpoints: finer steps were seen to
gain nothing in planks and cost time with their square."""
MANY_TURNS: Final = 20
"""Most points added from each end of a stretch by handing a rest on from run to equal run."""

GRAVE: Final = 4.0
"""How many ordinary breaches one end below the never-below length weighs."""
UNSAFE: Final = 0.05
"""Weight of an end without the tolerance in hand: far less than a breach, more than any plank."""
PER_MM: Final = 1e-4
"""Weight of a millimetre of shortfall: decides between equally many breaches."""


class Tier(IntEnum):
    """How well the ends of a run keep the rules."""

    IN_HAND = 0
    NOMINAL = 1
    SHORT = 2
    TOO_SHORT = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """First pieces from `low` to `high` (both allowed) that all leave `whole` planks between the
    ends; the last piece is `ends` less the first.
    """

    low: float
    high: float
    whole: int
    ends: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Options:
    """Points a run may choose from; arrays of one length, mm.

    `first` and `last` are the blanks of the end pieces. `need` is the length that the first piece
    takes out of a plank opened by another piece, `room` the longest such piece that the plank of the
    last one can still give (after kerf and tolerance); infinite where the run has no such piece.
    `opened` counts the planks it opens when nothing is shared. `price` is the weight of its breaches.
    """

    first: Floats
    last: Floats
    need: Floats
    room: Floats
    opened: Ints
    price: Floats

    @property
    def size(self) -> int:
        """Number of points."""
        return len(self.first)


@dataclass(frozen=True, slots=True, order=True)
class RunKind:
    """What makes two runs alike to the solver: same place along the row, same ends, same tier."""

    x0: float
    length: float
    void_start: float
    void_end: float
    tier: Tier


def fits_one_plank(run: RunDemand, demand: BayDemand) -> bool:
    """Whether the run is a single `only` piece."""
    return run.x1 - run.x0 <= demand.stock.plank_length + SAME_POINT_MM


def kind_of(run: RunDemand, tier: Tier) -> RunKind:
    """The kind, lengths rounded to a thousandth so that float noise splits no kinds."""
    x0, length = round(run.x0, 3), round(run.x1 - run.x0, 3)
    return RunKind(x0, length, round(run.void_start_mm, 3), round(run.void_end_mm, 3), tier)


def lowest_tier(run: RunDemand, demand: BayDemand) -> Tier:
    """The best tier in which the run has any choice."""
    if fits_one_plank(run, demand):
        return Tier.IN_HAND
    return next((t for t in Tier if reaches(kind_of(run, t), demand)), Tier.TOO_SHORT)


def reaches(kind: RunKind, demand: BayDemand) -> tuple[Reach, ...]:
    """All stretches of allowed first pieces of a run longer than a plank; points where the piece is
    exactly a plank's length. The lowest tier always has some: where the slanted ends overlap, so that no
    joint leaves two pieces worth anything, a joint may be wherever it can be sawn.
    """
    found = _reaches_of(kind, demand)
    if found or kind.tier is not Tier.TOO_SHORT:
        return found
    return _reaches_of(RunKind(kind.x0, kind.length, 0.0, 0.0, kind.tier), demand)


def _reaches_of(kind: RunKind, demand: BayDemand) -> tuple[Reach, ...]:
    plank = demand.stock.plank_length
    most = floor(kind.length / plank + GRID_MM / plank)
    found: list[Reach] = []
    for whole in range(max(0, most - 2), most + 1):
        found += _reaches_with(whole, kind, demand)
    return tuple(found)


def _reaches_with(whole: int, kind: RunKind, demand: BayDemand) -> list[Reach]:
    plank = demand.stock.plank_length
    ends = kind.length - whole * plank
    spare = demand.stock.tolerance if kind.tier is Tier.IN_HAND else 0.0
    least = {
        Tier.IN_HAND: demand.min_length + spare,
        Tier.NOMINAL: demand.min_length,
        Tier.SHORT: min(demand.never_below, demand.min_length),
        Tier.TOO_SHORT: 0.0,
    }[kind.tier]
    least_first = max(SLIVER_WIDTH_MM, least + kind.void_start)
    least_last = max(SLIVER_WIDTH_MM, least + kind.void_end)
    low = max(least_first, ends - (plank - spare))
    high = min(plank - spare, ends - least_last)
    found = []
    if low <= high:
        found.append(Reach(low=low, high=high, whole=whole, ends=ends))
    if spare > 0.0:
        # A factory length is not cut, so it needs nothing in hand; the other end takes it all.
        other = ends - plank
        if least_last <= other <= plank - spare:
            found.append(Reach(low=plank, high=plank, whole=whole, ends=ends))
        if least_first <= other <= plank - spare:
            found.append(Reach(low=other, high=other, whole=whole, ends=ends))
    elif abs(ends - 2 * plank) <= SAME_POINT_MM:
        found = [Reach(low=plank, high=plank, whole=whole, ends=ends)]
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Trying:
    """Which points are tried: multiples of `step`, and for some kinds of run a few `more`."""

    step: float = STEP_MM
    more: Mapping[RunKind, tuple[float, ...]] = field(default_factory=dict)


def points_of(kind: RunKind, demand: BayDemand, trying: Trying) -> Floats:
    """First pieces worth trying, ascending, no two alike."""
    if kind.length <= demand.stock.plank_length + SAME_POINT_MM:
        return np.zeros(2)
    found = [_points(reach, demand, trying.step) for reach in _found(kind, demand)]
    points = np.unique(np.concatenate([*found, np.array(trying.more.get(kind, ()))]))
    kept: Floats = points[np.diff(points, prepend=-1.0) > GRID_MM]
    return kept


def options_at(points: Floats, kind: RunKind, demand: BayDemand) -> Options:
    """Those of the points that the kind of run allows."""
    if kind.length <= demand.stock.plank_length + SAME_POINT_MM:
        return _only_options(kind.length, demand)
    ends = np.full(len(points), np.nan)
    whole = np.zeros(len(points), dtype=np.intp)
    for reach in _found(kind, demand):
        inside = (points >= reach.low - GRID_MM) & (points <= reach.high + GRID_MM)
        ends[inside], whole[inside] = reach.ends, reach.whole
    allowed = np.isfinite(ends)
    first = points[allowed]
    return _priced(first, ends[allowed] - first, whole[allowed], kind, demand)


def _found(kind: RunKind, demand: BayDemand) -> tuple[Reach, ...]:
    """The reaches of a kind; those of the lowest tier where it has none of its own."""
    lowest = RunKind(kind.x0, kind.length, kind.void_start, kind.void_end, Tier.TOO_SHORT)
    return reaches(kind, demand) or reaches(lowest, demand)


def _points(reach: Reach, demand: BayDemand, step: float) -> Floats:
    """Multiples of the step, both ends of the stretch, equal end pieces, and from both ends on the
    pieces that the rest of an equal run's last plank gives exactly, again and again.
    """
    if reach.high - reach.low <= GRID_MM:
        return np.array([reach.low])
    inner = np.arange(floor(reach.low / step) + 1, floor(reach.high / step) + 1) * step
    marks = [reach.low, reach.high, reach.ends / 2]
    stock = demand.stock
    turn = abs(stock.plank_length - stock.kerf - stock.tolerance - reach.ends)
    if turn > STEP_MM:
        times = np.arange(1, min(MANY_TURNS, floor((reach.high - reach.low) / turn)) + 1)
        marks += [*(reach.low + times * turn), *(reach.high - times * turn)]
    points = np.union1d(inner, np.array(marks))
    kept: Floats = points[(points >= reach.low) & (points <= reach.high)]
    return kept


def _priced(first: Floats, last: Floats, whole: Ints, kind: RunKind, demand: BayDemand) -> Options:
    stock = demand.stock
    return Options(
        first=first,
        last=last,
        need=first,
        room=stock.plank_length - stock.kerf - stock.tolerance - last,
        opened=whole + 2,
        price=end_price(first, kind.void_start, demand) + end_price(last, kind.void_end, demand),
    )


def end_price(blank: Floats, void: float | Floats, demand: BayDemand) -> Floats:
    """Weight of the breaches of end pieces, by the length of the blank and how far the slanted end
    falls short of it in the mean.
    """
    mean = blank - void
    spare, plank = demand.stock.tolerance, demand.stock.plank_length
    lacks = np.maximum(demand.min_length - mean, 0.0)
    price = np.where(lacks > GRID_MM, 1.0 + PER_MM * lacks, 0.0)
    price += np.where(mean < demand.never_below - GRID_MM, GRAVE, 0.0)
    whole = blank >= plank - SAME_POINT_MM
    tight = (mean < demand.min_length + spare - GRID_MM) | (blank > plank - spare + GRID_MM)
    price += np.where(tight & ~whole, UNSAFE, 0.0)
    priced: Floats = np.where(whole, 0.0, price)
    return priced


def _only_options(length: float, demand: BayDemand) -> Options:
    """An `only` piece shares a plank either with a last piece or with a first one: two choices."""
    stock = demand.stock
    taken = length + stock.tolerance
    none = np.zeros(2)
    return Options(
        first=none,
        last=none,
        need=np.array([taken, np.inf]),
        room=np.array([-np.inf, stock.plank_length - stock.kerf - taken]),
        opened=np.ones(2, dtype=np.intp),
        price=none,
    )


def joints_of(run: RunDemand, first: float, demand: BayDemand) -> tuple[float, ...]:
    """Joints of a run whose first piece is `first` long; none for a run that fits one plank."""
    if fits_one_plank(run, demand):
        return ()
    plank = demand.stock.plank_length
    rest = run.x1 - run.x0 - first
    whole = max(0, int(np.ceil((rest - SAME_POINT_MM) / plank)) - 1)
    return tuple(run.x0 + first + k * plank for k in range(whole + 1))
