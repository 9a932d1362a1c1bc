"""Storeys drawn over each other at their true heights: one drawing taken apart by height.

Only a drawing whose strokes stand at heights a storey apart, one over the other, is taken apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, TypeVar

import numpy as np
import shapely

from importer.dxf.drawing import Arc, Bools, Drawing, Floats, Ring, Text

STOREY_MM: Final = 2000.0
"""Floors are further apart than this; what lies between (sills, worktops, ceilings) belongs to the
floor below."""

SHARE: Final = 0.05
"""A height that holds less of the strokes than this is no storey."""

OVER_SHARE: Final = 0.3
"""Storeys stand over each other by at least so much of the smaller."""

Drawn = TypeVar("Drawn", Arc, Ring, Text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """What is drawn at one height; `elevation_mm` is None when the drawing is flat."""

    drawing: Drawing
    elevation_mm: float | None


def by_level(drawing_mm: Drawing) -> tuple[Level, ...]:
    """The drawing's storeys by height, lowest first; the drawing itself when it has but one.

    Args:
        drawing_mm: the drawing in millimetres, `levels` included.
    """
    whole = (Level(drawing=drawing_mm, elevation_mm=None),)
    if drawing_mm.levels is None or not len(drawing_mm.segments):
        return whole
    starts = _starts(drawing_mm.levels[drawing_mm.segments.source])
    if len(starts) < 2:
        return whole
    at = np.searchsorted(np.array(starts[1:]), drawing_mm.levels, side="right")
    levels = tuple(
        Level(drawing=_part(drawing_mm, at == k), elevation_mm=start)
        for k, start in enumerate(starts)
    )
    return levels if _stacked([level.drawing for level in levels]) else whole


def _starts(heights: Floats) -> list[float]:
    """Heights at which storeys begin: those with enough strokes, each a storey above the last."""
    values, count = np.unique(np.round(heights, 0), return_counts=True)
    starts: list[float] = []
    for value in values[count >= SHARE * len(heights)]:
        if not starts or value - starts[-1] >= STOREY_MM:
            starts.append(float(value))
    return starts


def _stacked(drawings: Sequence[Drawing]) -> bool:
    """Each storey lies over the one below it."""
    boxes = []
    for d in drawings:
        points = d.segments.ends.reshape(-1, 2)
        low, high = np.quantile(points, [0.02, 0.98], axis=0)
        boxes.append(shapely.box(low[0], low[1], high[0], high[1]))
    pairs = pairwise(boxes)
    return all(a.intersection(b).area >= OVER_SHARE * min(a.area, b.area) > 0 for a, b in pairs)


def _part(drawing: Drawing, kept: Bools) -> Drawing:
    """The drawing with what comes from the kept sources only; sources keep their numbers."""
    seg = drawing.segments
    mine = kept[seg.source]

    def own(things: tuple[Drawn, ...]) -> tuple[Drawn, ...]:
        return tuple(t for t in things if kept[t.source])

    return replace(
        drawing,
        segments=replace(
            seg, ends=seg.ends[mine], source=seg.source[mine], curved=seg.curved[mine]
        ),
        arcs=own(drawing.arcs),
        rings=own(drawing.rings),
        texts=own(drawing.texts),
    )
