"""The rules checked again from the finished geometry alone.

Works on a `BayLayout` whether it comes from the solver or from a marked drawing that was read back.
It trusts the piece shapes, the planks and the bay's outline, and nothing else: rows, roles, joints and
kept edges are found again from the shapes, so a mistake in the solver or an edit in the drawing shows.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Point
from importer.tolerance import AREA_MM2, GRID_MM, LENGTH_MM, PARALLEL_DEG, area_slack
from layout.audit_geometry import (
    Contact,
    Edges,
    chord_heights,
    edges_of,
    joints_of,
    merged,
    seams_of,
    widest_chord,
)
from layout.audit_order import order_breaches
from layout.audit_stock import stock_breaches
from layout.floor import BayLayout, Breach, Piece
from layout.rules import RuleSet

TONGUE_MM = 300.0
"""An edge shorter than this leaves a tongue, not a row; common practice, no source."""
TONGUE_WIDTH_MM = 30.0
"""Least width beside such a short edge (a tongue breaks when thinner); common practice, no source."""
SHORT_EDGE_MM = 100.0
"""Edges up to this length (jambs, nibs) leave nothing that could break off."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Seen:
    """A bay as the audit sees it: shapes, floor and outline in the bay frame, contacts found."""

    layout: BayLayout
    rules: RuleSet
    shapes: tuple[Polygon, ...]
    floor: Polygon
    outline: Polygon
    edges: Edges
    joints: tuple[Contact, ...]
    seams: tuple[Contact, ...]

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The pieces, in the order of `shapes`."""
        return self.layout.pieces

    def at(self, point: Point) -> Point:
        """A bay-frame place in the plan frame."""
        return self.layout.setting_out.frame.point_to_plan(point)

    def breach(self, rule: str, piece: int, *, value: float, limit: float, why: str) -> Breach:
        """A breach at a piece."""
        inside = self.shapes[piece].representative_point()
        return Breach(
            rule=rule,
            where=str(self.pieces[piece].id),
            at=self.at((inside.x, inside.y)),
            value=round(value, 3),
            limit=limit,
            why=why,
        )


def audit(
    layout: BayLayout, rules: RuleSet, *, pool: Sequence[BayLayout] = ()
) -> tuple[Breach, ...]:
    """Every rule that the finished bay does not keep, by rule, then by place. Empty: it is right.
    `pool`: the other bays that may have pieces on the same planks.
    """
    bad = [p for p in layout.pieces if not _is_simple(p.shape)]
    if bad:
        # Nothing can be measured on them: the floor is judged without them.
        layout = replace(layout, pieces=tuple(p for p in layout.pieces if _is_simple(p.shape)))
    seen = see(layout, rules)
    found = [
        *(_bad_shape(piece, seen) for piece in bad),
        *_coverage(seen),
        *_overlaps(seen),
        *_gaps(seen),
        *_limits(seen),
        *_ends(seen),
        *_offsets(seen),
        *_widths(seen),
        *order_breaches(layout.pieces, seen.joints, seen.seams, seen.breach),
        *stock_breaches(layout, pool, (seen.joints, seen.seams), rules, seen.breach),
    ]
    return tuple(sorted(found, key=lambda b: (b.rule, b.where, b.at)))


def see(layout: BayLayout, rules: RuleSet) -> Seen:
    """Find edges, joints and seams of the finished pieces."""
    shapes = tuple(p.shape for p in layout.pieces)
    edges = edges_of(shapes)
    frame = layout.setting_out.frame
    return Seen(
        layout=layout,
        rules=rules,
        shapes=shapes,
        floor=frame.to_bay(layout.bay.floor),
        outline=frame.to_bay(layout.bay.outline),
        edges=edges,
        joints=joints_of(edges),
        seams=seams_of(edges),
    )


def _is_simple(shape: Polygon) -> bool:
    return bool(shape.is_valid and shape.area > 0 and np.isfinite(shape.bounds).all())


def _bad_shape(piece: Piece, seen: Seen) -> Breach:
    x0, y0, x1, y1 = piece.shape.bounds
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    if not np.isfinite(middle).all():
        inside = seen.floor.representative_point()
        middle = (inside.x, inside.y)
    return Breach(
        rule="shape",
        where=str(piece.id),
        at=seen.at(middle),
        value=0.0,
        limit=0.0,
        why="The piece is not a simple outline.",
    )


def _coverage(seen: Seen) -> list[Breach]:
    """Pieces and floor must be the same area: nothing bare, nothing beyond the edge."""
    laid = shapely.union_all(np.asarray(seen.shapes, dtype=object), grid_size=GRID_MM)
    bare = shapely.get_parts(shapely.difference(seen.floor, laid, grid_size=GRID_MM))
    areas = shapely.area(bare)
    # What joints and seams lack in all is noise; a place where one gapes is not.
    gaping = (areas > AREA_MM2) & (shapely.area(shapely.buffer(bare, -LENGTH_MM)) > 0)
    found = []
    if areas.sum() > area_slack(seen.floor.area) or gaping.any():
        place = bare[int(areas.argmax())].representative_point()
        found.append(
            Breach(
                rule="coverage",
                where=str(seen.layout.bay.id),
                at=seen.at((place.x, place.y)),
                value=round(float(areas.sum()), 1),
                limit=0.0,
                why=f"{areas.sum() / 1e6:.4f} m2 of the floor carry no piece.",
            )
        )
    shapes = np.asarray(seen.shapes, dtype=object)
    beyond = shapely.area(shapely.difference(shapes, seen.floor, grid_size=GRID_MM))
    found.extend(
        seen.breach(
            "coverage",
            int(i),
            value=float(beyond[i]),
            limit=0.0,
            why=f"{beyond[i]:.0f} mm2 of the piece lie outside the floor.",
        )
        for i in np.flatnonzero(beyond > area_slack(0.0))
    )
    return found


def _overlaps(seen: Seen) -> list[Breach]:
    """No two pieces on the same ground."""
    shapes = np.asarray(seen.shapes, dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    ahead = first < second
    first, second = first[ahead], second[ahead]
    common = shapely.intersection(shapes[first], shapes[second], grid_size=GRID_MM)
    shared = shapely.area(common)
    return [
        seen.breach(
            "overlap",
            int(first[k]),
            value=float(shared[k]),
            limit=0.0,
            why=f"Overlaps {seen.pieces[second[k]].id} by {shared[k]:.0f} mm2.",
        )
        for k in np.flatnonzero(shared > area_slack(0.0))
    ]


def _gaps(seen: Seen) -> list[Breach]:
    """Clear distance of every piece to walls, jambs, obstacles and joint lines."""
    gap = seen.layout.bay.gap_mm
    clear = shapely.distance(np.asarray(seen.shapes, dtype=object), seen.outline.boundary)
    found = [
        seen.breach(
            "gap.wall",
            int(i),
            value=float(clear[i]),
            limit=gap,
            why=f"Only {clear[i]:.1f} mm clear of the wall, joint or obstacle.",
        )
        for i in np.flatnonzero(clear < gap - LENGTH_MM)
    ]
    if gap + LENGTH_MM < seen.rules.gap.wall:
        place = seen.floor.representative_point()
        found.append(
            Breach(
                rule="gap.wall",
                where=str(seen.layout.bay.id),
                at=seen.at((place.x, place.y)),
                value=gap,
                limit=seen.rules.gap.wall,
                why="The bay was set out with a smaller wall gap than the rule set asks for.",
            )
        )
    return found


def _limits(seen: Seen) -> list[Breach]:
    """No continuous floor longer than the limits, wall to wall, along and across the rows."""
    x0, y0, x1, y1 = seen.outline.bounds
    limits = seen.rules.limits
    middle = seen.at(((x0 + x1) / 2, (y0 + y1) / 2))
    checks = (("limits.run", x1 - x0, limits.run), ("limits.across", y1 - y0, limits.across))
    return [
        Breach(
            rule=rule,
            where=str(seen.layout.bay.id),
            at=middle,
            value=round(extent, 3),
            limit=limit,
            why="The floor runs on without a movement joint for longer than allowed.",
        )
        for rule, extent, limit in checks
        if extent > limit + LENGTH_MM
    ]


def _ends(seen: Seen) -> list[Breach]:
    """Lengths: end pieces long enough, pieces between two joints whole, none longer than a plank."""
    has_left = {c.high for c in seen.joints}
    has_right = {c.low for c in seen.joints}
    plank = seen.rules.plank.length
    found = []
    for i, shape in enumerate(seen.shapes):
        length = shape.bounds[2] - shape.bounds[0]
        if length > plank + LENGTH_MM:
            why = "Longer than a plank."
            found.append(seen.breach("plank.length", i, value=length, limit=plank, why=why))
        joints = (i in has_left) + (i in has_right)
        if joints == 2 and length < plank - LENGTH_MM:
            why = "Between two joints, so it needs both factory ends, but it is not a whole plank."
            found.append(seen.breach("stock.ends", i, value=length, limit=plank, why=why))
        elif joints == 1:
            found.extend(_short_end(seen, i, shape))
    return found


def _short_end(seen: Seen, i: int, shape: Polygon) -> list[Breach]:
    """An end piece is judged by area / widest chord, so that a slanted or notched end counts by what
    it is worth and a thin tail does not make it long.
    """
    rules, chord = seen.rules, widest_chord(shape)
    mean = shape.area / chord if chord > 0 else 0.0
    whole = shape.bounds[2] - shape.bounds[0] >= rules.plank.length - LENGTH_MM
    if whole or mean >= rules.ends.min_length - LENGTH_MM:
        return []
    if mean < rules.never_below_mm - LENGTH_MM:
        why = "The end piece is shorter than the rule set ever allows."
        limit = rules.never_below_mm
        return [seen.breach("ends.never_below", i, value=mean, limit=limit, why=why)]
    why = "The end piece is shorter than the length to be kept where possible."
    return [seen.breach("ends.min_length", i, value=mean, limit=rules.ends.min_length, why=why)]


def _offsets(seen: Seen) -> list[Breach]:
    """Joints that meet one unbroken seam from its two sides lie at least the offset apart."""
    by_line: dict[int, list[Contact]] = defaultdict(list)
    for seam in seen.seams:
        by_line[round(seam.at / (4 * LENGTH_MM))].append(seam)
    found = []
    for key in sorted(by_line):
        line = by_line[key]
        y = line[0].at
        below = [c for c in seen.joints if abs(c.end - y) <= LENGTH_MM * 2]
        above = [c for c in seen.joints if abs(c.start - y) <= LENGTH_MM * 2]
        for start, end in merged([(c.start, c.end) for c in line]):
            found.extend(_close_pairs(seen, _within(below, start, end), _within(above, start, end)))
    return found


def _within(joints: Sequence[Contact], start: float, end: float) -> list[Contact]:
    return [c for c in joints if start - LENGTH_MM <= c.at <= end + LENGTH_MM]


def _close_pairs(seen: Seen, below: list[Contact], above: list[Contact]) -> list[Breach]:
    offset = seen.rules.joints.min_offset
    places = np.array([c.at for c in above])
    found = []
    for joint in below:
        first = int(np.searchsorted(places, joint.at - offset + LENGTH_MM, side="right"))
        last = int(np.searchsorted(places, joint.at + offset - LENGTH_MM))
        for other in above[first:last]:
            distance = abs(other.at - joint.at)
            why = (
                f"The joint right of it is {distance:.0f} mm from that right of "
                f"{seen.pieces[other.low].id} in the next row."
            )
            found.append(
                seen.breach("joints.min_offset", joint.low, value=distance, limit=offset, why=why)
            )
    return found


def _widths(seen: Seen) -> list[Breach]:
    """No strip thinner than allowed beside an edge that runs with the rows."""
    slope = np.tan(np.radians(PARALLEL_DEG))
    run, rise = (
        np.ptp(seen.edges.ends[:, [0, 2]], axis=1),
        np.ptp(seen.edges.ends[:, [1, 3]], axis=1),
    )
    along = (run > SHORT_EDGE_MM) & (rise <= slope * run)
    seamed: dict[int, list[tuple[float, float, float]]] = defaultdict(list)
    for c in seen.seams:
        seamed[c.low].append((c.at, c.start, c.end))
        seamed[c.high].append((c.at, c.start, c.end))
    worst: dict[int, tuple[float, float]] = {}
    for k in np.flatnonzero(along):
        i = int(seen.edges.owner[k])
        x0, y0, x1, y1 = (float(v) for v in seen.edges.ends[k])
        length = _free_length(min(x0, x1), max(x0, x1), (y0 + y1) / 2, seamed[i])
        if length <= SHORT_EDGE_MM:
            continue
        least = min(seen.rules.rows.min_width, TONGUE_WIDTH_MM if length < TONGUE_MM else np.inf)
        # A corner that is not quite square makes a tip; only a stretch longer than that can break off.
        inset = min(SHORT_EDGE_MM, 0.4 * abs(x1 - x0))
        xs = np.array([min(x0, x1) + inset, max(x0, x1) - inset])
        width = float(chord_heights(seen.shapes[i], xs).min())
        if width < least - LENGTH_MM * 2 and width < worst.get(i, (np.inf, 0.0))[0]:
            worst[i] = (width, float(least))
    why = "The strip is thinner than the least row width."
    return [
        seen.breach("rows.min_width", i, value=width, limit=limit, why=why)
        for i, (width, limit) in sorted(worst.items())
    ]


def _free_length(
    x0: float, x1: float, y: float, seams: Sequence[tuple[float, float, float]]
) -> float:
    """Length of an edge that no neighbouring row covers."""
    on_it = [(a, b) for at, a, b in seams if abs(at - y) <= LENGTH_MM * 2]
    covered = sum(max(0.0, min(b, x1) - max(a, x0)) for a, b in merged(on_it))
    return (x1 - x0) - covered
