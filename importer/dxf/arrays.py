"""Coordinate arrays as arrays of shapely geometries, typed as what they are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from importer.dxf.drawing import Bools, Drawing, Floats

Geometries = NDArray[Any]
"""Array of shapely geometries (dtype object)."""


def point_array(xy: Floats) -> Geometries:
    """Points of an (n, 2) array."""
    return np.asarray(shapely.points(xy.reshape(-1, 2)), dtype=object).reshape(-1)


def line_array(ends: Floats) -> Geometries:
    """Line strings of an (n, 4) array x0, y0, x1, y1."""
    return np.asarray(shapely.linestrings(ends.reshape(-1, 2, 2)), dtype=object).reshape(-1)


def polygon_array(shapes: Any) -> Geometries:
    """Any sequence of polygons, or a lone one, as an array of them."""
    return np.atleast_1d(np.asarray(shapes, dtype=object))


def sources_where(drawing: Drawing, test: Callable[[str], bool]) -> Bools:
    """For each source of a drawing what a test says of its layer; each layer is asked once."""
    told: dict[str, bool] = {}
    for source in drawing.sources:
        if source.layer not in told:
            told[source.layer] = test(source.layer)
    return np.array([told[s.layer] for s in drawing.sources], dtype=bool)
