r"""Openings told by a door symbol alone: where no wall end faces the gap, or the wall runs on.

wall ========+ . . . . . . . +======      the closed leaf from hinge to closed end, lengthened
             hinge ----- end              to the wall on either side, as thick as the wall it
wall ========+ . . . . . . . +======      hangs in
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import point_array
from importer.dxf.drawing import Floats
from importer.dxf.found import DoorSymbol, Opening, OpeningKind
from importer.dxf.openings import Candidate
from importer.dxf.wall_body import Sight, WallBody
from importer.dxf.wall_strips import Strips
from importer.plan import DoorwayKind, Point

HANGS_MM: Final = 250.0
"""A leaf hangs on a wall no farther than this from its hinge: frame, rebate, a leaf drawn thick."""

JAMB_MM: Final = 500.0
"""How far beyond either end of the closed leaf the wall may be: frames and a side light."""

ALONG_COS: Final = 0.98
"""Cosine of 11 degrees: a leaf shut in its frame runs along the wall."""

PAIR_MM: Final = 120.0
"""Two leaves whose closed ends are this near are the two leaves of one door."""

USUAL_WALL_MM: Final = 100.0
"""Thickness where no wall stands beside the door to take it from."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shut:
    """One leaf, or two that meet, shut: from hinge to closed end, or from hinge to hinge."""

    start: Point
    end: Point
    symbols: tuple[int, ...]


def openings_at_symbols(
    symbols: Sequence[DoorSymbol], unused: Sequence[int], strips: Strips, body: WallBody
) -> tuple[Candidate, ...]:
    """Candidates for the symbols that stand in no gap.

    Args:
        symbols: all door symbols.
        unused: indices of those to place, ascending.
        strips: wall strips, for the thickness of the wall a leaf hangs in.
        body: the walls.

    Returns:
        A candidate for each leaf (or pair) that hangs on a wall. Those without a wall give none.
    """
    shut = _shut_leaves(symbols, [k for k in unused if symbols[k].has_leaf])
    if not shut:
        return ()
    sight = Sight(body.solid)
    axes = _StripAxes(strips)
    found = []
    for leaf in shut:
        candidate = _place(leaf, axes, body, sight)
        if candidate is not None:
            found.append(candidate)
    return tuple(found)


def _shut_leaves(symbols: Sequence[DoorSymbol], picked: Sequence[int]) -> list[_Shut]:
    """Leaves shut, those whose closed ends meet taken together."""
    if not picked:
        return []
    ends = point_array(np.array([symbols[k].closed_end for k in picked]))
    one, two = STRtree(ends).query(ends, predicate="dwithin", distance=PAIR_MM)
    partner: dict[int, int] = {}
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        a, b = picked[i], picked[j]
        if a < b and a not in partner and b not in partner and _meet(symbols[a], symbols[b]):
            partner[a], partner[b] = b, a
    shut = []
    for k in picked:
        other = partner.get(k)
        if other is None:
            shut.append(_Shut(start=symbols[k].hinge, end=symbols[k].closed_end, symbols=(k,)))
        elif k < other:
            both = (k, other)
            shut.append(_Shut(start=symbols[k].hinge, end=symbols[other].hinge, symbols=both))
    return shut


def _meet(one: DoorSymbol, two: DoorSymbol) -> bool:
    """Whether two leaves shut against each other: hinges on opposite sides of where they meet."""
    a = np.subtract(one.hinge, one.closed_end) / one.radius_mm
    b = np.subtract(two.hinge, two.closed_end) / two.radius_mm
    return float(a @ b) < -ALONG_COS


