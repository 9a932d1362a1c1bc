"""The drawing unit: decided by what is drawn, with the header as one voice among others.

$INSUNITS is missing or wrong in about half of the drawings met in practice. Door leaves decide,
since they are of much the same size everywhere; then areas printed in outlines, wall thicknesses
and outlines of rooms; the header weighs less than each of these where they are clear, and decides
where they are silent. What contradicts the decision is told, and a drawing that gives no hold at
all is refused.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from importer.dxf.drawing import Drawing
from importer.dxf.unit_evidence import (
    PLAN_MM,
    DoorFinder,
    Evidence,
    door_blocks,
    door_leaves,
    extent,
    plan_size,
    printed_measures,
    room_outlines,
    wall_thickness,
)
from importer.hints import UNIT_TO_MM, Hints
from importer.plan import Finding, Origin, PlanError, Severity, UnitReading

HEADER_UNITS: Final[Mapping[int, tuple[str, float]]] = {
    1: ("in", 25.4),
    2: ("ft", 304.8),
    3: ("mi", 1_609_344.0),
    4: ("mm", 1.0),
    5: ("cm", 10.0),
    6: ("m", 1000.0),
    7: ("km", 1e6),
    8: ("microinch", 25.4e-6),
    9: ("mil", 0.0254),
    10: ("yd", 914.4),
    11: ("angstrom", 1e-7),
    12: ("nm", 1e-6),
    13: ("micron", 1e-3),
    14: ("dm", 100.0),
    15: ("dam", 1e4),
    16: ("hm", 1e5),
    17: ("Gm", 1e12),
    18: ("au", 1.495978707e14),
    19: ("ly", 9.4607304725808e18),
    20: ("pc", 3.0856775814913673e19),
    21: ("US survey ft", 1_200_000 / 3937),
    22: ("US survey in", 100_000 / 3937),
    23: ("US survey yd", 3_600_000 / 3937),
    24: ("US survey mi", 1_200_000 * 5280 / 3937),
}
"""$INSUNITS to name and exact size in mm (codes: Autodesk, DXF reference, system variable INSUNITS;
survey units: 1 m = 39.37 in). 0 says unitless."""

CANDIDATES: Final = ("mm", "cm", "m", "in", "ft")
"""Units that plans are drawn in; what else the header or the user names joins them."""

HEADER_WEIGHT: Final = 0.7
MEASUREMENT_WEIGHT: Final = 0.2
CLEAR_LEAD: Final = 0.35
"""The best unit must lead the next one by this, else the drawing is refused as ambiguous."""

STILL_FITS: Final = 0.4
"""A unit that fits this well beside the best one is not contradicted by the evidence."""

_METRIC: Final = frozenset({"mm", "cm", "dm", "m"})
_REMEDY: Final = "Write drawing.units in the rule set (mm, cm, m, in or ft)"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """Everything that is known about one drawing's unit."""

    file: str
    units: Mapping[str, float]
    header: str | None
    header_code: int | None
    measurement: int | None
    evidence: tuple[Evidence, ...]
    size: float

    def is_possible(self, unit: str) -> bool:
        """Whether the plan has the size of a building in this unit."""
        return self.size == 0 or PLAN_MM[0] <= self.size * self.units[unit] <= PLAN_MM[1]

    def shows_parts(self) -> bool:
        """Whether anything but the size of the whole speaks."""
        return any(e.kind != "size" for e in self.evidence)

    def proof(self, unit: str) -> Evidence | None:
        """The strongest evidence that speaks for this unit above all others."""
        pro = [e for e in self.evidence if e.best() == unit and e.kind != "size"]
        return max(pro, key=lambda e: e.weight, default=None)

    def contra(self, unit: str) -> Evidence | None:
        """The strongest evidence that this unit does not fit."""
        against = [e for e in self.evidence if e.shares.get(unit, 0.0) < STILL_FITS]
        return max(against, key=lambda e: e.weight, default=None)

    def score(self, unit: str) -> float:
        """Sum of what speaks for the unit."""
        total = sum(e.weight * e.shares.get(unit, 0.0) for e in self.evidence)
        if unit == self.header:
            total += HEADER_WEIGHT
        elif self.header is None and self.measurement in {0, 1}:
            total += MEASUREMENT_WEIGHT * ((unit in _METRIC) == (self.measurement == 1))
        return total


