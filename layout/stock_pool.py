"""Sticks into planks, along the length only: the one-dimensional half of cutting the stock.

A stick is a blank, or two strips side by side, that uses a length of a plank over its full width.
First sticks need the far end of a plank, last sticks the near end, `only` sticks neither.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

import numpy as np

from importer.tolerance import SAME_POINT_MM
from layout.demand import Blank, StockRules
from layout.floor import Role
from layout.stock_fill import filled

FIT_MM: Final = 2 * SAME_POINT_MM
"""What a fit may lack and still count: the rounding of the geometry that the lengths come from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stick:
    """Blanks side by side. `taken` is the length to reserve: with the site tolerance where the piece
    is cut to a measure on site.
    """

    role: Role
    length: float
    taken: float
    blanks: tuple[Blank, ...]

    @property
    def bay(self) -> int:
        """The bay of its first blank."""
        return self.blanks[0].bay


def stick_of(blanks: tuple[Blank, ...], stock: StockRules) -> Stick:
    """The stick of one blank, or of two of the same role side by side."""
    length = max(b.length_mm for b in blanks)
    role = blanks[0].role
    if length >= stock.plank_length - SAME_POINT_MM:
        role = Role.FULL
    measured = role in {Role.LAST, Role.ONLY}
    taken = length + (stock.tolerance if measured else 0.0)
    return Stick(role=role, length=length, taken=taken, blanks=blanks)


def pool(sticks: Sequence[Stick], stock: StockRules) -> tuple[tuple[Stick, ...], ...]:
    """Every stick on one plank, with as few planks as the ways tried give; without `only` sticks
    that number is the least possible.
    """
    whole = [(s,) for s in sticks if s.role is Role.FULL]
    ends = [s for s in sticks if s.role in {Role.FIRST, Role.LAST}]
    onlys = [s for s in sticks if s.role is Role.ONLY]
    if not onlys:
        return (*whole, *_tuples(_match(ends, Role.FIRST, stock)))
    matched = _match(ends, Role.FIRST, stock)
    best = _completed(matched, onlys, stock)
    for favour in Role:
        if len(best) <= _least(len(matched), [*ends, *onlys], stock):
            break
        packed = _packed(_match([*ends, *onlys], favour, stock), stock)
        best = min(best, packed, key=len)
    return (*whole, *_tuples(best))


def _least(ends: int, sticks: Sequence[Stick], stock: StockRules) -> int:
    """Planks that nothing can beat: those of the end pieces alone, or what all lengths add up to."""
    used = sum(s.taken + stock.kerf - FIT_MM for s in sticks)
    return max(ends, ceil(used / (stock.plank_length + stock.kerf)))


def _tuples(planks: Sequence[Sequence[Stick]]) -> list[tuple[Stick, ...]]:
    return [tuple(plank) for plank in planks]


def _match(sticks: Sequence[Stick], favour: Role, stock: StockRules) -> list[list[Stick]]:
    """Pairs that share a plank, and sticks left alone.

    The longest stick has the fewest partners, and whatever fits beside it fits beside every shorter
    one too: so it may take any partner, and taking them longest first gives a greatest matching of
    firsts with lasts. So it may as well look in its own bay first. A partner of fixed hand is taken
    before an `only` stick, which serves both hands; `favour` says which hand a long `only` stick looks
    at first.
    """
    free = _Free(sticks)
    hands = (Role.FIRST, Role.LAST) if favour is Role.FIRST else (Role.LAST, Role.FIRST)
    partners = {
        Role.FIRST: (Role.LAST, Role.ONLY),
        Role.LAST: (Role.FIRST, Role.ONLY),
        Role.ONLY: (*hands, Role.ONLY),
    }
    limit = stock.plank_length - stock.kerf + FIT_MM
    planks = []
    while (longest := free.longest()) is not None:
        fitting = (free.fitting(r, longest, limit) for r in partners[longest.role])
        partner = next((p for p in fitting if p is not None), None)
        planks.append([longest] if partner is None else [longest, partner])
    return planks


