"""Units of a model other than its length unit: what a square and an angle are stated in."""

from __future__ import annotations

from math import isfinite
from typing import Any, Final

_PREFIX: Final = {
    "DECI": 1e-1,
    "CENTI": 1e-2,
    "MILLI": 1e-3,
    "DECA": 1e1,
    "HECTO": 1e2,
    "KILO": 1e3,
}
_METRE_MM2: Final = 1e6
_DEEPEST: Final = 4


def area_unit_mm2(file: Any) -> float:
    """Square millimetres in the model's unit of area; square metres where it states none, as the SI."""
    return _METRE_MM2 * _stated(file, "AREAUNIT", "SQUARE_METRE", power=2)


def angle_unit_rad(file: Any) -> float:
    """Radians in the model's unit of plane angles; 1 where it states none, as the SI."""
    return _stated(file, "PLANEANGLEUNIT", "RADIAN", power=1)


def _stated(file: Any, kind: str, base: str, *, power: int) -> float:
    """Size of the assigned unit of a kind in the SI's; 1 where none is usable."""
    for project in sorted(file.by_type("IfcProject"), key=lambda p: p.id()):
        for unit in getattr(project.UnitsInContext, "Units", None) or ():
            if unit is not None and getattr(unit, "UnitType", None) == kind:
                size = _size(unit, base, power)
                if size is not None:
                    return size
    return 1.0


def _size(unit: Any, base: str, power: int, depth: int = 0) -> float | None:
    """SI units in a unit. The prefix of a square metre is the metre's: a square centimetre is
    (10^-2 m)^2, not 10^-2 m2 (SI Brochure, 9th edition, section 3).
    """
    if unit.is_a("IfcSIUnit"):
        if unit.Name != base:
            return None
        return float(_PREFIX.get(unit.Prefix, 1.0)) ** power
    factor = getattr(unit, "ConversionFactor", None)
    if factor is None or factor.UnitComponent is None or depth > _DEEPEST:
        return None
    value = getattr(factor.ValueComponent, "wrappedValue", None)
    inner = _size(factor.UnitComponent, base, power, depth + 1)
    if inner is None or not isinstance(value, int | float):
        return None
    size = float(value) * inner
    return size if isfinite(size) and size > 0 else None
