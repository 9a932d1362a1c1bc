"""Which openings are closed to part the rooms, and the spaces that come of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from importer.dxf.arrays import point_array
from importer.dxf.drawing import Floats
from importer.dxf.found import Opening, OpeningKind
from importer.dxf.openings import WIDEST_OUTER_GAP_MM, Candidate
from importer.dxf.wall_body import WallBody
from importer.outlines import Space, spaces_between, thickened_bodies

HELD_MM2: Final = 2.5e6
"""A doubtful gap is closed to keep at least so much of a room from the outside."""

PASSAGE_MM2: Final = 1.2e6
"""A space smaller than this with several openings is no room but a piece of the way through: it
belongs to the space that it is open to."""

BESIDE_MM: Final = 90.0
"""Probes beside an opening are set this far off its faces."""

Beside = tuple[int | None, int | None]
"""Indices of the spaces on either side of an opening; None where there is none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed:
    """Walls, the openings that were closed, the spaces that came of it, and the spaces on either side
    of each opening.
    """

    body: WallBody
    candidates: tuple[Candidate, ...]
    spaces: tuple[Space, ...]
    beside: tuple[Beside, ...]


def close_openings(body: WallBody, candidates: Sequence[Candidate]) -> Closed:
    """Close firm openings, and of the doubtful ones those that keep a room from the outside.

    What parts nothing (the same space on both sides) is left open, unless it is a door; so are gaps
    into a passage too small to be a room.
    """
    tried = [c for c in candidates if c.firm or _may_close(c)]
    spaces = _spaces(body, tried)
    beside = spaces_beside([c.opening for c in tried], spaces)
    kept = [
        c
        for c, pair in zip(tried, beside, strict=True)
        if (_parts(c, pair, spaces) if c.firm else _keeps_room(pair, spaces))
    ]
    closed = (
        _closed(body, kept)
        if len(kept) < len(tried)
        else Closed(body=body, candidates=tuple(tried), spaces=spaces, beside=tuple(beside))
    )
    through = _opened_passages(closed)
    return _closed(body, through) if len(through) < len(kept) else closed


def _closed(body: WallBody, kept: Sequence[Candidate]) -> Closed:
    spaces = _spaces(body, kept)
    beside = spaces_beside([c.opening for c in kept], spaces)
    return Closed(body=body, candidates=tuple(kept), spaces=spaces, beside=tuple(beside))


def _may_close(candidate: Candidate) -> bool:
    opening = candidate.opening
    return opening.kind is not OpeningKind.GAP or opening.width_mm <= WIDEST_OUTER_GAP_MM


def _spaces(body: WallBody, closed: Sequence[Candidate]) -> tuple[Space, ...]:
    shapes = [c.opening.shape for c in closed if not c.overlay]
    extra = thickened_bodies(np.array(shapes, dtype=object))
    solid = shapely.union(body.union, shapely.union_all(extra))
    return spaces_between(np.concatenate([body.barriers, extra]), solid=solid)


def _is_outside(space: int | None, spaces: Sequence[Space]) -> bool:
    return space is None or spaces[space].outside


def _parts(candidate: Candidate, pair: Beside, spaces: Sequence[Space]) -> bool:
    """Whether a firm opening parts two spaces. Doors stay in any case: they are drawn."""
    if candidate.opening.kind is OpeningKind.DOOR:
        return True
    one, two = pair
    if _is_outside(one, spaces) and _is_outside(two, spaces):
        return False
    return one != two


def _keeps_room(pair: Beside, spaces: Sequence[Space]) -> bool:
    """Whether a doubtful opening has a room on exactly one side, and the outside on the other."""
    inner = [s for s in pair if s is not None and not spaces[s].outside]
    return len(inner) == 1 and spaces[inner[0]].shape.area > HELD_MM2


def _opened_passages(closed: Closed) -> list[Candidate]:
    """The candidates without the gaps that cut a passage off the space it is part of."""
    doors_of: dict[int, int] = {}
    for pair in closed.beside:
        for space in {s for s in pair if s is not None}:
            doors_of[space] = doors_of.get(space, 0) + 1
    passages = {
        s
        for s, count in doors_of.items()
        if count >= 2 and not closed.spaces[s].outside and closed.spaces[s].shape.area < PASSAGE_MM2
    }
    return [
        c
        for c, pair in zip(closed.candidates, closed.beside, strict=True)
        if c.opening.kind is not OpeningKind.GAP or not passages.intersection(pair)
    ]


def sides_of(opening: Opening) -> Floats:
    """Probe points, (2, 3, 2): three on either side of an opening, `BESIDE_MM` off its faces."""
    (a, b) = np.array(opening.jamb_line)
    run = (b - a) / np.hypot(*(b - a))
    off = np.array([-run[1], run[0]]) * (opening.thickness_mm / 2 + BESIDE_MM)
    middle = [a + (b - a) * share for share in (0.5, 0.3, 0.7)]
    return np.array([[p + off for p in middle], [p - off for p in middle]])


def spaces_beside(openings: Sequence[Opening], spaces: Sequence[Space]) -> list[Beside]:
    """The spaces on either side of each opening."""
    if not openings or not spaces:
        return [(None, None)] * len(openings)
    probes = np.array([sides_of(o) for o in openings])
    points = point_array(probes.reshape(-1, 2))
    tree = STRtree(np.array([s.shape for s in spaces], dtype=object))
    probe, space = tree.query(points, predicate="within")
    found = np.full(len(points), -1)
    found[probe[::-1]] = space[::-1]
    result: list[Beside] = []
    for row in found.reshape(-1, 2, 3).tolist():
        one, two = (next((s for s in side if s >= 0), None) for side in row)
        result.append((one, two))
    return result


def body_polygons(body: WallBody) -> tuple[shapely.Polygon, ...]:
    """The wall body as polygons, in reading order of the union."""
    parts = shapely.get_parts(body.solid).tolist()
    return tuple(p for p in parts if isinstance(p, shapely.Polygon))
