"""Flattened content of one block or of modelspace, as arrays, and how it is moved and merged.

`Shapes` is what a block expands to in its own coordinates, everything nested in it included. A
reference places it by one affine matrix. `Sheet` gathers: entities of its own and placed shapes.
"""

from __future__ import annotations

import math
from array import array
from dataclasses import dataclass, field, replace
from typing import Final, NamedTuple

import numpy as np

from importer.dxf.curves import arc_chords
from importer.dxf.drawing import Bools, Floats, Ints

SIMILAR: Final = 1e-6
"""Scales of both axes closer than this (relative), and as square, keep a circle a circle."""

FARTHEST: Final = 1e12
"""A coordinate beyond this is damage in any unit: in millimetres it is further than the moon."""


class SourceRow(NamedTuple):
    """A source before it gets its final form; `level` is its height above z = 0."""

    kind: str
    layer: str
    colour: int
    handle: str = ""
    blocks: tuple[str, ...] = ()
    insert: int = -1
    level: float = 0.0


class TextRow(NamedTuple):
    """A text in the coordinates of its sheet; `x`, `y` are the middle of its box."""

    text: str
    x: float
    y: float
    height: float
    angle: float
    source: int
    tag: str | None


class InsertRow(NamedTuple):
    """A placed block; `matrix` is (a, b, c, d, tx, ty) as in `drawing.Insert`."""

    block: str
    x: float
    y: float
    matrix: tuple[float, float, float, float, float, float]
    source: int
    depth: int


class Affine(NamedTuple):
    """x' = a x + c y + tx, y' = b x + d y + ty; heights: z' = rise z + tz."""

    a: float
    b: float
    c: float
    d: float
    tx: float
    ty: float
    rise: float = 1.0
    tz: float = 0.0

    def point(self, x: float, y: float) -> tuple[float, float]:
        """One point moved."""
        return self.a * x + self.c * y + self.tx, self.b * x + self.d * y + self.ty

    def points(self, points: Floats) -> Floats:
        """Points (n, 2) moved."""
        x, y = points[:, 0], points[:, 1]
        out = np.empty((len(points), 2))
        out[:, 0] = self.a * x + self.c * y + self.tx
        out[:, 1] = self.b * x + self.d * y + self.ty
        return out

    def after(self, first: Affine) -> Affine:
        """The map that applies `first` and then this."""
        tx, ty = self.point(first.tx, first.ty)
        return Affine(
            self.a * first.a + self.c * first.b,
            self.b * first.a + self.d * first.b,
            self.a * first.c + self.c * first.d,
            self.b * first.c + self.d * first.d,
            tx,
            ty,
            self.rise * first.rise,
            self.rise * first.tz + self.tz,
        )

    @property
    def is_similar(self) -> bool:
        """True when circles stay circles."""
        size = self.a * self.a + self.b * self.b
        other = self.c * self.c + self.d * self.d
        square = self.a * self.c + self.b * self.d
        return (
            abs(size - other) <= 2 * SIMILAR * size and abs(square) <= SIMILAR * size and size > 0
        )

    @property
    def is_mirrored(self) -> bool:
        """True when it turns left hands into right hands."""
        return self.a * self.d - self.b * self.c < 0

    def arcs(self, rows: Floats) -> Floats:
        """Arc rows under a similar map (see `is_similar`)."""
        turn = math.atan2(self.b, self.a)
        start = rows[:, 3] + turn
        if self.is_mirrored:
            start = turn - rows[:, 3] - rows[:, 4]
        radius = rows[:, 2] * math.hypot(self.a, self.b)
        return np.column_stack((self.points(rows[:, :2]), radius, start, rows[:, 4]))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shapes:
    """Arrays of one block's content. `ring_ends[i]` is where ring i stops in `ring_points`."""

    ends: Floats
    ends_source: Ints
    curved: Bools
    arcs: Floats
    arc_source: Ints
    ring_points: Floats
    ring_ends: Ints
    ring_source: Ints
    ring_filled: Bools
    ring_bridged: Floats
    texts: tuple[TextRow, ...] = ()
    inserts: tuple[InsertRow, ...] = ()
    sources: tuple[SourceRow, ...] = ()

    @property
    def weight(self) -> int:
        """Measure of its size in memory: strokes, ring points, texts, inserts and sources."""
        counts = (self.ends, self.ring_points, self.texts, self.inserts, self.sources)
        return sum(len(part) for part in counts)

    def without_layer(self, layer: str) -> Shapes:
        """The same without everything on that layer."""
        shown = np.array([row.layer != layer for row in self.sources], dtype=np.bool_)
        if shown.all():
            return self
        stroke, arc, ring = (
            shown[self.ends_source],
            shown[self.arc_source],
            shown[self.ring_source],
        )
        sizes = np.diff(self.ring_ends, prepend=0)
        return replace(
            self,
            ends=self.ends[stroke],
            ends_source=self.ends_source[stroke],
            curved=self.curved[stroke],
            arcs=self.arcs[arc],
            arc_source=self.arc_source[arc],
            ring_points=self.ring_points[np.repeat(ring, sizes)],
            ring_ends=np.cumsum(sizes[ring]).astype(np.int32),
            ring_source=self.ring_source[ring],
            ring_filled=self.ring_filled[ring],
            ring_bridged=self.ring_bridged[ring],
            texts=tuple(text for text in self.texts if shown[text.source]),
        )


