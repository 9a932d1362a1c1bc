"""Stairs that take floor from the rooms of a storey."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import shapely
from shapely.geometry.base import BaseGeometry

from importer.ifc.section_cut import together
from importer.ifc.section_stairs import Tread

LEAST_RISE_MM: Final = 50.0
"""A face of a stair no higher above the floor is the floor."""
HEADROOM_MM: Final = 2000.0
"""Treads above this are passed under."""
CLOSE_MM: Final = 60.0
"""Gaps between treads that run on are closed: nosings, strings."""


def stairs_on(steps: Sequence[Tread], floor: float) -> BaseGeometry:
    """Stairs that stand on a floor or rise through it, as far as nobody walks upright under them.

    Args:
        steps: the treads of all stairs (`all_treads`).
        floor: height of the floor, mm.
    """
    taken = [shape for z, shape in steps if floor + LEAST_RISE_MM < z <= floor + HEADROOM_MM]
    stairs = shapely.buffer(together(taken), CLOSE_MM / 2, join_style="mitre")
    return shapely.buffer(stairs, -CLOSE_MM / 2, join_style="mitre")
