"""Every floor counted once: spaces nested in spaces, gross around net, copies, overlaps.

+-----------------+     a space around several others is the sum of them (a flat, a gross area);
| +----+ +------+ |     one around a single other is its gross twin, out to the wall's middle;
| |    | |      | |     parts of a space do not count beside it.
| +----+ +------+ |
+-----------------+
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.ifc.draft import RoomDraft
from importer.ifc.footprint import tidy_parts
from importer.ifc.grouping import Case, Kind, grouped
from importer.ifc.model import IfcModel, guid_of
from importer.plan import Finding, Severity

SAME: Final = 0.98
"""Floors that share this part of their union are one and the same."""
INSIDE: Final = 0.9
"""A floor that lies in another by this part is inside it."""
FILLED: Final = 0.6
"""Floors inside another that fill this part of it make it a sum of them: walls take up to a third."""
TWIN: Final = 0.7
"""A single floor inside another that fills this part of it is its net twin."""
SAME_LEVEL_MM: Final = 1000.0
"""Floors further apart in height are different floors, even where a tall room reaches past another."""
LEAST_MM2: Final = 1000.0
TOLD: Final = 0.01
"""An overlap of less than this part of the smaller floor is float noise or plaster: not told."""

_NOT_COUNTED: Final = Kind(
    code="IMP-356",
    severity=Severity.NOTE,
    one="A space is not counted: {it}.",
    many="{n} spaces are not counted: {it}.",
    remedy="Nothing to do if the rooms in the picture are right.",
)
_OVERLAP: Final = Kind(
    code="IMP-357",
    severity=Severity.SETTLE,
    one="Two spaces overlap; that floor was given to the smaller: {it}.",
    many="{n} pairs of spaces overlap; that floor was given to the smaller: {it}.",
    remedy="Have the rooms parted in the model.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedOnce:
    """Rooms whose floors do not overlap, and what was left out for that."""

    rooms: tuple[RoomDraft, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two rooms that overlap, the larger first, and by how much, mm2."""

    large: int
    small: int
    shared: float


def counted_once(model: IfcModel, rooms: Sequence[RoomDraft]) -> CountedOnce:
    """Leave out rooms that are counted already in others; cut apart what merely overlaps.

    Args:
        model: for findings.
        rooms: all rooms of the spaces.
    """
    dropped: dict[int, str] = {}
    for k, room in enumerate(rooms):
        if getattr(room.space, "PredefinedType", None) == "GFA":
            dropped[k] = "it is a gross floor area, not a room"
    _drop_parts(rooms, dropped)
    pairs = _overlapping(rooms, dropped)
    _drop_same(rooms, pairs, dropped)
    _drop_around(rooms, [p for p in pairs if _stands(p, dropped)], dropped)
    findings = _told_dropped(model, rooms, dropped)
    shapes, cuts = _cut_apart(rooms, [p for p in pairs if _stands(p, dropped)])
    findings += _told_cuts(model, rooms, cuts)
    kept = [
        replace(room, shape=shapes.get(k, room.shape))
        for k, room in enumerate(rooms)
        if k not in dropped
    ]
    return CountedOnce(rooms=tuple(kept), findings=tuple(findings))


def _stands(pair: _Pair, dropped: dict[int, str]) -> bool:
    return pair.large not in dropped and pair.small not in dropped


def _drop_parts(rooms: Sequence[RoomDraft], dropped: dict[int, str]) -> None:
    """Parts of a space where the whole is there as well."""
    there = {r.space.id() for r in rooms if r.space is not None}
    for k, room in enumerate(rooms):
        if getattr(room.space, "CompositionType", None) != "PARTIAL":
            continue
        for relation in getattr(room.space, "Decomposes", ()) or ():
            whole = relation.RelatingObject
            if whole is not None and whole.is_a("IfcSpace") and whole.id() in there:
                dropped.setdefault(k, "it is a part of a room that is there as a whole")


