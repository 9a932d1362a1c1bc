"""Entities of ours out of a drawing that anybody may have edited since: outlines with their data.

Nothing is believed unseen: data of the wrong kind, outlines that are no outlines and figures that are no
numbers become findings that name the entity.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot
from typing import TypeVar

import numpy as np
import shapely
from ezdxf import path
from ezdxf.document import Drawing
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.polyline import Polyline
from ezdxf.lldxf.const import DXFError
from ezdxf.lldxf.tags import Tags
from pydantic import BaseModel, ValidationError
from shapely import Polygon

from importer.plan import Finding, Origin, Point, Severity
from importer.tolerance import area_slack
from layout.writers.dxf.xdata import APPID, Kind, fault_words, read_tags

M = TypeVar("M", bound=BaseModel)

_SAGITTA_MM = 0.05
_MOST_VERTICES = 10_000
_REMEDY = "Mark the architect's drawing again, or undo the change in the CAD program."
_UNIT_TOLERANCE = 1e-6
"""A direction whose length differs from one by more than this has been scaled with the drawing."""

_NO_FRAME = ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outline:
    """A closed outline in the plan frame, mm, with its data. `frame` is that of a bay."""

    kind: Kind
    shape: Polygon
    text: str
    where: Origin
    frame: tuple[Point, Point, Point] = _NO_FRAME


def outlines_in(
    doc: Drawing, to_mm: float, file: str, findings: list[Finding]
) -> Iterator[Outline]:
    """All outlines of ours in the modelspace, in drawing order."""
    for entity in doc.modelspace():
        if not isinstance(entity, DXFGraphic) or not entity.has_xdata(APPID):
            continue
        where = Origin(file=file, layer=entity.dxf.get("layer"), handle=entity.dxf.get("handle"))
        tags = entity.get_xdata(APPID)
        kind, text = read_tags(tags)
        if kind is None:
            findings.append(problem("OUT-121", "Data of this entity is not understood.", where))
        elif kind is not Kind.MARK:
            yield from _outline(entity, kind, text, (tags, where, to_mm), findings)


def _outline(
    entity: DXFGraphic,
    kind: Kind,
    text: str,
    context: tuple[Tags, Origin, float],
    findings: list[Finding],
) -> Iterator[Outline]:
    tags, where, to_mm = context
    shape = _shape(entity, to_mm, where, findings)
    if shape is None:
        return
    frame = _NO_FRAME
    if kind is Kind.BAY:
        read = _frame(tags, to_mm)
        if read is None:
            what = "The bay's frame is missing or damaged, so its rows cannot be found."
            findings.append(problem("OUT-121", what, where))
            return
        frame = read
    yield Outline(kind=kind, shape=shape, text=text, where=where, frame=frame)


def _shape(
    entity: DXFGraphic, to_mm: float, where: Origin, findings: list[Finding]
) -> Polygon | None:
    points = _points(entity, to_mm)
    if points is None:
        what = f"A {entity.dxftype()} stands where an outline with at least three corners belongs."
        findings.append(problem("OUT-121", what, where))
        return None
    if isinstance(entity, (LWPolyline, Polyline)) and not _is_closed(entity, points):
        findings.append(problem("OUT-121", "The outline is open; it is taken as closed.", where))
    shape = Polygon(points)
    if shape.is_valid and shape.area > 0:
        return shapely.orient_polygons(shape)
    mended = shapely.get_parts(shapely.make_valid(shape))
    areas = [a for part in mended for a in shapely.get_parts(part) if isinstance(a, Polygon)]
    biggest = max(areas, key=lambda p: p.area, default=None)
    rest = sum(p.area for p in areas) - (biggest.area if biggest is not None else 0.0)
    if biggest is None or biggest.area <= 0 or rest > area_slack(biggest.area):
        # A spike that runs out and back has no area: rounding can make one, it is no fault.
        findings.append(problem("OUT-121", "The outline crosses itself or has no area.", where))
    return shapely.orient_polygons(biggest) if biggest is not None and biggest.area > 0 else None


def _points(entity: DXFGraphic, to_mm: float) -> np.ndarray | None:
    if not isinstance(entity, (LWPolyline, Polyline)) or len(entity) > _MOST_VERTICES:
        return None
    try:
        outline = path.make_path(entity)
        vertices = [(v.x, v.y) for v in outline.flattening(_SAGITTA_MM / to_mm)]
    except (DXFError, ValueError, TypeError, ZeroDivisionError, OverflowError):
        return None
    points = np.array(vertices, dtype=np.float64).reshape(-1, 2) * to_mm
    if not np.isfinite(points).all() or len(np.unique(points, axis=0)) < 3:
        return None
    return points


def _is_closed(entity: LWPolyline | Polyline, points: np.ndarray) -> bool:
    closed = entity.closed if isinstance(entity, LWPolyline) else entity.is_closed
    return bool(closed) or bool(np.allclose(points[0], points[-1]))


def _frame(tags: Tags, to_mm: float) -> tuple[Point, Point, Point] | None:
    """Origin and unit directions out of the groups 1011, 1013, 1013."""
    places = [t.value for t in tags if t.code in (1011, 1013)]
    try:
        (ox, oy), along, across = ((float(p[0]), float(p[1])) for p in places)
    except (ValueError, TypeError, IndexError):
        return None
    lengths = [hypot(*along), hypot(*across)]
    if not np.isfinite([ox, oy, *lengths]).all() or min(lengths) <= _UNIT_TOLERANCE:
        return None
    unit = [(d[0] / n, d[1] / n) for d, n in zip((along, across), lengths, strict=True)]
    return (ox * to_mm, oy * to_mm), unit[0], unit[1]


def note(model: type[M], outline: Outline, findings: list[Finding]) -> M | None:
    """The data of an outline; a finding and None when it is damaged."""
    try:
        return model.model_validate_json(outline.text)
    except ValidationError as fault:
        what = f"The data of this {outline.kind.value} is damaged ({fault_words(fault)})."
        findings.append(problem("OUT-121", what, outline))
        return None


def problem(code: str, what: str, where: Outline | Origin) -> Finding:
    """A finding about something that was done to the marked drawing."""
    place = where.where if isinstance(where, Outline) else where
    return Finding(code=code, severity=Severity.SETTLE, what=what, where=place, remedy=_REMEDY)
