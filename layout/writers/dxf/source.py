"""Opening the architect's file for marking, and writing it where it cannot simply be added to."""

from __future__ import annotations

import hashlib
import io
import uuid
from dataclasses import dataclass
from pathlib import Path

from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.filemanagement import readfile
from ezdxf.lldxf.const import DXF12, DXF2000, DXFError
from ezdxf.lldxf.tagwriter import TagWriter

from importer.plan import Finding, Origin, PlanError, Severity
from layout.writers.dxf.splice import View
from layout.writers.dxf.tags import RawFile, parse

_RELEASES = {"AC1009": "R12", "AC1012": "R13", "AC1014": "R14"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """The drawing, and its file where that can be added to as it is; `remarks` are for people."""

    doc: Drawing
    data: bytes
    raw: RawFile | None
    remarks: tuple[str, ...] = ()


def open_drawing(path: Path) -> Opened:
    """Read the drawing at `path`.

    Raises:
        PlanError: it cannot be read, or is no DXF.
    """
    try:
        data = path.read_bytes()
    except OSError as fault:
        raise _refused(path, f"the file could not be read: {fault.strerror}.") from fault
    doc, remarks = _load(path)
    raw = parse(data)
    version = _written_version(data, doc)
    if raw is not None and _has_bad_handles(raw):
        doc, remarks = _recovered(path)
        remarks = (*remarks, "Handles that were given twice or not at all have been replaced.")
        raw = None
    if version in _RELEASES or doc.dxfversion < DXF2000:
        doc.dxfversion = DXF2000
        release = _RELEASES.get(version, version)
        remarks = (*remarks, f"The drawing was {release}; it is returned as release 2000.")
        raw = None
    return Opened(doc=doc, data=data, raw=None if remarks else raw, remarks=remarks)


def _written_version(data: bytes, doc: Drawing) -> str:
    place = data.find(b"$ACADVER")
    if place < 0:
        return max(DXF12, doc.dxfversion)
    return (
        data[place : place + 60].split(b"AC", 2)[-1][:4].decode("ascii", "replace").join(("AC", ""))
    )


def _has_bad_handles(raw: RawFile) -> bool:
    counted = raw.handles
    return any(n > 1 for n in counted.values()) or any(h.strip("0") == "" for h in counted)


def _load(path: Path) -> tuple[Drawing, tuple[str, ...]]:
    try:
        return readfile(path), ()
    except (DXFError, UnicodeError, ValueError, IndexError, KeyError, AttributeError, TypeError):
        return _recovered(path)


def _recovered(path: Path) -> tuple[Drawing, tuple[str, ...]]:
    try:
        doc, auditor = recover.readfile(path)
    except (DXFError, UnicodeError, ValueError, IndexError, KeyError, AttributeError, OSError) as e:
        raise _refused(path, "the drawing is too damaged to be read.") from e
    count = len(auditor.fixes) + len(auditor.errors)
    return doc, (f"The file was damaged; {count} places were repaired on reading it.",)


def _refused(path: Path, what: str) -> PlanError:
    return PlanError(
        Finding(
            code="OUT-101",
            severity=Severity.REFUSED,
            what=what,
            where=Origin(file=str(path)),
            remedy="Open it in a CAD program and save it as DXF again.",
        )
    )


def write_whole(opened: Opened, view: View) -> bytes:
    """The whole drawing written anew, with no clock and no chance in it."""
    doc = opened.doc
    doc.commit_pending_changes()
    doc.classes.add_required_classes(doc.dxfversion)
    _set_header(opened, view)
    for vport in list(doc.viewports.get_config("*Active")) or [doc.viewports.new("*Active")]:
        aspect = float(vport.dxf.get("aspect_ratio", 1.0)) or 1.0
        vport.dxf.center = view.centre
        vport.dxf.height = max(view.height, view.width / aspect)
        vport.dxf.target = (0, 0, 0)
        vport.dxf.direction = (0, 0, 1)
        vport.dxf.view_twist = 0.0
    stream = io.StringIO()
    doc.export_sections(TagWriter(stream, dxfversion=doc.dxfversion))
    return doc.encode(stream.getvalue())


def _set_header(opened: Opened, view: View) -> None:
    header, source = opened.doc.header, opened.data
    x0, y0, x1, y1 = view.extents
    header["$EXTMIN"] = (x0, y0, 0.0)
    header["$EXTMAX"] = (x1, y1, 0.0)
    header["$HANDSEED"] = str(opened.doc.entitydb.handles)
    digest = hashlib.blake2b(source, digest_size=16).digest()
    guid = "{" + str(uuid.UUID(bytes=digest)).upper() + "}"
    for name in ("$FINGERPRINTGUID", "$VERSIONGUID"):
        if name.encode() not in source:
            header[name] = guid
    for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE"):
        if name.encode() not in source:
            header[name] = 0.0
