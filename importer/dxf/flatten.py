"""A loaded DXF to a `Drawing`: modelspace with blocks expanded and curves as chords.

What gives what
    Strokes (`Drawing.segments`): lines, polylines, curves, edges of faces. Closed ones give a ring
    too. Fills (HATCH, SOLID, TRACE) give rings only, never strokes; islands of a hatch follow from
    the even-odd rule over the rings of one source. Circular arcs are kept exactly as well, unless
    a reference stretches them. Dimensions, leaders and notes give nothing.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from importer.dxf.blocks import walk
from importer.dxf.drawing import Arc, Bools, Drawing, Floats, Insert, Ring, Segments, Source, Text
from importer.dxf.load import LoadedDxf
from importer.dxf.shapes import FARTHEST, Shapes
from importer.plan import Point

NEAR: Final = 1e5
"""Drawings whose middle is nearer to zero than this (in any unit) keep their own numbers."""

Box = tuple[float, float, float, float]


def flatten(loaded: LoadedDxf, file_name: str) -> Drawing:
    """The modelspace of a document as plain geometry.

    Args:
        loaded: the document, as `load_dxf` gives it; it is not changed.
        file_name: name that findings and sources carry.

    Returns:
        A drawing in drawing units about a whole-number origin, with the findings of loading and
        flattening. Damaged or unreadable entities are left out and told in the findings.
    """
    # Damaged scales may overflow; what is out of reach is dropped below, by `_usable`.
    with np.errstate(over="ignore", invalid="ignore"):
        shapes, tally = walk(loaded.document)
    origin = _origin(shapes)
    inserts = _inserts(shapes, origin)
    sources = tuple(
        Source(
            kind=row.kind,
            layer=row.layer,
            handle=row.handle,
            blocks=row.blocks,
            colour=row.colour,
            insert=row.insert,
        )
        for row in shapes.sources
    )
    return Drawing(
        file=file_name,
        version=loaded.version,
        header_unit=loaded.header_unit,
        measurement=loaded.measurement,
        origin=origin,
        to_mm=None,
        sources=sources,
        segments=_segments(shapes, origin),
        arcs=_arcs(shapes, origin),
        rings=_rings(shapes, origin),
        texts=_texts(shapes, origin),
        inserts=inserts,
        levels=_levels(shapes),
        findings=(*loaded.findings, *tally.findings(file_name)),
    )


def _origin(shapes: Shapes) -> Point:
    """Whole-number middle of the linework. The median is not moved by what strays far away."""
    if len(shapes.ends):
        points = shapes.ends[:, :2]
    elif len(shapes.ring_points):
        points = shapes.ring_points
    else:
        points = np.array([(row.x, row.y) for row in shapes.texts], dtype=np.float64).reshape(-1, 2)
    points = points[_usable(points)]
    if not len(points):
        return 0.0, 0.0
    x, y = (float(round(value)) for value in np.median(points, axis=0))
    return (x, y) if max(abs(x), abs(y)) > NEAR else (0.0, 0.0)


def _levels(shapes: Shapes) -> Floats | None:
    levels = np.array([row.level for row in shapes.sources], dtype=np.float64)
    # A damaged scale in z may throw heights out of reach; they do not matter to the plan.
    levels[~(np.abs(levels) < FARTHEST)] = 0.0
    return levels if levels.any() else None


def _usable(rows: Floats) -> Bools:
    """Rows whose numbers all are within reach (a placed block may throw them out of it)."""
    return np.asarray(np.all(np.abs(rows) < FARTHEST, axis=1), dtype=np.bool_)


def _segments(shapes: Shapes, origin: Point) -> Segments:
    good = _usable(shapes.ends)
    ends, source, curved = shapes.ends, shapes.ends_source, shapes.curved
    if not good.all():
        ends, source, curved = ends[good], source[good], curved[good]
    if any(origin):
        ends = ends - np.array((*origin, *origin))
    return Segments(ends=ends, source=source, curved=curved)


def _arcs(shapes: Shapes, origin: Point) -> tuple[Arc, ...]:
    good = _usable(shapes.arcs[:, :3])
    rows = shapes.arcs[good]
    starts = np.degrees(rows[:, 3]) % 360.0
    sweeps = np.minimum(np.degrees(rows[:, 4]), 360.0)
    centres = rows[:, :2] - np.array(origin)
    return tuple(
        Arc(centre=(x, y), radius=radius, start_deg=start, sweep_deg=sweep, source=source)
        for (x, y), radius, start, sweep, source in zip(
            centres.tolist(),
            rows[:, 2].tolist(),
            starts.tolist(),
            sweeps.tolist(),
            shapes.arc_source[good].tolist(),
            strict=True,
        )
    )


def _rings(shapes: Shapes, origin: Point) -> tuple[Ring, ...]:
    if not len(shapes.ring_ends):
        return ()
    good = _usable(shapes.ring_points)
    starts = np.concatenate(([0], shapes.ring_ends[:-1]))
    points = shapes.ring_points - np.array(origin)
    rows = zip(
        starts.tolist(),
        shapes.ring_ends.tolist(),
        shapes.ring_source.tolist(),
        shapes.ring_filled.tolist(),
        shapes.ring_bridged.tolist(),
        strict=True,
    )
    return tuple(
        Ring(points=points[start:stop], source=source, filled=filled, bridged=bridged)
        for start, stop, source, filled, bridged in rows
        if good[start:stop].all()
    )


def _texts(shapes: Shapes, origin: Point) -> tuple[Text, ...]:
    return tuple(
        Text(
            text=row.text,
            at=(row.x - origin[0], row.y - origin[1]),
            height=row.height,
            source=row.source,
            angle_deg=row.angle % 360.0,
            tag=row.tag,
        )
        for row in shapes.texts
        if max(abs(row.x), abs(row.y)) < FARTHEST and row.height > 0
    )


def _inserts(shapes: Shapes, origin: Point) -> tuple[Insert, ...]:
    boxes = _boxes(shapes)
    out = []
    for row, box in zip(shapes.inserts, boxes, strict=True):
        a, b, c, d, tx, ty = row.matrix
        out.append(
            Insert(
                block=row.block,
                at=(row.x - origin[0], row.y - origin[1]),
                matrix=(a, b, c, d, tx - origin[0], ty - origin[1]),
                source=row.source,
                box=None
                if box is None
                else (
                    box[0] - origin[0],
                    box[1] - origin[1],
                    box[2] - origin[0],
                    box[3] - origin[1],
                ),
                depth=row.depth,
            )
        )
    return tuple(out)


def _boxes(shapes: Shapes) -> list[Box | None]:
    """Extent of what each reference expanded to, what is nested in it included."""
    count = len(shapes.inserts)
    if not count:
        return []
    owner = np.array([row.insert for row in shapes.sources], dtype=np.int64)
    sizes = np.diff(shapes.ring_ends, prepend=0)
    strokes, rings = owner[shapes.ends_source], np.repeat(owner[shapes.ring_source], sizes)
    low = np.full((count, 2), math.inf)
    high = np.full((count, 2), -math.inf)
    for owners, points in (
        (strokes, shapes.ends[:, :2]),
        (strokes, shapes.ends[:, 2:]),
        (rings, shapes.ring_points),
    ):
        inside = (owners >= 0) & _usable(points)
        np.minimum.at(low, owners[inside], points[inside])
        np.maximum.at(high, owners[inside], points[inside])
    # A reference is listed before those nested in it.
    for index in range(count - 1, -1, -1):
        parent = int(owner[shapes.inserts[index].source])
        if parent >= 0:
            low[parent] = np.minimum(low[parent], low[index])
            high[parent] = np.maximum(high[parent], high[index])
    return [
        (x0, y0, x1, y1) if x0 <= x1 else None
        for (x0, y0), (x1, y1) in zip(low.tolist(), high.tolist(), strict=True)
    ]
