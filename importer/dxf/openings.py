"""Openings: gaps in walls and door symbols brought together, each judged by what is drawn there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import line_array
from importer.dxf.drawing import Floats
from importer.dxf.found import DoorSymbol, Opening, OpeningKind
from importer.dxf.gap_drawing import PARALLEL_COS
from importer.dxf.wall_faces import Index
from importer.dxf.wall_gaps import NARROWEST_MM, Gaps
from importer.plan import DoorwayKind, Point

BESIDE_MM: Final = 200.0
"""A door symbol stands in a gap when its closed leaf lies no farther than this outside it: leaves hang
at a face of the wall, hinges stand before the jamb."""

FRAME_MM: Final = 450.0
FRAMES_MM: Final = 700.0
"""How much wider than its one leaf, or its two, a doorway may be: frames and a fixed side light."""

SAME_PLACE_SHARE: Final = 0.3
"""Two openings that share this much of the smaller one are one opening seen twice."""

ENCLOSING_MM: Final = 1100.0
FACING_MM: Final = 1300.0
"""A gap with something or nothing drawn in it parts two rooms up to these widths, when it is seen from
one side, or from both. Wider ones join them: one open space."""

WALKED_MM: Final = (550.0, 1300.0)
"""Widths of openings one walks through from room to room."""

WIDEST_OUTER_GAP_MM: Final = 2600.0
"""Gaps with nothing drawn in them are closed towards the outside up to this width."""

TRUE_END, CORNER_END, TEE_END = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """An opening that may be closed. `firm` ones are closed before rooms are sought; the others only
    where they keep a room from the outside. `mutual` when seen from both jambs.
    """

    opening: Opening
    mutual: bool
    firm: bool
    overlay: bool = False
    """A door on a wall that was drawn through: nothing is to be closed."""

    @property
    def is_passage(self) -> bool:
        """An opening between two facing wall ends that one walks through, no door drawn in it."""
        low, high = WALKED_MM
        open_ = self.mutual and self.opening.kind is not OpeningKind.DOOR
        return open_ and low <= self.opening.width_mm <= high


_RANK: Final = {
    OpeningKind.DOOR: 0,
    OpeningKind.WINDOW: 1,
    OpeningKind.LINE: 2,
    OpeningKind.GAP: 3,
}


def openings_in_gaps(
    gaps: Gaps, symbols: Sequence[DoorSymbol]
) -> tuple[tuple[Candidate, ...], frozenset[int]]:
    """Candidates for the gaps, each place once, and the indices of the symbols that stand in them."""
    holds = _symbols_in(gaps, symbols)
    found = []
    shapes = gaps.shapes()
    for k in range(len(gaps)):
        if gaps.width[k] < NARROWEST_MM:
            continue
        candidate = _judge(gaps, k, shapes[k], holds.get(k, ()))
        if candidate is not None:
            found.append(candidate)
    kept = distinct(found)
    used = frozenset(s for c in kept for s in c.opening.symbols)
    return kept, used


def _symbols_in(gaps: Gaps, symbols: Sequence[DoorSymbol]) -> dict[int, tuple[int, ...]]:
    """Which symbols stand in which gap; a symbol goes to the gap that fits its leaf best.

    Where a threshold is drawn, both ends of an arc look like its leaf: a symbol that fits no gap is
    tried the other way round, its leaf shut where it was thought to stand open.
    """
    if not symbols or not len(gaps):
        return {}
    grown = STRtree(shapely.buffer(gaps.shapes(), BESIDE_MM, join_style="mitre"))
    hinges = np.array([s.hinge for s in symbols])
    best = _best_gaps(gaps, grown, hinges, np.array([s.closed_end for s in symbols]))
    turned = _best_gaps(gaps, grown, hinges, np.array([s.open_end for s in symbols]))
    for s, g in turned.items():
        spare = float(gaps.width[g]) - symbols[s].radius_mm
        if s not in best and symbols[s].has_leaf and gaps.mutual[g] and spare <= BESIDE_MM:
            best[s] = g
    held: dict[int, list[int]] = {}
    for s, g in sorted(best.items()):
        held.setdefault(g, []).append(s)
    return {
        g: tuple(members)
        for g, members in held.items()
        if _wide_enough(float(gaps.width[g]), [symbols[m].radius_mm for m in members])
    }


def _best_gaps(gaps: Gaps, grown: STRtree, hinge: Floats, end: Floats) -> dict[int, int]:
    """For each shut leaf, from hinge to end, the gap that it fits best, if any."""
    symbol, gap = grown.query(line_array(np.hstack([hinge, end])), predicate="within")
    run = end[symbol] - hinge[symbol]
    reach = np.hypot(run[:, 0], run[:, 1])
    along = np.abs((run * gaps.out[gap]).sum(1)) >= _CHORD_COS * reach
    spare = gaps.width[gap] - reach
    fits = along & (spare >= -BESIDE_MM) & (spare <= reach + FRAMES_MM)
    off = np.abs(_offset(gaps, gap, (hinge[symbol] + end[symbol]) / 2))
    best: dict[int, tuple[tuple[bool, int, int, int], int]] = {}
    for s, g, ok, o in zip(symbol.tolist(), gap.tolist(), fits, off, strict=True):
        key = (not bool(gaps.mutual[g]), round(float(gaps.width[g]) / 50), round(float(o)), g)
        if ok and (s not in best or key < best[s][0]):
            best[s] = (key, g)
    return {s: g for s, (_, g) in best.items()}


_CHORD_COS: Final = 0.98
"""Cosine of 11 degrees: a leaf shut in its frame runs along the wall."""


def _wide_enough(width: float, radii: list[float]) -> bool:
    """Whether the gap is about as wide as the leaves in it."""
    return width <= sum(radii) + (FRAME_MM if len(radii) == 1 else FRAMES_MM)


def _offset(gaps: Gaps, gap: Index, point: Floats) -> Floats:
    rel = point - gaps.middle()[gap]
    out = gaps.out[gap]
    return np.asarray(out[:, 0] * rel[:, 1] - out[:, 1] * rel[:, 0])


def _judge(gaps: Gaps, k: int, shape: Polygon, held: tuple[int, ...]) -> Candidate | None:
    width, mutual, nibs = float(gaps.width[k]), bool(gaps.mutual[k]), int(gaps.nibs[k])
    kind, door_kind, what = _kind(gaps, k, held)
    drawn = kind is not OpeningKind.GAP
    if not (held or mutual or nibs == TRUE_END) and not (nibs == CORNER_END and drawn):
        return None
    if nibs == TEE_END and not drawn:
        return None
    seen = "between two facing wall ends" if mutual else "between a wall end and a wall"
    opening = Opening(
        shape=shape,
        jamb_line=_jamb_line(gaps.corners[k]),
        width_mm=width,
        thickness_mm=float(gaps.thickness[k]),
        kind=kind,
        door_kind=door_kind,
        symbols=held,
        why=f"{what} {seen}",
    )
    # Where walls turn away on both sides the end is a face of theirs, looking across a corridor: what
    # is drawn there closes at most a room from the outside.
    firm = _is_firm(kind, width, mutual=mutual) and (held or nibs != TEE_END)
    return Candidate(opening=opening, mutual=mutual, firm=bool(firm))


def _kind(gaps: Gaps, k: int, held: tuple[int, ...]) -> tuple[OpeningKind, DoorwayKind, str]:
    """What a gap is, and what tells so."""
    if held:
        door = DoorwayKind.HINGED if len(held) == 1 else DoorwayKind.DOUBLE
        leaves = "one hinged leaf" if len(held) == 1 else f"{len(held)} hinged leaves"
        return OpeningKind.DOOR, door, leaves
    drawn = gaps.drawn
    if gaps.mutual[k] and drawn.folding[k]:
        return OpeningKind.DOOR, DoorwayKind.FOLDING, "folding panels"
    if gaps.mutual[k] and drawn.leaf[k] and gaps.width[k] <= FACING_MM:
        return OpeningKind.DOOR, DoorwayKind.HINGED, "a leaf without a swing"
    inside, on_faces = int(drawn.inside[k]), int(drawn.on_faces[k])
    if inside >= 1 or inside + on_faces >= 3:
        return OpeningKind.WINDOW, DoorwayKind.OPENING, "glazing or panels"
    if on_faces:
        return OpeningKind.LINE, DoorwayKind.OPENING, "a threshold or header line"
    return OpeningKind.GAP, DoorwayKind.OPENING, "nothing drawn"


def _is_firm(kind: OpeningKind, width: float, *, mutual: bool) -> bool:
    if kind in (OpeningKind.DOOR, OpeningKind.WINDOW):
        return True
    if kind is OpeningKind.LINE and width <= ENCLOSING_MM:
        return True
    return mutual and width <= FACING_MM


def _jamb_line(corners: Floats) -> tuple[Point, Point]:
    near, far = (corners[0] + corners[1]) / 2, (corners[2] + corners[3]) / 2
    return (float(near[0]), float(near[1])), (float(far[0]), float(far[1]))


def distinct(candidates: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """Each place once: the candidate with the better evidence stays, with what the other adds."""
    order = sorted(candidates, key=_strength)
    if not order:
        return ()
    shapes = np.array([c.opening.shape for c in order], dtype=object)
    area = shapely.area(shapes)
    one, two = STRtree(shapes).query(shapes, predicate="intersects")
    pair = one < two
    one, two = one[pair], two[pair]
    shared = shapely.area(shapely.intersection(shapes[one], shapes[two]))
    same = shared > SAME_PLACE_SHARE * np.minimum(area[one], area[two])
    beaten_by: dict[int, list[int]] = {}
    for a, b in sorted(zip(one[same].tolist(), two[same].tolist(), strict=True)):
        beaten_by.setdefault(b, []).append(a)
    kept: dict[int, Candidate] = {}
    for k, candidate in enumerate(order):
        if not any(b in kept for b in beaten_by.get(k, ())):
            kept[k] = candidate
    return tuple(kept.values())


def _strength(candidate: Candidate) -> tuple[int, bool, int, tuple[float, ...]]:
    opening = candidate.opening
    bounds = tuple(round(v, 3) for v in opening.shape.bounds)
    return _RANK[opening.kind], not candidate.mutual, round(opening.width_mm), bounds


STACKED_SHARE: Final = 0.7
CAVITY_MM: Final = 120.0


def stacked(candidates: Sequence[Candidate]) -> tuple[Candidate, ...]:
    """Openings through the leaves of one wall (lining, cavity, structure) made one through it all."""
    merged = list(candidates)
    if len(merged) < 2:
        return tuple(merged)
    shapes = np.array([c.opening.shape for c in merged], dtype=object)
    one, two = STRtree(shapes).query(shapes, predicate="dwithin", distance=CAVITY_MM)
    parent = list(range(len(merged)))
    for a, b in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        if a < b and _are_stacked(merged[a].opening, merged[b].opening):
            parent[_root(parent, b)] = _root(parent, a)
    groups: dict[int, list[Candidate]] = {}
    for k, candidate in enumerate(merged):
        groups.setdefault(_root(parent, k), []).append(candidate)
    return tuple(_as_one(g) for _, g in sorted(groups.items()))


def _root(parent: list[int], k: int) -> int:
    while parent[k] != k:
        k = parent[k]
    return k


def _are_stacked(one: Opening, two: Opening) -> bool:
    (a, b), (c, d) = np.array(one.jamb_line), np.array(two.jamb_line)
    run = b - a
    width = float(np.hypot(*run))
    run = run / width
    other = d - c
    if abs(float(run @ other)) < PARALLEL_COS * float(np.hypot(*other)):
        return False
    low, high = sorted((float((c - a) @ run), float((d - a) @ run)))
    shared = min(high, width) - max(low, 0.0)
    if shared < STACKED_SHARE * max(width, high - low):
        return False
    middle = (c + d) / 2 - a
    apart = abs(float(run[0] * middle[1] - run[1] * middle[0]))
    touching = (one.thickness_mm + two.thickness_mm) / 2
    return touching - CAVITY_MM / 4 <= apart <= touching + CAVITY_MM


def _as_one(group: list[Candidate]) -> Candidate:
    if len(group) == 1:
        return group[0]
    best = min(group, key=_strength)
    (a, b) = np.array(best.opening.jamb_line)
    run = (b - a) / np.hypot(*(b - a))
    across = np.array([-run[1], run[0]])
    points = np.vstack([np.asarray(c.opening.shape.exterior.coords)[:-1] for c in group]) - a
    v = points @ across
    u = np.asarray(best.opening.shape.exterior.coords)[:-1] - a
    u0, u1, v0, v1 = (u @ run).min(), (u @ run).max(), v.min(), v.max()
    corners = [a + run * x + across * y for x, y in ((u0, v0), (u1, v0), (u1, v1), (u0, v1))]
    mid = across * (v0 + v1) / 2
    start, end = a + run * u0 + mid, a + run * u1 + mid
    symbols = tuple(sorted({s for c in group for s in c.opening.symbols}))
    opening = replace(
        best.opening,
        shape=Polygon(corners),
        jamb_line=((float(start[0]), float(start[1])), (float(end[0]), float(end[1]))),
        thickness_mm=float(v1 - v0),
        symbols=symbols,
    )
    return replace(
        best,
        opening=opening,
        mutual=any(c.mutual for c in group),
        firm=any(c.firm for c in group),
        overlay=all(c.overlay for c in group),
    )
