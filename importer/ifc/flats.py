"""Flats: which rooms are one dwelling.

Zones come in several groupings that overlap (by use, by temperature, by fire compartment), so a set of
zones is taken for flats only when its names say so, or when every zone in it hangs together through
doorways and the zones share no room. Else properties of the spaces tell, else the beginnings of their
numbers; a model of one house has none of these and gets no flats.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from importer.ifc.draft import DoorwayDraft, RoomDraft
from importer.ifc.model import Entity, IfcModel, guid_of, text_of
from importer.ifc.step_text import mended_text
from importer.plan import Finding, Severity
from importer.room_words import BATHS, KITCHENS, is_communal, names_a_flat, plain, words, words_of

_FLAT_WORDS: Final = words("""
    flat apartment apt dwelling unit suite maisonette wohnung whg wohneinheit appartement logement
    vivienda departamento appartamento alloggio apartamento woning mieszkanie byt lagenhet leilighet
    asunto lakas apartament stan daire
""")
"""Words for a dwelling, from memory."""
_PREFIX: Final = re.compile(r"^([A-Za-z]{1,2})[\s.\-]?\d|^(\w{1,4})[.\-/]\d{1,3}$")


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatDraft:
    """A dwelling and its rooms by index."""

    name: str
    rooms: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dwellings:
    """Flats in the order of their first room, rooms that belong to nobody, what was assumed."""

    flats: tuple[FlatDraft, ...] = ()
    communal: frozenset[int] = frozenset()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Group:
    """Rooms that the model puts together under a name. `kind` is what its siblings share."""

    name: str
    kind: str
    says_flat: bool
    rooms: frozenset[int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _House:
    """Rooms and the doorways between them."""

    rooms: Sequence[RoomDraft]
    links: tuple[tuple[int, int | None], ...]

    def hangs_together(self, group: frozenset[int]) -> bool:
        """Whether one can walk from each room of a group to each other without leaving it. Storeys are
        joined by stairs, which no doorway shows.
        """
        for storey in sorted({self.rooms[k].storey for k in group}):
            here = {k for k in group if self.rooms[k].storey == storey}
            reached, new = set[int](), {min(here)}
            while new:
                reached |= new
                new = {
                    b
                    for pair in self.links
                    for a, b in (pair, pair[::-1])
                    if a in reached and b is not None and b in here and b not in reached
                }
            if reached != here:
                return False
        return True

    def has_way_out(self, group: frozenset[int]) -> bool:
        """Whether a doorway leads out of a group."""
        return any((a in group) != (b in group) for a, b in self.links)

    def are_parted(self, groups: Sequence[frozenset[int]]) -> bool:
        """Whether no doorway joins two groups: dwellings meet in communal space only."""
        home = {k: n for n, group in enumerate(groups) for k in group}
        return not any(
            a in home and b in home and home[a] != home[b] for a, b in self.links if b is not None
        )

    def is_dwelling(self, group: frozenset[int]) -> bool:
        """Whether there is somewhere to cook or to wash among some rooms."""
        names = [n for k in sorted(group) for n in _names(self.rooms[k])]
        said = {w for name in names for w in words_of(name)}
        return len(group) >= 2 and bool(said & (KITCHENS | BATHS))


def find_flats(
    model: IfcModel, rooms: Sequence[RoomDraft], doorways: Sequence[DoorwayDraft]
) -> Dwellings:
    """Which rooms are one flat.

    Args:
        model: for its zones.
        rooms: all rooms in their final order.
        doorways: between them.

    Returns:
        Flats and communal rooms; empty for a house, or where nothing tells.
    """
    house = _House(rooms=rooms, links=tuple(d.rooms for d in doorways))
    zones = _zones(model, rooms)
    named = _disjoint([z for z in zones if z.says_flat])
    for groups, because in (
        (named, "its zones"),
        (_family(zones, house), "its zones"),
        (_by_property(rooms), "a property of its spaces"),
        (_by_number(rooms, house), "the beginnings of its room numbers"),
    ):
        if groups:
            return _dwellings(model, house, groups, because)
    return Dwellings()


def _dwellings(model: IfcModel, house: _House, groups: Sequence[_Group], because: str) -> Dwellings:
    ordered = sorted(groups, key=lambda g: (min(g.rooms), g.name))
    taken = {k for g in ordered for k in g.rooms}
    between = {
        k
        for k in range(len(house.rooms))
        if k not in taken
        and (
            any(is_communal(n) for n in _names(house.rooms[k]))
            or _flats_beside(house, k, ordered) >= 2
        )
    }
    between |= _behind(house, taken, between)
    names = ", ".join(g.name for g in ordered[:8]) + (" and more" if len(ordered) > 8 else "")
    finding = model.finding(
        "IMP-560",
        Severity.NOTE,
        f"{len(ordered)} flat(s) were told by {because}: {names}.",
        remedy="Where that is wrong, correct the zones in the model.",
    )
    return Dwellings(
        flats=tuple(FlatDraft(name=g.name, rooms=tuple(sorted(g.rooms))) for g in ordered),
        communal=frozenset(between),
        findings=(finding,),
    )


def _behind(house: _House, taken: Collection[int], between: Collection[int]) -> set[int]:
    """Rooms of no flat that are reached from communal rooms only: plant, refuse, meters."""
    beside: dict[int, set[int | None]] = {}
    for a, b in house.links:
        beside.setdefault(a, set()).add(b)
        if b is not None:
            beside.setdefault(b, set()).add(a)
    return {k for k, ends in beside.items() if k not in taken and ends <= set(between)}


def _flats_beside(house: _House, room: int, groups: Sequence[_Group]) -> int:
    """How many flats have a doorway to a room."""
    beside = {b if a == room else a for a, b in house.links if room in {a, b}}
    return sum(1 for g in groups if g.rooms & beside)


def _names(room: RoomDraft) -> list[str]:
    return [n for n in (room.name, *room.also_called) if n]


# --- zones ----------------------------------------------------------------------------------------


def _zones(model: IfcModel, rooms: Sequence[RoomDraft]) -> list[_Group]:
    """Zones and spatial zones with the rooms in them, by step id."""
    place: dict[int, list[int]] = {}
    for k, room in enumerate(rooms):
        if room.space is not None:
            place.setdefault(room.space.id(), []).append(k)
    found = []
    for zone in model.all_of("IfcZone", "IfcSpatialZone"):
        members = frozenset(k for s in _members(zone) for k in place.get(s, ()))
        if members:
            found.append(_group_of(zone, members))
    return found


def _group_of(zone: Entity, members: frozenset[int]) -> _Group:
    texts = [text_of(zone, a) for a in ("Name", "LongName", "ObjectType", "Description")]
    said = [mended_text(t) for t in texts if t is not None]
    name = said[0] if said else guid_of(zone)
    says = any(names_a_flat(t) or _FLAT_WORDS & set(re.split(r"[\W\d_]+", plain(t))) for t in said)
    kind = text_of(zone, "ObjectType") or text_of(zone, "PredefinedType") or ""
    stem = re.sub(r"[\d\W_]+", "", plain(name))
    return _Group(name=name, kind=f"{zone.is_a()} {kind} {stem}", says_flat=says, rooms=members)


def _members(zone: Entity, depth: int = 0) -> Iterable[int]:
    """Step ids of the spaces in a zone, zones in it included."""
    if depth > 4:
        return
    for relation in getattr(zone, "IsGroupedBy", ()) or ():
        for member in relation.RelatedObjects or ():
            if member.is_a("IfcSpace"):
                yield member.id()
            elif member.is_a("IfcZone"):
                yield from _members(member, depth + 1)
    for inverse in ("ReferencesElements", "ContainsElements", "IsDecomposedBy"):
        for relation in getattr(zone, inverse, ()) or ():
            related = getattr(relation, "RelatedElements", None)
            for member in related or getattr(relation, "RelatedObjects", None) or ():
                if member.is_a("IfcSpace"):
                    yield member.id()


def _disjoint(groups: Sequence[_Group]) -> list[_Group]:
    """Groups that share no room; of two that do the smaller stays: the other is a sum of flats."""
    kept: list[_Group] = []
    for group in sorted(groups, key=lambda g: (len(g.rooms), min(g.rooms), g.name)):
        if not any(group.rooms & other.rooms for other in kept):
            kept.append(group)
    return kept


def _family(zones: Sequence[_Group], house: _House) -> list[_Group]:
    """Zones of one kind that behave like flats: two or more, no room in two, each a dwelling that hangs
    together and has a way out, none with a doorway to another.
    """
    families: dict[str, list[_Group]] = {}
    for zone in zones:
        families.setdefault(zone.kind, []).append(zone)
    for kind in sorted(families):
        family = families[kind]
        shared = sum(len(g.rooms) for g in family) - len({k for g in family for k in g.rooms})
        if len(family) >= 2 and not shared and _behave(family, house):
            return family
    return []


def _behave(groups: Sequence[_Group], house: _House) -> bool:
    return house.are_parted([g.rooms for g in groups]) and all(
        house.is_dwelling(g.rooms) and house.hangs_together(g.rooms) and house.has_way_out(g.rooms)
        for g in groups
    )


# --- properties and numbers -----------------------------------------------------------------------


def _by_property(rooms: Sequence[RoomDraft]) -> list[_Group]:
    groups = _grouped({k: r.flat for k, r in enumerate(rooms) if r.flat})
    return groups if any(len(g.rooms) > 1 for g in groups) else []


def _by_number(rooms: Sequence[RoomDraft], house: _House) -> list[_Group]:
    """Rooms whose numbers begin alike, where these groups behave like dwellings and are not just the
    storeys.
    """
    prefixes: dict[int, str] = {}
    for k, room in enumerate(rooms):
        found = _PREFIX.match(room.number or "")
        if found:
            prefixes[k] = found.group(1) or found.group(2)
    groups = [g for g in _grouped(prefixes) if len(g.rooms) > 1]
    if len(groups) < 2:
        return []
    storeys = [frozenset(rooms[k].storey for k in g.rooms) for g in groups]
    are_storeys = all(len(s) == 1 for s in storeys) and len(set(storeys)) == len(groups)
    parted = house.are_parted([g.rooms for g in groups])
    alike = [g for g in groups if house.is_dwelling(g.rooms)]
    return alike if len(alike) >= 2 and parted and not are_storeys else []


def _grouped(names: Mapping[int, str]) -> list[_Group]:
    groups: dict[str, set[int]] = {}
    for k, name in names.items():
        groups.setdefault(name, set()).add(k)
    return [
        _Group(name=name, kind="", says_flat=True, rooms=frozenset(groups[name]))
        for name in sorted(groups)
    ]
