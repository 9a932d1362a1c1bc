"""Door blocks that show no swing: what their names say about the doorways they stand in, and
doorways for those that stand between two rooms with nothing else to show for it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import point_array, polygon_array
from importer.dxf.doors import LEAF_RANGE_MM, door_inserts
from importer.dxf.doorways_at_leaves import across_wall_doorway
from importer.dxf.draft import DraftDoorway, RoomFinder
from importer.dxf.drawing import Drawing, Insert
from importer.dxf.layer_words import tokens
from importer.hints import Hints
from importer.plan import DoorwayKind, Point
from importer.room_words import plain, words

LONGEST_SIGN: Final = 24
"""Characters; a longer text about doors is a note."""

NEAR_MM: Final = 250.0
"""A door block's middle lies this near the doorway it stands in."""

_SLIDING: Final = sorted(
    words("""
    slid slider sldr schieb schuif coulissant corredera scorrevole correr przesuw posuv skyde skjut
    liuku tolo glisant klizn surme раздвиж откатн pocket glide bypass
    """)
)
_FOLDING: Final = sorted(
    words("fold bifold bf falt plegable pliant accordion soffietto vouw harmon складн")
)


def kind_by_name(name: str) -> DoorwayKind | None:
    """What a door block's name says of how it opens; None when it does not.

    >>> kind_by_name("Schiebetuer_90"), kind_by_name("BIFOLD-48"), kind_by_name("DOOR")
    (<DoorwayKind.SLIDING: 'sliding'>, <DoorwayKind.FOLDING: 'folding'>, None)
    """
    said = tokens(name)
    for stems, kind in ((_FOLDING, DoorwayKind.FOLDING), (_SLIDING, DoorwayKind.SLIDING)):
        if any(t.startswith(stem) for t in said for stem in stems):
            return kind
    return None


_SPEAKS: Final = re.compile(
    r"\b(?:doors?|s\.?g\.?d|o\.?h\.?d|tur|tuer|turen|porte|porta|puerta|deur|drzwi|dvere|дверь|dorr|"
    r"dor|ovi|ajto|usa|kapi|gate)\b\.?|schiebetur|haustur|garagentor"
)


def door_signs(drawing_mm: Drawing, hints: Hints) -> list[Point]:
    """Places of door blocks, and of short texts that say door (`16070 O.H. DOOR`, `6068 S.G.D.`)."""
    blocks = [_middle(i) for i in door_inserts(drawing_mm, hints)]
    texts = [
        text.at
        for text in drawing_mm.texts
        if len(text.text) <= LONGEST_SIGN and _SPEAKS.search(plain(text.text))
    ]
    return blocks + texts


def kinds_by_blocks(
    drawing_mm: Drawing, hints: Hints, doorways: Sequence[DraftDoorway], finder: RoomFinder
) -> list[DraftDoorway]:
    """The doorways with their kind as door blocks tell it, and those that only a block shows.

    Args:
        drawing_mm: the drawing in millimetres.
        hints: door layers and layers to ignore.
        doorways: what openings and door symbols gave.
        finder: the rooms.
    """
    inserts = [i for i in door_inserts(drawing_mm, hints) if i.box is not None]
    swinging = {drawing_mm.sources[d.source].insert for d in doorways if d.source is not None}
    number = {id(i): k for k, i in enumerate(drawing_mm.inserts)}
    found = list(doorways)
    if not inserts:
        return found
    places = point_array(np.array([_middle(i) for i in inserts]))
    at: list[list[int]] = [[] for _ in inserts]
    if found:
        shapes = polygon_array([d.shape for d in found])
        block, door = STRtree(shapes).query(places, predicate="dwithin", distance=NEAR_MM)
        for b, d in sorted(zip(block.tolist(), door.tolist(), strict=True)):
            at[b].append(d)
    for insert, hits in zip(inserts, at, strict=True):
        kind = kind_by_name(insert.block)
        for d in hits:
            if kind is not None and found[d].kind is not DoorwayKind.HINGED:
                found[d] = replace(found[d], kind=kind)
        # The box of a hinged door's block reaches over its swing; its leaf has the doorway already.
        if not hits and number[id(insert)] not in swinging:
            made = _from_block(insert, kind, finder)
            if made is not None and not _taken(made.shape, found):
                found.append(made)
    return found


def _middle(insert: Insert) -> Point:
    assert insert.box is not None
    x0, y0, x1, y1 = insert.box
    return (x0 + x1) / 2, (y0 + y1) / 2


def _taken(shape: Polygon, doorways: Sequence[DraftDoorway]) -> bool:
    return any(shapely.intersects(shape, d.shape) for d in doorways)


def _from_block(
    insert: Insert, kind: DoorwayKind | None, finder: RoomFinder
) -> DraftDoorway | None:
    """A doorway along the long side of the block, when it parts two rooms."""
    chord = _long_side(insert)
    if chord is None:
        return None
    return across_wall_doorway(chord, kind or DoorwayKind.OPENING, insert.source, finder)


def _long_side(insert: Insert) -> tuple[Point, Point] | None:
    """Middle line of the block along its longer side. The block's own size follows from the box
    about it and its turn; at 45 degrees the box does not tell, and a thin block is taken.
    """
    assert insert.box is not None
    x0, y0, x1, y1 = insert.box
    wide, high = x1 - x0, y1 - y0
    a, b = insert.matrix[0], insert.matrix[1]
    turn = math.hypot(a, b)
    if turn == 0.0:
        return None
    c, s = abs(a) / turn, abs(b) / turn
    det = c * c - s * s
    if abs(det) < 0.1:
        length, depth = math.hypot(wide, high), 0.0
    else:
        length, depth = (wide * c - high * s) / det, (high * c - wide * s) / det
    ux, uy = a / turn, b / turn
    if depth > length:
        length, ux, uy = depth, -uy, ux
    if not LEAF_RANGE_MM[0] <= length <= 4 * LEAF_RANGE_MM[1]:
        return None
    mx, my = _middle(insert)
    half = length / 2
    return (mx - ux * half, my - uy * half), (mx + ux * half, my + uy * half)
