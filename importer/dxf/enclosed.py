"""Which of the spaces between walls are rooms: by size, and by what leads into them."""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely

from importer.dxf.closing import Closed
from importer.dxf.found import OpeningKind
from importer.outlines import inscribed_diameter

ROOM_MM2: Final = 1.2e6
ROOM_ACROSS_MM: Final = 600.0
"""The smallest room, a lavatory, and the narrowest, a passage one can walk through."""

CLOSET_MM2: Final = 0.25e6
CLOSET_ACROSS_MM: Final = 300.0
"""The smallest closet with a floor worth covering."""

RECESS_SHARE: Final = 0.5
"""A small space with openings along more than this share of its outline is the inside of an opening: a
window recess, the depth of a wall between its lining and its face."""


def room_spaces(closed: Closed) -> tuple[int, ...]:
    """Indices of the spaces that are rooms or closets, in their order.

    A space of a room's size is one in any case. A smaller one is a closet when it opens into a room,
    or a door is drawn to it; the rest are shafts, recesses and the insides of walls.
    """
    large = [k for k in range(len(closed.spaces)) if _is_large(closed, k)]
    opening_length = np.zeros(len(closed.spaces))
    reached: set[int] = set()
    for candidate, pair in zip(closed.candidates, closed.beside, strict=True):
        inner = {s for s in pair if s is not None and not closed.spaces[s].outside}
        for space in sorted(inner):
            opening_length[space] += candidate.opening.width_mm
        if candidate.opening.kind is OpeningKind.DOOR or len(inner) == 2:
            reached |= inner
    closets = [
        k
        for k in sorted(reached - set(large))
        if opening_length[k] <= RECESS_SHARE * shapely.length(closed.spaces[k].shape)
        and _is_closet(closed, k)
    ]
    return tuple(sorted((*large, *closets)))


def _is_large(closed: Closed, k: int) -> bool:
    space = closed.spaces[k]
    if space.outside or space.shape.area < ROOM_MM2:
        return False
    return inscribed_diameter(space.shape) >= ROOM_ACROSS_MM


def _is_closet(closed: Closed, k: int) -> bool:
    shape = closed.spaces[k].shape
    return shape.area >= CLOSET_MM2 and inscribed_diameter(shape) >= CLOSET_ACROSS_MM