def decide_units(
    drawing: Drawing, hints: Hints, *, door_symbols: DoorFinder
) -> tuple[UnitReading, tuple[Finding, ...]]:
    """The unit of a drawing that is still in drawing units.

    Args:
        drawing: as `flatten` gives it.
        hints: `units` decides when it is set; wall, room and door layers are used to look.
        door_symbols: finds door leaves in a drawing in millimetres.

    Returns:
        The unit with the reason in one plain sentence, and findings on what was assumed or
        contradicted.

    Raises:
        PlanError: the drawing gives no hold, or its evidence is split.
    """
    case = _case(drawing, hints, door_symbols)
    if hints.units is not None:
        return _hinted(case, hints.units)
    return _decided(case)


def _case(drawing: Drawing, hints: Hints, finder: DoorFinder) -> _Case:
    code = drawing.header_unit
    header = HEADER_UNITS.get(code) if code else None
    names = list(CANDIDATES)
    if hints.units is not None and hints.units not in names:
        names.append(hints.units)
    units = {name: UNIT_TO_MM[name] for name in names}
    if header is not None:
        # A survey foot takes the place of the foot: no evidence tells the two apart.
        same = [name for name, size in units.items() if abs(size / header[1] - 1) < 1e-3]
        for name in same:
            del units[name]
        units[header[0]] = header[1]
    size = extent(drawing)
    found = (
        door_leaves(drawing, units, hints, finder),
        printed_measures(drawing, units),
        wall_thickness(drawing, units, hints),
        room_outlines(drawing, units, hints),
        door_blocks(drawing, units, hints),
        plan_size(size, units),
    )
    return _Case(
        file=drawing.file,
        units=units,
        header=header[0] if header else None,
        header_code=code,
        measurement=drawing.measurement,
        evidence=tuple(evidence for evidence in found if evidence is not None),
        size=size,
    )


def _hinted(case: _Case, unit: str) -> tuple[UnitReading, tuple[Finding, ...]]:
    size = case.units.get(unit, UNIT_TO_MM[unit])
    reading = UnitReading(name=unit, to_mm=size, because="the rule set says so (drawing.units)")
    contra = case.contra(unit)
    if contra is None or contra.weight < 1.0 or contra.best() == unit:
        return reading, ()
    best = contra.best()
    what = f"the rule set says {unit}, but {contra.told[best]} only if it is {_word(best)}."
    remedy = f"Take drawing.units out of the rule set, or write {best}, if that is right."
    return reading, (_finding(case, "IMP-205", Severity.SETTLE, what, remedy),)


def _decided(case: _Case) -> tuple[UnitReading, tuple[Finding, ...]]:
    ranking = _ranking(case)
    if not ranking:
        raise _refused(case, _impossible(case))
    best = ranking[0]
    lead = case.score(best) - (case.score(ranking[1]) if len(ranking) > 1 else 0.0)
    if case.header is not None and case.header in ranking and _is_trusted(case, best):
        best = case.header
    elif lead < CLEAR_LEAD or not case.shows_parts():
        raise _refused(case, _split(case, ranking))
    reading = UnitReading(name=best, to_mm=case.units[best], because=_because(case, best))
    return reading, _findings(case, best)


def _is_trusted(case: _Case, best: str) -> bool:
    """Whether the header decides: it stands, or nothing fits clearly better than what it says."""
    header = case.header or ""
    return _header_stands(case) or case.score(best) - case.score(header) < CLEAR_LEAD


def _ranking(case: _Case) -> list[str]:
    """Possible units, best first; the size of the plan is no objection to proven door leaves."""
    doors = next((e for e in case.evidence if e.kind == "doors" and e.weight > 1), None)
    possible = [
        unit
        for unit in case.units
        if case.is_possible(unit) or (doors is not None and doors.best() == unit)
    ]
    return sorted(possible, key=lambda unit: -case.score(unit))


