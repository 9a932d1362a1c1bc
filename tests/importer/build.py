"""A drawing drawn by hand: what `flatten` would deliver, without a file. Millimetres."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np

from importer.dxf.drawing import Arc, Drawing, Insert, Ring, Segments, Source, Text
from importer.plan import Point


class Sketch:
    """Collects strokes, arcs, outlines and texts; `build` makes the drawing, in millimetres."""

    def __init__(self) -> None:
        self._sources: list[Source] = []
        self._ends: list[tuple[float, float, float, float]] = []
        self._source: list[int] = []
        self._curved: list[bool] = []
        self._arcs: list[Arc] = []
        self._rings: list[Ring] = []
        self._texts: list[Text] = []
        self._inserts: list[Insert] = []

    def source(self, kind: str, layer: str, *, insert: int = -1, block: str | None = None) -> int:
        handle = f"{len(self._sources) + 0x20:X}"
        blocks = (block,) if block else ()
        self._sources.append(
            Source(kind=kind, layer=layer, handle=handle, blocks=blocks, insert=insert)
        )
        return len(self._sources) - 1

    def line(self, a: Point, b: Point, layer: str = "0", *, source: int | None = None) -> None:
        self._stroke(a, b, self.source("LINE", layer) if source is None else source)

    def polyline(self, points: Sequence[Point], layer: str = "0", *, closed: bool = False) -> None:
        source = self.source("LWPOLYLINE", layer)
        ends = [*points, points[0]] if closed else list(points)
        for a, b in itertools.pairwise(ends):
            self._stroke(a, b, source)
        if closed:
            self._rings.append(Ring(points=np.array(points, dtype=float), source=source))

    def box(self, x0: float, y0: float, x1: float, y1: float, layer: str = "0") -> None:
        self.polyline([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], layer, closed=True)

    def arc(
        self,
        centre: Point,
        radius: float,
        start: float,
        sweep: float,
        layer: str = "0",
        *,
        source: int | None = None,
    ) -> None:
        src = self.source("ARC", layer) if source is None else source
        arc = Arc(centre=centre, radius=radius, start_deg=start, sweep_deg=sweep, source=src)
        self._arcs.append(arc)
        points = [arc.point_at(k / 8) for k in range(9)]
        for a, b in itertools.pairwise(points):
            self._stroke(a, b, src, curved=True)

    def curve(self, points: Sequence[Point], layer: str = "0") -> None:
        """A curve of which only the chords are known, as of a stretched arc."""
        src = self.source("ELLIPSE", layer)
        for a, b in itertools.pairwise(points):
            self._stroke(a, b, src, curved=True)

    def text(self, text: str, at: Point, height: float = 200.0, layer: str = "TEXT") -> None:
        self._texts.append(Text(text=text, at=at, height=height, source=self.source("TEXT", layer)))

    def attrib(self, tag: str, text: str, at: Point, insert: int, height: float = 200.0) -> None:
        src = self.source("ATTRIB", "TEXT", insert=insert)
        self._texts.append(Text(text=text, at=at, height=height, source=src, tag=tag))

    def insert(self, block: str, box: tuple[float, float, float, float], layer: str = "0") -> int:
        """A block reference; gives its index, for `source(..., insert=)`."""
        src = self.source("INSERT", layer)
        at = (box[0], box[1])
        self._inserts.append(
            Insert(block=block, at=at, matrix=(1, 0, 0, 1, *at), source=src, box=box)
        )
        return len(self._inserts) - 1

    def door(
        self,
        hinge: Point,
        closed: Point,
        *,
        opens: float = 90.0,
        layer: str = "DOORS",
        leaf: float = 0.0,
    ) -> None:
        """A hinged leaf: arc and leaf, opened by `opens` degrees (negative: clockwise).

        `leaf` is the thickness of the leaf, drawn as a rectangle; 0 draws one stroke.
        """
        dx, dy = closed[0] - hinge[0], closed[1] - hinge[1]
        radius, base = math.hypot(dx, dy), math.degrees(math.atan2(dy, dx))
        turn = math.radians(base + opens)
        tip = (hinge[0] + radius * math.cos(turn), hinge[1] + radius * math.sin(turn))
        self.arc(hinge, radius, base if opens > 0 else base + opens, abs(opens), layer)
        if not leaf:
            self.line(hinge, tip, layer)
            return
        side = math.copysign(leaf, -opens)
        off = (-math.sin(turn) * side, math.cos(turn) * side)
        corners = [hinge, tip, (tip[0] + off[0], tip[1] + off[1])]
        corners.append((hinge[0] + off[0], hinge[1] + off[1]))
        self.polyline(corners, layer, closed=True)

    def _stroke(self, a: Point, b: Point, source: int, *, curved: bool = False) -> None:
        self._ends.append((*a, *b))
        self._source.append(source)
        self._curved.append(curved)

    def build(self, *, origin: Point = (0.0, 0.0), to_mm: float | None = 1.0) -> Drawing:
        return Drawing(
            file="sketch.dxf",
            version="AC1024",
            header_unit=4,
            measurement=1,
            origin=origin,
            to_mm=to_mm,
            sources=tuple(self._sources),
            segments=Segments(
                ends=np.array(self._ends, dtype=float).reshape(-1, 4),
                source=np.array(self._source, dtype=np.int32),
                curved=np.array(self._curved, dtype=bool),
            ),
            arcs=tuple(self._arcs),
            rings=tuple(self._rings),
            texts=tuple(self._texts),
            inserts=tuple(self._inserts),
        )
