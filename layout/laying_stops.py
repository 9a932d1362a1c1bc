"""Where the rows of a floor stop along a line across them: one end joint for each row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from importer.tolerance import SLIVER_WIDTH_MM

OUT_OF_REACH: Final = 4.0
"""A row that nothing laid before leads to costs so many planks' lengths (own judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossed:
    """A row that the line crosses at `line`: where it begins, where it can stop, and whether it touches
    the row before it in the order of laying. Bay frame, mm.
    """

    x0: float
    line: float
    near: tuple[float, ...]
    touches: bool


def stops(rows: Sequence[Crossed], plank: float) -> list[float]:
    """One place for each row (in the order of laying): least sum of the distances from the line, where a
    row that reaches further than the touching row before it costs as much as a plank's length: a plank
    has to be pushed in there. Exact, by a dynamic programme over the rows.
    """
    costs: list[list[tuple[float, int]]] = []
    for n, row in enumerate(rows):
        best: list[tuple[float, int]] = []
        for place in row.near:
            own = abs(place - row.line)
            if n == 0:
                best.append((own, -1))
                continue
            ways = (
                (cost + plank * _step(rows[n - 1], rows[n - 1].near[k], row, place), k)
                for k, (cost, _) in enumerate(costs[-1])
            )
            cost, k = min(ways)
            best.append((cost + own, k))
        costs.append(best)
    k = min(range(len(costs[-1])), key=lambda k: costs[-1][k][0])
    found: list[float] = []
    for n in range(len(rows) - 1, -1, -1):
        found.append(rows[n].near[k])
        k = costs[n][k][1]
    return found[::-1]


def _step(before: Crossed, stop: float, row: Crossed, place: float) -> float:
    """What going on from one row to the next costs, in planks' lengths."""
    if not row.touches:
        return 0.0
    is_laid = place - row.x0 > SLIVER_WIDTH_MM
    shared = min(stop, place) - max(before.x0, row.x0)
    cost = OUT_OF_REACH if is_laid and shared <= SLIVER_WIDTH_MM else 0.0
    return cost + (1.0 if place > stop + SLIVER_WIDTH_MM else 0.0)
