"""Storeys of a model: which there are, how high their floors lie, what belongs to which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from importer.ifc.grouping import Case, Kind, grouped
from importer.ifc.model import Entity, IfcModel, text_of, told, wholes_above
from importer.ifc.step_text import mended_text
from importer.plan import Finding, Severity

LEVEL_MM: Final = 10.0
"""Floors within this are at one level."""
ABOVE_FLOOR_MM: Final = 300.0
"""A thing this much below a storey's floor still belongs to that storey when nothing else is said."""
FAR_FROM_STOREY_MM: Final = 1500.0
"""Floors further than half a storey from where their storey is placed are told."""
SAME_HEIGHT_MM: Final = 10.0

_ELSEWHERE: Final = Kind(
    code="IMP-551",
    severity=Severity.NOTE,
    one="A storey states another elevation than it is placed at; its placement counts: {it}.",
    many="{n} storeys state other elevations than they are placed at; their placements count: {it}.",
    remedy="Nothing to do unless rooms come out on the wrong storey.",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class IfcStorey:
    """A storey as the model has it. `step_id` is 0 where the model has none and one was made up;
    `elevation_mm` is the height of its placement in the model's coordinates.
    """

    step_id: int
    name: str | None
    elevation_mm: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Storeys:
    """Storeys from the lowest up, and what was noticed."""

    storeys: tuple[IfcStorey, ...]
    findings: tuple[Finding, ...] = ()

    def of(self, product: Entity, low: float) -> int:
        """Index of the storey that a product belongs to: the one it is part of or contained in, else the
        highest whose floor is not above it. `low` is its foot, mm.
        """
        place = {s.step_id: k for k, s in enumerate(self.storeys)}
        for whole in wholes_above(product):
            if whole.id() in place:
                return place[whole.id()]
        below = [
            k
            for k, s in enumerate(self.storeys)
            if s.elevation_mm is not None and s.elevation_mm <= low + ABOVE_FLOOR_MM
        ]
        return below[-1] if below else 0


def find_storeys(model: IfcModel) -> Storeys:
    """All storeys of the model, by height. The placement tells the height; the attribute `Elevation` is
    only informative, and a contradiction is told.
    """
    entities = model.all_of("IfcBuildingStorey")
    if not entities:
        finding = model.finding(
            "IMP-550",
            Severity.NOTE,
            "The model has no storeys; everything was taken for one.",
            remedy="Where several floors lie on each other, have storeys added to the model.",
        )
        alone = IfcStorey(step_id=0, name=None, elevation_mm=None)
        return Storeys(storeys=(alone,), findings=(finding,))
    found = [
        IfcStorey(step_id=e.id(), name=storey_name(e), elevation_mm=placed_height(model, e))
        for e in entities
    ]
    in_order = sorted(found, key=lambda s: (s.elevation_mm or 0.0, s.step_id))
    return Storeys(storeys=tuple(in_order), findings=_contradictions(model, entities, found))


def storey_name(entity: Entity) -> str | None:
    """Long name or name of a storey."""
    name = text_of(entity, "Name") or text_of(entity, "LongName")
    return None if name is None else mended_text(name)


def placed_height(model: IfcModel, product: Entity) -> float | None:
    """Height of a product's placement, mm in the model's coordinates; None where it has none."""
    matrix = placement_of(product)
    return None if matrix is None else float(matrix[2, 3]) * model.to_mm


def placement_of(product: Entity) -> np.ndarray[tuple[int, int], np.dtype[np.float64]] | None:
    """Placement of a product in the model's coordinates, 4 x 4, in the file's unit; None where it has
    none or one that is none.
    """
    from ifcopenshell.util.placement import get_local_placement

    placement = getattr(product, "ObjectPlacement", None)
    if placement is None:
        return None
    try:
        matrix = np.asarray(get_local_placement(placement), dtype=np.float64)
    except (AttributeError, TypeError, ValueError, IndexError, np.linalg.LinAlgError):
        return None  # an axis or a point is missing
    return matrix if np.isfinite(matrix).all() else None


def _contradictions(
    model: IfcModel, entities: Sequence[Entity], found: Sequence[IfcStorey]
) -> tuple[Finding, ...]:
    """Storeys whose stated elevation is at odds with where they are placed, beyond a common shift."""
    stated: dict[int, float] = {}
    for entity, storey in zip(entities, found, strict=True):
        elevation = getattr(entity, "Elevation", None)
        if isinstance(elevation, int | float) and storey.elevation_mm is not None:
            stated[entity.id()] = float(elevation) * model.to_mm - storey.elevation_mm
    if not stated:
        return ()
    common = float(np.median(list(stated.values())))
    odd = [
        e
        for e in entities
        if abs(stated.get(e.id(), common) - common) > SAME_HEIGHT_MM
        or (len(stated) == 1 and abs(common) > SAME_HEIGHT_MM and e.id() in stated)
    ]
    return tuple(grouped(model, _ELSEWHERE, [Case(e, told(e)) for e in odd]))


def floor_levels(
    rooms: Sequence[tuple[int, float, float]], storeys: Sequence[IfcStorey]
) -> Mapping[int, float]:
    """Height of each storey's floor, mm: the level on which most of its floor area lies.

    Args:
        rooms: (storey, foot in mm, area in mm2) of every room.
        storeys: all of them; those without rooms take the height that they are placed at.
    """
    levels = {k: s.elevation_mm for k, s in enumerate(storeys) if s.elevation_mm is not None}
    by_level: dict[int, dict[int, float]] = {}
    for storey, low, area in rooms:
        at = round(low / LEVEL_MM)
        of_storey = by_level.setdefault(storey, {})
        of_storey[at] = of_storey.get(at, 0.0) + area
    for storey, areas in by_level.items():
        best = max(areas, key=lambda at: (areas[at], -at))
        lows = [low for k, low, _ in rooms if k == storey and round(low / LEVEL_MM) == best]
        levels[storey] = min(lows)
    return levels


def far_from_storey(
    model: IfcModel, storeys: Sequence[IfcStorey], lows: Sequence[tuple[int, float]]
) -> list[Finding]:
    """Storeys with rooms that lie elsewhere than the storey is placed, in one finding.

    Args:
        model: for the finding.
        storeys: all of them.
        lows: (storey, foot in mm) of every room.
    """
    off: dict[int, list[float]] = {}
    for k, low in lows:
        placed = storeys[k].elevation_mm
        if placed is not None and abs(low - placed) > FAR_FROM_STOREY_MM:
            off.setdefault(k, []).append(low - placed)
    if not off:
        return []
    parts = [
        f"{len(off[k])} on {storeys[k].name or f'storey {k + 1}'}, by {max(off[k], key=abs):+.0f} mm"
        for k in sorted(off)
    ]
    return [
        model.finding(
            "IMP-553",
            Severity.NOTE,
            f"{sum(map(len, off.values()))} room(s) lie far from where their storey is placed: "
            f"{'; '.join(parts)}. They stay on the storey that they are part of.",
            remedy="Nothing to do unless rooms come out on the wrong storey.",
        )
    ]
