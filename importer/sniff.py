"""What kind of file is it, by its first bytes: the name of a file is no evidence."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from enum import Enum
from itertools import pairwise
from pathlib import Path
from typing import Final

from importer.plan import Finding, Origin, PlanError, Severity

HEAD_BYTES: Final = 4096
"""Enough for every signature below and for the comments that some programs put in front."""


class FileKind(Enum):
    """A kind of file that has a reader."""

    DXF = "dxf"
    DXF_BINARY = "binary dxf"
    IFC = "ifc"
    IFC_ZIP = "zipped ifc"


ARCHIVE: Final = (b"PK\x03\x04", b"PK\x05\x06")
"""How a ZIP archive begins."""

_LIST_BYTES: Final = 1 << 18
"""Of the end of an archive: the list of some thousands of files."""

BINARY_DXF: Final = b"AutoCAD Binary DXF"

DWG_RELEASE: Final[Mapping[bytes, str]] = {
    b"AC1.50": "release 2.05",
    b"AC2.10": "release 2.10",
    b"AC1002": "release 2.5",
    b"AC1003": "release 2.6",
    b"AC1004": "release 9",
    b"AC1006": "release 10",
    b"AC1009": "release 11/12",
    b"AC1012": "release 13",
    b"AC1014": "release 14",
    b"AC1015": "2000",
    b"AC1018": "2004",
    b"AC1021": "2007",
    b"AC1024": "2010",
    b"AC1027": "2013",
    b"AC1032": "2018",
}

_SAVE_AS: Final = "Open it in the program that made it and save it as DXF."

_SIGNATURES: Final[tuple[tuple[bytes, str, str], ...]] = (
    (b"%PDF", "a PDF", "Ask the architect for the DXF or IFC that the PDF was printed from."),
    (b"\x89PNG", "a PNG picture", "Ask the architect for the DXF or IFC, a picture has no lines."),
    (
        b"\xff\xd8\xff",
        "a JPEG picture",
        "Ask the architect for the DXF or IFC, a picture has none.",
    ),
    (b"GIF8", "a GIF picture", "Ask the architect for the DXF or IFC, a picture has no lines."),
    (b"BM", "a bitmap picture", "Ask the architect for the DXF or IFC, a picture has no lines."),
    (b"II*\x00", "a TIFF picture", "Ask the architect for the DXF or IFC, a picture has no lines."),
    (b"MM\x00*", "a TIFF picture", "Ask the architect for the DXF or IFC, a picture has no lines."),
    (b"PK\x03\x04", "a ZIP archive", "Unpack it and give the drawing inside."),
    (b"PK\x05\x06", "an empty ZIP archive", "Ask for the drawing again."),
    (b"\x1f\x8b", "a GZIP archive", "Unpack it and give the drawing inside."),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it and give the drawing inside."),
    (b"Rar!", "a RAR archive", "Unpack it and give the drawing inside."),
    (b"\xd0\xcf\x11\xe0", "an old office document or 3D model", _SAVE_AS),
    (b"glTF", "a glTF model", _SAVE_AS),
    (b"(DWF V", "a DWF print", "Ask the architect for the DXF that the DWF was published from."),
)

_DXF_START: Final = re.compile(
    rb"(?:\s*999[ \t]*[\r\n]+[^\r\n]*[\r\n]+)*\s*0[ \t]*[\r\n]+\s*SECTION"
)
_TEXT_BYTES: Final = frozenset(range(0x20, 0x100)) | {0x09, 0x0A, 0x0C, 0x0D, 0x1A, 0x1B}


def sniff(path: Path) -> FileKind:
    """The kind of drawing at `path`, by content.

    Raises:
        PlanError: the file cannot be opened, or is nothing that a plan can be read from.
    """
    head = read_head(path)
    if head.startswith(ARCHIVE) and _is_for_a_model(path):
        return FileKind.IFC_ZIP
    return sniff_bytes(head, path.name)


def _is_for_a_model(path: Path) -> bool:
    """Whether an archive is called a model, or lists one; a drawing in an archive has to be unpacked
    first. Only the end of the file is looked at, where an archive keeps its list: it is not opened
    here, because a bad one is as dangerous as a bad model.
    """
    if path.suffix.lower() == ".ifczip":
        return True
    try:
        with path.open("rb") as stream:
            size = stream.seek(0, os.SEEK_END)
            stream.seek(max(0, size - _LIST_BYTES))
            return b".ifc" in stream.read(_LIST_BYTES).lower()
    except OSError as fault:
        raise unreadable(path, fault) from fault


def read_head(path: Path) -> bytes:
    """The first bytes of a file.

    Raises:
        PlanError: missing, a folder, or not readable.
    """
    try:
        with path.open("rb") as stream:
            return stream.read(HEAD_BYTES)
    except OSError as fault:
        raise unreadable(path, fault) from fault


def unreadable(path: Path, fault: OSError) -> PlanError:
    """The error for a file that the operating system would not hand over."""
    if isinstance(fault, FileNotFoundError):
        what, remedy = "there is no such file.", "Check the name and the folder."
    elif isinstance(fault, IsADirectoryError) or path.is_dir():
        what, remedy = "this is a folder, not a drawing.", "Give the drawing file itself."
    elif isinstance(fault, PermissionError):
        what, remedy = (
            "the file may not be read.",
            "Give yourself the right to read it, or copy it.",
        )
    else:
        reason = fault.strerror or type(fault).__name__
        what, remedy = f"the file could not be read: {reason}.", "Copy it to this computer first."
    return refusal("IMP-101", what, str(path), remedy)


def refusal(code: str, what: str, file: str, remedy: str = "") -> PlanError:
    """A PlanError about a whole file."""
    finding = Finding(
        code=code, severity=Severity.REFUSED, what=what, where=Origin(file=file), remedy=remedy
    )
    return PlanError(finding)


def check_entities(count: int, most: int | None, file: str) -> None:
    """Refuse a drawing with more entities than are allowed. Raises PlanError."""
    if most is None or count <= most:
        return
    raised = 10 ** max(0, len(str(count)) - 2)
    raise refusal(
        "IMP-120",
        f"The file holds {count:,} entities; {most:,} are allowed for one plan.",
        file,
        f"Allow more with --entities {-(-count // raised) * raised} (or per_plan.entities in the rule "
        "set), or have everything but the floor plans purged from it.",
    )


def sniff_bytes(head: bytes, name: str) -> FileKind:
    """The kind of drawing that starts with `head`; `name` is only used in messages.

    Raises:
        PlanError: with one sentence that says what it is instead, and what to do.
    """
    body = _without_bom(head)
    if not body.strip(b"\x00\r\n\t \x1a"):
        what = "the file is empty." if not body else "the file holds nothing but blanks."
        raise refusal("IMP-103", what, name, "Ask for the drawing again.")
    if body.startswith(BINARY_DXF):
        return FileKind.DXF_BINARY
    if body.lstrip().startswith(b"ISO-10303-21"):
        return FileKind.IFC
    _refuse_dwg(body, name)
    if _looks_like_dxf(body):
        return FileKind.DXF
    _refuse_known(body, name)
    raise refusal(
        "IMP-102",
        _unknown(body),
        name,
        "Give a DXF or IFC file; if the program offers a choice, choose DXF in text form.",
    )


def _without_bom(head: bytes) -> bytes:
    for bom, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if head.startswith(bom):
            return head[2:].decode(encoding, "ignore").encode()
    return head.removeprefix(b"\xef\xbb\xbf")


def _refuse_dwg(body: bytes, name: str) -> None:
    release = DWG_RELEASE.get(body[:6])
    unknown = re.match(rb"AC1\d{3}\x00", body[:7])
    if release is None and not unknown:
        return
    version = body[:6].decode("ascii")
    label = f"{version}, {release}" if release else version
    raise refusal(
        "IMP-102",
        f"this is a DWG drawing (version {label}), not a DXF.",
        name,
        "Open it in a CAD program and save it as DXF, or ask the architect for the DXF.",
    )


def _refuse_known(body: bytes, name: str) -> None:
    for signature, what, remedy in _SIGNATURES:
        if body.startswith(signature):
            raise refusal("IMP-102", f"this is {what}, not a DXF or IFC drawing.", name, remedy)
    start = body.lstrip()[:512].lower()
    if start.startswith(b"<"):
        is_page = b"<html" in start or start.startswith(b"<!doctype html")
        what = "a web page" if is_page else "an XML file"
        remedy = (
            "The download gave a page instead of the drawing: sign in there and fetch it again."
            if is_page
            else "Give the DXF or the IFC in its text form (.ifc)."
        )
        raise refusal("IMP-102", f"this is {what}, not a DXF or IFC drawing.", name, remedy)


def _looks_like_dxf(body: bytes) -> bool:
    """Group codes on every second line, or a section marker although the head is damaged."""
    if _DXF_START.match(body):
        return True
    if any(byte not in _TEXT_BYTES for byte in body[:256]):
        return False
    lines = [line.strip() for line in re.split(rb"[\r\n]+", body)]
    lines = [line for line in lines if line]
    markers = {b"SECTION", b"ENDSEC", b"EOF"}
    if any(code == b"0" and value in markers for code, value in pairwise(lines)):
        return True
    # A shifted line may have swapped codes and values, so both readings are tried.
    return any(_are_mostly_codes(lines[start::2]) for start in (0, 1))


def _are_mostly_codes(lines: list[bytes]) -> bool:
    codes = sum(1 for line in lines if line.isdigit() and len(line) <= 4)
    return len(lines) >= 8 and codes >= 0.9 * len(lines)


def _unknown(body: bytes) -> str:
    if any(byte not in _TEXT_BYTES for byte in body[:256]):
        return "the file holds binary data of no kind that is known here, it is not a DXF or IFC."
    return "the file is text but neither a DXF nor an IFC: it does not start with a section."
