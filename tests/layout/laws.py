"""The laws that every laid floor keeps, checked from the finished shapes with none of the product's own
checks: neither the solver's nor the audit's. Each function gives what is broken, in words; () is right.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from math import ceil

import numpy as np
import shapely
from shapely import LineString

from importer.tolerance import AREA_MM2, LENGTH_MM, area_slack
from layout.floor import BayLayout, Piece, Plank, PlanResult, Role
from layout.rules import RuleSet
from layout.takeoff import combine

OUTSIDE_MM2 = 1.0
"""Area that two pieces may share, or a piece may lie beyond its floor: rounding of coordinates."""


def floor_laws(layout: BayLayout, rules: RuleSet) -> Iterator[str]:
    """Pieces tile the bay, lie apart and inside the gap; every breach of ends and joints is named."""
    shapes = np.asarray([p.shape for p in layout.pieces], dtype=object)
    floor = layout.setting_out.frame.to_bay(layout.bay.floor)
    slack = area_slack(floor.area)
    if not shapely.is_valid(shapes).all() or shapely.is_empty(shapes).any():
        yield "a piece has no valid shape"
        return
    missing = floor.difference(shapely.union_all(shapes)).area
    if missing > slack:
        yield f"{missing:.1f} mm2 of the floor are bare"
    beyond = sum(float(a) for a in shapely.area(shapely.difference(shapes, floor)))
    if beyond > slack:
        yield f"pieces cover {beyond:.1f} mm2 outside the floor"
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[first], shapes[second]))[first < second]
    if shared.max(initial=0.0) > OUTSIDE_MM2:
        yield f"two pieces share {shared.max():.1f} mm2"
    yield from _gap_laws(layout)
    yield from _end_laws(layout, rules)
    yield from _joint_laws(layout, rules)


def _gap_laws(layout: BayLayout) -> Iterator[str]:
    frame, gap = layout.setting_out.frame, layout.bay.gap_mm
    walls = frame.to_bay(layout.bay.outline).boundary
    shapes = np.asarray([p.shape for p in layout.pieces], dtype=object)
    least = float(shapely.distance(shapes, walls).min())
    if least < gap - LENGTH_MM:
        yield f"a piece lies {least:.2f} mm from the wall, the gap is {gap:g} mm"


def _end_laws(layout: BayLayout, rules: RuleSet) -> Iterator[str]:
    """An end is as long as its area over its greatest length; shorter than ruled it must be named."""
    named = {b.where for b in layout.breaches if b.rule.startswith("ends.")}
    for p in layout.pieces:
        if p.role not in {Role.FIRST, Role.LAST} or str(p.id) in named:
            continue
        if p.end_length_mm < rules.ends.min_length - LENGTH_MM:
            yield f"end {p.id} is {p.end_length_mm:.1f} mm long and not named"


def _joint_laws(layout: BayLayout, rules: RuleSet) -> Iterator[str]:
    """Joints of touching rows, found as the ends of edges that two pieces share across the rows."""
    named = {b.where for b in layout.breaches if b.rule == "joints.min_offset"}
    by_line: dict[float, list[tuple[float, bool, set[str]]]] = defaultdict(list)
    for x, y0, y1, ids in _joints(layout.pieces):
        by_line[round(y0, 1)].append((x, False, ids))
        by_line[round(y1, 1)].append((x, True, ids))
    floor = layout.setting_out.frame.to_bay(layout.bay.floor).buffer(LENGTH_MM)
    for y, ends in sorted(by_line.items()):
        ends.sort(key=lambda e: e[0])
        below = [e for e in ends if e[1]]
        for x, is_below, ids in ends:
            if is_below:
                continue
            for other, _, theirs in below:
                close = abs(other - x) < rules.joints.min_offset - LENGTH_MM
                if not close or named & (ids | theirs):
                    continue
                if abs(other - x) < LENGTH_MM or floor.covers(LineString([(x, y), (other, y)])):
                    yield f"joints at {x:.1f} and {other:.1f} on y {y:g} are close and not named"


def _joints(pieces: Sequence[Piece]) -> Iterator[tuple[float, float, float, set[str]]]:
    shapes = np.asarray([p.shape for p in pieces], dtype=object)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        one, two = pieces[i], pieces[j]
        if i >= j or one.row != two.row:
            continue
        x0, y0, x1, y1 = shapely.intersection(one.shape, two.shape).bounds
        if x1 - x0 < LENGTH_MM and y1 - y0 > LENGTH_MM:
            yield (x0 + x1) / 2, y0, y1, {str(one.id), str(two.id)}


# --- stock --------------------------------------------------------------------------------------


def stock_laws(layouts: Sequence[BayLayout], rules: RuleSet) -> Iterator[str]:
    """Every piece from exactly one plank; its blank inside it, at its own end and edge, apart by the kerf."""
    pieces = {p.id: p for layout in layouts for p in layout.pieces}
    listed = Counter(i for layout in layouts for plank in layout.planks for i in plank.pieces)
    if listed != Counter(dict.fromkeys(pieces, 1)):
        yield "a piece is not listed by exactly one plank"
        return
    for layout in layouts:
        for plank in layout.planks:
            own = [pieces[i] for i in plank.pieces]
            if any(p.plank != plank.id for p in own):
                yield f"plank {plank.id} lists a piece of another plank"
            yield from _plank_laws(plank, own, rules)


def _plank_laws(plank: Plank, own: Sequence[Piece], rules: RuleSet) -> Iterator[str]:
    long, wide = rules.plank.length, rules.plank.width
    for n, p in enumerate(own):
        near, far = p.plank_x_mm, p.plank_x_mm + p.blank_length_mm
        low, high = p.plank_y_mm, p.plank_y_mm + p.blank_width_mm
        if min(near, low) < -LENGTH_MM or far > long + LENGTH_MM or high > wide + LENGTH_MM:
            yield f"{p.id} does not fit its plank"
        off = {
            "the near end": p.role in {Role.LAST, Role.FULL} and near,
            "the far end": p.role in {Role.FIRST, Role.FULL} and far - long,
            "the near edge": p.keeps_near_edge and low,
            "the far edge": p.keeps_far_edge and high - wide,
        }
        yield from (f"{p.id} loses {what}" for what, d in off.items() if abs(d) > LENGTH_MM)
        for q in own[n + 1 :]:
            along = max(q.plank_x_mm - far, near - q.plank_x_mm - q.blank_length_mm)
            across = max(q.plank_y_mm - high, low - q.plank_y_mm - q.blank_width_mm)
            if max(along, across) < rules.cut.kerf - LENGTH_MM:
                yield f"{p.id} and {q.id} are sawn from one place of {plank.id}"
    laid = sum(p.shape.area for p in own) + plank.offcut_mm * wide
    if abs(laid + plank.waste_mm2 - long * wide) > AREA_MM2:
        yield f"plank {plank.id}: laid, kept and wasted make {laid + plank.waste_mm2:.0f} mm2"


def sum_laws(result: PlanResult, rules: RuleSet) -> Iterator[str]:
    """Totals of the job are the sums of what lies on the floor."""
    job = combine([result], rules)
    planks = sum(len(b.planks) for b in result.bays)
    area = sum(p.shape.area for b in result.bays for p in b.pieces) / 1e6
    floors = sum(b.bay.floor.area for b in result.bays) / 1e6
    totals = job.totals
    if totals.planks != planks or totals.bound > planks:
        yield f"{totals.planks} planks in all, {planks} on the floors, bound {totals.bound}"
    slack = area_slack(floors * 1e6) / 1e6
    if abs(totals.net_area_m2 - area) > slack or abs(area - floors) > slack:
        yield f"{totals.net_area_m2} m2 in all, {area} m2 of pieces, {floors} m2 of floor"
    if totals.packs != ceil((planks + totals.spare_planks) / rules.plank.per_pack):
        yield f"{totals.packs} packs for {planks} + {totals.spare_planks} planks"
    parts = list(job.by_flat.values())
    if sum(q.planks for q in parts) != planks:
        yield "the flats' planks do not make up the job's"


def all_laws(result: PlanResult, rules: RuleSet) -> tuple[str, ...]:
    """What is broken in a plan's floors."""
    found = [w for b in result.bays for w in floor_laws(b, rules)]
    found += stock_laws(result.bays, rules)
    found += sum_laws(result, rules) if result.bays else ()
    return tuple(found)


def figures(result: PlanResult) -> tuple[int, int, int]:
    """What a moved floor has in common with the one it was moved from: planks, bound and breaches of the
    whole plan, since bays that share offcuts part the bound, and equal ones may change places. A mirrored
    floor is another one to saw, since the hand of a plank stays: its pieces may differ.
    """
    layouts = result.bays
    return (
        sum(len(b.planks) for b in layouts),
        sum(b.bound for b in layouts),
        sum(len(b.breaches) for b in layouts),
    )
