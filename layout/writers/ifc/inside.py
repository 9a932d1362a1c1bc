"""What the child process does: opens the model, finds what the floors belong to, writes the text.

The text of the model stays as it came, byte for byte; our statements go after its last one. So nothing
that a library would drop, mend or reorder is lost.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np

from importer.hints import Hints
from importer.ifc.archive import is_archive, unpacked
from importer.ifc.child import Lost
from importer.ifc.finished import storey_id
from importer.ifc.model import Entity, IfcModel, Watch, guid_of, told
from importer.ifc.opening import open_model
from importer.ifc.step_text import instances, mended_letters, schema_label
from importer.ifc.storeys import find_storeys, placement_of
from importer.plan import Finding, Severity, StoreyId
from importer.sniff import refusal
from layout.writers.ifc.coverings import Place, Surroundings, write_coverings
from layout.writers.ifc.earlier import Removal, other_floorings, own_coverings, removal_of
from layout.writers.ifc.floors import Floors
from layout.writers.ifc.step import Ref, Statements, Word, appended, without
from layout.writers.ifc.units import angle_unit_rad, area_unit_mm2

_WRITTEN: Final = re.compile(r"IFC2X3\w*|IFC4(?!X[12])\w*", re.IGNORECASE)
"""Schemas, as headers spell them, that are written into; the others are read as one of these, but what
was read so may not be given back as theirs."""
_WIDE: Final = (b"\xff\xfe", b"\xfe\xff")
_MOST_NAMED: Final = 6
_ADDED: Final = Word("ADDED")
_FLAT: Final = 1e-9
"""A placement whose axes span less than this has no inverse."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """What the child is given."""

    floors: Floors
    hints: Hints


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """The copy with its floors, and what to tell."""

    data: bytes
    findings: tuple[Finding, ...]


def write_floors(path: Path, errand: Errand, watch: Watch, _lost: Sequence[Lost]) -> Copy:
    """The text of a model with floors in it.

    Raises:
        PlanError: it has a schema that is not written into, or nothing that a body can refer to.
    """
    model = open_model(path, errand.hints, watch)
    watch.tell("write", 0)
    data = _text_of(path)
    label = schema_label(data) or ""
    if not _WRITTEN.fullmatch(label.strip()):
        raise refusal(
            "OUT-144",
            f"the model has the schema {label}, which is read but not written into.",
            path.name,
            "Have it exported as IFC2X3, IFC4 or IFC4X3 for a copy with the floors in it.",
        )
    own = own_coverings(model.file)
    removal = removal_of(model.file, own)
    data = without(data, removal.gone, removal.changed)
    text = Statements(_first_free(model, data, removal))
    spaces, doubtful = _spaces(model, errand.floors)
    count = write_coverings(text, errand.floors, _surroundings(model, text, spaces, removal))
    others = other_floorings(model.file, own)
    return Copy(
        data=appended(data, text.lines),
        findings=(
            *_replaced(model, own, count),
            *_left_in_place(model, others),
            *_without_space(model, doubtful),
        ),
    )


def _text_of(path: Path) -> bytes:
    """The model's own text; wide letters as plain ones, since ours are plain."""
    data = path.read_bytes()
    if is_archive(data):
        data = unpacked(data, path.name)
    return mended_letters(data).data if data.startswith(_WIDE) else data


def _first_free(model: IfcModel, data: bytes, removal: Removal) -> int:
    """A number above those of all statements, also of such as the parser has not taken."""
    parsed = (k for k in model.file.entity_names() if k not in removal.gone)
    return max((*instances(data), *parsed), default=0) + 1


# --- what the floors belong to ------------------------------------------------------------------


def _spaces(model: IfcModel, floors: Floors) -> tuple[dict[str, Ref], list[str]]:
    """Spaces of the floors by GlobalId; and the GlobalIds that several spaces carry, or none."""
    wanted = {f.space for bay in floors.bays for f in bay.floors if f.space is not None}
    named: dict[str, list[Entity]] = {}
    for space in model.all_of("IfcSpace"):
        named.setdefault(guid_of(space), []).append(space)
    found = {g: Ref(named[g][0].id()) for g in sorted(wanted) if len(named.get(g, ())) == 1}
    return found, sorted(wanted - found.keys())


