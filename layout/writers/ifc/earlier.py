"""Floor coverings that a model has already: ours from an earlier run go, the others stay."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from layout.writers.ifc.coverings import PROPERTIES

_LISTS: Final = ("RelatedElements", "RelatedCoverings", "RelatedObjects")
"""Where relations hold their many ends."""
_KEPT: Final = ("IfcObjectDefinition", "IfcRepresentationContext", "IfcNamedUnit")
"""What a covering refers to and does not own, even where nothing else refers to it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Removal:
    """Statements to take out by number, and relations to be written anew without what was taken out."""

    gone: frozenset[int] = frozenset()
    changed: dict[int, str] = field(default_factory=dict)


def own_coverings(file: Any) -> list[Any]:
    """Coverings with our property set, by step id."""
    found: dict[int, Any] = {}
    for relation in file.by_type("IfcRelDefinesByProperties"):
        definition = relation.RelatingPropertyDefinition
        if definition is None or getattr(definition, "Name", None) != PROPERTIES:
            continue
        for thing in relation.RelatedObjects or ():
            if thing is not None and thing.is_a("IfcCovering"):
                found[thing.id()] = thing
    return [found[k] for k in sorted(found)]


def other_floorings(file: Any, own: Sequence[Any]) -> list[Any]:
    """Floor coverings that are not ours, by step id."""
    from ifcopenshell.util.element import get_predefined_type

    ours = {c.id() for c in own}
    coverings = sorted(file.by_type("IfcCovering"), key=lambda c: c.id())
    return [c for c in coverings if c.id() not in ours and get_predefined_type(c) == "FLOORING"]


def removal_of(file: Any, coverings: Sequence[Any]) -> Removal:
    """What has to go with some coverings: relations that are only about them, and all that only they and
    these refer to. Relations that are about other things too stay with these alone; they are changed in
    `file`.
    """
    gone = {c.id() for c in coverings}
    changed: dict[int, str] = {}
    for relation in sorted({r for c in coverings for r in file.get_inverse(c)}, key=_number):
        left = _others(relation, gone)
        if left is None:
            gone.add(relation.id())
        else:
            name, things = left
            setattr(relation, name, things)
            changed[relation.id()] = relation.to_string()
    _add_owned(file, gone)
    return Removal(gone=frozenset(gone), changed=changed)


def _number(entity: Any) -> int:
    return int(entity.id())


def _others(relation: Any, gone: Collection[int]) -> tuple[str, list[Any]] | None:
    """The list of a relation and what stays in it; None where nothing does."""
    for name in _LISTS:
        things = getattr(relation, name, None)
        if isinstance(things, tuple):
            left = [t for t in things if t.id() not in gone]
            return (name, left) if left else None
    return None


def _add_owned(file: Any, gone: set[int]) -> None:
    """Take in, again and again, what is referred to by what goes and by nothing that stays."""
    looked_at = list(gone)
    while looked_at:
        found = []
        for part in (p for k in looked_at for p in _parts(file.by_id(k))):
            if part.id() in gone or any(part.is_a(kind) for kind in _KEPT):
                continue
            if all(i.id() in gone for i in file.get_inverse(part)):
                gone.add(part.id())
                found.append(part.id())
        looked_at = found


def _parts(entity: Any) -> Iterator[Any]:
    """Entities that an entity refers to, those with a number."""
    pending = [entity[k] for k in range(len(entity))]
    while pending:
        value = pending.pop()
        if isinstance(value, tuple):
            pending.extend(value)
        elif hasattr(value, "id") and value.id():
            yield value
