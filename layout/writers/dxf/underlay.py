"""What the architect has drawn, as far as our texts must keep clear of it.

Boxes of his texts, his lines, and where his drawing ends, so that the tables find free ground beside
it. Plan frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import cos, isfinite, radians, sin

import numpy as np
import shapely
from ezdxf import disassemble, path
from ezdxf.document import Drawing
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.hatch import Hatch
from ezdxf.entities.insert import Insert
from ezdxf.entities.line import Line
from ezdxf.entities.mtext import MText
from ezdxf.entities.text import Text
from ezdxf.lldxf.const import DXFError
from ezdxf.tools.text import plain_text
from numpy.typing import NDArray
from shapely import MultiLineString, Polygon

from layout.writers.dxf.lettering import text_width
from layout.writers.dxf.marks import oriented_box

Bounds = tuple[float, float, float, float]
"""xmin, ymin, xmax, ymax."""

_SAGITTA_MM = 5.0
_MOST_ENTITIES = 400_000
"""Blocks are expanded up to this many entities; what lies beyond is not kept clear of."""
_MOST_RINGS = 500
_TEXT_KINDS = ("TEXT", "ATTRIB", "ATTDEF")
_LINE_KINDS = frozenset(
    ("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "SOLID", "TRACE")
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Underlay:
    """`texts` are boxes, `strokes` an array of lines, `hatched` areas that are filled or hatched."""

    texts: tuple[Polygon, ...]
    strokes: NDArray[np.object_]
    hatched: tuple[Polygon, ...] = ()

    def extent_about(self, rooms: Bounds) -> Bounds:
        """Bounds of the drawing that the rooms are part of: everything that hangs together with them
        without a gap wider than a tenth of their size. Strays far away are not in it.
        """
        reach = 0.1 * max(rooms[2] - rooms[0], rooms[3] - rooms[1])
        parts = np.concatenate([self.strokes, np.asarray(self.texts, dtype=object)])
        bounds = shapely.bounds(parts) if len(parts) else np.empty((0, 4))
        extent = np.asarray(rooms)
        while True:
            near = (
                (bounds[:, 0] <= extent[2] + reach)
                & (bounds[:, 2] >= extent[0] - reach)
                & (bounds[:, 1] <= extent[3] + reach)
                & (bounds[:, 3] >= extent[1] - reach)
            )
            low = np.min(np.vstack([bounds[near][:, :2], extent[None, :2]]), axis=0)
            high = np.max(np.vstack([bounds[near][:, 2:], extent[None, 2:]]), axis=0)
            grown = np.concatenate([low, high])
            if np.array_equal(grown, extent):
                x0, y0, x1, y1 = (float(v) for v in extent)
                return x0, y0, x1, y1
            extent = grown

    def bounds(self) -> Bounds | None:
        """Bounds of everything drawn; None when nothing is."""
        parts = np.concatenate([self.strokes, np.asarray(self.texts, dtype=object)])
        if not len(parts):
            return None
        x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(parts))
        return x0, y0, x1, y1


def underlay_of(doc: Drawing, to_mm: float) -> Underlay:
    """Look at the visible modelspace. Entities that cannot be read are passed over: they are kept in
    the drawing, only nothing keeps clear of them.
    """
    hidden = frozenset(
        layer.dxf.name.casefold() for layer in doc.layers if layer.is_frozen() or layer.is_off()
    )
    texts: list[Polygon] = []
    strokes: list[NDArray[np.float64]] = []
    hatched: list[Polygon] = []
    for entity in _visible(doc, hidden):
        kind = entity.dxftype()
        if kind in _TEXT_KINDS or kind == "MTEXT":
            texts.extend(_text_box(entity, to_mm))
        elif kind in _LINE_KINDS:
            strokes.extend(_stroke(entity, to_mm))
        elif isinstance(entity, Hatch):
            hatched.extend(_fill(entity, to_mm))
    counts = [len(s) for s in strokes]
    lines = np.array([], dtype=object)
    if strokes:
        owners = np.repeat(np.arange(len(strokes)), counts)
        lines = np.asarray(shapely.linestrings(np.vstack(strokes), indices=owners), dtype=object)
    return Underlay(texts=tuple(texts), strokes=lines, hatched=tuple(hatched))


def _visible(doc: Drawing, hidden: frozenset[str]) -> Iterator[DXFEntity]:
    count = 0
    for top in doc.modelspace():
        if _layer(top) in hidden or _is_invisible(top):
            continue
        for entity in _expanded(top):
            count += 1
            if count > _MOST_ENTITIES:
                return
            if _layer(entity) not in hidden:
                yield entity


def _layer(entity: DXFEntity) -> str:
    """Layer in lower case; entities of a kind unknown to ezdxf have none that it can tell."""
    known = entity.dxf.is_supported("layer")
    return str(entity.dxf.get("layer", "0")).casefold() if known else "0"


def _is_invisible(entity: DXFEntity) -> bool:
    return entity.dxf.is_supported("invisible") and bool(entity.dxf.get("invisible", 0))


def _expanded(top: DXFGraphic) -> Iterable[DXFEntity]:
    if not isinstance(top, Insert) and top.dxftype() not in ("DIMENSION", "LEADER"):
        return (top,)
    try:
        return list(disassemble.recursive_decompose([top]))
    except (DXFError, ValueError, ZeroDivisionError, RecursionError, AttributeError):
        return ()


def _stroke(entity: DXFEntity, to_mm: float) -> Iterator[NDArray[np.float64]]:
    try:
        if isinstance(entity, Line):
            (x0, y0, _), (x1, y1, _) = entity.dxf.start, entity.dxf.end
            ends = np.array([(x0, y0), (x1, y1)], dtype=np.float64)
            if np.isfinite(ends).all():
                yield ends * to_mm
            return
        primitive = disassemble.make_primitive(entity, max_flattening_distance=_SAGITTA_MM / to_mm)
        points = np.array([(v.x, v.y) for v in primitive.vertices()], dtype=np.float64)
    except (DXFError, ValueError, ZeroDivisionError, OverflowError, TypeError):
        return
    if len(points) > 1 and np.isfinite(points).all():
        yield points * to_mm


def _text_box(entity: DXFEntity, to_mm: float) -> Iterator[Polygon]:
    if isinstance(entity, MText):
        lines = entity.plain_text(split=True)
        height = entity.dxf.get("char_height", 0.0)
        pitch = 5 / 3 * height * entity.dxf.get("line_spacing_factor", 1.0)
        angle = entity.get_rotation()
        place = (entity.dxf.get("attachment_point", 1) - 1) % 9
        at = entity.dxf.insert
        share, drop = (place % 3) / 2, (place // 3) / 2
    elif isinstance(entity, Text):
        lines = [plain_text(entity.dxf.text)]
        height = entity.dxf.get("height", 0.0)
        pitch, angle = height, entity.dxf.get("rotation", 0.0)
        at, share, drop = _text_anchor(entity)
    else:
        return
    width = max((text_width(line, height) for line in lines), default=0.0)
    if not (height > 0 and width > 0 and all(map(isfinite, (height, width, at.x, at.y, angle)))):
        return
    deep = height + pitch * (len(lines) - 1)
    along = (cos(radians(angle)), sin(radians(angle)))
    extent = (-share * width, -(1 - drop) * deep, (1 - share) * width, drop * deep)
    scaled = (extent[0] * to_mm, extent[1] * to_mm, extent[2] * to_mm, extent[3] * to_mm)
    yield oriented_box((at.x * to_mm, at.y * to_mm), along, scaled)


def _text_anchor(entity: Text) -> tuple[object, float, float]:
    ocs = entity.ocs()
    halign, valign = entity.dxf.get("halign", 0), entity.dxf.get("valign", 0)
    centred = (halign or valign) and entity.dxf.hasattr("align_point") and halign not in (3, 5)
    at = entity.dxf.align_point if centred else entity.dxf.insert
    share = {1: 0.5, 4: 0.5, 2: 1.0}.get(halign, 0.0) if centred else 0.0
    drop = {2: 0.5, 3: 0.0}.get(valign, 1.0) if centred else 1.0
    if halign == 4:
        drop = 0.5
    return ocs.to_wcs(at), share, drop


def _fill(entity: Hatch, to_mm: float) -> Iterator[Polygon]:
    try:
        paths = [p for p in path.from_hatch(entity) if len(p)]
        rings = [
            np.array([(v.x, v.y) for v in p.flattening(_SAGITTA_MM / to_mm)], dtype=np.float64)
            for p in paths[:_MOST_RINGS]
        ]
    except (DXFError, ValueError, ZeroDivisionError, OverflowError, TypeError):
        return
    closed = [r * to_mm for r in rings if len(r) > 2 and np.isfinite(r).all()]
    if closed:
        with np.errstate(invalid="ignore"):  # boundaries that cross or run back on themselves
            area = shapely.build_area(MultiLineString([np.vstack([r, r[:1]]) for r in closed]))
        yield from (p for p in shapely.get_parts(area) if isinstance(p, Polygon) and not p.is_empty)