def _surroundings(
    model: IfcModel, text: Statements, spaces: Mapping[str, Ref], removal: Removal
) -> Surroundings:
    projects = model.all_of("IfcProject")
    return Surroundings(
        project=guid_of(projects[0]) if projects else model.name,
        context=_context(model),
        owner=_owner(model, text, removal) if model.schema == "IFC2X3" else None,
        places=_places(model),
        spaces=spaces,
        to_mm=model.to_mm,
        area_mm2=area_unit_mm2(model.file),
        angle_rad=angle_unit_rad(model.file),
        has_formulas=model.schema != "IFC2X3",
    )


def _context(model: IfcModel) -> Ref:
    """The context of bodies, else the one of three dimensions that it would be part of."""

    def rank(context: Entity) -> tuple[int, int]:
        is_part = context.is_a("IfcGeometricRepresentationSubContext")
        is_solid = getattr(context, "ContextType", None) == "Model"
        if is_part and context.ContextIdentifier == "Body":
            return (0 if is_solid else 1), context.id()
        return (4 if is_part else 2 if is_solid else 3), context.id()

    contexts = sorted(model.all_of("IfcGeometricRepresentationContext"), key=rank)
    if not contexts:
        raise refusal(
            "OUT-144",
            "the model has no representation context that a body could refer to.",
            model.name,
            "Have the model exported again.",
        )
    return Ref(contexts[0].id())


def _owner(model: IfcModel, text: Statements, removal: Removal) -> Ref:
    """The owner history that IFC2X3 requires: the project's, else any, else one of our own."""
    for project in model.all_of("IfcProject"):
        if project.OwnerHistory is not None:
            return Ref(project.OwnerHistory.id())
    for history in model.all_of("IfcOwnerHistory"):
        if history.id() not in removal.gone:
            return Ref(history.id())
    person = text.add("IFCPERSON", None, "setout", None, None, None, None, None, None)
    firm = text.add("IFCORGANIZATION", None, "setout", None, None, None)
    user = text.add("IFCPERSONANDORGANIZATION", person, firm, None)
    program = text.add("IFCAPPLICATION", firm, "1", "setout", "setout")
    return text.add("IFCOWNERHISTORY", user, program, None, _ADDED, None, None, None, 0)


def _places(model: IfcModel) -> dict[StoreyId, Place]:
    """What contains the coverings of each storey; the building where the model has no storeys."""
    places: dict[StoreyId, Place] = {}
    for k, storey in enumerate(find_storeys(model).storeys):
        entity = model.file.by_id(storey.step_id) if storey.step_id else _building(model)
        places[storey_id(k)] = _place(model, entity)
    return places


def _building(model: IfcModel) -> Entity | None:
    found = model.all_of("IfcBuilding") or model.all_of("IfcSite")
    return found[0] if found else None


def _place(model: IfcModel, entity: Entity | None) -> Place:
    if entity is None:
        return Place(guid=model.name, structure=None, placement=None)
    matrix = placement_of(entity)
    if matrix is None or abs(np.linalg.det(matrix)) < _FLAT:
        return Place(guid=guid_of(entity), structure=Ref(entity.id()), placement=None)
    return Place(
        guid=guid_of(entity),
        structure=Ref(entity.id()),
        placement=Ref(entity.ObjectPlacement.id()),
        matrix=matrix,
    )


# --- what is told -------------------------------------------------------------------------------


def _replaced(model: IfcModel, own: Sequence[Any], count: int) -> list[Finding]:
    if not own:
        return []
    return [
        model.finding(
            "OUT-143",
            Severity.NOTE,
            f"The model held {len(own)} plank floor(s) from an earlier setting-out; in the copy the "
            f"{count} of this one stand in their place.",
        )
    ]


def _left_in_place(model: IfcModel, others: Sequence[Any]) -> list[Finding]:
    if not others:
        return []
    more = f" and {len(others) - _MOST_NAMED} more" if len(others) > _MOST_NAMED else ""
    return [
        model.finding(
            "OUT-141",
            Severity.NOTE,
            f"The model has {len(others)} floor covering(s) of its own, left in place beside the plank "
            f"floors: {', '.join(told(c) for c in others[:_MOST_NAMED])}{more}.",
            about=others[0],
            remedy="Have those that the planks replace deleted in the model.",
        )
    ]


def _without_space(model: IfcModel, doubtful: Sequence[str]) -> list[Finding]:
    if not doubtful:
        return []
    return [
        model.finding(
            "OUT-142",
            Severity.NOTE,
            f"{len(doubtful)} room(s) share their GlobalId with another, or have none; their floors "
            "stand in their storey and are not related to a space.",
            remedy="Have the model exported again, each space with a GlobalId of its own.",
        )
    ]
