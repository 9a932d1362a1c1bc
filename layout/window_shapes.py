"""What the window says of pieces that are no rectangles: at slanting walls, notched, round a column.

How long such an end is, and what blank it needs, depends on where all its walls stand, along the rows
and across them. So the walls are moved, the pieces cut out of the floor anew between the joints and row
lines they had, and the distances at which a rule breaks found by halving.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.tolerance import AREA_MM2, LENGTH_MM
from layout.bay_chords import chords_of
from layout.directions import STRAIGHT_MM
from layout.floor import BayLayout, Piece, PlankId, Role, Window
from layout.rules import RuleSet
from layout.site_faces import ACROSS, ALONG, Face, Shift, carried, faces_of
from layout.window import FARTHEST_MM, Reach, closing, opening
from layout.window_planks import crowded

NEAR_MM: Final = 10.0
"""A piece this much further from a wall than the gap does not touch it."""
AROUND: Final = 3.0
"""Corners move no further than this times their walls, at the angles that walls meet at."""
EXACT_MM: Final = 0.1
"""How exactly the place is found where a rule breaks."""
PROBES: Final = (0.4, 1.0)
"""Parts of a reach tried before any is halved: a rule may break and be kept again further on."""


Moves = tuple[tuple[Face, Shift], ...]
"""How far faces of a bay stand off; those not named are as drawn."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Cell:
    """A piece with the stretch of its row that it may grow into: [x0, x1] ends at joints, or far
    beyond a wall.
    """

    piece: Piece
    x0: float
    x1: float
    y0: float
    y1: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ShapedPieces:
    """The pieces of a bay that are no rectangles, and all that share a plank with one. `outline` is in
    the bay frame, `fixed` are pieces of other bays on the same planks.
    """

    outline: Polygon
    gap_mm: float
    cells: tuple[_Cell, ...]
    shaped: frozenset[str]
    fixed: tuple[Piece, ...]
    rules: RuleSet

    @classmethod
    def of(cls, layout: BayLayout, rules: RuleSet, beside: Sequence[Piece]) -> ShapedPieces:
        """Those of a bay."""
        shaped = frozenset(p.id for p in layout.pieces if _is_shaped(p))
        planks = {p.plank for p in layout.pieces if p.id in shaped}
        own = [p for p in layout.pieces if p.plank in planks]
        starts, stops = opening(layout.pieces), closing(layout.pieces)
        phase, width = layout.setting_out.phase_mm, rules.plank.width
        cells = []
        for piece in own:
            x0, y0, x1, y1 = piece.shape.bounds
            row = phase + width * np.floor(((y0 + y1) / 2 - phase) / width)
            cells.append(
                _Cell(
                    piece=piece,
                    x0=x0 - FARTHEST_MM if piece.id in starts else x0,
                    x1=x1 + FARTHEST_MM if piece.id in stops else x1,
                    y0=float(row),
                    y1=float(row + width),
                )
            )
        return cls(
            outline=shapely.orient_polygons(layout.setting_out.frame.to_bay(layout.bay.outline)),
            gap_mm=layout.bay.gap_mm,
            cells=tuple(cells),
            shaped=shaped,
            fixed=tuple(p for p in beside if p.plank in planks),
            rules=rules,
        )

    @property
    def about(self) -> tuple[float, float, float, float]:
        """Bounds of the pieces, as drawn."""
        x0, y0, x1, y1 = shapely.total_bounds([c.piece.shape for c in self.cells]).tolist()
        return x0, y0, x1, y1

    def touching(self, face: Face) -> ShapedPieces:
        """Only what lies at a face, and what shares a plank with that."""
        line = face_line(face)
        at = {
            c.piece.plank
            for c in self.cells
            if c.piece.id in self.shaped and c.piece.shape.distance(line) <= self.gap_mm + NEAR_MM
        }
        return replace(self, cells=tuple(c for c in self.cells if c.piece.plank in at))

    # --- what breaks ----------------------------------------------------------------------------

    def broken(self, moves: Moves) -> frozenset[tuple[str, str]]:
        """Rules that break with the walls moved, each with the piece."""
        if not self.cells:
            return frozenset()
        shapes = self._cut(moves)
        if shapes is None:
            return frozenset({("shape", "")})
        found: set[tuple[str, str]] = set()
        sizes: dict[str, tuple[float, float]] = {}
        for cell, shape in zip(self.cells, shapes, strict=True):
            if shape is None:
                found.add(("shape", str(cell.piece.id)))
            else:
                sizes[cell.piece.id] = self._size(cell.piece, shape)
                found.update((rule, str(cell.piece.id)) for rule in self._alone(cell.piece, shape))
        found.update(self._together(sizes))
        return frozenset(found)

    def _cut(self, moves: Moves) -> list[Polygon | None] | None:
        """Every piece cut from the floor anew; None where there is nothing left of it, or of a floor."""
        outline = carried(self.outline, moves)
        if not outline.is_valid:
            return None
        # Only what lies about the pieces is set back from its walls.
        x0, y0, x1, y1 = self.about
        far = max((abs(s) for _, shift in moves for s in shift), default=0.0)
        reach = 2 * self.gap_mm + AROUND * far + NEAR_MM
        near = shapely.clip_by_rect(outline, x0 - reach, y0 - reach, x1 + reach, y1 + reach)
        floor = shapely.buffer(near, -self.gap_mm, join_style="mitre")
        boxes = shapely.box(*np.array([(c.x0, c.y0, c.x1, c.y1) for c in self.cells]).T)
        cut = shapely.intersection(floor, boxes)
        hidden = self.rules.gap.cover - self.rules.gap.wall
        return [part_of(s, c.piece, hidden) for s, c in zip(cut, self.cells, strict=True)]

    def _alone(self, piece: Piece, shape: Polygon) -> Iterator[str]:
        """Rules that a piece breaks by itself."""
        if piece.id not in self.shaped:
            return
        x0, _, x1, _ = shape.bounds
        hidden = self.rules.gap.cover - self.rules.gap.wall
        longest = self.rules.plank.length + (0.0 if piece.role is Role.FIRST else hidden)
        if x1 - x0 > longest + LENGTH_MM:
            yield "plank.length"
        if piece.role in (Role.FIRST, Role.LAST):
            end = shape.area / chords_of(shape).widest
            for limit, rule in (
                (self.rules.ends.min_length, "ends.min_length"),
                (self.rules.never_below_mm, "ends.never_below"),
            ):
                if piece.end_length_mm >= limit - LENGTH_MM > end:
                    yield rule
                    break

    def _size(self, piece: Piece, shape: Polygon) -> tuple[float, float]:
        """Length and width of the blank. What a piece lacks at the far wall may stay open as far as the
        cover hides it.
        """
        x0, y0, x1, y1 = shape.bounds
        plank, hidden = self.rules.plank, self.rules.gap.cover - self.rules.gap.wall
        long = min(x1 - x0, plank.length)
        if piece.role is not Role.FIRST:
            long = max(min(long, piece.blank_length_mm), long - hidden)
        whole = piece.keeps_near_edge and piece.keeps_far_edge
        return long, plank.width if whole else min(y1 - y0, plank.width)

    def _together(self, sizes: Mapping[str, tuple[float, float]]) -> Iterator[tuple[str, str]]:
        """Pieces that no longer fit on their planks beside each other."""
        on: dict[PlankId, list[Piece]] = {}
        for piece in (*(c.piece for c in self.cells), *self.fixed):
            long, wide = sizes.get(piece.id, (piece.blank_length_mm, piece.blank_width_mm))
            on.setdefault(piece.plank, []).append(self._resized(piece, long, wide))
        for members in on.values():
            if len(members) > 1:
                yield from (("cut.kerf", str(i)) for i in crowded(members, self.rules))

    def _resized(self, piece: Piece, long: float, wide: float) -> Piece:
        """The piece with another blank at the same end and edge of its plank."""
        plank, y = self.rules.plank, piece.plank_y_mm
        if y > 0 and y + piece.blank_width_mm >= plank.width - LENGTH_MM:
            y = plank.width - wide
        x = plank.length - long if piece.role is Role.FIRST else piece.plank_x_mm
        return replace(piece, blank_length_mm=long, blank_width_mm=wide, plank_x_mm=x, plank_y_mm=y)


