"""Strips side by side on one plank: the ways worth trying.

A strip that keeps the near edge and one that keeps the far edge may share a length of plank when
their widths and the kerf fit. Strips in the middle of a floor don't exist: a piece locked on both
sides keeps both edges and takes the full width.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from importer.tolerance import SAME_POINT_MM
from layout.demand import Blank, StockRules
from layout.floor import Role
from layout.stock_pool import Stick, stick_of


def ways_to_pair(blanks: Sequence[Blank], stock: StockRules) -> Iterator[list[Stick]]:
    """Lists of sticks that cover all blanks: nothing side by side; whole strips only; strips of equal
    role; and shorter strips beside whole ones too.
    """
    yield [stick_of((b,), stock) for b in blanks]
    near, far = _strips(blanks, stock)
    if not (near and far):
        return
    whole = _pairs(near, far, {Role.FULL}, stock)
    equal = _pairs(near, far, set(Role), stock)
    for pairs in (whole, equal, equal + _beside_whole(near, far, equal, stock)):
        if pairs:
            yield _with_pairs(blanks, pairs, stock)


def _strips(blanks: Sequence[Blank], stock: StockRules) -> tuple[list[Blank], list[Blank]]:
    """Strips that can take the near and the far edge side of a pair. One that needs neither edge
    joins the smaller group.
    """
    limit = stock.plank_width - stock.kerf
    thin = [
        b for b in blanks if b.width_mm < limit and not (b.keeps_near_edge and b.keeps_far_edge)
    ]
    near = [b for b in thin if b.keeps_near_edge]
    far = [b for b in thin if b.keeps_far_edge]
    for blank in thin:
        if not (blank.keeps_near_edge or blank.keeps_far_edge):
            (near if len(near) <= len(far) else far).append(blank)
    return near, far


def _pairs(
    near: Sequence[Blank], far: Sequence[Blank], roles: set[Role], stock: StockRules
) -> list[tuple[Blank, Blank]]:
    """Near strips with far strips of the same role, those of most equal length first."""
    possible = [
        (abs(a.length_mm - b.length_mm), a.key, b.key, a, b)
        for a in near
        for b in far
        if a.role is b.role and a.role in roles and _fit_across(a, b, stock)
    ]
    return _taken((a, b) for *_, a, b in sorted(possible, key=lambda p: p[:3]))


def _beside_whole(
    near: Sequence[Blank],
    far: Sequence[Blank],
    taken: Sequence[tuple[Blank, Blank]],
    stock: StockRules,
) -> list[tuple[Blank, Blank]]:
    """Strips still alone beside whole strips still alone, the longest first."""
    used = {b.key for pair in taken for b in pair}
    possible = [
        (-min(a.length_mm, b.length_mm), a.key, b.key, a, b)
        for a in near
        for b in far
        if not {a.key, b.key} & used
        and (a.role is Role.FULL) != (b.role is Role.FULL)
        and _fit_across(a, b, stock)
    ]
    return _taken((a, b) for *_, a, b in sorted(possible, key=lambda p: p[:3]))


def _fit_across(a: Blank, b: Blank, stock: StockRules) -> bool:
    return a.width_mm + b.width_mm + stock.kerf <= stock.plank_width + SAME_POINT_MM


def _taken(pairs: Iterable[tuple[Blank, Blank]]) -> list[tuple[Blank, Blank]]:
    """Pairs in order, as long as neither of them is taken."""
    used: set[int] = set()
    found = []
    for a, b in pairs:
        if not {a.key, b.key} & used:
            used |= {a.key, b.key}
            found.append((a, b))
    return found


def _with_pairs(
    blanks: Sequence[Blank], pairs: Sequence[tuple[Blank, Blank]], stock: StockRules
) -> list[Stick]:
    paired = {b.key for pair in pairs for b in pair}
    alone = [stick_of((b,), stock) for b in blanks if b.key not in paired]
    return [*(stick_of(pair, stock) for pair in pairs), *alone]