def _joined(parts: list[Floats], width: int) -> Floats:
    return np.concatenate(parts) if parts else np.empty((0, width))


@dataclass(slots=True)
class Sheet:
    """Gathers content: single strokes and arcs row after row, everything else in pieces of arrays."""

    sources: list[SourceRow] = field(default_factory=list)
    lines: array[float] = field(default_factory=lambda: array("d"))
    line_sources: array[int] = field(default_factory=lambda: array("i"))
    arcs: array[float] = field(default_factory=lambda: array("d"))
    arc_sources: array[int] = field(default_factory=lambda: array("i"))
    strokes: list[tuple[Floats, Ints, Bools]] = field(default_factory=list)
    exact: list[tuple[Floats, Ints]] = field(default_factory=list)
    rings: list[Floats] = field(default_factory=list)
    ring_rows: list[tuple[int, bool, float]] = field(default_factory=list)
    texts: list[TextRow] = field(default_factory=list)
    inserts: list[InsertRow] = field(default_factory=list)

    def source(self, row: SourceRow) -> int:
        """Register a source; its index."""
        self.sources.append(row)
        return len(self.sources) - 1

    def line(self, ends: tuple[float, float, float, float], source: int) -> None:
        """One straight stroke."""
        self.lines.extend(ends)
        self.line_sources.append(source)

    def arc(self, row: tuple[float, float, float, float, float], source: int) -> None:
        """One circular arc, which is drawn as chords too."""
        self.arcs.extend(row)
        self.arc_sources.append(source)

    def exact_arcs(self, rows: Floats, source: int) -> None:
        """Arcs whose chords are added apart from them."""
        self.exact.append((rows, np.full(len(rows), source, dtype=np.int32)))

    def path(self, points: Floats, curved: Bools, source: int) -> None:
        """Strokes from point to point; `curved` has one value for each."""
        ends = np.empty((len(points) - 1, 4))
        ends[:, :2], ends[:, 2:] = points[:-1], points[1:]
        self.strokes.append((ends, np.full(len(ends), source, dtype=np.int32), curved))

    def ring(self, points: Floats, source: int, *, filled: bool, bridged: float = 0.0) -> None:
        """A closed outline."""
        self.rings.append(points)
        self.ring_rows.append((source, filled, bridged))

    def place(self, shapes: Shapes, matrix: Affine, insert: InsertRow, under: SourceRow) -> None:
        """Add a block's content where a reference puts it. `under` is the source of the reference:
        layer 0 and colour BYBLOCK inside the block take its layer and colour.
        """
        source_base, own = len(self.sources), len(self.inserts)
        self.inserts.append(insert)
        self.sources.extend(_placed_sources(shapes, matrix, insert, under, own))
        self.inserts.extend(
            _placed_insert(row, matrix, source_base, insert.depth + 1) for row in shapes.inserts
        )
        if len(shapes.ends):
            ends = matrix.points(shapes.ends.reshape(-1, 2)).reshape(-1, 4)
            self.strokes.append((ends, shapes.ends_source + np.int32(source_base), shapes.curved))
        if len(shapes.arcs) and matrix.is_similar:
            rows = matrix.arcs(shapes.arcs)
            self.exact.append((rows, shapes.arc_source + np.int32(source_base)))
        self._place_rings(shapes, matrix, source_base)
        self.texts.extend(_placed_text(row, matrix, source_base) for row in shapes.texts)

    def _place_rings(self, shapes: Shapes, matrix: Affine, source_base: int) -> None:
        if not len(shapes.ring_ends):
            return
        points = matrix.points(shapes.ring_points)
        stops = shapes.ring_ends.tolist()
        self.rings.extend(points[a:b] for a, b in zip([0, *stops], stops, strict=False))
        rows = zip(
            shapes.ring_source.tolist(),
            shapes.ring_filled.tolist(),
            shapes.ring_bridged.tolist(),
            strict=True,
        )
        scale = math.sqrt(abs(matrix.a * matrix.d - matrix.b * matrix.c))
        self.ring_rows.extend(
            (source + source_base, filled, bridged * scale) for source, filled, bridged in rows
        )

    def finished(self) -> Shapes:
        """Everything gathered, as arrays. Strokes come in the order: lines, arcs, the rest."""
        ends, ends_source, curved = self._all_strokes()
        exact = [rows for rows, _ in self.exact]
        exact_sources = [sources for _, sources in self.exact]
        if self.arcs:
            exact.insert(0, np.array(self.arcs).reshape(-1, 5))
            exact_sources.insert(0, np.array(self.arc_sources, dtype=np.int32))
        sizes = np.array([len(ring) for ring in self.rings], dtype=np.int32)
        rows = self.ring_rows
        return Shapes(
            ends=ends,
            ends_source=ends_source,
            curved=curved,
            arcs=_joined(exact, 5),
            arc_source=_indices(exact_sources),
            ring_points=_joined(self.rings, 2),
            ring_ends=np.cumsum(sizes).astype(np.int32),
            ring_source=np.array([row[0] for row in rows], dtype=np.int32),
            ring_filled=np.array([row[1] for row in rows], dtype=np.bool_),
            ring_bridged=np.array([row[2] for row in rows], dtype=np.float64),
            texts=tuple(self.texts),
            inserts=tuple(self.inserts),
            sources=tuple(self.sources),
        )

    def _all_strokes(self) -> tuple[Floats, Ints, Bools]:
        lines = np.array(self.lines).reshape(-1, 4)
        sources = np.array(self.line_sources, dtype=np.int32)
        parts = [(lines, sources, np.zeros(len(lines), dtype=np.bool_))]
        if self.arcs:
            chords, owner = arc_chords(np.array(self.arcs).reshape(-1, 5))
            sources = np.array(self.arc_sources, dtype=np.int32)[owner]
            parts.append((chords, sources, np.ones(len(chords), dtype=np.bool_)))
        parts.extend(self.strokes)
        self.strokes.clear()
        ends = np.concatenate([part[0] for part in parts])
        source = np.concatenate([part[1] for part in parts])
        curved = np.concatenate([part[2] for part in parts])
        drawn = (ends[:, 0] != ends[:, 2]) | (ends[:, 1] != ends[:, 3])
        if drawn.all():
            return ends, source, curved
        return ends[drawn], source[drawn], curved[drawn]


