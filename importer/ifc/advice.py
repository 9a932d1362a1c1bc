"""What the user should decide about rooms before they are laid: rooms that are none to lay planks in,
and floor coverings that the model already names. Nothing is left out for it: rules do that.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import shapely

from importer.ifc.draft import DoorwayDraft, ObstacleDraft, RoomDraft
from importer.ifc.model import IfcModel
from importer.plan import Finding, ObstacleKind, Severity
from importer.room_words import is_outdoor, words, words_of

LOW_MM: Final = 1800.0
"""A space lower than this is not walked in."""
MOSTLY_STAIR: Final = 0.6
_NO_FLOOR: Final = words("""
    roof dach dachboden spitzboden attic loft combles grenier sottotetto soffitta zolder strych shaft
    schacht gaine cavedio riser void luftraum vide lift elevator elev aufzug ascenseur ascensor
    ascensore winda vytah plenum крыша чердак шахта лифт
""")
"""Names of spaces that get no planks, from memory."""
_NO_FLOOR_TYPES: Final = frozenset({"EXTERNAL", "PARKING"})
_PLANKS: Final = words("""
    laminate laminat vinyl vinyle lvt spc plank planks parquet parkett timber wood wooden holz bois
    legno madera madeira hout drewno panele dielen planken landhausdiele oak eiche chene ламинат
    паркет
""")
"""Words for floors that are laid by a layout such as this, from memory."""


def advice(
    model: IfcModel,
    rooms: Sequence[RoomDraft],
    doorways: Sequence[DoorwayDraft],
    obstacles: Sequence[ObstacleDraft],
) -> list[Finding]:
    """What to settle about rooms.

    Args:
        model: for findings.
        rooms: all rooms.
        doorways: between them.
        obstacles: what stands in them.
    """
    return [
        *_doubtful(model, rooms, doorways, obstacles),
        *_finishes(model, rooms),
    ]


def _doubtful(
    model: IfcModel,
    rooms: Sequence[RoomDraft],
    doorways: Sequence[DoorwayDraft],
    obstacles: Sequence[ObstacleDraft],
) -> list[Finding]:
    stairs: dict[int, list[shapely.Polygon]] = {}
    for o in obstacles:
        if o.kind in {ObstacleKind.STAIR, ObstacleKind.SHAFT}:
            stairs.setdefault(o.room, []).append(o.shape)
    entered = {k for d in doorways for k in d.rooms if k is not None}
    why: dict[str, list[tuple[int, RoomDraft]]] = {}
    for k, room in enumerate(rooms):
        reason = _why_not(room, stairs.get(k, []))
        # Where hardly any room has a doorway the model has no doors, which says nothing of a room; a
        # gallery is reached by its stair.
        told = len(entered) >= len(rooms) / 2 and k not in stairs
        if reason is None and k not in entered and told:
            reason = "no doorway leads into it"
        if reason is not None:
            why.setdefault(reason, []).append((k, room))
    return [
        model.finding(
            "IMP-361",
            Severity.SETTLE,
            f"{_listed([_title(k, r) for k, r in found])}: {reason}.",
            about=found[0][1].space,
            remedy=f"Where no planks belong there write {_rule_for(*found[0])}.",
        )
        for reason, found in sorted(why.items())
    ]


def _why_not(room: RoomDraft, stairs: Sequence[shapely.Polygon]) -> str | None:
    """Why planks may not belong in a room; None where nothing speaks against them."""
    called = [n for n in (room.name, room.number, *room.also_called) if n]
    said = {w for n in called for w in words_of(n)}
    kind = getattr(room.space, "PredefinedType", None) or getattr(
        room.space, "InteriorOrExteriorSpace", None
    )
    covered = shapely.union_all(list(stairs)).area / room.shape.area if stairs else 0.0
    if said & _NO_FLOOR:
        return "called a roof space, a shaft or a lift"
    if kind in _NO_FLOOR_TYPES or (room.name is not None and is_outdoor(room.name)):
        return "outside, or a place for cars"
    if room.high - room.low < LOW_MM:
        return "lower than 1.8 m"
    if covered > MOSTLY_STAIR:
        return "mostly taken by stairs or a hole in the slab"
    return None


def _finishes(model: IfcModel, rooms: Sequence[RoomDraft]) -> list[Finding]:
    """Floor coverings that the model names, one finding for those that are no planks and one for the
    rest.
    """
    named: dict[bool, dict[str, list[tuple[int, RoomDraft]]]] = {True: {}, False: {}}
    for k, room in enumerate(rooms):
        if room.finish:
            planks = bool(set(words_of(room.finish)) & _PLANKS)
            named[planks].setdefault(room.finish, []).append((k, room))
    findings = []
    if named[False]:
        first = next(iter(named[False].values()))[0]
        findings.append(
            model.finding(
                "IMP-362",
                Severity.SETTLE,
                f"The model names other floors than planks: {_by_finish(named[False])}. They are laid "
                "like any other room.",
                about=first[1].space,
                remedy=f"Leave them out with {_rule_for(*first)}.",
            )
        )
    if named[True]:
        findings.append(
            model.finding(
                "IMP-363",
                Severity.NOTE,
                f"The model names floors of planks: {_by_finish(named[True])}.",
                remedy="Rooms without such a name may be meant for another floor.",
            )
        )
    return findings


def _by_finish(named: Mapping[str, Sequence[tuple[int, RoomDraft]]]) -> str:
    return "; ".join(
        f"{finish} in {_listed([_title(k, r) for k, r in named[finish]])}"
        for finish in sorted(named)
    )


def _title(k: int, room: RoomDraft) -> str:
    """What is written on a room; its id where nothing is."""
    return room.title if room.name or room.number else f"R{k + 1}"


def _rule_for(k: int, room: RoomDraft) -> str:
    """What to write into the rule set to leave a room out."""
    named = room.name or room.number or f"R{k + 1}"
    return f"rooms: - {{match: {named!r}, lay: no, because: ...}}"


def _listed(titles: Sequence[str], most: int = 8) -> str:
    shown = ", ".join(titles[:most])
    return shown + (f" and {len(titles) - most} more" if len(titles) > most else "")
