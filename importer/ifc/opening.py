"""A file opened as a model: archive, text, schema, repairs, unit. Whatever was done to it is told."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from importer.hints import Hints
from importer.ifc.archive import MOST_BYTES, is_archive, too_large, unpacked
from importer.ifc.grouping import Case, Kind, grouped, listed
from importer.ifc.length_unit import settle_unit
from importer.ifc.model import IfcModel, Watch, told
from importer.ifc.repairs import (
    break_placement_circles,
    clear_stray_stars,
    give_profiles_a_position,
    repeated_guids,
)
from importer.ifc.step_text import (
    Mended,
    has_stray_stars,
    instances,
    is_whole,
    mended_letters,
    mended_statements,
    relabelled,
    schema_label,
    schema_to_read,
)
from importer.ifc.thorough import drop_wrong_references
from importer.plan import Finding, Origin, Severity
from importer.sniff import check_entities, refusal, unreadable

_GOOD: Final = 0
_UNKNOWN_CLASS: Final = re.compile(r"Entity with name '([^']+)' not found in schema")
_OVERWRITTEN: Final = re.compile(r"Overwriting instance with name #(\d+)")
_DANGLING: Final = re.compile(r"Instance reference #(\d+) used by instance #(\d+)")

_NEEDED: Final = (
    "IFCSPACE",
    "IFCDOOR",
    "IFCWALL",
    "IFCOPENING",
    "IFCREL",
    "IFCBUILDING",
    "IFCSLAB",
)
"""Classes, by how they begin, whose loss costs rooms or doorways."""

_CIRCLES: Final = Kind(
    code="IMP-158",
    severity=Severity.SETTLE,
    one="A placement hangs on itself in a circle; it was taken as absolute: {it}.",
    many="{n} placements hang on themselves in a circle; they were taken as absolute: {it}.",
    remedy="Check where the rooms lie; have the model exported again.",
)
_REPEATED: Final = Kind(
    code="IMP-159",
    severity=Severity.NOTE,
    one="Several products share a GlobalId; each was read on its own: {it}.",
    many="{n} GlobalIds are shared by several products; each was read on its own: {it}.",
    remedy="Have the model exported again: other programs will keep one of them only.",
)


def open_model(path: Path, hints: Hints, watch: Watch | None = None) -> IfcModel:
    """Open a model and make it safe to read. Call it in a child process only: parser and kernel can
    die of a damaged file.

    Args:
        path: an .ifc or .ifczip.
        hints: `units` overrides the unit that the model states.
        watch: whom to tell what is being done.

    Raises:
        PlanError: with the reason why nothing can be read from it.
    """
    watch = watch or Watch()
    watch.tell("open", 0)
    raw, is_packed = _bytes_of(path)
    letters = mended_letters(raw)
    findings: list[Finding] = [_mended(path.name, part) for part in letters.done]
    label, schema, data = _schema_of(letters.data, path.name)
    as_it_is = data == raw and not is_packed
    file, log, parts = _parsed(data, path, as_it_is=as_it_is)
    check_entities(len(file.entity_names()), hints.allowed.entities, path.name)
    findings += [_mended(path.name, part) for part in parts]
    if label.upper() != schema:
        findings.append(_relabelled(file, data, path.name, label, schema))
    findings += _told_by_parser(log, path.name)
    if watch.thorough:
        findings += _looked_through(file, path.name)
    if has_stray_stars(data):
        clear_stray_stars(file)
    units, unit_findings = settle_unit(file, path.name, hints)
    model = IfcModel(
        file=file,
        name=path.name,
        schema=schema,
        units=units,
        watch=watch,
        findings=(*findings, *unit_findings),
    )
    return _made_safe(model)


# --- bytes and schema -----------------------------------------------------------------------------


def _bytes_of(path: Path) -> tuple[bytes, bool]:
    """The text of the model, whole, and whether it was in an archive."""
    try:
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise too_large("the file", size, path.name)
        data = path.read_bytes()
    except OSError as fault:
        raise unreadable(path, fault) from fault
    is_packed = is_archive(data)
    if is_packed:
        data = unpacked(data, path.name)
        if not data.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"ISO-10303-21"):
            raise refusal(
                "IMP-151",
                "the .ifc in the archive is no model: it does not begin with ISO-10303-21.",
                path.name,
                "Ask for the model again.",
            )
    return data, is_packed


def _schema_of(data: bytes, name: str) -> tuple[str, str, bytes]:
    """The schema as labelled, as read, and the text with the label that is read."""
    if not is_whole(data):
        raise refusal(
            "IMP-153",
            "the model breaks off: it has no end mark (END-ISO-10303-21).",
            name,
            "Fetch or export it again; a file cut off in transfer holds only part of the building.",
        )
    label = schema_label(data)
    if label is None:
        raise refusal(
            "IMP-154",
            "the model does not say its schema (FILE_SCHEMA in the header).",
            name,
            "Have it exported again as IFC2X3, IFC4 or IFC4X3.",
        )
    schema = schema_to_read(label)
    if schema is None:
        raise refusal(
            "IMP-154",
            f"the model has the schema {label}, which is not read.",
            name,
            "Have it exported as IFC2X3, IFC4 or IFC4X3.",
        )
    return label, schema, data if label == schema else relabelled(data, schema)


# --- parsing --------------------------------------------------------------------------------------


def _parsed(data: bytes, path: Path, *, as_it_is: bool) -> tuple[Any, str, tuple[str, ...]]:
    """The parsed model, what the parser logged, and what had to be mended for it. A file that is right
    `as_it_is` is parsed from the disk, which is quicker.
    """
    file, log = _parse(path if as_it_is else data)
    if file is not None:
        return file, log, ()
    mended: Mended = mended_statements(data)
    file, log = _parse(mended.data) if mended.done else (None, log)
    if file is None:
        raise refusal(
            "IMP-155",
            "the model is damaged: its statements cannot be parsed.",
            path.name,
            "Export it again, or open and save it in the program that made it.",
        )
    return file, log, mended.done


def _parse(source: Path | bytes) -> tuple[Any | None, str]:
    import ifcopenshell

    ifcopenshell.get_log()  # empties it
    try:
        if isinstance(source, bytes):
            # The format is plain ASCII after mending; Latin-1 keeps every byte that might be left.
            file = ifcopenshell.file.from_string(source.decode("latin-1"))
        else:
            file = ifcopenshell.open(source, ".ifc")
    except ifcopenshell.Error:
        return None, ifcopenshell.get_log()
    return (file if file.good().value() == _GOOD else None), ifcopenshell.get_log()


def _told_by_parser(log: str, name: str) -> list[Finding]:
    unknown = Counter(_UNKNOWN_CLASS.findall(log))
    findings = []
    if unknown:
        needed = sorted(c for c in unknown if c.startswith(_NEEDED))
        severity = Severity.SETTLE if needed else Severity.NOTE
        listed = ", ".join(f"{n} x {c}" for c, n in sorted(unknown.items())[:6])
        findings.append(
            _finding(
                "IMP-156",
                severity,
                name,
                f"{sum(unknown.values())} statement(s) name classes that the schema does not know and "
                f"were left out: {listed}.",
                "Have the model exported again in the schema that its header names.",
            )
        )
    repeated = sorted({int(k) for k in _OVERWRITTEN.findall(log)})
    if repeated:
        findings.append(
            _finding(
                "IMP-156",
                Severity.SETTLE,
                name,
                f"{len(repeated)} statement number(s) are given twice, from #{repeated[0]} on; the "
                "later one counts.",
                "Have the model exported again: parts of it may be missing.",
            )
        )
    dangling = sorted({(int(by), int(to)) for to, by in _DANGLING.findall(log)})
    if dangling:
        findings.append(
            _finding(
                "IMP-156",
                Severity.SETTLE,
                name,
                f"{len(dangling)} reference(s) lead to statements that are not there, the first from "
                f"#{dangling[0][0]} to #{dangling[0][1]}.",
                "Have the model exported again: parts of it are missing.",
            )
        )
    return findings


def _relabelled(file: Any, data: bytes, name: str, label: str, schema: str) -> Finding:
    """An odd schema read as a known one: what it was read as, and whether anything was lost by it."""
    stated = instances(data)
    have = set(file.entity_names())
    lost = Counter(cls for k, cls in stated.items() if k not in have)
    needed = sorted(c for c in lost if c.startswith(_NEEDED))
    if needed:
        raise refusal(
            "IMP-154",
            f"the model has the schema {label}; read as {schema} it loses "
            f"{', '.join(f'{lost[c]} {c}' for c in needed[:6])}.",
            name,
            "Have it exported as IFC2X3, IFC4 or IFC4X3.",
        )
    missing = f"; {sum(lost.values())} of {len(stated)} statements were lost" if lost else ""
    return _finding(
        "IMP-157",
        Severity.NOTE,
        name,
        f"The model has the schema {label} and was read as {schema}{missing}.",
        "Where rooms are missing, have it exported as IFC2X3, IFC4 or IFC4X3.",
    )


def _looked_through(file: Any, name: str) -> list[Finding]:
    """References to the wrong kind of statement are taken out; what that was."""
    dropped = drop_wrong_references(file)
    parts = []
    if dropped.holders:
        where = listed([f"#{e.id()} {e.is_a()}" for e in dropped.holders])
        parts.append(
            f"{len(dropped.holders)} statement(s) hold what does not belong there: {where}"
        )
    if dropped.relations:
        parts.append(f"{dropped.relations} relation(s) lack one of their ends")
    if not parts:
        return []
    return [
        _finding(
            "IMP-149",
            Severity.SETTLE,
            name,
            f"The model is damaged: {'; '.join(parts)}. That was left out.",
            "Have the model exported again: rooms and doorways may be missing.",
        )
    ]


# --- repairs --------------------------------------------------------------------------------------


def _made_safe(model: IfcModel) -> IfcModel:
    circles = [Case(entity, told(entity)) for entity in break_placement_circles(model.file)]
    findings = grouped(model, _CIRCLES, circles)
    bare = give_profiles_a_position(model.file)
    if bare:
        findings.append(
            model.finding(
                "IMP-150",
                Severity.NOTE,
                f"{len(bare)} profile(s), the first #{bare[0].id()}, lack the position that IFC2X3 "
                "requires; they were read as lying at their origin.",
            )
        )
    repeated = [
        Case(products[0], f"{guid} of {', '.join(told(p) for p in products[:4])}")
        for guid, products in repeated_guids(model.file)
    ]
    findings += grouped(model, _REPEATED, repeated)
    return replace(model, findings=(*model.findings, *findings))


def _mended(name: str, part: str) -> Finding:
    return _finding(
        "IMP-150", Severity.NOTE, name, f"The text of the model was mended: {part}.", ""
    )


def _finding(code: str, severity: Severity, name: str, what: str, remedy: str) -> Finding:
    return Finding(code=code, severity=severity, what=what, where=Origin(file=name), remedy=remedy)