class _Free:
    """Sticks not yet on a plank, by role and bay, each list ascending by what they take."""

    def __init__(self, sticks: Sequence[Stick]) -> None:
        self._sticks = sticks
        self._free: dict[tuple[Role, int], list[tuple[float, int]]] = {}
        for number, stick in enumerate(sticks):
            self._free.setdefault((stick.role, stick.bay), []).append((stick.taken, -number))
        for free in self._free.values():
            free.sort()
        self._bays = {role: [b for r, b in self._free if r is role] for role in Role}

    def longest(self) -> Stick | None:
        """Take the longest stick."""
        lists = [free for free in self._free.values() if free]
        return self._sticks[-max(lists, key=_top).pop()[1]] if lists else None

    def fitting(self, role: Role, beside: Stick, limit: float) -> Stick | None:
        """Take the longest stick of a role that fits beside another, of its own bay if there is one."""
        most = (limit - beside.taken, 1)
        others = [b for b in self._bays[role] if b != beside.bay]
        for bays in ([beside.bay], others):
            lists = [free for b in bays if (free := self._free.get((role, b)))]
            places = [
                (free[k - 1], k - 1, free) for free in lists if (k := bisect_right(free, most))
            ]
            if places:
                _, place, free = max(places, key=_first_of)
                return self._sticks[-free.pop(place)[1]]
        return None


def _top(free: list[tuple[float, int]]) -> tuple[float, int]:
    return free[-1]


def _first_of(place: tuple[tuple[float, int], int, object]) -> tuple[float, int]:
    return place[0]


def _room(plank: Sequence[Stick], stock: StockRules) -> float:
    """Length that one more stick may take out of a plank."""
    used = sum(s.taken for s in plank) + stock.kerf * len(plank)
    return stock.plank_length - used + FIT_MM


def _completed(
    planks: list[list[Stick]], onlys: Sequence[Stick], stock: StockRules
) -> list[list[Stick]]:
    """Put `only` sticks into the rest of planks, then into new ones, leaving as little as possible."""
    rooms = [_room(plank, stock) - FIT_MM for plank in planks]
    lengths = [s.taken for s in onlys]
    inside, new = filled(rooms, lengths, stock.plank_length, stock.kerf, FIT_MM)
    together = [
        [*plank, *(onlys[n] for n in more)] for plank, more in zip(planks, inside, strict=True)
    ]
    return [*together, *([onlys[n] for n in numbers] for numbers in new)]


def _packed(planks: Sequence[Sequence[Stick]], stock: StockRules) -> list[list[Stick]]:
    """Empty planks whose sticks fit into others, those with least on them first."""
    packing = _Packing(sorted(planks, key=lambda p: sum(s.taken for s in p)), stock)
    return [p for n, p in enumerate(packing.planks) if not packing.emptied(n)]


class _Packing:
    """Planks to be emptied one after the other into those behind them: what each has room for and which
    of its hands are free.
    """

    def __init__(self, planks: Sequence[Sequence[Stick]], stock: StockRules) -> None:
        self.planks = [list(plank) for plank in planks]
        self._kerf = stock.kerf
        self._room = np.array([_room(plank, stock) for plank in planks])
        hands = (Role.FIRST, Role.LAST)
        self._has = {
            hand: np.array([any(s.role is hand for s in plank) for plank in planks], dtype=bool)
            for hand in hands
        }

    def emptied(self, number: int) -> bool:
        """Whether all sticks of a plank found room on those behind it; they are then there."""
        moved: list[int] = []
        for stick in sorted(self.planks[number], key=lambda s: -s.taken):
            target = self._tightest(number + 1, stick)
            if target is None:
                for place in reversed(moved):
                    self._taken_off(place)
                return False
            self._put(target, stick)
            moved.append(target)
        return True

    def _tightest(self, start: int, stick: Stick) -> int | None:
        """The plank from `start` on that the stick fits with least left over."""
        room = self._room[start:]
        fits = room >= stick.taken
        if stick.role in self._has:
            fits &= ~self._has[stick.role][start:]
        if not fits.any():
            return None
        return start + int(np.where(fits, room, np.inf).argmin())

    def _put(self, plank: int, stick: Stick) -> None:
        self.planks[plank].append(stick)
        self._room[plank] -= stick.taken + self._kerf
        if stick.role in self._has:
            self._has[stick.role][plank] = True

    def _taken_off(self, plank: int) -> None:
        stick = self.planks[plank].pop()
        self._room[plank] += stick.taken + self._kerf
        if stick.role in self._has:
            self._has[stick.role][plank] = False
