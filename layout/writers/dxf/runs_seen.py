"""The pieces of a bay as a draughtsman needs them: runs with their two ends, and sawn edges.

Found from the pieces alone, so that a result read back from a drawing can be drawn again. Bay frame.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import shapely
from shapely import Polygon

from importer.plan import Point
from importer.tolerance import LENGTH_MM, SAME_POINT_MM
from layout.floor import BayLayout, CutKind, Piece
from layout.rules import RuleSet
from layout.writers.numbers import whole_mm
from layout.writers.tables import piece_lengths, piece_widths

TWO_EDGES_MM = 2.0
"""An end cut at an angle is given by one length while its two edges differ by no more than this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunSeen:
    """One run: its pieces from the start, and its bounding box."""

    row: int
    pieces: tuple[Piece, ...]
    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def middle(self) -> float:
        """Ordinate of the middle of the run."""
        return (self.y0 + self.y1) / 2

    @property
    def height(self) -> float:
        """Extent across the rows."""
        return self.y1 - self.y0


def runs_seen(layout: BayLayout) -> tuple[RunSeen, ...]:
    """All runs, in the order row, then from the start of the row; what is laid in two stages as two."""
    members: dict[tuple[int, int, int], list[Piece]] = defaultdict(list)
    for piece in layout.pieces:
        members[piece.row, piece.run, piece.stage].append(piece)
    seen = []
    for (row, _, _), pieces in members.items():
        ordered = tuple(sorted(pieces, key=lambda p: (p.shape.bounds[0], p.id)))
        x0, y0, x1, y1 = shapely.total_bounds([p.shape for p in ordered])
        seen.append(
            RunSeen(row=row, pieces=ordered, x0=float(x0), y0=float(y0), x1=float(x1), y1=float(y1))
        )
    return tuple(sorted(seen, key=lambda r: (r.row, r.x0)))


def is_ripped(piece: Piece) -> bool:
    """The piece is cut along its length."""
    return any(cut.kind is CutKind.RIP for cut in piece.cuts)


def is_cross_cut(piece: Piece) -> bool:
    """The piece is cut to length."""
    return any(cut.kind is CutKind.CROSS for cut in piece.cuts)


@dataclass(frozen=True, slots=True, kw_only=True)
class EndSlant:
    """One sentence for all slanted ends on one side of a bay: `excess` is by how much the edge away
    from the start wall is longer (negative: shorter) than the one towards it.
    """

    excess: int


def end_slant(pieces: Sequence[Piece]) -> EndSlant | None:
    """The slant that all slanted ones of these end pieces share within 2 mm, so that it need be said
    only once; None for fewer than three.
    """
    pairs = [piece_lengths(p) for p in pieces if is_cross_cut(p) and not is_ripped(p)]
    excess = [far - near for near, far in pairs if abs(far - near) > TWO_EDGES_MM]
    if len(excess) < 3:
        return None
    if max(excess) - min(excess) > TWO_EDGES_MM:
        return None
    return EndSlant(excess=whole_mm(sum(excess) / len(excess)))


def length_words(piece: Piece, slant: EndSlant | None) -> str:
    """What is printed for the length of a sawn piece: one figure, or two where its edges differ: the
    edge towards the start wall first. With a common slant only the longer edge is printed.
    """
    near, far = piece_lengths(piece)
    if slant is not None and abs(far - near - slant.excess) <= TWO_EDGES_MM:
        return str(whole_mm(max(near, far)))
    if abs(near - far) <= TWO_EDGES_MM:
        return str(whole_mm((near + far) / 2))
    return f"{whole_mm(near)}/{whole_mm(far)}"


def rip_words(run: RunSeen) -> str:
    """What the run's pieces are ripped to: `to 150`, or `from 174 to 158` where it tapers."""
    widths = [piece_widths(p) for p in run.pieces if is_ripped(p)]
    ends = [whole_mm(w) for pair in widths for w in pair]
    rising = all(a <= b for a, b in pairwise(ends))
    falling = all(a >= b for a, b in pairwise(ends))
    if max(ends) - min(ends) <= 1:
        return f"to {max(ends)}"
    if rising or falling:
        return f"from {ends[0]} to {ends[-1]}"
    return "to " + ", ".join(str(w) for w in sorted(set(ends)))


def sawn_paths(piece: Piece, rules: RuleSet) -> Iterator[tuple[tuple[Point, ...], bool]]:
    """The sawn edges of a piece as chains of points, and whether a chain is closed.

    An edge on the bounding box of the blank is sawn unless the blank lies at that end or edge of its
    plank; every other edge (slanted, notched, around a hole) is sawn.
    """
    yield from _chains(piece.shape.exterior.coords[:-1], _factory_sides(piece, rules))
    for ring in piece.shape.interiors:
        yield tuple((x, y) for x, y in ring.coords[:-1]), True


def _factory_sides(piece: Piece, rules: RuleSet) -> tuple[tuple[int, float], ...]:
    """Bounding lines (axis, place) of the piece that are factory ends or edges."""
    x0, y0, x1, y1 = piece.shape.bounds
    plank = rules.plank
    far_x = plank.length - piece.plank_x_mm - piece.blank_length_mm
    far_y = plank.width - piece.plank_y_mm - piece.blank_width_mm
    sides = ((0, x0, piece.plank_x_mm), (0, x1, far_x), (1, y0, piece.plank_y_mm), (1, y1, far_y))
    return tuple((axis, place) for axis, place, cut_off in sides if abs(cut_off) <= LENGTH_MM)


def _chains(
    ring: Sequence[tuple[float, ...]], factory: tuple[tuple[int, float], ...]
) -> Iterator[tuple[tuple[Point, ...], bool]]:
    count = len(ring)
    points = [(float(p[0]), float(p[1])) for p in ring]
    sawn = [
        not any(
            abs(points[k][axis] - place) <= SAME_POINT_MM
            and abs(points[(k + 1) % count][axis] - place) <= SAME_POINT_MM
            for axis, place in factory
        )
        for k in range(count)
    ]
    if all(sawn):
        yield tuple(points), True
        return
    start = sawn.index(False)
    chain: list[Point] = []
    for step in range(1, count + 1):
        k = (start + step) % count
        if sawn[k]:
            chain = chain or [points[k]]
            chain.append(points[(k + 1) % count])
        elif chain:
            yield tuple(chain), False
            chain = []


def rings(shape: Polygon) -> Iterator[tuple[Point, ...]]:
    """Shell, then holes, as points with the first not repeated."""
    for ring in (shape.exterior, *shape.interiors):
        yield tuple((float(x), float(y)) for x, y in ring.coords[:-1])
