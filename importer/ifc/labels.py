"""What a model says of a space: name, number, what else it is called, its stated area, its flooring."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isfinite
from typing import Final

from importer.ifc.model import Entity, text_of
from importer.ifc.step_text import mended_text

AREA_NAMES: Final = (
    "netfloorarea",
    "grossfloorarea",
    "netplannedarea",
    "grossplannedarea",
    "area",
    "gsa bim area",
)
"""Stated areas that may be a floor's, the nearest to the floor between the walls first."""
_FINISH_NAMES: Final = frozenset({"floorcovering", "floor covering", "floor finish", "floorfinish"})
_FUNCTION_NAMES: Final = frozenset({"category", "occupancytype", "occupancy", "department"})
_FLAT_NAMES: Final = frozenset(
    {
        "apartment",
        "apartmentnumber",
        "apartment number",
        "dwelling",
        "dwellingunit",
        "flat",
        "flat number",
        "unit",
        "unit number",
        "wohnung",
        "wohnungsnummer",
        "wohneinheit",
        "logement",
        "appartement",
        "vivienda",
        "woning",
    }
)
"""Names of properties that tell the dwelling of a space, listed from memory."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpaceLabel:
    """What is written on a space. `areas` are stated areas in the order of `AREA_NAMES`, as stated: in
    which unit is not trusted.
    """

    name: str | None
    number: str | None
    also_called: tuple[str, ...] = ()
    finish: str | None = None
    flat: str | None = None
    areas: tuple[float, ...] = ()


def label_of(space: Entity) -> SpaceLabel:
    """Everything written on a space. A number is a `Name` beside a `LongName`, or one with digits only
    or none of letters beyond two.
    """
    own = _text(space, "Name")
    long = _text(space, "LongName")
    number, name = own, long
    if long is None or long == own:
        number, name = (own, None) if own is not None and _is_number(own) else (None, own)
    values = dict(_properties(space))
    called = [
        own,
        long,
        _text(space, "ObjectType"),
        *_classes(space),
        _type_name(space),
        *(str(v) for k, v in sorted(values.items()) if k in _FUNCTION_NAMES and v),
    ]
    taken = {name, number}
    also = tuple(dict.fromkeys(c for c in called if c is not None and c not in taken))
    return SpaceLabel(
        name=name,
        number=number,
        also_called=also,
        finish=_finish(space, values),
        flat=_first_text(values, _FLAT_NAMES),
        areas=_areas(space, values),
    )


def _is_number(text: str) -> bool:
    """Whether a name is a number of a room rather than a word.

    >>> _is_number("102"), _is_number("A 1.04"), _is_number("Hall 2"), _is_number("WC")
    (True, True, False, False)
    """
    letters = sum(c.isalpha() for c in text)
    return any(c.isdigit() for c in text) and letters <= 2


def _text(entity: Entity, attribute: str) -> str | None:
    text = text_of(entity, attribute)
    return None if text is None else mended_text(text)


# --- property sets and quantities -----------------------------------------------------------------


def _properties(entity: Entity) -> Iterator[tuple[str, object]]:
    """Single values of the property sets of an entity and its type, names in lower case; the entity's
    own last, so that they count.
    """
    for definition in (*_type_sets(entity), *_own_sets(entity)):
        for item in getattr(definition, "HasProperties", None) or ():
            if item is not None and item.is_a("IfcPropertySingleValue") and item.Name:
                value = getattr(item.NominalValue, "wrappedValue", None)
                yield (
                    item.Name.strip().lower(),
                    (mended_text(value) if isinstance(value, str) else value),
                )


def _own_sets(entity: Entity) -> list[Entity]:
    relations = [
        r for r in getattr(entity, "IsDefinedBy", ()) or () if r.is_a("IfcRelDefinesByProperties")
    ]
    found = [r.RelatingPropertyDefinition for r in sorted(relations, key=lambda r: r.id())]
    return [d for d in found if d is not None]


def _type_of(entity: Entity) -> Entity | None:
    for inverse in ("IsTypedBy", "IsDefinedBy"):
        for relation in getattr(entity, inverse, ()) or ():
            kind = getattr(relation, "RelatingType", None)
            if kind is not None:
                return kind
    return None


def _type_sets(entity: Entity) -> list[Entity]:
    kind = _type_of(entity)
    return [] if kind is None else [d for d in kind.HasPropertySets or () if d is not None]


def _type_name(entity: Entity) -> str | None:
    kind = _type_of(entity)
    return None if kind is None else _text(kind, "Name")


def _areas(space: Entity, values: dict[str, object]) -> tuple[float, ...]:
    stated: dict[str, float] = {}
    for name in AREA_NAMES:
        value = values.get(name)
        if isinstance(value, int | float) and isfinite(value) and value > 0:
            stated[name] = float(value)
    for definition in _own_sets(space):
        for item in getattr(definition, "Quantities", None) or ():
            if item is None or not item.is_a("IfcQuantityArea") or not item.Name:
                continue
            value = item.AreaValue
            if isinstance(value, int | float) and isfinite(value) and value > 0:
                stated[item.Name.strip().lower()] = float(value)
    return tuple(stated[name] for name in AREA_NAMES if name in stated)


def _first_text(values: dict[str, object], names: frozenset[str]) -> str | None:
    for name in sorted(names):
        value = values.get(name)
        if isinstance(value, str | int) and not isinstance(value, bool) and str(value).strip():
            return str(value).strip()
    return None


# --- classification and flooring ------------------------------------------------------------------


def _classes(entity: Entity) -> list[str]:
    """Codes and names of the classifications of an entity."""
    found: list[str] = []
    for relation in getattr(entity, "HasAssociations", ()) or ():
        if not relation.is_a("IfcRelAssociatesClassification"):
            continue
        reference = relation.RelatingClassification
        for attribute in ("Identification", "ItemReference", "Name"):
            text = None if reference is None else _text(reference, attribute)
            if text is not None:
                found.append(text)
    return sorted(dict.fromkeys(found))


def _finish(space: Entity, values: dict[str, object]) -> str | None:
    """The flooring that the model already has in a space: a covering, else a requirement."""
    for covering in sorted(_coverings(space), key=lambda c: c.id()):
        if getattr(covering, "PredefinedType", None) == "FLOORING":
            named = (_text(covering, "ObjectType"), _type_name(covering), _text(covering, "Name"))
            return next((n for n in (_material(covering), *named) if n), "floor covering")
    required = _first_text(values, _FINISH_NAMES)
    # Programs export the name of a field that nobody filled in as its value.
    return None if required is None or required.casefold() in _FINISH_NAMES else required


def _coverings(space: Entity) -> list[Entity]:
    found: list[Entity] = []
    for relation in getattr(space, "HasCoverings", ()) or ():
        found += relation.RelatedCoverings or ()
    for relation in getattr(space, "ContainsElements", ()) or ():
        found += relation.RelatedElements or ()
    return [c for c in found if c is not None and c.is_a("IfcCovering")]


def _material(element: Entity) -> str | None:
    for relation in getattr(element, "HasAssociations", ()) or ():
        if relation.is_a("IfcRelAssociatesMaterial"):
            material = relation.RelatingMaterial
            if material is not None and material.is_a("IfcMaterial"):
                return _text(material, "Name")
    return None