def face_line(face: Face) -> shapely.LineString:
    """A face as a line of the bay frame."""
    points = np.column_stack([face.places, face.levels])
    return shapely.LineString(points if face.axis == ALONG else points[:, ::-1])


def is_start_face(face: Face, gap: float) -> bool:
    """Whether a face along the rows is the start wall, which everything is measured from."""
    return face.opens and bool(np.abs(face.places + gap).max() < STRAIGHT_MM)


def _is_shaped(piece: Piece) -> bool:
    x0, y0, x1, y1 = piece.shape.bounds
    return bool((x1 - x0) * (y1 - y0) - piece.shape.area > AREA_MM2)


def part_of(cut: shapely.Geometry, piece: Piece, hidden: float) -> Polygon | None:
    """The part of what was cut that is the piece, without stretches beyond its ends that are so thin
    that the cover hides them.
    """
    x0, y0, x1, y1 = piece.shape.bounds
    part = _most_shared(cut, piece)
    a, _, b, _ = part.bounds if part is not None else (x0, y0, x1, y1)
    if part is None or (a >= x0 - hidden and b <= x1 + hidden):
        return part
    chords = chords_of(part)
    thin = np.maximum(chords.start, chords.end) <= hidden
    middle = (x0 + x1) / 2
    before = (chords.x[:-1] < x0 - hidden) & (chords.x[1:] <= middle)
    after = (chords.x[1:] > x1 + hidden) & (chords.x[:-1] >= middle)
    low = float(chords.x[1:][thin & before].max(initial=a))
    high = float(chords.x[:-1][thin & after].min(initial=b))
    return _most_shared(
        shapely.clip_by_rect(part, low, y0 - FARTHEST_MM, high, y1 + FARTHEST_MM), piece
    )


