"""What to measure on site before the first cut: as few distances as fix every wall of a bay, and how far
each may be off before a rule breaks.

Rows are set out from one wall and joints from one end of it. A distance between two faces that stand
opposite each other ties the place of one to the other; the longest stretches that face each other are
taken until all faces hang together (a spanning tree), at both ends where a stretch is long enough to
show that the walls are not parallel. Where no line through the room ties two parts together, a stretch
of wall from corner to corner does.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely import LineString, Polygon

from importer.plan import Point
from importer.tolerance import SLIVER_WIDTH_MM
from layout.floor import (
    BayLayout,
    EdgeStrip,
    MovementJoint,
    Piece,
    PlankId,
    Run,
)
from layout.floor_site import DimensionKind, SiteDimension
from layout.rules import RuleSet
from layout.site_faces import ACROSS, ALONG, Face, Facing, crossed, faces_of, facings
from layout.window import (
    FARTHEST_MM,
    Reach,
    closing,
    common,
    far_reaches,
    is_start,
    opening,
    rip_reaches,
    strip_reach,
)
from layout.window_shapes import (
    NEAR_MM,
    ShapedPieces,
    face_reach,
    is_start_face,
    narrowed_window,
)

LEAST_FACE_MM: Final = 50.0
"""Faces shorter than this are nibs and roundings: no tape is put to them."""
BOTH_ENDS_MM: Final = 2000.0
"""Stretches from this length on are measured at both their ends (own judgement)."""
FROM_CORNER_MM: Final = 150.0
"""How far from a corner the tape is laid, clear of mortar and skirting (own judgement)."""
PREFIX: Final = {
    DimensionKind.LENGTH: "L",
    DimensionKind.WIDTH: "W",
    DimensionKind.STEP: "S",
}


def with_dimensions(
    layout: BayLayout,
    joints: Sequence[MovementJoint],
    rules: RuleSet,
    *,
    beside: Sequence[Piece] = (),
) -> BayLayout:
    """The layout with its dimensions to measure, and its window held against pieces of any shape.
    `joints` are all joints of the plan, `beside` the pieces of other bays that may come out of the same
    planks.
    """
    shaped = ShapedPieces.of(layout, rules, beside)
    layout = replace(layout, window=narrowed_window(layout.window, layout, shaped))
    ties = ties_of(layout, joints, rules, beside=beside)
    return replace(layout, dimensions=tuple(d.dimension for d in ties))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tie:
    """A dimension and what it ties together: the place of face `far` less that of face `near` on
    `axis`, at `levels` on the other axis: one for both, or a step's two ends.
    """

    dimension: SiteDimension
    axis: int
    near: int
    far: int
    levels: tuple[float, float]


def ties_of(
    layout: BayLayout,
    joints: Sequence[MovementJoint],
    rules: RuleSet,
    *,
    beside: Sequence[Piece] = (),
) -> tuple[Tie, ...]:
    """The dimensions of a bay with the faces that each ties."""
    frame = layout.setting_out.frame
    outline = frame.to_bay(layout.bay.outline)
    shaped, gap = ShapedPieces.of(layout, rules, beside), layout.bay.gap_mm
    lines = [
        LineString([frame.point_to_bay(p) for p in j.line])
        for j in joints
        if j.id in layout.bay.joints
    ]
    found: list[Tie] = []
    for axis, kind in ((ALONG, DimensionKind.LENGTH), (ACROSS, DimensionKind.WIDTH)):
        faces = faces_of(outline, axis)
        reaches = _reaches_along(layout, faces, rules, beside) if axis == ALONG else {}
        if axis == ACROSS:
            free = {f.index: Reach() for f in faces if f.holds and not is_start_face(f, gap)}
            reaches = {**free, **_reaches_across(layout, faces, rules, beside)}
        reaches = {i: face_reach(faces[i], common((r,)), shaped) for i, r in reaches.items()}
        view = _View(layout=layout, faces=faces, reaches=reaches, outline=outline)
        found.extend(view.ties(kind, _measurable(faces, lines)))
    return _numbered(found)


def _measurable(faces: Sequence[Face], joints: Sequence[LineString]) -> frozenset[int]:
    """Faces that a tape can be put to: no nibs, and no lines across an opening, where nothing stands."""
    return frozenset(
        f.index
        for f in faces
        if f.holds
        and f.high - f.low >= LEAST_FACE_MM
        and not any(_lies_on(f, line) for line in joints)
    )


def _lies_on(face: Face, line: LineString) -> bool:
    middle = (face.low + face.high) / 2
    place = (face.at(middle), middle)
    return bool(line.distance(shapely.Point(place[:: -1 if face.axis else 1])) <= SLIVER_WIDTH_MM)


def _numbered(ties: Sequence[Tie]) -> tuple[Tie, ...]:
    """Ids by kind, from the start wall on and along the rows, as the eye reads the plan of the bay."""
    counts: dict[DimensionKind, int] = {}
    found = []
    for tie in ties:
        kind = tie.dimension.kind
        counts[kind] = counts.get(kind, 0) + 1
        name = f"{PREFIX[kind]}{counts[kind]}"
        found.append(replace(tie, dimension=replace(tie.dimension, id=name)))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _View:
    """A bay along one axis: its faces and how far each may move."""

    layout: BayLayout
    faces: tuple[Face, ...]
    reaches: Mapping[int, Reach]
    outline: Polygon

    def ties(self, kind: DimensionKind, measurable: frozenset[int]) -> tuple[Tie, ...]:
        """Fewest distances that tie all faces together, where there are enough."""
        parts = _Parts(len(self.faces))
        chosen: list[tuple[Facing, float]] = []
        for facing in sorted(facings(self.faces), key=lambda f: (-round(f.seen), f.near, f.far)):
            if {facing.near, facing.far} <= measurable and parts.join(facing.near, facing.far):
                chosen.extend((facing, level) for level in _levels(facing))
        chosen.sort(key=lambda c: (round(c[1]), c[0].near, c[0].far))
        lines = [self._tie(kind, f.near, f.far, (level, level)) for f, level in chosen]
        return (*lines, *self._steps(parts, measurable))

    def _steps(self, parts: _Parts, measurable: frozenset[int]) -> Iterator[Tie]:
        """Stretches of wall between faces that hang together by nothing else, longest first."""
        rings = (self.outline.exterior, *self.outline.interiors)
        sizes = [len(ring.coords) - 1 for ring in rings]
        walls = [
            (a, b)
            for a in self.faces
            for b in self.faces
            if a.ring == b.ring and a.index != b.index and a.corners[-1] != b.corners[-1]
            if {a.index, b.index} <= measurable and _follow(a, b, sizes[a.ring])
        ]
        walls.sort(key=lambda w: -round(abs(_corner(w[0], last=True)[0] - _corner(w[1])[0])))
        for a, b in walls:
            if parts.join(a.index, b.index):
                (x0, v0), (x1, v1) = _corner(a, last=True), _corner(b)
                ends = ((a.index, x0, v0), (b.index, x1, v1))
                near, far = sorted(ends, key=lambda e: e[1])
                yield self._tie(DimensionKind.STEP, near[0], far[0], (near[2], far[2]))

    def _tie(self, kind: DimensionKind, near: int, far: int, levels: tuple[float, float]) -> Tie:
        frame = self.layout.setting_out.frame
        axis = self.faces[near].axis
        places = self.faces[near].at(levels[0]), self.faces[far].at(levels[1])
        ends = [(p, v)[:: -1 if axis else 1] for p, v in zip(places, levels, strict=True)]
        drawn = abs(places[1] - places[0])
        reach = self._reach(near, far)
        return Tie(
            axis=axis,
            near=near,
            far=far,
            levels=levels,
            dimension=SiteDimension(
                id="",
                kind=kind,
                line=(frame.point_to_plan(_xy(ends[0])), frame.point_to_plan(_xy(ends[1]))),
                drawn_mm=drawn,
                least_mm=max(0.0, drawn + reach.low),
                most_mm=drawn + reach.high,
                breaks=(reach.low_rule, reach.high_rule),
            ),
        )

    def _reach(self, near: int, far: int) -> Reach:
        """Of the distance between two faces, whichever of them is off."""
        free = Reach(low=-FARTHEST_MM, high=FARTHEST_MM)
        return common((self.reaches.get(far, free), self.reaches.get(near, free).turned()))


def _xy(end: tuple[float, ...]) -> Point:
    return end[0], end[1]


def _levels(facing: Facing) -> tuple[float, ...]:
    """Where to lay the tape on the longest stretch of two faces."""
    a, b = max(facing.stretches, key=lambda s: (round(s[1] - s[0]), -s[0]))
    if b - a < BOTH_ENDS_MM:
        return ((a + b) / 2,)
    return a + FROM_CORNER_MM, b - FROM_CORNER_MM


def _corner(face: Face, *, last: bool = False) -> tuple[float, float]:
    """Place and level of a face's first or last corner in ring order."""
    rises = face.opens == (face.axis == ACROSS)
    end = -1 if last == rises else 0
    return float(face.places[end]), float(face.levels[end])