class _StripAxes:
    """Strips ready to be asked for the wall that a leaf hangs in."""

    def __init__(self, strips: Strips) -> None:
        self.strips = strips
        self._tree = STRtree(strips.shapes())

    def band(self, start: Floats, run: Floats, length: float) -> tuple[float, float, bool] | None:
        """The wall along a shut leaf: offsets of its faces from the leaf's line, and whether it runs
        on through the whole leaf; None when there is no wall along it.
        """
        reach = shapely.buffer(
            shapely.linestrings([start, start + run * length]), HANGS_MM + JAMB_MM / 2
        )
        near = np.sort(self._tree.query(reach, predicate="intersects"))
        along = np.abs(self.strips.along[near] @ run) >= ALONG_COS
        near = near[along]
        if not len(near):
            return None
        across = np.array([-run[1], run[0]])
        rel = self.strips.corners[near] - start
        u, v = rel @ run, rel @ across
        low, high = v.min(axis=1), v.max(axis=1)
        off = np.maximum(np.maximum(low, -high), 0.0)
        u0, u1 = u.min(axis=1), u.max(axis=1)
        gap = np.maximum(np.maximum(u0 - length, -u1), 0.0)
        usable = (off <= HANGS_MM) & (gap <= JAMB_MM)
        if not usable.any():
            return None
        cover = np.minimum(u1, length) - np.maximum(u0, 0.0)
        through = cover >= 0.9 * length
        order = np.lexsort((near, np.round(gap), np.round(off), ~through, ~usable))
        best = int(order[0])
        return float(low[best]), float(high[best]), bool(through[best])


def _place(leaf: _Shut, axes: _StripAxes, body: WallBody, sight: Sight) -> Candidate | None:
    start, end = np.array(leaf.start), np.array(leaf.end)
    length = float(np.hypot(*(end - start)))
    run = (end - start) / length
    across = np.array([-run[1], run[0]])
    band = axes.band(start, run, length) if len(axes.strips) else None
    low, high, through = band or (-USUAL_WALL_MM / 2, USUAL_WALL_MM / 2, False)
    if through:
        return _candidate(leaf, start, run, (0.0, length), (low, high), overlay=True)
    jambs = _jambs(start, run, length, across * (low + high) / 2, sight)
    if jambs is None or not _hangs(body, start, run, length, (low, high)):
        return None
    return _candidate(leaf, start, run, jambs, (low, high), overlay=False)


def _jambs(
    start: Floats, run: Floats, length: float, off: Floats, sight: Sight
) -> tuple[float, float] | None:
    """Positions of the jambs along the leaf, seen from its middle; None when a side is open."""
    middle = start + run * (length / 2) + off
    seen = sight.distance(np.array([middle, middle]), np.array([-run, run]), length / 2 + JAMB_MM)
    if not np.isfinite(seen).all():
        return None
    return length / 2 - float(seen[0]), length / 2 + float(seen[1])


def _hangs(
    body: WallBody, start: Floats, run: Floats, length: float, band: tuple[float, float]
) -> bool:
    """Whether a wall is near both ends of the shut leaf, and none across its middle."""
    across = np.array([-run[1], run[0]])
    low, high = band
    ends = shapely.points([start + across * (low + high) / 2 + run * u for u in (0.0, length)])
    return bool(np.all(shapely.dwithin(body.solid, ends, JAMB_MM)))


def _candidate(
    leaf: _Shut,
    start: Floats,
    run: Floats,
    span: tuple[float, float],
    band: tuple[float, float],
    *,
    overlay: bool,
) -> Candidate:
    across = np.array([-run[1], run[0]])
    (u0, u1), (v0, v1) = span, band
    corners = [start + run * u + across * v for u, v in ((u0, v0), (u1, v0), (u1, v1), (u0, v1))]
    middle = across * (v0 + v1) / 2
    a, b = start + run * u0 + middle, start + run * u1 + middle
    double = len(leaf.symbols) > 1
    where = "on a wall drawn through" if overlay else "between walls"
    opening = Opening(
        shape=Polygon(corners),
        jamb_line=((float(a[0]), float(a[1])), (float(b[0]), float(b[1]))),
        width_mm=u1 - u0,
        thickness_mm=v1 - v0,
        kind=OpeningKind.DOOR,
        door_kind=DoorwayKind.DOUBLE if double else DoorwayKind.HINGED,
        symbols=leaf.symbols,
        why=f"{'two hinged leaves' if double else 'one hinged leaf'} {where}",
    )
    return Candidate(opening=opening, mutual=False, firm=True, overlay=overlay)
