"""Which piece comes out of which plank: the cutting of the stock.

Along a plank, a last piece takes the near end and a first piece the far end, so that a plank gives at
most one of each; pieces from wall to wall take what is left. Across, a strip that keeps the near edge
and one that keeps the far edge may lie side by side. Several ways to combine strips are tried and the
one with the fewest planks, then the fewest sticks ripped, is taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from layout.demand import Blank, Placed, PlankCut, StockRules
from layout.floor import Role
from layout.stock_pool import Stick, pool
from layout.stock_strips import ways_to_pair


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """One assignment of everything: the sticks of each plank."""

    planks: tuple[tuple[Stick, ...], ...]
    pairs: int


def cut_planks(blanks: Sequence[Blank], stock: StockRules) -> tuple[PlankCut, ...]:
    """Assign every blank to exactly one plank, with as few planks as the ways tried give.

    Exact for full-width first, last and whole pieces (greatest matching of last with first pieces);
    `only` pieces and strips are packed by rules that are good, not proven. The site tolerance is kept
    in hand for every piece that is cut to a measure on site (last and `only` pieces), unless it has
    the plank to itself.

    Args:
        blanks: Pieces in the order of laying; lengths at most a plank's, widths at most its width.
        stock: Plank, kerf, tolerance and the shortest offcut worth keeping, mm.

    Returns:
        Planks in the order in which they are opened; pieces of each in the order of `blanks`.
    """
    best = min(_ways(blanks, stock), key=lambda way: (len(way.planks), way.pairs))
    place = {blank.key: number for number, blank in enumerate(blanks)}
    cuts = [_plank_cut(sticks, stock, place) for sticks in best.planks]
    return tuple(sorted(cuts, key=lambda cut: place[cut.placed[0].key]))


def count_planks(blanks: Sequence[Blank], stock: StockRules) -> int:
    """Number of planks that `cut_planks` needs."""
    return min(len(way.planks) for way in _ways(blanks, stock))


def _ways(blanks: Sequence[Blank], stock: StockRules) -> Iterator[_Way]:
    for sticks in ways_to_pair(blanks, stock):
        pairs = sum(len(s.blanks) > 1 for s in sticks)
        yield _Way(planks=pool(sticks, stock), pairs=pairs)


def _plank_cut(sticks: Sequence[Stick], stock: StockRules, place: dict[int, int]) -> PlankCut:
    placed: list[Placed] = []
    near = 0.0
    far = stock.plank_length
    for stick in sorted(sticks, key=_from_near_end):
        if stick.role is Role.FIRST:
            placed += _placed(stick, stock, (far - stick.length, far))
            far = stock.plank_length - stick.length
        else:
            placed += _placed(stick, stock, (near, near + stick.length))
            near += stick.length + stock.kerf
    placed.sort(key=lambda p: place[p.key])
    room = far - near - (stock.kerf if far < stock.plank_length else 0.0)
    return PlankCut(
        placed=tuple(placed), offcut_mm=room if 0.0 < room >= stock.keep_offcut else 0.0
    )


def _from_near_end(stick: Stick) -> tuple[int, int]:
    rank = {Role.LAST: 0, Role.FULL: 0, Role.ONLY: 1, Role.FIRST: 2}
    return rank[stick.role], stick.blanks[0].key


def _placed(stick: Stick, stock: StockRules, between: tuple[float, float]) -> Iterator[Placed]:
    """Blanks of a stick between two places of the plank: a first piece flush with the far one, others
    with the near one; each at the edge it keeps.
    """
    for number, blank in enumerate(stick.blanks):
        x = between[1] - blank.length_mm if blank.role is Role.FIRST else between[0]
        is_far = blank.keeps_far_edge or (number > 0 and not blank.keeps_near_edge)
        both = blank.keeps_far_edge and blank.keeps_near_edge
        y = stock.plank_width - blank.width_mm if is_far and not both else 0.0
        yield Placed(key=blank.key, x_mm=x, y_mm=y)
