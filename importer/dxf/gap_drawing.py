r"""What is drawn in the gaps of walls: glazing, thresholds, leaves and panels.

======|------------|======      along the wall, between its faces: glazing or panels
      |------------|
======|____________|======      on the line of a face: a threshold, a sill, a header

======|  /\    /\  |======      slanting out of the gap: folding panels; one as long as
      | /  \  /  \ |            the gap is wide: a leaf drawn without its swing
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from importer.dxf.arrays import line_array
from importer.dxf.drawing import Bools, Floats
from importer.dxf.wall_body import WallEnds
from importer.dxf.wall_faces import Index
from importer.dxf.wall_strips import THINNEST_MM

PARALLEL_COS: Final = 0.9962
"""Cosine of 5 degrees: strokes within it run along the wall."""

SLANT_COS: Final = (0.17, 0.97)
"""Cosines of 80 and 14 degrees: strokes between stand at a slant to the wall."""

SPAN_SHARE: Final = 0.4
"""A stroke counts as drawn in the gap when it covers this share of the width."""

RUN_ON_MM: Final = 200.0
"""A stroke that runs on past both jambs by more than this passes through, as gridlines do."""

SINGLE_MM: Final = 150.0
"""Windows are drawn this far to either side of a wall that is a single line."""

ON_FACE_MM: Final = 12.0
"""A stroke this near the line of a wall face lies on it."""

PANEL_SHARE: Final = (0.15, 0.65)
"""Length of a folding panel in widths of the gap: a half, a quarter, less frames and track."""

LEAF_SHARE: Final = (0.8, 1.1)
"""Length of a leaf drawn alone in widths of the gap."""

HANG_MM: Final = 100.0
"""A leaf or panel begins this near the jamb or the wall's own thickness."""

WIDEST_FOLDING_MM: Final = 3000.0
"""Folding doors of closets and between rooms are up to so wide."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """For each gap the number of strokes along it, strictly between the faces (`inside`) and on their
    lines (`on_faces`), whether folding panels stand in it, and whether a leaf hangs in it.
    """

    inside: Index
    on_faces: Index
    folding: Bools
    leaf: Bools


def drawn_in_gaps(ends: WallEnds, width: Floats, strokes: Floats) -> Drawn:
    """What is drawn in the gaps that wall ends look across.

    Args:
        ends: the wall ends, one a gap.
        width: widths of the gaps, mm.
        strokes: straight strokes, (n, 4), of anything but dimensions and texts.
    """
    none = np.zeros(len(ends), dtype=np.int64)
    if not len(ends) or not len(strokes):
        return Drawn(inside=none, on_faces=none, folding=none > 0, leaf=none > 0)
    middle = ends.middle()
    axes = line_array(np.hstack([middle, middle + ends.out * width[:, None]]))
    half = np.where(ends.thickness < THINNEST_MM, SINGLE_MM, ends.thickness / 2)
    boxes = shapely.buffer(axes, half + HANG_MM, cap_style="flat")
    gap, stroke = STRtree(line_array(strokes)).query(boxes, predicate="intersects")
    near = _Near(ends, width, half, gap, strokes[stroke])
    inside, on_faces = near.along()
    return Drawn(inside=inside, on_faces=on_faces, folding=near.folding(), leaf=near.leaf())


class _Near:
    """Strokes near gaps, one row a pair, in the frame of the gap: u along it from the wall end, v
    across from its middle line.
    """

    def __init__(
        self, ends: WallEnds, width: Floats, half: Floats, gap: Index, strokes: Floats
    ) -> None:
        out = ends.out[gap]
        across = np.column_stack([-out[:, 1], out[:, 0]])
        rel = strokes.reshape(-1, 2, 2) - ends.middle()[gap][:, None, :]
        self.count = len(ends)
        self.gap, self.width, self.half = gap, width[gap], half[gap]
        self.u = (rel * out[:, None, :]).sum(axis=2)
        self.v = (rel * across[:, None, :]).sum(axis=2)
        run_u, run_v = np.diff(self.u)[:, 0], np.diff(self.v)[:, 0]
        self.length = np.maximum(np.hypot(run_u, run_v), 1e-9)
        self.cosine = np.abs(run_u) / self.length

    def _counted(self, rows: Bools) -> Index:
        return np.asarray(np.bincount(self.gap[rows], minlength=self.count))

    def along(self) -> tuple[Index, Index]:
        """Numbers of strokes along each gap, between the faces and on their lines."""
        low, high = self.u.min(axis=1), self.u.max(axis=1)
        covered = np.minimum(high, self.width) - np.maximum(low, 0.0)
        runs_on = (low < -RUN_ON_MM) & (high > self.width + RUN_ON_MM)
        across = np.abs(self.v.mean(axis=1))
        spans = (self.cosine >= PARALLEL_COS) & (covered >= SPAN_SHARE * self.width) & ~runs_on
        on_face = np.abs(across - self.half) <= np.minimum(ON_FACE_MM, self.half / 4)
        between = ~on_face & (across < self.half)
        return self._counted(spans & between), self._counted(spans & on_face)

    def _slants_out(self) -> Bools:
        """Strokes at a slant from within the thickness of the wall out of the gap."""
        low, high = SLANT_COS
        depth = np.abs(self.v)
        begins, reaches = depth.min(axis=1), depth.max(axis=1)
        within = (self.u.min(axis=1) >= -HANG_MM) & (self.u.max(axis=1) <= self.width + HANG_MM)
        slants = (self.cosine >= low) & (self.cosine <= high)
        return np.asarray(
            slants & within & (begins <= self.half + HANG_MM / 2) & (reaches > self.half + HANG_MM)
        )

    def folding(self) -> Bools:
        """Gaps with two folding panels or more."""
        low, high = PANEL_SHARE
        share = self.length / self.width
        panels = self._slants_out() & (share >= low) & (share <= high)
        panels &= self.width <= WIDEST_FOLDING_MM
        return np.asarray(self._counted(panels) >= 2)

    def leaf(self) -> Bools:
        """Gaps with a leaf drawn alone, from one of the jambs."""
        low, high = LEAF_SHARE
        share = self.length / self.width
        begin = np.abs(self.v).argmin(axis=1)
        at = self.u[np.arange(len(self.u)), begin]
        at_jamb = np.minimum(np.abs(at), np.abs(at - self.width)) <= HANG_MM
        leaves = self._slants_out() & (share >= low) & (share <= high) & at_jamb
        return np.asarray(self._counted(leaves) >= 1)
