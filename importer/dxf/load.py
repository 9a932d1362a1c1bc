"""From a DXF file to an ezdxf document, with repair, and what its header says of units."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ezdxf import recover
from ezdxf.audit import Auditor
from ezdxf.document import Drawing as DxfDocument

from importer.dxf.mend import with_handles_mended, with_numbers_mended
from importer.dxf.rawtext import RawDxf, read_raw
from importer.dxf.salvage import (
    READER_FAULTS,
    with_geometry_only,
    with_sick_entities_left_out,
)
from importer.plan import Finding, Origin, Severity
from importer.sniff import FileKind, refusal, sniff_bytes, unreadable

MAX_BYTES: Final = 400_000_000
"""A larger file needs more memory (about 25 bytes a byte) than a contractor's computer has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedDxf:
    """A document and what the file itself says. `header_unit` is $INSUNITS and `measurement`
    $MEASUREMENT as written, None where absent (ezdxf makes up defaults for both).
    """

    document: DxfDocument
    file: str
    version: str
    header_unit: int | None
    measurement: int | None
    findings: tuple[Finding, ...] = ()


def load_dxf(path: Path) -> LoadedDxf:
    """Load a DXF, repaired where needed.

    Raises:
        PlanError: not readable, no DXF, cut off, damaged beyond repair, or nothing drawn in it.
    """
    raw = read_raw(_read_bytes(path), path.name)
    if "ENTITIES" not in raw.sections and "BLOCKS" not in raw.sections:
        raise refusal(
            "IMP-108",
            "the file has no ENTITIES section: nothing is drawn in it.",
            path.name,
            "Have the whole drawing saved as DXF, not only a part of it.",
        )
    document, findings = _document(raw)
    loaded = LoadedDxf(
        document=document,
        file=path.name,
        version=raw.version,
        header_unit=raw.header_unit,
        measurement=raw.measurement,
        findings=findings,
    )
    _refuse_empty(loaded)
    return loaded


def _read_bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise refusal(
                "IMP-114",
                f"the file is {size / 1e6:.0f} MB; up to {MAX_BYTES / 1e6:.0f} MB are read.",
                path.name,
                "Have the storeys saved as one DXF each, without attached reference drawings.",
            )
        data = path.read_bytes()
    except OSError as fault:
        raise unreadable(path, fault) from fault
    kind = sniff_bytes(data[:4096], path.name)
    if kind is FileKind.IFC:
        raise refusal(
            "IMP-102",
            "this is an IFC model, not a DXF drawing.",
            path.name,
            "Rename it so that the name ends in .ifc, or ask for the DXF.",
        )
    return data


def _document(raw: RawDxf) -> tuple[DxfDocument, tuple[Finding, ...]]:
    """The document as it is, else with its pairs mended, else as the repairing reader sees it."""
    document = _strict(raw)
    if document is None:
        raw = with_numbers_mended(raw)
    elif not _has_ambiguous_handles(document):
        return document, raw.findings
    raw = with_handles_mended(raw)
    document = _strict(raw)
    if document is not None:
        return document, raw.findings
    return _salvaged(with_sick_entities_left_out(raw))


def _salvaged(raw: RawDxf) -> tuple[DxfDocument, tuple[Finding, ...]]:
    """What can be had of a damaged file, with less of it at each attempt."""
    document = _strict(raw)
    if document is not None:
        return document, raw.findings
    attempts = (
        raw,
        with_geometry_only(raw, tables=True),
        with_geometry_only(raw, tables=False),
    )
    faults: list[BaseException] = []
    for attempt in attempts:
        try:
            return _recovered(attempt)
        except READER_FAULTS as fault:
            faults.append(fault)
    raise refusal(
        "IMP-105",
        f"the DXF is damaged beyond repair: {_one_line(faults[0])}.",
        raw.file,
        "Have the drawing saved as DXF once more, after a check in the CAD program.",
    ) from faults[0]


def _strict(raw: RawDxf) -> DxfDocument | None:
    try:
        return DxfDocument.read(raw.stream())
    except READER_FAULTS:
        return None


def _recovered(raw: RawDxf) -> tuple[DxfDocument, tuple[Finding, ...]]:
    # The repairing reader finds the encoding by itself from a header that may be wrong; escapes
    # for everything beyond ASCII keep the texts as decoded here.
    stream = io.BytesIO(raw.text().encode("ascii", "dxfreplace"))
    document, auditor = recover.read(stream)
    return document, (*raw.findings, *_repairs(auditor, raw.file))


def _one_line(fault: BaseException) -> str:
    text = " ".join(str(fault).split()).rstrip(".")
    return text[:120] or type(fault).__name__


def _has_ambiguous_handles(document: DxfDocument) -> bool:
    handles = [entity.dxf.handle for entity in document.modelspace()]
    return len(set(handles)) < len(handles) or "0" in handles


def _repairs(auditor: Auditor, file: str) -> tuple[Finding, ...]:
    out = []
    for entries, severity, verb in (
        (auditor.fixes, Severity.NOTE, "repaired"),
        (auditor.errors, Severity.SETTLE, "not repaired"),
    ):
        if not entries:
            continue
        kinds = Counter(str(entry.message).split(":")[0].split("#")[0][:60] for entry in entries)
        shown = "; ".join(f"{kind} ({count}x)" for kind, count in kinds.most_common(3))
        what = f"the DXF is damaged: {len(entries)} fault(s) {verb} while reading: {shown}."
        remedy = "Check the picture of the plan against the drawing."
        out.append(
            Finding(
                code="IMP-106",
                severity=severity,
                what=what,
                where=Origin(file=file),
                remedy=remedy,
            )
        )
    return tuple(out)


def _refuse_empty(loaded: LoadedDxf) -> None:
    document = loaded.document
    if len(document.modelspace()):
        return
    sheets = [name for name in document.layout_names_in_taborder() if name != "Model"]
    drawn = [
        name
        for name in sheets
        if any(entity.dxftype() != "VIEWPORT" for entity in document.layout(name))
    ]
    if drawn:
        names = ", ".join(drawn)
        raise refusal(
            "IMP-109",
            f"model space is empty; everything is drawn on paper space sheet {names}.",
            loaded.file,
            "Have the plan itself (model space) saved as DXF, at full size.",
        )
    raise refusal(
        "IMP-108",
        "nothing is drawn in model space.",
        loaded.file,
        "Have the whole drawing saved as DXF, with its reference drawings bound.",
    )
