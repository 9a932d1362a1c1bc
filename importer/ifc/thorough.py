"""References that lead to the wrong kind of statement, taken out before a damaged model is read again.

Sound models are not looked through so: it takes longer than parsing. The child does it when reading a
model failed, because a storey where a shape belongs trips whoever follows the reference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Final

from importer.ifc.model import Entity

Fits = Callable[[Any], bool]
"""Whether a value may stand in an attribute."""

_NUMBERS: Final = frozenset({"real", "number", "integer"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """What was taken out: references by the statement that held them, and relations left without one of
    their ends.
    """

    holders: tuple[Entity, ...]
    relations: int


def drop_wrong_references(file: Any) -> Dropped:
    """Empty every attribute whose value its class does not allow, and remove relations that lack what
    they need. Changes the model in memory.
    """
    from ifcopenshell import ifcopenshell_wrapper

    checks = _Checks(schema=ifcopenshell_wrapper.schema_by_name(file.schema_identifier))
    holders = [e for e in file if _emptied(e, checks)]
    lame = [r for r in file.by_type("IfcRelationship") if checks.lacks_an_end(r)]
    kept = {r.id() for r in lame}
    holders = [e for e in holders if e.id() not in kept]
    for relation in lame:
        file.remove(relation)
    return Dropped(holders=tuple(holders), relations=len(lame))


def _emptied(entity: Entity, checks: _Checks) -> bool:
    """Empty what is wrong in one statement; whether anything was."""
    found = False
    for k, fits in enumerate(checks.of(entity.is_a())):
        value = entity[k]
        if value is None or fits(value):
            continue
        found = True
        good = tuple(v for v in value if fits((v,))) if isinstance(value, tuple) else ()
        entity[k] = good or None
    return found


@dataclass(slots=True, kw_only=True)
class _Checks:
    """The checks of every class, made as classes are met. Belongs to one look through a model."""

    schema: Any
    made: dict[str, tuple[Fits, ...]] = field(default_factory=dict)
    ends: dict[str, tuple[int, ...]] = field(default_factory=dict)
    kinds: dict[tuple[str, str], bool] = field(default_factory=dict)

    def of(self, name: str) -> tuple[Fits, ...]:
        """One check an attribute of a class, in order."""
        if name not in self.made:
            attributes = self.schema.declaration_by_name(name).as_entity().all_attributes()
            self.made[name] = tuple(self._fits(a.type_of_attribute()) for a in attributes)
        return self.made[name]

    def lacks_an_end(self, relation: Entity) -> bool:
        """Whether a relation misses an entity or a list of them that it cannot be without."""
        name = relation.is_a()
        if name not in self.ends:
            declaration = self.schema.declaration_by_name(name).as_entity()
            self.ends[name] = tuple(
                k
                for k, a in enumerate(declaration.all_attributes())
                if not a.optional() and a.name().startswith(("Relating", "Related"))
            )
        return any(not relation[k] for k in self.ends[name])

    def _fits(self, kind: Any) -> Fits:
        """The check for a type of the schema."""
        listed = kind.as_aggregation_type()
        if listed is not None:
            inner = self._fits(listed.type_of_element())
            return lambda value: isinstance(value, tuple) and all(map(inner, value))
        named = kind.as_named_type()
        declared = named.declared_type() if named is not None else None
        if declared is None:
            return _fits_simple(kind)
        if declared.as_type_declaration() is not None:
            return self._fits(declared.as_type_declaration().declared_type())
        if declared.as_enumeration_type() is not None:
            return lambda value: isinstance(value, str)
        names = _classes_in(declared)
        return lambda value: hasattr(value, "is_a") and self._is_one_of(value, names)

    def _is_one_of(self, value: Entity, names: tuple[str, ...]) -> bool:
        if not names:  # a choice between plain values
            return True
        own = value.is_a()
        for name in names:
            if (own, name) not in self.kinds:
                self.kinds[own, name] = bool(value.is_a(name))
            if self.kinds[own, name]:
                return True
        return False


def _classes_in(declared: Any) -> tuple[str, ...]:
    """Names of the classes that a class or a choice of the schema stands for."""
    choice = declared.as_select_type()
    if choice is None:
        return (declared.name(),)
    return tuple(name for part in choice.select_list() for name in _classes_in(part))


def _fits_simple(kind: Any) -> Fits:
    simple = kind.as_simple_type()
    word = simple.declared_type() if simple is not None else ""
    if word in _NUMBERS:
        return lambda value: isinstance(value, int | float)
    if word == "string":
        return lambda value: isinstance(value, str)
    return lambda value: not hasattr(value, "is_a")
