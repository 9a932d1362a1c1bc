r"""Door symbols: a quarter arc about the hinge with a leaf drawn from the hinge to one of its ends.

    open end
      |\
      |  `.         leaf: hinge to open end, a stroke or a thin rectangle
      |    \
      +-----+       closed end: where the leaf meets the other jamb when shut
    hinge

An arc alone is never a door: fillets, bubbles and rounded worktops are of the same size. What makes
it one is a straight stroke of about the radius from the hinge to one end. The test is loose on
purpose (a leaf has a thickness, and is often drawn standing open at 84 or 60 degrees).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from importer.dxf.arrays import line_array, point_array, sources_where
from importer.dxf.drawing import Bools, Drawing, Floats, Insert
from importer.dxf.found import DoorSymbol
from importer.dxf.layer_words import About, is_door_name, says
from importer.hints import Hints, matches_layer
from importer.plan import Point
from importer.tolerance import SAME_POINT_MM

Index = NDArray[np.int64]

LEAF_RANGE_MM: Final = (480.0, 1400.0)
"""Widths of hinged leaves that are made: a cupboard-like 500 to a wide house door of 1350."""

SWEEP_RANGE_DEG: Final = (55.0, 100.0)
"""How far a leaf is drawn open: 60 and 90 are the customs, frames and thickness add or take some."""

LEAF_LENGTH_SHARE: Final = (0.75, 1.15)
"""Length of the leaf stroke in radii: it may stop short of the arc or be drawn with its rebate."""

LEAF_OFF_SHARE: Final = 0.17
"""How far, in radii, the ends of a leaf stroke may lie from hinge and arc end: a leaf's thickness."""

LEAF_SKEW_DEG: Final = 8.0
"""A leaf stroke may be turned so far off the ray from the hinge to the arc's end."""

TWIN_MM: Final = 100.0
"""Two arcs whose hinge and ends are all closer than this are one leaf drawn with its thickness."""

