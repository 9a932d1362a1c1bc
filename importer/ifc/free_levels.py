"""On which heights of a storey rooms are looked for when no space tells: wherever doors stand."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from importer.ifc.section_levels import Level
from importer.ifc.section_openings import Opening
from importer.ifc.storeys import Storeys
from importer.plan import StoreyId

SAME_FLOOR_MM: Final = 60.0
"""Doors whose sills are no further apart stand on one floor: thresholds, steps of a wet room."""


def levels_to_search(
    storeys: Mapping[int, StoreyId],
    floors: Mapping[int, float],
    doors: Mapping[int, Sequence[float]],
) -> list[Level]:
    """Levels by storey and height. A storey has its own floor, and another wherever doors stand higher
    or lower than that: half a flight up, down to a garage.

    Args:
        storeys: ids of the storeys that are searched, by index.
        floors: height of every storey's floor, mm.
        doors: heights of the sills of the doors of every storey, mm (`door_sills`).
    """
    found = []
    for k, storey in storeys.items():
        groups = _grouped([floors[k], *doors.get(k, ())])
        sills = doors.get(k, ())
        for group in groups:
            # The storey's own floor is kept to the millimetre: it was found with care.
            floor = (
                floors[k] if floors[k] in group else max(group, key=lambda z: (group.count(z), -z))
            )
            standing = sum(min(group) <= z <= max(group) for z in sills)
            found.append(Level(storey=storey, floor=floor, doors=standing))
    return found


def door_sills(openings: Iterable[Opening], storeys: Storeys) -> dict[int, list[float]]:
    """Heights of the sills of the doors, mm, by storey."""
    found: dict[int, list[float]] = {}
    for opening in openings:
        if opening.filling is not None and opening.filling.is_a("IfcDoor"):
            storey = storeys.of(opening.filling, opening.gap.low)
            found.setdefault(storey, []).append(opening.gap.low)
    return found


def _grouped(heights: Iterable[float]) -> list[list[float]]:
    """Heights in groups with no larger gap in them than one floor may have."""
    groups: list[list[float]] = []
    for z in sorted(heights):
        if groups and z - groups[-1][-1] <= SAME_FLOOR_MM:
            groups[-1].append(z)
        else:
            groups.append([z])
    return groups
