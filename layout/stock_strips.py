"""Strips side by side on one plank: the ways worth trying.

A strip that keeps the near edge and one that keeps the far edge may share a length of plank when
their widths and the kerf fit. Strips in the middle of a floor don't exist: a piece locked on both
sides keeps both edges and takes the full width.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from importer.tolerance import SAME_POINT_MM
from layout.demand import Blank, StockRules
from layout.floor import Role
from layout.stock_pool import Stick, stick_of

TWIN_MM: Final = 1.0
"""Strips of one role whose lengths differ by no more are meant for each other."""

Pair = tuple[Blank, Blank]


def ways_to_pair(blanks: Sequence[Blank], stock: StockRules) -> Iterator[list[Stick]]:
    """Lists of sticks that cover all blanks: nothing side by side; whole strips only; strips of equal
    role, then shorter strips beside whole ones; and the other way round, twins apart.
    """
    yield [stick_of((b,), stock) for b in blanks]
    strips = _strips_of(blanks, stock)
    if not (strips.near and strips.far):
        return
    whole = strips.pairs([], lambda a, b: a.role is b.role is Role.FULL)
    equal = strips.pairs([], _same_role)
    beside = strips.pairs(equal, _one_whole)
    twins = strips.pairs(whole, lambda a, b: _same_role(a, b) and _uneven(a, b) <= TWIN_MM)
    twins = strips.pairs(strips.pairs(twins, _one_whole), _same_role)
    for pairs in (whole, equal, beside, twins):
        if pairs:
            paired = {b.key for pair in pairs for b in pair}
            alone = [stick_of((b,), stock) for b in blanks if b.key not in paired]
            yield [*(stick_of(pair, stock) for pair in pairs), *alone]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strips:
    """Strips that can take the near and the far edge side of a pair, and the width both may take."""

    near: tuple[Blank, ...]
    far: tuple[Blank, ...]
    width: float

    def pairs(self, taken: Sequence[Pair], suits: Callable[[Blank, Blank], bool]) -> list[Pair]:
        """The pairs taken, and more that suit, those of most equal length first."""
        used = {b.key for pair in taken for b in pair}
        possible = [
            (_uneven(a, b), a.key, b.key, a, b)
            for a in self.near
            if a.key not in used
            for b in self.far
            if b.key not in used and a.width_mm + b.width_mm <= self.width and suits(a, b)
        ]
        found = list(taken)
        for *_, a, b in sorted(possible, key=lambda p: p[:3]):
            if a.key not in used and b.key not in used:
                used |= {a.key, b.key}
                found.append((a, b))
        return found


def _strips_of(blanks: Sequence[Blank], stock: StockRules) -> _Strips:
    """One that needs neither edge joins the smaller group."""
    width = stock.plank_width - stock.kerf + SAME_POINT_MM
    thin = [
        b for b in blanks if b.width_mm < width and not (b.keeps_near_edge and b.keeps_far_edge)
    ]
    near = [b for b in thin if b.keeps_near_edge]
    far = [b for b in thin if b.keeps_far_edge]
    for blank in thin:
        if not (blank.keeps_near_edge or blank.keeps_far_edge):
            (near if len(near) <= len(far) else far).append(blank)
    return _Strips(near=tuple(near), far=tuple(far), width=width)


def _uneven(a: Blank, b: Blank) -> float:
    return abs(a.length_mm - b.length_mm)


def _same_role(a: Blank, b: Blank) -> bool:
    return a.role is b.role


def _one_whole(a: Blank, b: Blank) -> bool:
    return (a.role is Role.FULL) != (b.role is Role.FULL)