def _follow(a: Face, b: Face, size: int) -> bool:
    """Whether `b` is the next face of the ring after `a`, one edge further or at the same corner."""
    return (b.corners[0] - a.corners[-1]) % size <= 1


class _Parts:
    """Faces that hang together (union-find)."""

    def __init__(self, count: int) -> None:
        self._parent = list(range(count))

    def _root(self, i: int) -> int:
        while self._parent[i] != i:
            self._parent[i] = self._parent[self._parent[i]]
            i = self._parent[i]
        return i

    def join(self, a: int, b: int) -> bool:
        """Put two together; whether they were apart."""
        a, b = self._root(a), self._root(b)
        self._parent[max(a, b)] = min(a, b)
        return a != b


# --- how far each face may move -----------------------------------------------------------------


def origin_face(faces: Sequence[Face]) -> Face | None:
    """The face that rows and joints are set out from: the longest that opens, the first of equals."""
    starts = [f for f in faces if f.opens]
    return max(
        starts, key=lambda f: (round(f.high - f.low), -round(float(f.places.min()))), default=None
    )


def _reaches_along(
    layout: BayLayout, faces: Sequence[Face], rules: RuleSet, beside: Sequence[Piece]
) -> Mapping[int, Reach]:
    """How far each face may move along the rows, from the end pieces of the runs that end on it."""
    ends = {r.index: _faces_of_run(r, faces) for r in layout.runs}
    origin = origin_face(faces)
    fixed = origin.index if origin is not None else -1
    far = closing(layout.pieces)
    begin = opening(layout.pieces)
    near = frozenset(
        p.id
        for p in layout.pieces
        if p.id in begin and any(f != fixed for f in ends.get(p.run, ((), ()))[0])
    )
    on: dict[PlankId, list[Piece]] = {}
    for piece in (*layout.pieces, *beside):
        on.setdefault(piece.plank, []).append(piece)
    grown: dict[int, list[Piece]] = {f.index: [] for f in faces}
    for piece in layout.pieces:
        starts, stops = ends.get(piece.run, ((), ()))
        for face in (*(stops if piece.id in far else ()), *(starts if piece.id in near else ())):
            grown[face].append(piece)
    moves: dict[int, Reach] = {}
    for face, growing in grown.items():
        beside_them = [p for plank in sorted({p.plank for p in growing}) for p in on[plank]]
        growth = far_reaches(beside_them, rules, frozenset(p.id for p in growing))
        reach = common(growth.values())
        moves[face] = reach.turned() if faces[face].opens else reach
    return {i: reach for i, reach in moves.items() if i != fixed}