def _overlapping(rooms: Sequence[RoomDraft], dropped: dict[int, str]) -> list[_Pair]:
    if len(rooms) < 2:
        return []
    shapes = np.array([r.shape for r in rooms], dtype=object)
    one, two = STRtree(shapes).query(shapes, predicate="intersects")
    first = one < two
    one, two = one[first], two[first]
    shared = shapely.area(shapely.intersection(shapes[one], shapes[two]))
    pairs = []
    for a, b, area in sorted(zip(one.tolist(), two.tolist(), shared.tolist(), strict=True)):
        apart = abs(rooms[a].low - rooms[b].low)
        if area < LEAST_MM2 or apart > SAME_LEVEL_MM or a in dropped or b in dropped:
            continue
        large, small = (a, b) if rooms[a].shape.area >= rooms[b].shape.area else (b, a)
        pairs.append(_Pair(large=large, small=small, shared=area))
    return pairs


def _drop_same(rooms: Sequence[RoomDraft], pairs: Sequence[_Pair], dropped: dict[int, str]) -> None:
    for pair in pairs:
        union = rooms[pair.large].shape.area + rooms[pair.small].shape.area - pair.shared
        if _stands(pair, dropped) and pair.shared >= SAME * union:
            later = max(pair.large, pair.small)
            other = rooms[min(pair.large, pair.small)].title
            dropped[later] = f"it is the same floor as {other}"


def _drop_around(
    rooms: Sequence[RoomDraft], pairs: Sequence[_Pair], dropped: dict[int, str]
) -> None:
    """Spaces around others, the largest first, so that a storey goes before the flats in it."""
    inside: dict[int, list[_Pair]] = {}
    for pair in pairs:
        if pair.shared >= INSIDE * rooms[pair.small].shape.area:
            inside.setdefault(pair.large, []).append(pair)
    for large in sorted(inside, key=lambda k: (-rooms[k].shape.area, k)):
        smalls = [p for p in inside[large] if p.small not in dropped]
        filled = sum(p.shared for p in smalls) / rooms[large].shape.area
        if len(smalls) > 1 and filled >= FILLED:
            dropped[large] = f"it is the sum of {len(smalls)} rooms in it"
        elif len(smalls) == 1 and filled >= TWIN:
            dropped[large] = f"it is the gross area around {rooms[smalls[0].small].title}"


def _cut_apart(
    rooms: Sequence[RoomDraft], pairs: Sequence[_Pair]
) -> tuple[dict[int, Polygon], list[_Pair]]:
    """What still overlaps goes to the smaller room."""
    shapes: dict[int, Polygon] = {}
    told = []
    for pair in sorted(pairs, key=lambda p: (rooms[p.small].shape.area, p.small, p.large)):
        small = shapes.get(pair.small, rooms[pair.small].shape)
        large = shapes.get(pair.large, rooms[pair.large].shape)
        parts = tidy_parts(shapely.difference(large, small))
        if not parts:
            continue
        shapes[pair.large] = parts[0]
        if pair.shared > TOLD * small.area:
            told.append(pair)
    return shapes, told


def _told_dropped(
    model: IfcModel, rooms: Sequence[RoomDraft], dropped: dict[int, str]
) -> list[Finding]:
    cases = [
        Case(rooms[k].space, f"{rooms[k].title} ({rooms[k].shape.area / 1e6:.1f} m2), {why}")
        for k, why in sorted(dropped.items())
    ]
    return grouped(model, _NOT_COUNTED, cases)


def _told_cuts(model: IfcModel, rooms: Sequence[RoomDraft], cuts: Sequence[_Pair]) -> list[Finding]:
    cases = [
        Case(
            rooms[p.large].space,
            f"{rooms[p.large].title} and {rooms[p.small].title} ({guid_of(rooms[p.small].space)}) by "
            f"{p.shared / 1e6:.2f} m2",
        )
        for p in cuts
    ]
    return grouped(model, _OVERLAP, cases)
