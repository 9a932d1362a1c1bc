"""A DXF modelspace flattened to plain geometry: what `load` + `flatten` deliver and the finders use.

Frame: drawing units, less `Drawing.origin` (whole numbers, so that the subtraction is exact and the
numbers are small); `Drawing.in_mm(to_mm)` gives the same drawing scaled to millimetres. Blocks are
expanded, frozen and switched-off layers and paper space are left out, curves are polygons.

Arrays are read-only by convention; nothing in this module is mutated after it is made.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from importer.plan import Finding, Origin, Point

Floats = NDArray[np.float64]
Ints = NDArray[np.int32]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Which entity a piece of geometry comes from. `blocks` are the true names of the blocks it was
    nested in, outermost first; `handle` is that of the outermost entity in modelspace, the one a
    user can find in his CAD program; `kind` is the DXF type of the entity itself.
    """

    kind: str
    layer: str
    handle: str
    blocks: tuple[str, ...] = ()
    colour: int = 256
    insert: int = -1
    """Index into `Drawing.inserts` of the innermost INSERT it was expanded from, -1 for none."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segments:
    """All straight strokes. `ends` has shape (n, 4): x0, y0, x1, y1. `source` indexes
    `Drawing.sources`. `curved` marks chords of arcs, circles, ellipses, splines and bulges.
    """

    ends: Floats
    source: Ints
    curved: Bools

    def __len__(self) -> int:
        return len(self.ends)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arc:
    """A circular arc, counter-clockwise from `start_deg` through `sweep_deg` (0..360]."""

    centre: Point
    radius: float
    start_deg: float
    sweep_deg: float
    source: int

    def point_at(self, share: float) -> Point:
        """Point on the arc; share 0 is its start, 1 its end."""
        a = np.radians(self.start_deg + share * self.sweep_deg)
        return (
            self.centre[0] + self.radius * float(np.cos(a)),
            self.centre[1] + self.radius * float(np.sin(a)),
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """A closed outline: (n, 2) points, first not repeated, at least three distinct, not noded.
    `filled` when it bounds a HATCH or SOLID; `bridged` is the gap that was closed, 0 when none.
    """

    points: Floats
    source: int
    filled: bool = False
    bridged: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A text as it reads, codes removed, lines separated by newlines. `at` is the middle of its
    estimated box (DXF gives only the insertion point), `tag` the attribute tag for an ATTRIB.
    """

    text: str
    at: Point
    height: float
    source: int
    angle_deg: float = 0.0
    tag: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Insert:
    """A block reference as it stands in modelspace. `matrix` maps block to drawing coordinates:
    (a, b, c, d, tx, ty) with x' = a x + c y + tx and y' = b x + d y + ty. `box` is the extent of
    what it expanded to: (xmin, ymin, xmax, ymax), or None for an empty block.
    """

    block: str
    at: Point
    matrix: tuple[float, float, float, float, float, float]
    source: int
    box: tuple[float, float, float, float] | None = None
    depth: int = 0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawing:
    """One modelspace, flattened. `header_unit` is the value of $INSUNITS *as written in the file*
    (None when the file does not say), `measurement` that of $MEASUREMENT. `levels` is the height of
    each source above z = 0 (of its first point), None when everything lies at 0.
    """

    file: str
    version: str
    header_unit: int | None
    measurement: int | None
    origin: Point
    to_mm: float | None
    sources: tuple[Source, ...]
    segments: Segments
    arcs: tuple[Arc, ...] = ()
    rings: tuple[Ring, ...] = ()
    texts: tuple[Text, ...] = ()
    inserts: tuple[Insert, ...] = ()
    findings: tuple[Finding, ...] = field(default=())
    levels: Floats | None = None

    def layer_of(self, source: int) -> str:
        """Effective layer of a source index."""
        return self.sources[source].layer

    def where(self, at: Point | None = None, source: int | None = None) -> Origin:
        """Origin record for a place in this drawing's frame, in the units the user drew in."""
        src = self.sources[source] if source is not None else None
        k = self.to_mm or 1.0
        place = None
        if at is not None:
            place = (at[0] / k + self.origin[0], at[1] / k + self.origin[1])
        return Origin(
            file=self.file,
            layer=src.layer if src else None,
            handle=src.handle if src else None,
            at=place,
        )

    def in_mm(self, to_mm: float) -> Drawing:
        """The same drawing in millimetres about the same origin. Call once, on drawing units."""
        if self.to_mm is not None:
            msg = "drawing is in millimetres already"
            raise ValueError(msg)
        k = to_mm
        return replace(
            self,
            to_mm=to_mm,
            segments=replace(self.segments, ends=self.segments.ends * k),
            arcs=tuple(
                replace(a, centre=(a.centre[0] * k, a.centre[1] * k), radius=a.radius * k)
                for a in self.arcs
            ),
            rings=tuple(replace(r, points=r.points * k, bridged=r.bridged * k) for r in self.rings),
            texts=tuple(
                replace(t, at=(t.at[0] * k, t.at[1] * k), height=t.height * k) for t in self.texts
            ),
            inserts=tuple(_scaled_insert(i, k) for i in self.inserts),
            levels=None if self.levels is None else self.levels * k,
        )


def _scaled_insert(insert: Insert, k: float) -> Insert:
    a, b, c, d, tx, ty = insert.matrix
    box = insert.box
    return replace(
        insert,
        at=(insert.at[0] * k, insert.at[1] * k),
        matrix=(a * k, b * k, c * k, d * k, tx * k, ty * k),
        box=None if box is None else (box[0] * k, box[1] * k, box[2] * k, box[3] * k),
    )
