"""A door or window in plan: leaf and swing, panes. Lines as an architect draws them, mm.

The hinge lies on the face of the opening on +y of the door's placement, where the leaf opens to. On
models by one program 64 of 64 doors agree so with the model's own plan symbol; others draw leaf and
lining elsewhere in the wall, but swing to the same side.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import cos, radians, sin
from typing import Final

from shapely import LineString, Polygon

from importer.ifc.model import Entity
from importer.ifc.section_openings import Gap
from importer.plan import DrawnKind

LEAF_MM: Final = 40.0
"""Thickness that a leaf is drawn with."""
PANE_MM: Final = 30.0
"""Distance of the two lines of a pane."""
SWING_DEG: Final = 90.0
CHORDS: Final = 24
"""Chords that a quarter circle is kept with; the writer makes an arc of them again."""

Lines = Iterator[tuple[DrawnKind, Polygon | LineString]]


def operation_of(door: Entity) -> str:
    """How a door opens, as its occurrence, else its type, says; empty where neither does."""
    own = getattr(door, "OperationType", None)
    if own and own != "NOTDEFINED":
        return str(own)
    for relations in ("IsTypedBy", "IsDefinedBy"):
        for relation in getattr(door, relations, ()) or ():
            kind = getattr(relation, "RelatingType", None)
            word = getattr(kind, "OperationType", None)
            if word and word != "NOTDEFINED":
                return str(word)
    return ""


def door_lines(gap: Gap, operation: str) -> Lines:
    """Leaves and swings of a door. One whose way of opening is not known is a leaf in the middle of the
    wall.
    """
    if "SLIDING" in operation:
        yield from _sliding(gap, double="DOUBLE" in operation)
    elif "FOLDING" in operation:
        yield from _folding(gap, left="RIGHT" not in operation)
    elif "SWING" in operation:
        if "DOUBLE_DOOR" in operation:
            yield from _two_leaves(gap, operation)
        else:
            left = "RIGHT" not in operation
            yield from _leaf(gap, gap.width, left=left, up=True)
            if operation.startswith("DOUBLE_SWING"):
                yield from _leaf(gap, gap.width, left=left, up=False)
    else:
        yield DrawnKind.DOOR_LEAF, _closed(gap)


def _two_leaves(gap: Gap, operation: str) -> Lines:
    half = gap.width / 2
    opposite = "OPPOSITE" in operation
    for left in (True, False):
        # OPPOSITE_LEFT: the left leaf opens to +y, the right one to the other side.
        up = not opposite or left == operation.endswith("LEFT")
        yield from _leaf(gap, half, left=left, up=up)
        if operation.endswith("DOUBLE_SWING"):
            yield from _leaf(gap, half, left=left, up=False)


def _leaf(gap: Gap, width: float, *, left: bool, up: bool) -> Lines:
    """A hinged leaf, open, with its swing."""
    u, v = (gap.u0 if left else gap.u1), (gap.v1 if up else gap.v0)
    inward, outward = (1.0 if left else -1.0), (1.0 if up else -1.0)
    thick = min(LEAF_MM, width / 2)
    yield DrawnKind.DOOR_LEAF, gap.box(u, v, u + inward * thick, v + outward * width)
    turns = [radians(SWING_DEG * k / CHORDS) for k in range(CHORDS + 1)]
    arc = [
        gap.at(u + inward * width * cos(turn), v + outward * width * sin(turn)) for turn in turns
    ]
    yield DrawnKind.DOOR_SWING, LineString(arc)


def _sliding(gap: Gap, *, double: bool) -> Lines:
    """Two panels that pass each other, in the middle of the wall; of a double door one pair a side."""
    middle = (gap.v0 + gap.v1) / 2
    pieces = 4 if double else 2
    wide = gap.width / pieces
    for k in range(pieces):
        u = gap.u0 + k * wide
        v = middle if k in {0, 3} else middle - LEAF_MM
        yield DrawnKind.DOOR_LEAF, gap.box(u, v, u + wide, v + LEAF_MM)


def _folding(gap: Gap, *, left: bool) -> Lines:
    """Half open: a zigzag of four leaves from the side it folds to."""
    start, step = (gap.u0, 1.0) if left else (gap.u1, -1.0)
    depth = gap.width / 8
    points = [
        gap.at(start + step * gap.width * k / 8, gap.v1 + (depth if k % 2 else 0.0))
        for k in range(5)
    ]
    yield DrawnKind.DOOR_LEAF, LineString(points)


def _closed(gap: Gap) -> Polygon:
    middle = (gap.v0 + gap.v1) / 2
    half = min(LEAF_MM, gap.v1 - gap.v0) / 2
    return gap.box(gap.u0, middle - half, gap.u1, middle + half)


def window_lines(gap: Gap) -> Lines:
    """The gap in the wall and the pane in its middle."""
    yield DrawnKind.WINDOW, gap.shape
    middle = (gap.v0 + gap.v1) / 2
    half = min(PANE_MM, (gap.v1 - gap.v0) / 3) / 2
    for v in (middle - half, middle + half):
        yield DrawnKind.WINDOW, LineString([gap.at(gap.u0, v), gap.at(gap.u1, v)])


def lintel_lines(gap: Gap) -> Lines:
    """An opening without a door: the faces of the wall above."""
    for v in (gap.v0, gap.v1):
        yield DrawnKind.OVERHEAD, LineString([gap.at(gap.u0, v), gap.at(gap.u1, v)])