def _header_stands(case: _Case) -> bool:
    """The header's unit holds unless evidence that weighs more speaks against it."""
    header = case.header or ""
    against = [e for e in case.evidence if e.shares.get(header, 0.0) < STILL_FITS]
    heavy = [e for e in against if e.weight > HEADER_WEIGHT]
    if not heavy:
        return True
    strongest = max(case.evidence, key=lambda e: e.weight)
    if strongest.shares.get(header, 0.0) >= STILL_FITS:
        # The best evidence there is agrees with the header; the weaker kinds are outvoted.
        return strongest.weight > max(e.weight for e in heavy)
    return False


def _because(case: _Case, unit: str) -> str:
    proof = case.proof(unit)
    shown = f"{proof.told[unit]} if the unit is {_word(unit)}" if proof is not None else ""
    if case.header == unit:
        said = "the header says so ($INSUNITS)"
        return f"{said}, and {shown}" if shown else said
    said = _header_words(case)
    if not shown:
        return f"{said}; walls and the size of the whole together fit {_word(unit)} best"
    return f"{shown}, although {said}" if case.header is not None else f"{shown}; {said}"


def _word(unit: str) -> str:
    """Name of a unit that reads well in a sentence."""
    return {"in": "inch", "ft": "foot", "m": "metre"}.get(unit, unit)


def _header_words(case: _Case) -> str:
    if case.header is not None:
        return f"the header says {_word(case.header)}"
    if case.header_code is None:
        return "the file does not state a unit"
    if case.header_code == 0:
        return "the header says unitless"
    return f"the header names an unknown unit ({case.header_code})"


def _findings(case: _Case, unit: str) -> tuple[Finding, ...]:
    if case.header == unit:
        contra = case.contra(unit)
        if contra is None or contra.weight < 1.0:
            return ()
        best = contra.best()
        what = (
            f"the unit is {_word(unit)} by the header, "
            f"but {contra.told[best]} if it is {_word(best)}."
        )
        remedy = f"{_REMEDY} to settle it."
        return (_finding(case, "IMP-203", Severity.SETTLE, what, remedy),)
    sure = _is_sure(case, unit)
    severity = Severity.NOTE if sure else Severity.SETTLE
    what = f"the unit is taken to be {_word(unit)}: {_because(case, unit)}."
    code = "IMP-203" if case.header is not None else "IMP-204"
    return (_finding(case, code, severity, what, f"{_REMEDY} if that is wrong."),)


def _is_sure(case: _Case, unit: str) -> bool:
    """Strong evidence, and against a header's word two kinds of it."""
    agreeing = [e for e in case.evidence if e.shares.get(unit, 0.0) == 1]
    strong = any(e.weight > 1.0 for e in agreeing)
    return strong and (case.header is None or len(agreeing) > 1)


def _impossible(case: _Case) -> str:
    header = f" ({_header_words(case)})" if case.header is not None else ""
    return f"the plan has the size of a building in no unit{header}"


def _split(case: _Case, ranking: list[str]) -> str:
    said = _header_words(case)
    if not case.shows_parts():
        return f"{said}, and no door, wall or room outline shows its size"
    first, second = (ranking + ranking)[:2]
    proof = case.proof(first)
    shown = f"{proof.told[first]} if it is {_word(first)}, but " if proof is not None else ""
    return f"{said}; {shown}{_word(second)} fits nearly as well"


def _refused(case: _Case, why: str) -> PlanError:
    what = f"the drawing unit cannot be told: {why}."
    return PlanError(_finding(case, "IMP-202", Severity.REFUSED, what, f"{_REMEDY}."))


def _finding(case: _Case, code: str, severity: Severity, what: str, remedy: str) -> Finding:
    return Finding(
        code=code, severity=severity, what=what, where=Origin(file=case.file), remedy=remedy
    )