JAMB_MM: Final = 150.0
"""A jamb is looked for this far about the end of an arc: frame and rebate stand between."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Arcs:
    """Candidate arcs as arrays; `ends[k, e]` is the end e (0 start, 1 end) of arc k."""

    hinge: Floats
    ends: Floats
    source: NDArray[np.int32]

    def __len__(self) -> int:
        return len(self.hinge)

    def reach(self) -> Floats:
        """Distance of both ends from the hinge, shape (n, 2)."""
        return np.asarray(np.hypot(*np.moveaxis(self.ends - self.hinge[:, None, :], -1, 0)))


def door_symbols(drawing_mm: Drawing, hints: Hints) -> tuple[DoorSymbol, ...]:
    """Every hinged leaf that the drawing shows, in reading order of its arcs.

    Args:
        drawing_mm: the drawing in millimetres (or in the unit being tried as if it were).
        hints: layers to ignore; door layers on which an arc counts without its leaf.

    Returns:
        Leaf-tested symbols, plus arcs without a leaf (`has_leaf` False) where a door layer or a
        door block says that they are doors. A double door is two symbols whose closed ends meet.
    """
    arcs = _candidates(drawing_mm, hints)
    if not len(arcs):
        return ()
    strokes = _straight(drawing_mm, hints)
    leaves = _leaf_strokes(arcs, strokes)
    symbols = _decide(drawing_mm, hints, arcs, strokes, leaves)
    return _without_twins(symbols)


# ---------------------------------------------------------------- candidates


def _candidates(drawing: Drawing, hints: Hints) -> _Arcs:
    rows: list[tuple[Point, Point, Point, int]] = [
        (a.centre, a.point_at(0.0), a.point_at(1.0), a.source)
        for a in drawing.arcs
        if SWEEP_RANGE_DEG[0] <= a.sweep_deg <= SWEEP_RANGE_DEG[1]
        and LEAF_RANGE_MM[0] <= a.radius <= LEAF_RANGE_MM[1]
    ]
    rows += _from_chords(drawing, {a.source for a in drawing.arcs})
    rows = [r for r in rows if not matches_layer(drawing.layer_of(r[3]), hints.ignore_layers)]
    return _Arcs(
        hinge=np.array([r[0] for r in rows], dtype=float).reshape(-1, 2),
        ends=np.array([(r[1], r[2]) for r in rows], dtype=float).reshape(-1, 2, 2),
        source=np.array([r[3] for r in rows], dtype=np.int32),
    )


def _from_chords(drawing: Drawing, known: set[int]) -> list[tuple[Point, Point, Point, int]]:
    """Arcs that came as chords only: a quarter circle stretched into a quarter ellipse by its block.

    The chords of one entity are fitted by a conic; its centre is the hinge.
    """
    seg = drawing.segments
    picked = np.flatnonzero(seg.curved & ~np.isin(seg.source, list(known)))
    found = []
    order = picked[np.argsort(seg.source[picked], kind="stable")]
    for part in np.split(order, np.flatnonzero(np.diff(seg.source[order])) + 1):
        for run in _runs(seg.ends[part]):
            fitted = _quarter_ellipse(run)
            if fitted is not None:
                found.append((*fitted, int(seg.source[part[0]])))
    return found


def _runs(chords: Floats) -> list[Floats]:
    """Unbroken runs of chords as point arrays; too short ones are no quarter of anything."""
    if len(chords) < 5:
        return []
    jump = np.hypot(*(chords[1:, :2] - chords[:-1, 2:]).T) > SAME_POINT_MM
    parts = np.split(chords, np.flatnonzero(jump) + 1)
    return [np.vstack([p[:1, :2], p[:, 2:]]) for p in parts if len(p) >= 5]


def _quarter_ellipse(points: Floats) -> tuple[Point, Point, Point] | None:
    """Centre and ends of the quarter ellipse through the points; None when they are none."""
    middle = points.mean(axis=0)
    size = float(np.abs(points - middle).max())
    if not LEAF_RANGE_MM[0] / 3 <= size <= LEAF_RANGE_MM[1]:
        return None
    x, y = ((points - middle) / size).T
    matrix = np.column_stack([x * x, x * y, y * y, x, y])
    (a, b, c, d, e), _, rank, _ = np.linalg.lstsq(matrix, np.ones(len(x)), rcond=None)
    discriminant = 4 * a * c - b * b
    if rank < 5 or discriminant <= 0:
        return None
    misfit = np.abs(matrix @ np.array([a, b, c, d, e]) - 1).max()
    centre = np.array([b * e - 2 * c * d, b * d - 2 * a * e]) / discriminant * size + middle
    rays = points[[0, -1]] - centre
    reach = np.hypot(*rays.T)
    cosine = float(np.dot(rays[0], rays[1]) / reach.prod())
    swept = float(np.degrees(np.arccos(np.clip(cosine, -1, 1))))
    fits = misfit < 0.02 and bool(np.all((reach >= LEAF_RANGE_MM[0]) & (reach <= LEAF_RANGE_MM[1])))
    if not fits or not SWEEP_RANGE_DEG[0] <= swept <= SWEEP_RANGE_DEG[1]:
        return None
    return _point(centre), _point(points[0]), _point(points[-1])


def _point(xy: Floats) -> Point:
    return float(xy[0]), float(xy[1])


def _straight(drawing: Drawing, hints: Hints) -> Floats:
    """Straight strokes that may be a leaf or a jamb, (n, 4)."""
    seg = drawing.segments
    ignored = sources_where(drawing, lambda layer: matches_layer(layer, hints.ignore_layers))
    keep = ~seg.curved
    if ignored.any():
        keep &= ~ignored[seg.source]
    return seg.ends[keep]


# ---------------------------------------------------------------- the leaf


def _leaf_strokes(arcs: _Arcs, strokes: Floats) -> tuple[Index, Index, Index]:
    """Strokes that are a leaf of an arc: (arc, end, stroke) indices, one row a find."""
    length = np.hypot(strokes[:, 2] - strokes[:, 0], strokes[:, 3] - strokes[:, 1])
    low, high = LEAF_LENGTH_SHARE
    usable = np.flatnonzero(
        (length >= low * LEAF_RANGE_MM[0]) & (length <= high * LEAF_RANGE_MM[1])
    )
    points = point_array(strokes[usable].reshape(-1, 2))
    reach = arcs.reach()
    arc, near = STRtree(points).query(
        point_array(arcs.hinge), predicate="dwithin", distance=LEAF_OFF_SHARE * reach.max(axis=1)
    )
    if not len(arc):
        return (np.empty(0, np.int64),) * 3
    stroke, side = usable[near // 2], near % 2
    start = np.where(side[:, None] == 0, strokes[stroke, :2], strokes[stroke, 2:])
    tip = np.where(side[:, None] == 0, strokes[stroke, 2:], strokes[stroke, :2])
    found = [
        np.column_stack([arc[ok], np.full(int(ok.sum()), end), stroke[ok]])
        for end in (0, 1)
        for ok in [_is_leaf(arcs.hinge[arc], arcs.ends[arc, end], start, tip)]
    ]
    rows = np.unique(np.vstack(found), axis=0)
    return rows[:, 0], rows[:, 1], rows[:, 2]


def _is_leaf(hinge: Floats, end: Floats, start: Floats, tip: Floats) -> Bools:
    """Whether the stroke start-tip lies along the ray hinge-end, row by row."""
    ray, run = end - hinge, tip - start
    reach, length = np.hypot(*ray.T), np.hypot(*run.T)
    along = (ray * run).sum(axis=1) / (reach * length)
    near = np.hypot(*(start - hinge).T) <= LEAF_OFF_SHARE * reach
    far = np.hypot(*(tip - end).T) <= (1 - LEAF_LENGTH_SHARE[0]) * reach
    across = np.abs(ray[:, 0] * (tip - hinge)[:, 1] - ray[:, 1] * (tip - hinge)[:, 0]) / reach
    fits = (length >= LEAF_LENGTH_SHARE[0] * reach) & (length <= LEAF_LENGTH_SHARE[1] * reach)
    straight = along >= np.cos(np.radians(LEAF_SKEW_DEG))
    return np.asarray(near & far & fits & straight & (across <= LEAF_OFF_SHARE * reach))


# ---------------------------------------------------------------- which end is which


def _decide(
    drawing: Drawing,
    hints: Hints,
    arcs: _Arcs,
    strokes: Floats,
    leaves: tuple[Index, Index, Index],
) -> list[DoorSymbol]:
    count = np.zeros((len(arcs), 2), dtype=int)
    np.add.at(count, (leaves[0], leaves[1]), 1)
    firm = _firmness(arcs, strokes, leaves)
    symbols = []
    for k in range(len(arcs)):
        source = int(arcs.source[k])
        has_leaf = bool(count[k].any())
        if not has_leaf and not _named_door(drawing, hints, source):
            continue
        if _in_sanitary_block(drawing, source):
            continue
        both = bool(count[k].all())
        if both and _named_sanitary(drawing, source):
            continue
        by_jamb = both or not has_leaf
        closed = int(firm[k, 1] > firm[k, 0]) if by_jamb else int(count[k, 0] > 0)
        symbols.append(_symbol(drawing, arcs, k, closed, has_leaf=has_leaf))
    return symbols


def _firmness(arcs: _Arcs, strokes: Floats, leaves: tuple[Index, Index, Index]) -> Floats:
    """How much drawn stroke, mm, stands about each end of each arc, leaves left out: at the closed
    end is the jamb and the wall behind it, about the open end is the empty room. Shape (n, 2).
    """
    lines = line_array(strokes)
    places = point_array(arcs.ends.reshape(-1, 2))
    end, stroke = STRtree(lines).query(places, predicate="dwithin", distance=JAMB_MM)
    own = np.isin(
        end.astype(np.int64) * len(strokes) + stroke,
        (leaves[0][:, None] * 2 + np.array([0, 1])) * len(strokes) + leaves[2][:, None],
    )
    end, stroke = end[~own], stroke[~own]
    inside = shapely.length(
        shapely.intersection(lines[stroke], shapely.buffer(places[end], JAMB_MM, quad_segs=4))
    )
    firm = np.zeros(2 * len(arcs))
    np.add.at(firm, end, inside)
    return firm.reshape(-1, 2)


def _symbol(drawing: Drawing, arcs: _Arcs, k: int, closed: int, *, has_leaf: bool) -> DoorSymbol:
    source = int(arcs.source[k])
    hinge, end = arcs.hinge[k], arcs.ends[k, closed]
    radius = float(np.hypot(*(end - hinge)))
    return DoorSymbol(
        hinge=_point(hinge),
        closed_end=_point(end),
        open_end=_point(arcs.ends[k, 1 - closed]),
        radius_mm=radius,
        source=source,
        insert=_door_block(drawing, source, radius),
        has_leaf=has_leaf,
    )


def _door_block(drawing: Drawing, source: int, radius: float) -> int | None:
    """The block a leaf came from, unless that block is a whole plan."""
    insert = drawing.sources[source].insert
    if insert < 0:
        return None
    box = drawing.inserts[insert].box
    if box is None or max(box[2] - box[0], box[3] - box[1]) > 4 * radius:
        return None
    return insert


def _named_door(drawing: Drawing, hints: Hints, source: int) -> bool:
    src = drawing.sources[source]
    if matches_layer(src.layer, hints.door_layers):
        return True
    return is_door_name(src.layer) or (bool(src.blocks) and is_door_name(src.blocks[-1]))


def _in_sanitary_block(drawing: Drawing, source: int) -> bool:
    """Drawn in the symbol of a shower or bath: its door parts no rooms."""
    blocks = drawing.sources[source].blocks[-1:]
    return any(About.SANITARY in says(b) and About.DOOR not in says(b) for b in blocks)


def _named_sanitary(drawing: Drawing, source: int) -> bool:
    src = drawing.sources[source]
    return any(About.SANITARY in says(name) for name in (src.layer, *src.blocks[-1:]))


def _without_twins(symbols: list[DoorSymbol]) -> tuple[DoorSymbol, ...]:
    """Drop arcs drawn twice, or twice with the leaf's thickness between; the larger one stays."""
    if not symbols:
        return ()
    hinge = point_array(np.array([s.hinge for s in symbols]))
    one, two = STRtree(hinge).query(hinge, predicate="dwithin", distance=TWIN_MM)
    dropped: set[int] = set()
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        if i >= j or i in dropped or j in dropped or not _twins(symbols[i], symbols[j]):
            continue
        larger = symbols[j].radius_mm > symbols[i].radius_mm + SAME_POINT_MM
        dropped.add(i if larger else j)
    return tuple(s for k, s in enumerate(symbols) if k not in dropped)


def _twins(one: DoorSymbol, two: DoorSymbol) -> bool:
    pairs = ((one.closed_end, two.closed_end), (one.open_end, two.open_end))
    return all(np.hypot(a[0] - b[0], a[1] - b[1]) <= TWIN_MM for a, b in pairs)


# ---------------------------------------------------------------- doors without an arc


def door_inserts(drawing_mm: Drawing, hints: Hints) -> tuple[Insert, ...]:
    """Block references that are doors by name or layer, of a door's size: sliding, folding and
    other doors that show no swing. Those that hold a hinged leaf are among them too.
    """
    return tuple(i for i in drawing_mm.inserts if _is_door_insert(drawing_mm, hints, i))


def _is_door_insert(drawing: Drawing, hints: Hints, insert: Insert) -> bool:
    if insert.box is None:
        return False
    layer = drawing.layer_of(insert.source)
    if matches_layer(layer, hints.ignore_layers):
        return False
    named = matches_layer(layer, hints.door_layers) or is_door_name(layer)
    if not named and not is_door_name(insert.block):
        return False
    size = max(insert.box[2] - insert.box[0], insert.box[3] - insert.box[1])
    return LEAF_RANGE_MM[0] <= size <= 6 * LEAF_RANGE_MM[1]
