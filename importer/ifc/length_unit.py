"""The length unit of a model: as it states it, as the user states it, or as sizes in it tell.

The kernel takes a model without a length unit for one in metres, silently. So the unit that is
believed is written into the model in memory, and everything after reads it from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, log
from typing import Any, Final

import numpy as np

from importer.hints import UNIT_TO_MM, Hints
from importer.ifc.model import Entity
from importer.plan import Finding, Origin, Severity, UnitReading
from importer.sniff import refusal

_SI_PREFIX: Final = {
    None: 1.0,
    "DECI": 1e-1,
    "CENTI": 1e-2,
    "MILLI": 1e-3,
    "MICRO": 1e-6,
    "DECA": 1e1,
    "HECTO": 1e2,
    "KILO": 1e3,
}
_PREFIX_OF: Final = {"mm": "MILLI", "cm": "CENTI", "dm": "DECI", "m": None}

DOOR_WIDTH_MM: Final = 900.0
DOOR_HEIGHT_MM: Final = 2100.0
STOREY_HEIGHT_MM: Final = 2800.0
HOUSE_MM: Final = 8000.0
"""Usual sizes by which an unstated unit is judged (common practice, no source)."""

FAR_OFF: Final = 1.6
"""A mean deviation, natural logarithm, from usual sizes that no building shows: a factor of 5."""

CLEARLY_BETTER: Final = 0.5
"""So much nearer to usual sizes must the best unit be than the next; steps between units are 0.9 (inch
against centimetre) and more."""

_MOST_SAMPLES: Final = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stated:
    """A length unit of the file."""

    entity: Entity
    to_mm: float


def settle_unit(file: Any, name: str, hints: Hints) -> tuple[UnitReading, tuple[Finding, ...]]:
    """The unit that is believed, made the only length unit of the model in memory.

    Args:
        file: the opened `ifcopenshell.file`; its unit assignment may be changed.
        name: file name, for findings.
        hints: `units` overrides what the file says.

    Returns:
        The unit with the evidence, and findings where it was not simply stated.

    Raises:
        PlanError: no unit is stated and sizes do not tell one.
    """
    stated = _stated_units(file)
    if hints.units is not None:
        to_mm = UNIT_TO_MM[hints.units]
        _write_unit(file, hints.units)
        reading = UnitReading(
            name=hints.units, to_mm=to_mm, because="the rule set says so (drawing.units)"
        )
        return reading, ()
    evidence = _evidence(file)
    if len(stated) == 1:
        return _checked(file, name, stated[0], evidence)
    if stated:
        return _chosen(file, name, stated, evidence)
    return _guessed(file, name, evidence)


def _checked(
    file: Any, name: str, stated: _Stated, evidence: Sequence[float]
) -> tuple[UnitReading, tuple[Finding, ...]]:
    """The one stated unit, unless sizes contradict it beyond doubt."""
    believed = UnitReading(
        name=_name_of(stated.to_mm), to_mm=stated.to_mm, because="the model states it"
    )
    if not evidence or abs(_deviation(evidence, stated.to_mm)) <= FAR_OFF:
        return believed, ()
    unit = _best(evidence)
    if unit is None or abs(_deviation(evidence, UNIT_TO_MM[unit])) > FAR_OFF / 2:
        return believed, ()
    _write_unit(file, unit)
    because = f"doors and storeys have usual sizes in {unit} and not in the stated {believed.name}"
    finding = _finding(
        "IMP-251",
        name,
        f"The model states {believed.name} as its length unit, but its doors and storeys have usual "
        f"sizes only in {unit}. It was read in {unit}.",
    )
    return UnitReading(name=unit, to_mm=UNIT_TO_MM[unit], because=because), (finding,)


def _chosen(
    file: Any, name: str, stated: Sequence[_Stated], evidence: Sequence[float]
) -> tuple[UnitReading, tuple[Finding, ...]]:
    """One of several stated units: they agree, or sizes decide."""
    sizes = sorted({s.to_mm for s in stated})
    if len(sizes) == 1:
        to_mm, because = sizes[0], "the model states it"
        findings: tuple[Finding, ...] = ()
    else:
        if not evidence:
            raise _refused(
                name, "states several length units, and nothing in it tells which counts"
            )
        to_mm = min(sizes, key=lambda s: abs(_deviation(evidence, s)))
        because = "of the units that the model states it gives doors and storeys usual sizes"
        names = ", ".join(_name_of(s) for s in sizes)
        findings = (
            _finding(
                "IMP-252",
                name,
                f"The model states several length units ({names}); {_name_of(to_mm)} was taken, in "
                "which its doors and storeys have usual sizes.",
            ),
        )
    _keep_only(file, next(s.entity for s in stated if s.to_mm == to_mm))
    return UnitReading(name=_name_of(to_mm), to_mm=to_mm, because=because), findings


def _guessed(
    file: Any, name: str, evidence: Sequence[float]
) -> tuple[UnitReading, tuple[Finding, ...]]:
    unit = _best(evidence)
    if unit is None or abs(_deviation(evidence, UNIT_TO_MM[unit])) > FAR_OFF:
        raise _refused(name, "states no length unit, and the sizes in it do not tell one")
    _write_unit(file, unit)
    finding = _finding(
        "IMP-250",
        name,
        f"The model states no length unit; it was read in {unit}, in which its doors and storeys "
        "have usual sizes.",
    )
    reading = UnitReading(
        name=unit,
        to_mm=UNIT_TO_MM[unit],
        because="guessed: the model states none, its doors and storeys have usual sizes in it",
    )
    return reading, (finding,)


def _refused(name: str, what: str) -> Exception:
    return refusal(
        "IMP-253",
        f"the model {what}.",
        name,
        f"Write drawing.units: one of {', '.join(UNIT_TO_MM)}.",
    )


def _finding(code: str, name: str, what: str) -> Finding:
    return Finding(
        code=code,
        severity=Severity.SETTLE,
        what=what,
        where=Origin(file=name),
        remedy="Check a size that you know; write drawing.units if it is wrong.",
    )


# --- what the file states -------------------------------------------------------------------------


def _stated_units(file: Any) -> list[_Stated]:
    found = []
    for unit in _length_units(file):
        to_mm = _size_of(unit)
        if to_mm is not None:
            found.append(_Stated(entity=unit, to_mm=to_mm))
    return found


def _length_units(file: Any) -> list[Entity]:
    """Length units assigned to the projects of the file, in order, each once."""
    found: dict[int, Entity] = {}
    for assignment in _assignments(file):
        for unit in assignment.Units or ():
            if unit is not None and getattr(unit, "UnitType", None) == "LENGTHUNIT":
                found[unit.id()] = unit
    return list(found.values())


def _assignments(file: Any) -> list[Entity]:
    projects = sorted(file.by_type("IfcProject"), key=lambda p: p.id())
    return [p.UnitsInContext for p in projects if p.UnitsInContext is not None]


def _size_of(unit: Entity, depth: int = 0) -> float | None:
    """Millimetres in a length unit; None where it says nothing usable."""
    if unit.is_a("IfcSIUnit"):
        if unit.Name != "METRE" or unit.Prefix not in _SI_PREFIX:
            return None
        return 1000.0 * _SI_PREFIX[unit.Prefix]
    factor = getattr(unit, "ConversionFactor", None)
    if factor is None or depth > 4:
        return None
    base = factor.UnitComponent
    value = getattr(factor.ValueComponent, "wrappedValue", None)
    inner = None if base is None else _size_of(base, depth + 1)
    if inner is None or not isinstance(value, int | float):
        return None
    size = float(value) * inner
    return size if isfinite(size) and size > 0 else None


def _name_of(to_mm: float) -> str:
    for unit, size in UNIT_TO_MM.items():
        if abs(to_mm / size - 1) < 1e-6:
            return unit
    return f"{to_mm:.6g} mm"


# --- what sizes tell ------------------------------------------------------------------------------


def _evidence(file: Any) -> list[float]:
    """Ratios of sizes in file units to their usual size in mm."""
    ratios: list[float] = []
    for door in file.by_type("IfcDoor")[:_MOST_SAMPLES]:
        ratios += _ratio(door.OverallWidth, DOOR_WIDTH_MM)
        ratios += _ratio(door.OverallHeight, DOOR_HEIGHT_MM)
    for product in [*file.by_type("IfcSpace"), *file.by_type("IfcWall")][:_MOST_SAMPLES]:
        for item in _items_of(product):
            if item is not None and item.is_a("IfcExtrudedAreaSolid"):
                ratios += _ratio(item.Depth, STOREY_HEIGHT_MM)
    return ratios or _extent(file)


def _ratio(size: object, usual: float) -> list[float]:
    usable = isinstance(size, int | float) and isfinite(size) and size > 0
    return [float(size) / usual] if usable else []  # type: ignore[arg-type]  # usable says so


def _items_of(product: Entity) -> list[Entity]:
    shape = product.Representation
    representations = [] if shape is None else shape.Representations or ()
    return [i for r in representations if r is not None for i in r.Items or ()]


def _extent(file: Any) -> list[float]:
    """How far the points of the model spread, where nothing better is there."""
    points = [p.Coordinates for p in file.by_type("IfcCartesianPoint")[: 10 * _MOST_SAMPLES]]
    flat = np.array([p[:2] for p in points if p is not None and len(p) >= 2], dtype=np.float64)
    if len(flat) < 4:
        return []
    spread = float(np.max(np.percentile(flat, 90, axis=0) - np.percentile(flat, 10, axis=0)))
    return _ratio(spread, HOUSE_MM)


def _deviation(evidence: Sequence[float], to_mm: float) -> float:
    """Median deviation from usual sizes with that unit, natural logarithm."""
    return float(np.median(np.log(np.asarray(evidence) * to_mm)))


def _best(evidence: Sequence[float]) -> str | None:
    """The unit that brings sizes nearest to usual ones; None when another is nearly as good."""
    if not evidence:
        return None
    ranked = sorted(UNIT_TO_MM, key=lambda u: abs(_deviation(evidence, UNIT_TO_MM[u])))
    first, second = (abs(_deviation(evidence, UNIT_TO_MM[u])) for u in ranked[:2])
    return ranked[0] if second - first >= min(CLEARLY_BETTER, log(2)) else None


# --- writing it into the model --------------------------------------------------------------------


def _keep_only(file: Any, unit: Entity) -> None:
    """Make a unit of the file its only length unit."""
    for assignment in _assignments(file):
        others = [
            u
            for u in assignment.Units or ()
            if u is not None and getattr(u, "UnitType", None) != "LENGTHUNIT"
        ]
        assignment.Units = [unit, *others]


def _write_unit(file: Any, unit: str) -> None:
    """Make a unit, key of `UNIT_TO_MM`, the only length unit of the model."""
    if unit in _PREFIX_OF:
        entity = _si(file, _PREFIX_OF[unit])
    else:
        exponents = file.create_entity("IfcDimensionalExponents", 1, 0, 0, 0, 0, 0, 0)
        value = file.create_entity("IfcLengthMeasure", UNIT_TO_MM[unit] / 1000.0)
        factor = file.create_entity("IfcMeasureWithUnit", value, _si(file, None))
        entity = file.create_entity("IfcConversionBasedUnit", exponents, "LENGTHUNIT", unit, factor)
    projects = file.by_type("IfcProject") or [file.create_entity("IfcProject")]
    for project in projects:
        if project.UnitsInContext is None:
            project.UnitsInContext = file.create_entity("IfcUnitAssignment", [entity])
    _keep_only(file, entity)


def _si(file: Any, prefix: str | None) -> Entity:
    return file.create_entity("IfcSIUnit", UnitType="LENGTHUNIT", Prefix=prefix, Name="METRE")
