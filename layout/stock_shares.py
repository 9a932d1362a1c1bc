"""Bounds that count each piece by the part of a plank it takes, for pieces of every role alike.

A dual-feasible function turns shares of a plank into values whose sum over the pieces of one plank is
still at most 1, so the sum over all pieces is at most the number of planks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import ceil
from typing import Final

import numpy as np
import numpy.typing as npt

from layout.demand import StockRules
from layout.stock_program import NEVER, SAFE, Floats, Program

SLACK_MM: Final = 0.05
"""Lengths count this much less than they are: what the stock forgives never lifts a bound."""

Share = Callable[[Floats], Floats]


def _rounded(k: int) -> Share:
    """Dual-feasible function u(k) of Fekete and Schepers (from memory): x becomes
    floor((k + 1) x) / k, except where (k + 1) x is whole and x stays.
    """

    def share(x: Floats) -> Floats:
        turns = (k + 1) * x
        is_whole = np.abs(turns - np.rint(turns)) < SAFE
        return np.where(is_whole, x, np.minimum(1.0, np.floor(turns) / k))

    return share


def _cut_off(least: float) -> Share:
    """Shares below `least` count nothing, those above 1 - `least` a whole plank."""

    def share(x: Floats) -> Floats:
        return np.where(x < least, 0.0, np.where(x > 1.0 - least, 1.0, x))

    return share


SHARES: Final[tuple[Share, ...]] = (
    *(_cut_off(least) for least in (0.0, 0.2, 0.3, 0.4)),
    *(_rounded(k) for k in (1, 2, 3, 4, 5)),
)


def shares_of(taken: npt.ArrayLike, stock: StockRules) -> Floats:
    """Parts of a plank that pieces take, kerf included, so that those of one plank sum to 1."""
    lengths = np.minimum(taken, stock.plank_length)
    parts: Floats = np.maximum(0.0, lengths + stock.kerf - SLACK_MM)
    return parts / (stock.plank_length + stock.kerf)


def planks_of(lengths: Sequence[float], stock: StockRules) -> int:
    """Bound for pieces from wall to wall alone."""
    shares = shares_of(np.array(lengths) + stock.tolerance, stock)
    return max(ceil(float(f(shares).sum()) - SAFE) for f in SHARES)


def add_shares(program: Program, onlys: Sequence[float], stock: StockRules) -> None:
    """Make the planks of a programme at least the sum of all pieces' shares. `onlys`: lengths of
    pieces that are not among its cases.
    """
    cases = program.cases
    low = np.concatenate([c.low for c in cases])
    last = np.concatenate([c.last for c in cases])
    whole = np.concatenate([c.opened - c.ends for c in cases])
    need = np.concatenate([c.need for c in cases])
    room = np.concatenate([c.room for c in cases])
    alone = np.isinf(last)
    # A first piece is cut before it is laid and needs no tolerance; the others are cut to measure.
    firsts = shares_of(np.where(alone, low + stock.tolerance, low), stock)
    lasts = shares_of(np.where(alone, 0.0, last + stock.tolerance), stock)
    has_first, has_last = alone | (need < NEVER), ~alone & (room > 0)
    fixed = shares_of(np.array(onlys) + stock.tolerance, stock)
    for share in SHARES:
        value = whole + np.where(has_first, share(firsts), 0.0)
        value = value + np.where(has_last, share(lasts), 0.0)
        program.at_least(np.arange(len(value)), -value, float(share(fixed).sum()))
