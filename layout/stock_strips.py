"""Strips side by side on one plank: the ways worth trying.

A strip that keeps the near edge and one that keeps the far edge may share a length of plank when
their widths and the kerf fit. Strips in the middle of a floor don't exist: a piece locked on both
sides keeps both edges and takes the full width.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from importer.tolerance import SAME_POINT_MM
from layout.demand import Blank, StockRules
from layout.floor import Role
from layout.stock_pool import Stick, stick_of


def ways_to_pair(blanks: Sequence[Blank], stock: StockRules) -> Iterator[list[Stick]]:
    """Lists of sticks that cover all blanks: nothing side by side; whole strips only; strips of equal
    role; whole planks of strips laid side by side and the rest alone.
    """
    yield [stick_of((b,), stock) for b in blanks]
    near, far = _strips(blanks, stock)
    if not (near and far):
        return
    for roles in ({Role.FULL}, set(Role)):
        pairs = _pairs(near, far, roles, stock)
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
    """Near strips with far strips of the same role, widest first, lengths as equal as possible."""
    limit = stock.plank_width - stock.kerf + SAME_POINT_MM
    left = sorted(far, key=lambda b: (-b.width_mm, -b.length_mm, b.key))
    found = []
    for blank in sorted(near, key=lambda b: (-b.length_mm, -b.width_mm, b.key)):
        if blank.role not in roles:
            continue
        fitting = [b for b in left if b.role is blank.role and b.width_mm + blank.width_mm <= limit]
        if fitting:
            best = min(fitting, key=lambda b: (abs(b.length_mm - blank.length_mm), b.key))
            left.remove(best)
            found.append((blank, best))
    return found


def _with_pairs(
    blanks: Sequence[Blank], pairs: Sequence[tuple[Blank, Blank]], stock: StockRules
) -> list[Stick]:
    paired = {b.key for pair in pairs for b in pair}
    alone = [stick_of((b,), stock) for b in blanks if b.key not in paired]
    return [*(stick_of(pair, stock) for pair in pairs), *alone]
