"""Repairs to the pairs of a DXF that no reader could use as they are: numbers and handles."""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from ezdxf.entities.factory import load as load_entity
from ezdxf.lldxf.const import DXFError
from ezdxf.lldxf.extendedtags import ExtendedTags
from ezdxf.lldxf.tagger import ascii_tags_loader, tag_compiler
from ezdxf.lldxf.tags import Tags

from importer.dxf.rawtext import RawDxf, joined, note
from importer.plan import Finding, Origin, Severity

READER_FAULTS: Final = (
    DXFError,
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    RecursionError,
    TypeError,
    ValueError,
)
"""What ezdxf is seen to raise on damaged input; it checks structure, not every value."""

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
_COMMA_NUMBER: Final = re.compile(rb"\s*[+-]?\d*,\d+\s*")
_HANDLE_CODES: Final = frozenset({5, 105})
_DRAWN: Final = frozenset({b"BLOCKS", b"ENTITIES"})


def with_numbers_mended(raw: RawDxf) -> RawDxf:
    """Numbers that no program could read, made readable: decimal commas become points, damaged
    coordinates "not a number", so that the entity is left out by name instead of drawn in a
    made-up place; damaged whole numbers (colours, flags) become 0.
    """
    lines = raw.body.split(b"\n")[:-1]
    commas = 0
    damaged: list[int] = []
    for at, code in _codes(lines):
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


def _codes(lines: list[bytes]) -> Iterator[tuple[int, int]]:
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
    for at, code in _codes(lines):
        value = lines[at].strip()
        if code == 0:
            entity = value
        elif code == 2 and entity == b"SECTION":
            section = value.upper()
        elif code in _HANDLE_CODES and section not in {b"HEADER", b"TABLES"}:
            yield at, section in _DRAWN


def _hexadecimal(value: bytes) -> int:
    try:
        return int(value, 16)
    except ValueError:
        return -1


def _raise_seed(lines: list[bytes], seed: int) -> None:
    """$HANDSEED is the next free handle; it has to lie above those given out."""
    for at, code in _codes(lines):
        if code == 9 and lines[at].strip() == b"$HANDSEED" and at + 2 < len(lines):
            lines[at + 2] = b"%X" % seed
            return


_FRAMEWORK: Final = frozenset({b"SECTION", b"ENDSEC", b"BLOCK", b"ENDBLK", b"SEQEND", b"EOF"})


def with_sick_entities_left_out(raw: RawDxf) -> RawDxf:
    """Without the drawn entities that make ezdxf give up on the whole file, each told by kind."""
    lines = raw.body.split(b"\n")[:-1]
    kept: list[bytes] = []
    left_out: Counter[str] = Counter()
    section = b""
    for start, stop in _groups(lines):
        kind = lines[start + 1].strip()
        if kind == b"SECTION" and stop > start + 2:
            section = lines[start + 3].strip().upper()
        group = lines[start:stop]
        if section in _DRAWN and kind not in _FRAMEWORK and not _is_loadable(group, raw.encoding):
            left_out[kind.decode("ascii", "replace")] += 1
        else:
            kept.extend(group)
    if not left_out:
        return raw
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(left_out.items()))
    finding = Finding(
        code="IMP-115",
        severity=Severity.SETTLE,
        what=f"entities that are damaged beyond reading are left out: {kinds}.",
        where=Origin(file=raw.file),
        remedy="Check the picture of the plan against the drawing.",
    )
    return replace(raw, body=joined(kept), findings=(*raw.findings, finding))


def _groups(lines: list[bytes]) -> Iterator[tuple[int, int]]:
    """First and last index of each run of pairs that starts with a 0: an entity or a mark."""
    starts = [at - 1 for at, code in _codes(lines) if code == 0]
    return zip(starts, [*starts[1:], len(lines)], strict=True)


def _is_loadable(group: list[bytes], encoding: str) -> bool:
    text = joined(group).decode(encoding, "surrogateescape")
    try:
        tags = Tags(tag_compiler(ascii_tags_loader(io.StringIO(text))))
        load_entity(ExtendedTags(tags))
    except READER_FAULTS:
        return False
    return True
