"""Sheets under the floor: how many strips off a roll cover a bay, and how long they are together."""

from __future__ import annotations

from math import ceil
from typing import Final, Protocol

import numpy as np
import shapely
from shapely import Polygon

from importer.tolerance import SLIVER_WIDTH_MM
from layout.floor import BayLayout
from layout.floor_order import BayStrips, SheetOrder

SCRAP_MM2: Final = 1000.0
"""A strip with less floor under it is left out: it is a slit of the outline."""


class Roll(Protocol):
    """What both kinds of sheet say of their roll, mm."""

    roll_width: float
    roll_length: float
    lap: float


def strips_of(layout: BayLayout, roll: Roll, upturn: float = 0.0) -> BayStrips:
    """The strips that cover a bay, along the longer side of the box about it, the first at its edge.

    A strip ends at the walls that it meets and begins again behind them. An upturn is added all round.
    """
    outline = layout.setting_out.frame.to_bay(layout.bay.outline)
    if upturn > 0.0:
        grown = shapely.buffer(outline, upturn, join_style="mitre")
        outline = grown if isinstance(grown, Polygon) else outline
    lengths = _lengths(outline, roll)
    return BayStrips(bay=str(layout.bay.id), strips=len(lengths), length_mm=float(lengths.sum()))


def _lengths(outline: Polygon, roll: Roll) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    x0, y0, x1, y1 = outline.bounds
    is_across = y1 - y0 > x1 - x0
    low, high = (x0, x1) if is_across else (y0, y1)
    step = roll.roll_width - roll.lap
    count = max(1, ceil((high - low - roll.lap - SLIVER_WIDTH_MM) / step))
    near = low + step * np.arange(count)
    far = near + roll.roll_width
    ends = [np.full(count, v) for v in ((y0, y1) if is_across else (x0, x1))]
    sides = (near, ends[0], far, ends[1]) if is_across else (ends[0], near, ends[1], far)
    bands = shapely.box(*sides)
    parts = shapely.get_parts(shapely.intersection(outline, bands))
    # Parts beside each other in one band, as behind a pier, are each a strip.
    parts = parts[shapely.area(parts) > SCRAP_MM2]
    boxes = shapely.bounds(parts)
    side = 1 if is_across else 0
    lengths: np.ndarray[tuple[int], np.dtype[np.float64]] = boxes[:, side + 2] - boxes[:, side]
    return lengths


def sheet_order(strips: list[BayStrips], net_m2: float, roll: Roll) -> SheetOrder:
    """Rolls for strips that are rolled out one after the other."""
    rolled = sum(s.length_mm for s in strips)
    spent = roll.roll_length - roll.lap
    rolls = ceil(round((rolled - roll.lap) / spent, 6)) if rolled > 0.0 else 0
    return SheetOrder(
        net_m2=net_m2,
        strips=sum(s.strips for s in strips),
        rolled_mm=rolled,
        rolls=max(rolls, 1 if rolled > 0.0 else 0),
        roll_mm=(roll.roll_width, roll.roll_length),
        lap_mm=roll.lap,
    )
