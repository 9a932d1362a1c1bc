"""Repairs to the pairs of a DXF that no reader could use as they are: numbers and handles."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from importer.dxf.rawtext import RawDxf, joined, note
from importer.plan import Finding, Origin, Severity

_FLOAT_CODES: Final = frozenset(
    [*range(10, 60), *range(110, 150), *range(210, 240), *range(460, 470), *range(1010, 1060)]
)
_INTEGER_RANGES: Final = (
    (60, 80),
    (90, 100),
    (160, 180),
    (270, 290),
    (370, 390),
    (400, 410),
    (420, 430),
    (440, 450),
    (1060, 1072),
)
_INTEGER_CODES: Final = frozenset(
    code for start, stop in _INTEGER_RANGES for code in range(start, stop)
)
_BINARY_CODES: Final = frozenset([*range(310, 320), 1004])
_HEXADECIMAL: Final = re.compile(rb"(?:[0-9A-Fa-f]{2})*")
_COMMA_NUMBER: Final = re.compile(rb"\s*[+-]?\d*,\d+\s*")
_HANDLE_CODES: Final = frozenset({5, 105})
DRAWN: Final = frozenset({b"BLOCKS", b"ENTITIES"})


def with_numbers_mended(raw: RawDxf) -> RawDxf:
    """Numbers that no program could read, made readable: decimal commas become points, damaged
    coordinates "not a number", so that the entity is left out by name instead of drawn in a
    made-up place; damaged whole numbers (colours, flags) become 0, damaged binary data nothing.
    """
    lines = raw.body.split(b"\n")[:-1]
    commas = 0
    damaged: list[int] = []
    for at, code in codes_of(lines):
        value = lines[at]
        if code in _FLOAT_CODES and not _is_number(value):
            if _COMMA_NUMBER.fullmatch(value):
                commas += 1
                lines[at] = value.replace(b",", b".")
            else:
                damaged.append(at + 1)
                lines[at] = b"nan"
        elif code in _INTEGER_CODES and not _is_whole(value):
            damaged.append(at + 1)
            lines[at] = b"0"
        elif code in _BINARY_CODES and not _HEXADECIMAL.fullmatch(value.strip()):
            damaged.append(at + 1)
            lines[at] = b""
    findings = list(raw.findings)
    if commas:
        what = f"{commas} numbers are written with a decimal comma; they were read as such."
        findings.append(note("IMP-106", what, raw.file))
    if damaged:
        places = ", ".join(str(number) for number in damaged[:5])
        findings.append(
            Finding(
                code="IMP-106",
                severity=Severity.SETTLE,
                what=f"{len(damaged)} damaged number(s), first at line {places}.",
                where=Origin(file=raw.file),
                remedy="Entities that they place are left out; have the drawing saved again.",
            )
        )
    return replace(raw, body=joined(lines), findings=tuple(findings))


def codes_of(lines: list[bytes]) -> Iterator[tuple[int, int]]:
    """Index of each value, and its group code."""
    return ((at + 1, int(lines[at])) for at in range(0, len(lines) - 1, 2))


def _is_number(value: bytes) -> bool:
    try:
        float(value)
    except ValueError:
        return False
    return True


def _is_whole(value: bytes) -> bool:
    try:
        int(float(value))
    except (ValueError, OverflowError):
        return False
    return True


def with_handles_mended(raw: RawDxf) -> RawDxf:
    """Every drawn entity gets a handle of its own, where its own is zero, no hexadecimal number or
    that of an entity before it.
    """
    lines = raw.body.split(b"\n")[:-1]
    places: list[int] = []
    highest = 0
    seen: set[int] = set()
    for at, is_drawn in _handles(lines):
        handle = _hexadecimal(lines[at])
        highest = max(highest, handle)
        if is_drawn and (handle <= 0 or handle in seen):
            places.append(at)
        seen.add(handle)
    for number, at in enumerate(places, start=max(highest, 0xFFFF) + 1):
        lines[at] = b"%X" % number
    if not places:
        return raw
    _raise_seed(lines, max(highest, 0xFFFF) + len(places) + 1)
    what = f"{len(places)} entities have no handle of their own; they were given new ones."
    return replace(
        raw,
        body=joined(lines),
        findings=(*raw.findings, note("IMP-106", what, raw.file)),
    )


def _handles(lines: list[bytes]) -> Iterator[tuple[int, bool]]:
    """Index of each handle, and whether it is that of something drawn."""
    section = b""
    entity = b""
    for at, code in codes_of(lines):
        value = lines[at].strip()
        if code == 0:
            entity = value
        elif code == 2 and entity == b"SECTION":
            section = value.upper()
        elif code in _HANDLE_CODES and section not in {b"HEADER", b"TABLES"}:
            yield at, section in DRAWN


def _hexadecimal(value: bytes) -> int:
    try:
        return int(value, 16)
    except ValueError:
        return -1


def _raise_seed(lines: list[bytes], seed: int) -> None:
    """$HANDSEED is the next free handle; it has to lie above those given out."""
    for at, code in codes_of(lines):
        if code == 9 and lines[at].strip() == b"$HANDSEED" and at + 2 < len(lines):
            lines[at + 2] = b"%X" % seed
            return