def _faces_of_run(run: Run, faces: Sequence[Face]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The faces that a run starts and ends on."""
    inset = min(SLIVER_WIDTH_MM, (run.y1 - run.y0) / 4)
    levels = {run.y0 + inset, (run.y0 + run.y1) / 2, run.y1 - inset}
    levels |= {v for f in faces for v in (f.low - inset, f.low + inset) if run.y0 < v < run.y1}
    starts: set[int] = set()
    stops: set[int] = set()
    for level in sorted(levels):
        for near, far in crossed(faces, level):
            if near.at(level) < (run.x0 + run.x1) / 2 < far.at(level):
                starts.add(near.index)
                stops.add(far.index)
    return tuple(sorted(starts)), tuple(sorted(stops))


def _reaches_across(
    layout: BayLayout, faces: Sequence[Face], rules: RuleSet, beside: Sequence[Piece]
) -> Mapping[int, Reach]:
    """How far each face may move across the rows, from the strips beside it."""
    moves: dict[int, list[Reach]] = {}
    fixed = -1
    for strip in layout.setting_out.strips:
        face = _face_of_strip(strip, faces)
        if face is None:
            continue
        if is_start(strip):
            fixed = face.index if fixed < 0 else fixed
        moves.setdefault(face.index, []).append(strip_reach(strip, rules))
    for face in faces:
        if face.holds:
            moves.setdefault(face.index, []).append(_rip_reach(face, layout, rules, beside))
    return {f.index: common(moves.get(f.index, ())) for f in faces if f.index != fixed}


def _rip_reach(face: Face, layout: BayLayout, rules: RuleSet, beside: Sequence[Piece]) -> Reach:
    """How far a face may move before a rip along it has no room beside the other rip of its plank."""
    at = frozenset(
        p.id
        for p in layout.pieces
        if not (p.keeps_near_edge if face.opens else p.keeps_far_edge)
        and _is_along(p, face, layout.bay.gap_mm)
    )
    planks = {p.plank for p in layout.pieces if p.id in at}
    on_them = [p for p in (*layout.pieces, *beside) if p.plank in planks]
    reach = common(rip_reaches(on_them, rules, at))
    return reach.turned() if face.opens else reach


def _is_along(piece: Piece, face: Face, gap: float) -> bool:
    """Whether a free edge of a piece lies along a face, the gap off it."""
    x0, y0, x1, y1 = piece.shape.bounds
    a, b = max(x0, face.low), min(x1, face.high)
    edge = face.at((a + b) / 2) + (gap if face.opens else -gap)
    return b - a > 2 * gap and abs((y0 if face.opens else y1) - edge) <= NEAR_MM


def _face_of_strip(strip: EdgeStrip, faces: Sequence[Face]) -> Face | None:
    """The face beyond the gap from an edge of the floor."""
    middle = (strip.x0 + strip.x1) / 2
    level = (strip.y_low + strip.y_high) / 2
    met = [
        face for pair in crossed(faces, middle) for face in pair if face.opens == strip.floor_above
    ]
    return min(met, key=lambda f: (abs(f.at(middle) - level), f.index), default=None)
