"""Flats: which rooms are one dwelling, and what between them belongs to nobody.

Three ways, the first that gives something: outlines on layers named for flats; labels such as
`Flat 3` or a suite number over an area too large for its room, spread through the doorways until
communal space or another flat is met; communal space by name, when what it parts are dwellings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.connected import connected_parts
from importer.dxf.draft import DraftDoorway, DraftRoom
from importer.dxf.drawing import Drawing
from importer.dxf.labels import RoomLabel
from importer.dxf.layer_words import is_flat_name
from importer.hints import Hints, matches_layer
from importer.plan import Finding, Severity
from importer.room_words import BATHS, KITCHENS, is_communal, words_of

BESIDE_MM: Final = 300.0
"""Rooms this near share a partition."""

SMALLEST_FLAT_MM2: Final = 15e6
"""A dwelling is larger: a bed-sitter with its bath has 18 m2 and more."""

FLAT_AGREES: Final = (0.80, 1.05)
"""Net floor of the rooms / area printed for a flat: walls take 5 to 20 % (common practice)."""

MOST_HUBS: Final = 30
"""So many rooms with the most doors are tried as communal space between flats."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatDraft:
    """One dwelling: its name, None when it has to be numbered, and its rooms by index."""

    name: str | None
    rooms: tuple[int, ...]
    printed_area_m2: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dwellings:
    """Flats in order of their first room, rooms that belong to nobody, what was assumed."""

    flats: tuple[FlatDraft, ...] = ()
    communal: tuple[int, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _House:
    """Rooms and which of them are joined by doorways."""

    rooms: Sequence[DraftRoom]
    links: tuple[tuple[int, int], ...]

    def parts(self, without: Iterable[int]) -> list[list[int]]:
        """Rooms that hang together through doorways when some rooms are taken out."""
        out = set(without)
        kept = [(a, b) for a, b in self.links if a not in out and b not in out]
        n = len(self.rooms)
        ends = np.array(kept, dtype=int).reshape(-1, 2)
        part = connected_parts(n, ends[:, 0], ends[:, 1])
        groups: dict[int, list[int]] = {}
        for room in range(n):
            if room not in out:
                groups.setdefault(int(part[room]), []).append(room)
        return list(groups.values())

    def named_communal(self, *, strong: bool) -> list[int]:
        return [
            k
            for k, room in enumerate(self.rooms)
            if room.name and is_communal(room.name, strong=strong)
        ]


def find_flats(
    drawing_mm: Drawing,
    rooms: Sequence[DraftRoom],
    doorways: Sequence[DraftDoorway],
    flat_labels: Sequence[tuple[int, RoomLabel]],
    hints: Hints,
) -> Dwellings:
    """Which rooms are one flat.

    Args:
        drawing_mm: the drawing in millimetres, for outlines of flats.
        rooms: draft rooms.
        doorways: draft doorways between them.
        flat_labels: (room, label) of labels that name a whole flat.
        hints: layers to ignore.

    Returns:
        Flats and communal rooms; empty for a house, or where nothing tells.
    """
    links = tuple(sorted({(d.rooms[0], d.rooms[1]) for d in doorways if d.rooms[1] is not None}))
    house = _House(rooms=rooms, links=links)
    outlined = _from_outlines(drawing_mm, house, flat_labels, hints)
    if outlined.flats:
        return outlined
    if flat_labels:
        return _from_labels(drawing_mm, house, flat_labels)
    return _from_communal(drawing_mm, house)


# ---------------------------------------------------------------- outlines


def _from_outlines(
    drawing: Drawing,
    house: _House,
    flat_labels: Sequence[tuple[int, RoomLabel]],
    hints: Hints,
) -> Dwellings:
    rings = [
        Polygon(r.points)
        for r in drawing.rings
        if is_flat_name(drawing.layer_of(r.source))
        and not matches_layer(drawing.layer_of(r.source), hints.ignore_layers)
    ]
    rings = [r for r in rings if r.is_valid and r.area >= SMALLEST_FLAT_MM2]
    if not rings or not house.rooms:
        return Dwellings()
    order = sorted(range(len(rings)), key=lambda k: (rings[k].area, k))
    owner: dict[int, int] = {}
    for room, draft in enumerate(house.rooms):
        inside = draft.shape.representative_point()
        held = next((k for k in order if rings[k].covers(inside)), None)
        if held is not None:
            owner[room] = held
    names = {owner[r]: x.text for r, x in reversed(flat_labels) if r in owner and x.text}
    flats = [
        FlatDraft(name=names.get(k), rooms=tuple(r for r in sorted(owner) if owner[r] == k))
        for k in dict.fromkeys(owner[r] for r in sorted(owner))
    ]
    communal = tuple(r for r in range(len(house.rooms)) if r not in owner)
    return Dwellings(flats=tuple(flats), communal=communal if len(flats) > 1 else ())


# ---------------------------------------------------------------- labels


def _from_labels(
    drawing: Drawing, house: _House, flat_labels: Sequence[tuple[int, RoomLabel]]
) -> Dwellings:
    communal = set(house.named_communal(strong=False))
    seeds: dict[int, str] = {}
    printed: dict[int, float] = {}
    findings: list[Finding] = []
    for room, label in flat_labels:
        if room in communal:
            findings.append(_label_outside(drawing, label))
        else:
            seeds[room] = seeds.get(room) or label.text
            if label.area_m2 is not None and label.area_sure:
                printed.setdefault(room, label.area_m2)
    communal |= _hubs(house, seeds, communal)
    owner = _spread(house, seeds, communal)
    owner |= _by_neighbours(house, owner, communal)
    flats = [
        FlatDraft(
            name=seeds[seed] or None,
            rooms=tuple(r for r in sorted(owner) if owner[r] == seed),
            printed_area_m2=printed.get(seed),
        )
        for seed in sorted(seeds)
    ]
    findings += [f for flat in flats for f in _area_finding(drawing, house, flat)]
    shared = _beyond_communal(house, owner, communal)
    return Dwellings(flats=tuple(flats), communal=tuple(sorted(shared)), findings=tuple(findings))


def _area_finding(drawing: Drawing, house: _House, flat: FlatDraft) -> list[Finding]:
    """The rooms of a flat against the area printed for it, which counts partitions, and often the
    outer walls, in.
    """
    if not flat.printed_area_m2:
        return []
    area = sum(house.rooms[r].shape.area for r in flat.rooms) / 1e6
    ratio = area / flat.printed_area_m2
    if FLAT_AGREES[0] <= ratio <= FLAT_AGREES[1]:
        return []
    at = house.rooms[flat.rooms[0]].shape.representative_point()
    return [
        Finding(
            code="IMP-507",
            severity=Severity.SETTLE,
            what=f"The rooms of {flat.name or 'a flat'} measure {area:.1f} m2 together, but "
            f"{flat.printed_area_m2:.1f} m2 is printed for it (ratio {ratio:.2f}).",
            where=drawing.where((at.x, at.y)),
            remedy="See in the picture whether a room of it is missing or counted to another flat.",
        )
    ]


def _label_outside(drawing: Drawing, label: RoomLabel) -> Finding:
    return Finding(
        code="IMP-511",
        severity=Severity.SETTLE,
        what=f"The label '{label.text}' of a flat stands in communal space and was left out.",
        where=drawing.where(label.at, drawing.texts[label.texts[0]].source),
        remedy="Move the label into the flat.",
    )


def _hubs(house: _House, seeds: dict[int, str], communal: set[int]) -> set[int]:
    """Rooms, though not named so, that must be communal because several flats hang on them."""
    hubs: set[int] = set()
    while True:
        parts = house.parts(communal | hubs)
        shared = [p for p in parts if sum(r in seeds for r in p) > 1]
        found = [_parting(house, p, seeds, communal | hubs) for p in shared]
        new = {r for r in found if r is not None}
        if not new:
            return hubs
        hubs |= new


def _parting(house: _House, part: list[int], seeds: dict[int, str], out: set[int]) -> int | None:
    """The room whose removal parts most flats from each other; None when no room parts any."""
    best: tuple[int, int] | None = None
    doors: dict[int, int] = {}
    for link in house.links:
        for room in link:
            doors[room] = doors.get(room, 0) + 1
    # A room that parts flats has a door to each; the few with most doors are enough to try.
    free = [r for r in part if r not in seeds and doors.get(r, 0) > 1]
    for room in sorted(free, key=lambda r: (-doors[r], r))[:MOST_HUBS]:
        pieces = house.parts(out | {room})
        apart = sum(1 for p in pieces if any(r in seeds and r in part for r in p))
        if apart > 1 and (best is None or apart > best[0]):
            best = (apart, room)
    return best[1] if best else None


def _spread(house: _House, seeds: dict[int, str], communal: set[int]) -> dict[int, int]:
    """Each room's flat, by its seed: the nearest through doorways, communal space not entered."""
    beside: dict[int, list[int]] = {}
    for a, b in house.links:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    owner = {s: s for s in sorted(seeds)}
    edge = sorted(seeds)
    while edge:
        ahead = []
        for room in edge:
            for other in beside.get(room, []):
                if other not in owner and other not in communal:
                    owner[other] = owner[room]
                    ahead.append(other)
        edge = ahead
    return owner


def _by_neighbours(house: _House, owner: dict[int, int], communal: set[int]) -> dict[int, int]:
    """Rooms with no doorway that was found (cupboards) go to the flat they share most wall with."""
    linked = {r for link in house.links for r in link}
    lost = [
        r
        for r in range(len(house.rooms))
        if r not in owner and r not in communal and r not in linked
    ]
    found: dict[int, int] = {}
    if not lost:
        return found
    shapes = [r.shape for r in house.rooms]
    tree = STRtree(shapes)
    for room in lost:
        halo = shapely.buffer(shapes[room], BESIDE_MM, join_style="mitre")
        share: dict[int | None, float] = {}
        for other in sorted(tree.query(halo, predicate="intersects").tolist()):
            if other != room:
                wall = float(shapes[other].boundary.intersection(halo).length)
                share[owner.get(other)] = share.get(owner.get(other), 0.0) + wall
        best = max(share, key=lambda k: share[k]) if share else None
        if best is not None and share[best] > 0.6 * sum(share.values()):
            found[room] = best
    return found


def _beyond_communal(house: _House, owner: dict[int, int], communal: set[int]) -> set[int]:
    """Communal rooms and those that can be reached from them alone (stores, meter cupboards)."""
    shared = set(communal)
    for part in house.parts(communal | set(owner)):
        if any((a in part) != (b in part) and {a, b} & communal for a, b in house.links):
            shared |= set(part)
    return shared


# ---------------------------------------------------------------- communal space by name


def _from_communal(drawing: Drawing, house: _House) -> Dwellings:
    strong, weak = house.named_communal(strong=True), house.named_communal(strong=False)
    tries = [weak, strong] + [[*strong, k] for k in weak if k not in strong]
    found = [(t, [p for p in house.parts(t) if _is_dwelling(house, p)]) for t in tries if t]
    if not found:
        return Dwellings()
    communal, flats = max(found, key=lambda f: len(f[1]))
    if len(flats) < 2:
        return Dwellings()
    owner = {r: p[0] for p in flats for r in p}
    shared = _beyond_communal(house, owner, set(communal))
    finding = Finding(
        code="IMP-510",
        severity=Severity.NOTE,
        what=f"{len(flats)} flats were told by the communal space between them; none is labelled.",
        where=drawing.where(),
        remedy="Write 'Flat 1' and so on into one room of each flat to name them.",
    )
    return Dwellings(
        flats=tuple(FlatDraft(name=None, rooms=tuple(p)) for p in flats),
        communal=tuple(sorted(shared)),
        findings=(finding,),
    )


def _is_dwelling(house: _House, part: list[int]) -> bool:
    """Rooms one can live in: a kitchen, and a bath or three rooms, on at least 15 m2."""
    area = sum(house.rooms[r].shape.area for r in part)
    said = {w for r in part for w in words_of(house.rooms[r].name or "")}
    return (
        area >= SMALLEST_FLAT_MM2
        and bool(said & KITCHENS)
        and (bool(said & BATHS) or len(part) >= 3)
    )