def _most_shared(cut: shapely.Geometry, piece: Piece) -> Polygon | None:
    parts = [p for p in shapely.get_parts(cut) if isinstance(p, Polygon) and p.area > AREA_MM2]
    shared = [p.intersection(piece.shape).area for p in parts]
    if not shared or max(shared) <= AREA_MM2:
        return None
    return parts[shared.index(max(shared))]


# --- reaches ------------------------------------------------------------------------------------


def narrowed(reach: Reach, broken: Callable[[float], str]) -> Reach:
    """The part of a reach around 0 in which `broken` names no rule."""
    low, low_rule = _last_good(reach.low, reach.low_rule, broken)
    high, high_rule = _last_good(reach.high, reach.high_rule, broken)
    return Reach(low=low, high=high, low_rule=low_rule, high_rule=high_rule)


def _last_good(
    end: float,
    rule: str,
    broken: Callable[[float], str],
    *,
    exact: float = EXACT_MM,
    probes: Sequence[float] = PROBES,
) -> tuple[float, str]:
    """How far towards `end` nothing is broken, and what is beyond."""
    good = 0.0
    for part in probes:
        bad = end * part
        said = broken(bad)
        if said:
            break
        good = bad
    else:
        return end, rule
    while abs(bad - good) > exact:
        middle = (good + bad) / 2
        now = broken(middle)
        if now:
            bad, said = middle, now
        else:
            good = middle
    return round(good, 3) + 0.0, said


def face_reach(face: Face, reach: Reach, pieces: ShapedPieces) -> Reach:
    """How far one face may move: within `reach`, as far as pieces that are no rectangles allow. Along
    the rows no such piece grows or shrinks by more than the face moves, which `reach` has counted.
    """
    own = pieces.touching(face)
    if face.axis == ALONG or not own.cells:
        return reach
    known = own.broken(())

    def broken(distance: float) -> str:
        new = sorted(own.broken(((face, (distance, distance)),)) - known)
        return new[0][0] if new else ""

    return narrowed(reach, broken)


def narrowed_window(window: Window, layout: BayLayout, pieces: ShapedPieces) -> Window:
    """The window as far as pieces that are no rectangles allow, along and across at once."""
    if not pieces.cells:
        return window
    outline = pieces.outline
    stops = [f for f in faces_of(outline, ALONG) if not f.opens]
    gap = layout.bay.gap_mm
    sides = [f for f in faces_of(outline, ACROSS) if f.holds and not is_start_face(f, gap)]

    def moves(along: float, across: float) -> Moves:
        return (
            *((f, (along, along)) for f in stops),
            *((f, (across, across)) for f in sides),
        )

    known = pieces.broken(())

    def broken(along: float, across: float) -> str:
        new = sorted(pieces.broken(moves(along, across)) - known)
        return new[0][0] if new else ""

    length = _reach(window.length_mm, window.length_rules)
    width = _reach(window.width_mm, window.width_rules)
    width = narrowed(width, lambda d: broken(0.0, d))
    for at_low in (True, False):
        for across_low in (True, False):
            length, width = _corner(length, width, (at_low, across_low), broken)
    return Window(
        length_mm=(length.low, length.high),
        width_mm=(width.low, width.high),
        length_rules=(length.low_rule, length.high_rule),
        width_rules=(width.low_rule, width.high_rule),
    )


def _corner(
    length: Reach,
    width: Reach,
    which: tuple[bool, bool],
    broken: Callable[[float, float], str],
) -> tuple[Reach, Reach]:
    """Both reaches drawn in, in proportion, until their common corner breaks no rule."""
    x = length.low if which[0] else length.high
    y = width.low if which[1] else width.high
    part, rule = _last_good(
        1.0, "", lambda t: broken(t * x, t * y), exact=EXACT_MM / 100, probes=(1.0,)
    )
    if not rule:
        return length, width
    return _cut_back(length, part, rule, low=which[0]), _cut_back(width, part, rule, low=which[1])


def _cut_back(reach: Reach, part: float, rule: str, *, low: bool) -> Reach:
    if low:
        return replace(reach, low=round(part * reach.low, 3) + 0.0, low_rule=rule)
    return replace(reach, high=round(part * reach.high, 3) + 0.0, high_rule=rule)


def _reach(ends: tuple[float, float], rules: tuple[str, str]) -> Reach:
    return Reach(low=ends[0], high=ends[1], low_rule=rules[0], high_rule=rules[1])
