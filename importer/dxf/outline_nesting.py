"""Rings on room layers against each other: drawn twice, one inside the other, overlapping."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import shapely
from shapely import Polygon, STRtree

from importer.dxf.drawing import Drawing
from importer.plan import Finding, Origin, Severity
from importer.tolerance import area_slack

SAME_SHARE: Final = 0.95
"""Two rings that share so much of their area are one outline drawn twice."""


MOSTLY: Final = 0.5
"""A ring of which rooms fill more than this is their sum; rooms in buildings fill 0.7 to 0.95."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Candidate:
    """A repaired ring; `labelled` counts the labels in it, `believed` when its layer says rooms."""

    shape: Polygon
    source: int
    filled: bool
    believed: bool
    why: str
    labelled: int = 0


def settle(drawing: Drawing, found: list[Candidate]) -> tuple[list[Candidate], list[Finding]]:
    """Believed rings made free of doubles, containers and overlaps, and what was done to them."""
    findings: list[Finding] = []
    single = _without_doubles(drawing, found, findings)
    flat = _without_containers(drawing, single, findings)
    return _without_overlaps(drawing, flat, findings), findings


def _without_doubles(
    drawing: Drawing, found: list[Candidate], findings: list[Finding]
) -> list[Candidate]:
    """One of each outline that was drawn twice (often once as a line and once as a hatch)."""
    order = sorted(range(len(found)), key=lambda k: (found[k].filled, k))
    tree = STRtree([c.shape for c in found])
    dropped: set[int] = set()
    for k in order:
        if k in dropped:
            continue
        for other in sorted(tree.query(found[k].shape, predicate="intersects").tolist()):
            if other != k and other not in dropped and _same(found[k].shape, found[other].shape):
                dropped.add(other)
                if not found[other].filled:
                    findings.append(_double(drawing, found[other]))
    return [c for k, c in enumerate(found) if k not in dropped]


def _same(one: Polygon, two: Polygon) -> bool:
    if min(one.area, two.area) < SAME_SHARE * max(one.area, two.area):
        return False
    shared = one.intersection(two).area
    return bool(shared > SAME_SHARE * max(one.area, two.area))


def _double(drawing: Drawing, twin: Candidate) -> Finding:
    return Finding(
        code="IMP-311",
        severity=Severity.NOTE,
        what="Room outline is drawn twice; used once.",
        where=_where(drawing, twin),
        remedy="Delete one of the two.",
    )


def _without_containers(
    drawing: Drawing, found: list[Candidate], findings: list[Finding]
) -> list[Candidate]:
    """Leave out rings that only hold other rooms (a flat, a storey, a gross area), and turn small
    unlabelled rings inside a room into holes of it.
    """
    inside = _nesting(found)
    holes: dict[int, list[int]] = {}
    dropped: set[int] = set()
    for k in sorted(range(len(found)), key=lambda k: found[k].shape.area):
        inner = [i for i in inside[k] if i not in dropped]
        rooms = [i for i in inner if _is_room_inside(found[k], found[i])]
        share = sum(found[i].shape.area for i in inner) / found[k].shape.area
        if share > MOSTLY or len(rooms) > 1:
            dropped.add(k)
            findings.append(_container(drawing, found[k], len(inner)))
        else:
            dropped.update(i for i in inner if i not in rooms)
            holes[k] = inner
    return [
        replace(c, shape=cut(c.shape, [found[i].shape for i in holes[k]]))
        for k, c in enumerate(found)
        if k not in dropped
    ]


def _nesting(found: list[Candidate]) -> list[list[int]]:
    """For each ring, the rings that lie in it."""
    inside: list[list[int]] = [[] for _ in found]
    if found:
        tree = STRtree([shapely.buffer(c.shape, 1.0, join_style="mitre") for c in found])
        inner, outer = tree.query([c.shape for c in found], predicate="within")
        for i, k in zip(inner.tolist(), outer.tolist(), strict=True):
            if i != k and found[i].shape.area < found[k].shape.area:
                inside[k].append(i)
    return inside


def _is_room_inside(outer: Candidate, inner: Candidate) -> bool:
    """A labelled ring in a ring is a room of its own; so is one that fills most of it."""
    return inner.labelled > 0 or inner.shape.area > MOSTLY * outer.shape.area


def cut(shape: Polygon, others: list[Polygon]) -> Polygon:
    """The shape without the others: its largest part, or itself when nothing is left."""
    if not others:
        return shape
    rest = shape.difference(shapely.union_all(others))
    parts = [p for p in shapely.get_parts(rest) if isinstance(p, Polygon)]
    return max(parts, key=lambda p: p.area) if parts else shape


def _container(drawing: Drawing, outer: Candidate, count: int) -> Finding:
    return Finding(
        code="IMP-313",
        severity=Severity.NOTE,
        what=f"Outline of {outer.shape.area / 1e6:.1f} m2 holds {count} other room outline(s) and "
        "was taken for a sum, not a room.",
        where=_where(drawing, outer),
        remedy="Name the layer of the rooms in drawing.layers.rooms if this is wrong.",
    )


def _without_overlaps(
    drawing: Drawing, found: list[Candidate], findings: list[Finding]
) -> list[Candidate]:
    """Give ground that two rooms claim to the smaller one, so that no floor is laid twice."""
    shapes: list[Polygon] = [c.shape for c in found]
    if not shapes:
        return []
    one, two = STRtree(shapes).query(shapes, predicate="overlaps")
    for i, j in sorted(zip(one.tolist(), two.tolist(), strict=True)):
        if i >= j:
            continue
        shared = shapes[i].intersection(shapes[j]).area
        if shared <= area_slack(min(shapes[i].area, shapes[j].area)):
            continue
        larger, smaller = (i, j) if shapes[i].area >= shapes[j].area else (j, i)
        shapes[larger] = cut(shapes[larger], [shapes[smaller]])
        findings.append(_overlap(drawing, found[larger], shared))
    return [replace(c, shape=s) for c, s in zip(found, shapes, strict=True)]


def _overlap(drawing: Drawing, larger: Candidate, shared: float) -> Finding:
    return Finding(
        code="IMP-312",
        severity=Severity.SETTLE,
        what=f"Two room outlines overlap by {shared / 1e6:.2f} m2; that ground was given to the "
        "smaller room.",
        where=_where(drawing, larger),
        remedy="Redraw the outlines so that they do not overlap.",
    )


def _where(drawing: Drawing, found: Candidate) -> Origin:
    at = found.shape.representative_point()
    return drawing.where((at.x, at.y), found.source)
