"""Opening the architect's file for marking, and writing it where it cannot simply be added to."""

from __future__ import annotations

import hashlib
import io
import re
import uuid
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from ezdxf.document import Drawing
from ezdxf.entities.dictionary import Dictionary
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.lldxf.const import DXF2000, DXFError
from ezdxf.lldxf.tagwriter import TagWriter

from importer.dxf.load import load_dxf
from importer.dxf.rawtext import read_raw
from importer.plan import Finding, Origin, PlanError, Severity
from layout.writers.dxf.escapes import encoded
from layout.writers.dxf.splice import View
from layout.writers.dxf.tags import RawFile, parse

_OLD_RELEASES = {"AC1009": "R12", "AC1012": "R13", "AC1014": "R14"}
_FIRST_WITH_OBJECTS = "AC1015"
_FAULTS = (DXFError, ArithmeticError, AttributeError, LookupError, TypeError, ValueError)
"""What ezdxf is seen to raise on damaged input."""
_REPAIRS = frozenset({"IMP-104", "IMP-106", "IMP-107"})
"""Findings of the loader that mean: the file itself is damaged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """The drawing; `raw` is its file where that can be added to as it is. `remarks` tell people what
    had to be done.
    """

    doc: Drawing
    data: bytes
    raw: RawFile | None
    remarks: tuple[str, ...] = ()


def open_drawing(path: Path) -> Opened:
    """Read the drawing at `path`, repaired where needed.

    Raises:
        PlanError: it cannot be read, or is no DXF.
    """
    data = _bytes(path)
    raw = parse(data)
    if raw is not None and _bad_handles(raw):
        return _with_fresh_handles(path, raw)
    return _loaded(path, data, raw)


def _loaded(path: Path, data: bytes, raw: RawFile | None) -> Opened:
    loaded = load_dxf(path)
    remarks = [f.what for f in loaded.findings if f.code in _REPAIRS]
    return _opened(loaded.document, data, raw, loaded.version, remarks)


def _opened(
    doc: Drawing, data: bytes, raw: RawFile | None, version: str, remarks: list[str]
) -> Opened:
    if version < _FIRST_WITH_OBJECTS:
        doc.dxfversion = DXF2000
        release = _OLD_RELEASES.get(version, version)
        remarks.append(f"The drawing was of release {release}; it is returned as release 2000.")
        raw = None
    if raw is not None:
        # Whatever repairing left out must not give its handle to something of ours.
        following = max(int(str(doc.entitydb.handles), 16), *_numbers(raw)) + 1
        doc.entitydb.handles.reset(f"{following:X}")
    return Opened(doc=doc, data=data, raw=raw, remarks=tuple(remarks))


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        what = f"the file could not be read: {fault.strerror or type(fault).__name__}."
        raise _refused(path, what, "Check the name and your right to read it.") from fault


def _numbers(raw: RawFile) -> list[int]:
    found = [0]
    for handle in [*raw.handles, _seed(raw)]:
        try:
            found.append(int(handle, 16))
        except ValueError:
            continue
    return found


def _seed(raw: RawFile) -> str:
    groups = raw.groups
    for k in np.flatnonzero(groups.codes == 9):
        if groups.value(int(k)) == b"$HANDSEED":
            return groups.value(int(k) + 1).decode("ascii", "replace")
    return "0"


def _bad_handles(raw: RawFile) -> bool:
    return any(n > 1 or not h.strip("0") for h, n in raw.handles.items())


def _with_fresh_handles(path: Path, raw: RawFile) -> Opened:
    """Handles given twice or zero are replaced, the first bearer keeps its own; nothing else changes."""
    following = max(_numbers(raw)) + 1
    seen: Counter[str] = Counter()
    parts, place, count = [], 0, 0
    for record in raw.records:
        if record.handle is None:
            continue
        seen[record.handle] += 1
        if seen[record.handle] == 1 and record.handle.strip("0"):
            continue
        tag = raw.handle_tag(record)
        parts += [
            raw.data[place : tag.start],
            b"%3d" % tag.code,
            raw.eol,
            b"%X" % following,
            raw.eol,
        ]
        place, following, count = tag.end, following + 1, count + 1
    data = b"".join([*parts, raw.data[place:]])
    text = read_raw(data, path.name)
    try:
        doc = Drawing.read(text.stream())
    except _FAULTS:  # more is wrong than the handles
        return _loaded(path, data, None)
    remark = f"{count} handles were given twice or not at all; they have been replaced."
    return _opened(doc, data, parse(data), text.version, [remark])


def _refused(path: Path, what: str, remedy: str) -> PlanError:
    return PlanError(
        Finding(
            code="OUT-101",
            severity=Severity.REFUSED,
            what=what,
            where=Origin(file=str(path)),
            remedy=remedy,
        )
    )


def made_up_layouts(opened: Opened) -> frozenset[str]:
    """Handles of the list of layouts and the layouts in it, where the file has none and the CAD library
    supplied them: what is added to the file has to bring them along.
    """
    doc, raw = opened.doc, opened.raw
    listed = doc.rootdict.get("ACAD_LAYOUT")
    if raw is None or not isinstance(listed, Dictionary) or _in_file(raw, listed):
        return frozenset()
    layouts = [layout.dxf_layout for layout in doc.layouts]
    return frozenset(str(e.dxf.handle) for e in (listed, *layouts) if not _in_file(raw, e))


def _in_file(raw: RawFile, entity: DXFEntity) -> bool:
    return str(entity.dxf.handle).upper() in raw.handles


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
    return encoded(stream.getvalue(), doc.output_encoding)


def _set_header(opened: Opened, view: View) -> None:
    doc = opened.doc
    header = doc.header
    x0, y0, x1, y1 = view.extents
    header["$EXTMIN"] = (x0, y0, 0.0)
    header["$EXTMAX"] = (x1, y1, 0.0)
    header["$HANDSEED"] = str(doc.entitydb.handles)
    if (doc.loaded_dxfversion or "") >= DXF2000:
        return
    # Reading an older file, ezdxf makes up these two by chance and takes the time from the clock.
    digest = hashlib.blake2b(opened.data, digest_size=16).digest()
    guid = "{" + str(uuid.UUID(bytes=digest)).upper() + "}"
    for name in ("$FINGERPRINTGUID", "$VERSIONGUID"):
        header[name] = guid
    for name in ("$TDCREATE", "$TDUCREATE", "$TDUPDATE", "$TDUUPDATE"):
        header[name] = _header_number(opened.data, name)


def _header_number(data: bytes, name: str) -> float:
    """A number out of the header of a text file; 0 where it has none."""
    found = re.search(rb"%b\s+40\s+([0-9.]{1,30})\s" % re.escape(name.encode()), data)
    try:
        return float(found[1]) if found else 0.0
    except ValueError:
        return 0.0
