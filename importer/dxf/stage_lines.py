"""Lines that the user drew to say where the work stops for a while: one for each stroke entity on the
layers that he names.
"""

from __future__ import annotations

import numpy as np
from shapely import LineString

from importer.dxf.arrays import sources_where
from importer.dxf.drawing import Drawing
from importer.hints import Hints, matches_layer
from importer.plan import UnitReading
from importer.tolerance import LENGTH_MM


def stage_lines(drawing_mm: Drawing, units: UnitReading, hints: Hints) -> tuple[LineString, ...]:
    """The lines in the plan's frame, mm, in the order of the file; the corners of a polyline are kept.

    Args:
        drawing_mm: the drawing in millimetres.
        units: the unit that was believed; `drawing_mm.origin` is in it.
        hints: the layers to look on.
    """
    seg = drawing_mm.segments
    if not hints.stage_layers or not len(seg):
        return ()
    named = sources_where(drawing_mm, lambda layer: matches_layer(layer, hints.stage_layers))
    picked = np.flatnonzero(named[seg.source])
    shift = np.array([drawing_mm.origin[0] * units.to_mm, drawing_mm.origin[1] * units.to_mm])
    found = []
    for source in dict.fromkeys(seg.source[picked].tolist()):
        ends = seg.ends[picked[seg.source[picked] == source]]
        points = np.vstack([ends[:, :2], ends[-1:, 2:]]) + shift
        line = LineString(points)
        if line.length > LENGTH_MM:
            found.append(line)
    return tuple(found)
