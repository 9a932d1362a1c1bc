"""The model as opened: what every part of this reader gets in its hand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from importer.plan import Finding, Origin, Point, Severity, UnitReading

Entity = Any
"""An entity instance of ifcopenshell, which is untyped."""

MOST_STEPS: Final = 64
"""Longest chain of wholes above a part that is followed: deeper ones are circles."""


def _not_watched(_phase: str, _product: int) -> None:
    """Nobody watches."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """How a watched process works: what it leaves out, how carefully, whom it tells where it is.

    `tell` gets the phase and the step id of the product that is being worked on (0: none), before the
    work, so that a crash can be laid at the right door. `careful` asks for one product at a time,
    `thorough` for a look through all references first, because reading without it failed.
    """

    tell: Callable[[str, int], None] = _not_watched
    skip: frozenset[int] = frozenset()
    careful: bool = False
    thorough: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class IfcModel:
    """An opened model. `file` is the `ifcopenshell.file`; `to_mm` turns lengths that are read as
    attributes (`OverallWidth`, `Elevation`) into millimetres; meshes are in millimetres already, less
    `origin` (x, y in mm), which is (0, 0) unless the model lies far from its own origin. It is added
    again to all that goes into the plan.
    """

    file: Any
    name: str
    schema: str
    units: UnitReading
    origin: Point = (0.0, 0.0)
    watch: Watch = field(default_factory=Watch)
    findings: tuple[Finding, ...] = ()

    @property
    def to_mm(self) -> float:
        """Millimetres in a length unit of the file."""
        return self.units.to_mm

    def all_of(self, *classes: str) -> list[Entity]:
        """All instances of the classes and their subclasses, by step id; classes that the schema of
        the file lacks have none.
        """
        found: dict[int, Entity] = {}
        for name in classes:
            try:
                instances = self.file.by_type(name)
            except RuntimeError:  # the schema has no such class
                continue
            found.update((e.id(), e) for e in instances)
        return [found[k] for k in sorted(found)]

    def where(self, entity: Entity | None = None) -> Origin:
        """The place of an entity for a finding."""
        return Origin(file=self.name, guid=None if entity is None else guid_of(entity))

    def finding(
        self,
        code: str,
        severity: Severity,
        what: str,
        *,
        about: Entity | None = None,
        remedy: str = "",
    ) -> Finding:
        """A finding about this model or one entity of it."""
        return Finding(
            code=code, severity=severity, what=what, where=self.where(about), remedy=remedy
        )


def guid_of(entity: Entity) -> str:
    """The GlobalId; for an entity without one its step id."""
    guid = getattr(entity, "GlobalId", None)
    return guid if isinstance(guid, str) and guid else f"#{entity.id()}"


def text_of(entity: Entity, attribute: str) -> str | None:
    """A text attribute without blanks around it; None where it is missing or empty."""
    value = getattr(entity, attribute, None)
    if not isinstance(value, str):
        return None
    return " ".join(value.split()) or None


def told(entity: Entity) -> str:
    """How a person finds an entity: class, name, step id."""
    name = text_of(entity, "Name") or text_of(entity, "LongName")
    named = f" '{name}'" if name else ""
    return f"{entity.is_a()}{named} (#{entity.id()})"


def wholes_above(entity: Entity) -> Iterator[Entity]:
    """What an entity is part of or contained in, from the nearest up; ends where it comes round."""
    seen = {entity.id()}
    for _ in range(MOST_STEPS):
        entity = _whole_of(entity)
        if entity is None or entity.id() in seen:
            return
        seen.add(entity.id())
        yield entity


def _whole_of(entity: Entity) -> Entity | None:
    for inverse in ("Decomposes", "ContainedInStructure"):
        for relation in getattr(entity, inverse, ()) or ():
            whole = getattr(relation, "RelatingObject", None) or getattr(
                relation, "RelatingStructure", None
            )
            if whole is not None:
                return whole
    return None