def _indices(parts: list[Ints]) -> Ints:
    return np.concatenate(parts).astype(np.int32) if parts else np.empty(0, dtype=np.int32)


def _placed_sources(
    shapes: Shapes, matrix: Affine, insert: InsertRow, under: SourceRow, own: int
) -> list[SourceRow]:
    """Sources of the placed content: layer, colour, block names and insert as seen from outside."""
    names: dict[tuple[str, ...], tuple[str, ...]] = {}
    first = own + 1
    out = []
    for kind, layer, colour, _, blocks, inner, level in shapes.sources:
        path = names.get(blocks)
        if path is None:
            path = names[blocks] = (*under.blocks, insert.block, *blocks)
        out.append(
            SourceRow(
                kind,
                under.layer if layer == "0" else layer,
                under.colour if colour == 0 else colour,
                under.handle,
                path,
                own if inner < 0 else first + inner,
                matrix.rise * level + matrix.tz,
            )
        )
    return out


def _placed_insert(row: InsertRow, matrix: Affine, source_base: int, depth: int) -> InsertRow:
    x, y = matrix.point(row.x, row.y)
    inner = Affine(*row.matrix)
    whole = matrix.after(inner)
    return InsertRow(row.block, x, y, whole[:6], row.source + source_base, row.depth + depth)


def _placed_text(row: TextRow, matrix: Affine, source_base: int) -> TextRow:
    x, y = matrix.point(row.x, row.y)
    angle = math.radians(row.angle)
    across, along = math.cos(angle), math.sin(angle)
    right = (matrix.a * across + matrix.c * along, matrix.b * across + matrix.d * along)
    up = (-matrix.a * along + matrix.c * across, -matrix.b * along + matrix.d * across)
    turned = math.degrees(math.atan2(right[1], right[0])) if any(right) else row.angle
    height = row.height * math.hypot(*up)
    return TextRow(row.text, x, y, height, turned, row.source + source_base, row.tag)
