"""Every tolerance of the project, named, in millimetres, with the reason for its size.

Code never compares lengths with a bare literal: it imports one of these, so that a reader can see
which physical fact the comparison stands for and change it in one place.
"""

from typing import Final

SAME_POINT_MM: Final = 0.01
"""Points closer than this are one point: far below anything sawn or drawn, far above float noise."""

GRID_MM: Final = 0.001
"""Grid that finished coordinates are rounded to before they are written or compared as text."""

LENGTH_MM: Final = 0.05
"""Slack when a length is held against a rule: a twentieth of a millimetre is no breach on a floor."""

AREA_MM2: Final = 100.0
"""Area below which a leftover of a polygon operation is noise (a strip 0.1 mm wide and 1 m long)."""

AREA_SHARE: Final = 1e-5
"""Relative part of the area tolerance, for floors so large that `AREA_MM2` is below float noise."""

SLIVER_WIDTH_MM: Final = 1.0
"""A part of a floor thinner than this cannot be sawn and is covered by any skirting."""

PARALLEL_DEG: Final = 3.0
"""Walls within this angle of the rows count as parallel to them and are met by a ripped row."""

SQUARE_DEG: Final = 0.5
"""An end edge within this angle of square is cut with the square: the cut is a plain cross cut."""

WALL_SNAP_MM: Final = 3.0
"""Line ends closer than this meet; larger snapping was seen to chain neighbouring walls together."""


def area_slack(area_mm2: float) -> float:
    """Area difference, mm2, that a floor of `area_mm2` may show after polygon operations."""
    return AREA_MM2 + AREA_SHARE * abs(area_mm2)
