"""One reading of the walls: linework to body, gaps, openings and the spaces between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from importer.dxf.arrays import sources_where
from importer.dxf.door_openings import openings_at_symbols
from importer.dxf.drawing import Drawing, Floats
from importer.dxf.found import DoorSymbol, OpeningKind
from importer.dxf.glazing import glass_walls
from importer.dxf.layer_words import About, says
from importer.dxf.openings import Candidate, distinct, openings_in_gaps, stacked
from importer.dxf.wall_arcs import curved_walls
from importer.dxf.wall_body import (
    WallBody,
    body_with,
    ends_of_strips,
    free_ends,
    joined_ends,
    strokes_along,
    wall_body,
)
from importer.dxf.wall_faces import Faces, Neighbours, faces_of, ladder_rungs, neighbours
from importer.dxf.wall_gaps import gaps_at, slits
from importer.dxf.wall_lines import ends_of_lines, single_lines
from importer.dxf.wall_linework import WallLinework
from importer.dxf.wall_strips import THICKEST_MM, joined_strips, strips_of
from importer.hints import Hints, matches_layer
from importer.outlines import thickened_bodies, thickened_strokes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallReading:
    """The body of the walls, the openings that may be in it, and strokes, (n, 4), of a mixture that
    belong to no wall.
    """

    body: WallBody
    candidates: tuple[Candidate, ...]
    loose: Floats

    @property
    def shows_openings(self) -> bool:
        """Whether there is a drawn door, or a few gaps as between rooms."""
        doors = sum(c.opening.kind is OpeningKind.DOOR for c in self.candidates)
        passages = sum(c.is_passage for c in self.candidates)
        return doors >= 1 or passages >= 2


def read_walls(
    drawing: Drawing, symbols: Sequence[DoorSymbol], hints: Hints, linework: WallLinework
) -> WallReading:
    """Walls and the openings in them, from one choice of wall linework.

    Args:
        drawing: the drawing, mm; other strokes of it tell what is drawn in the gaps.
        symbols: the door symbols.
        hints: layers to ignore.
        linework: the strokes, arcs and fills taken for walls.
    """
    linework, faces, pairs = _without_ladders(linework)
    strips = strips_of(faces, pairs, mixed=linework.mixed)
    curved, curved_ends = curved_walls(linework.arcs)
    solids = np.concatenate([linework.solids, curved])
    strokes = strokes_along(linework.strokes, strips) if linework.mixed else linework.strokes
    loose = _others(linework.strokes, strokes)
    body = wall_body(strokes, solids, strips)
    singles = single_lines(faces, strips) if not linework.mixed else strips.take(_NONE)
    line_ends = ends_of_lines(singles, linework.strokes)
    all_ends = joined_ends(ends_of_strips(strips), curved_ends, line_ends)
    filled, ends = slits(free_ends(all_ends, body), body)
    body = body_with(body, thickened_bodies(filled))
    gaps = gaps_at(free_ends(ends, body), body, _evidence(drawing, hints))
    candidates, used = openings_in_gaps(gaps, symbols)
    windows = [c.opening.shape for c in candidates if c.opening.kind is OpeningKind.WINDOW]
    body = body_with(body, thickened_strokes(glass_walls(drawing, hints, strips, windows)))
    rest = [k for k in range(len(symbols)) if k not in used]
    candidates = distinct(
        (*candidates, *openings_at_symbols(symbols, rest, joined_strips(strips, singles), body))
    )
    return WallReading(body=body, candidates=stacked(candidates), loose=loose)


def _without_ladders(linework: WallLinework) -> tuple[WallLinework, Faces, Neighbours]:
    """The linework less treads, planks and hatching, its faces, and which lie beside which."""
    faces, face_of = faces_of(linework.straight)
    pairs = neighbours(faces, THICKEST_MM)
    rungs = ladder_rungs(faces, pairs)
    if not rungs.any():
        return linework, faces, pairs
    on_ladder = (face_of >= 0) & rungs[face_of]
    straight = linework.straight[~on_ladder]
    rest = _others(linework.strokes, linework.straight[on_ladder])
    faces, _ = faces_of(straight)
    left = replace(linework, straight=straight, strokes=rest)
    return left, faces, neighbours(faces, THICKEST_MM)


def _others(strokes: Floats, dropped: Floats) -> Floats:
    """The strokes that are not among the dropped ones."""
    gone = {tuple(row) for row in dropped.tolist()}
    return strokes[[tuple(row) not in gone for row in strokes.tolist()]]


_NONE: Final = np.empty(0, dtype=np.int64)


def _evidence(drawing: Drawing, hints: Hints) -> Floats:
    """Straight strokes that may show a window, a threshold or a panel in a gap: on any layer, since
    windows are drawn on the layers of furniture and details too, but no dimensions or texts.
    """
    silent = frozenset({About.ANNOTATION, About.MEASURE})
    seen = sources_where(
        drawing, lambda n: not says(n) & silent and not matches_layer(n, hints.ignore_layers)
    )
    seg = drawing.segments
    return np.asarray(seg.ends[~seg.curved & seen[seg.source]])
