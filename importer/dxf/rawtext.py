"""A DXF file as text, before any entity is made of it: line ends, pairs, encoding, sections.

A DXF is a list of pairs, group code on one line and value on the next. Everything here keeps the
pairs in step, since one lost line turns the rest of the file into nonsense. What was put right is
told in findings; what cannot be put right without guessing is refused.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, TextIO

from ezdxf.lldxf.tagger import binary_tags_loader
from ezdxf.lldxf.types import DXFBinaryTag

from importer.dxf.encodings import choose_encoding
from importer.plan import Finding, Origin, Severity
from importer.sniff import BINARY_DXF, refusal

FIRST_UTF8_VERSION: Final = "AC1021"
DEFAULT_VERSION: Final = "AC1009"
"""A file that does not say is read as release 12, as CAD programs do."""

_LAST_CODE: Final = 1071
_AGAIN: Final = "Have the drawing saved as DXF once more and copied whole."
_PAIRS: Final = re.compile(rb"(?:[ \t]*+-?\d{1,4}+[ \t]*+\n[^\n]*+\n)*+")
_COMMENTS: Final = rb"(?:[ \t]*999[ \t]*\n[^\n]*\n)*"
_MARK: Final = re.compile(
    rb"^[ \t]*0{1,3}[ \t]*\n[ \t]*(SECTION|ENDSEC|EOF)[ \t]*$"
    rb"(?:(?<=SECTION)\n" + _COMMENTS + rb"[ \t]*2[ \t]*\n[ \t]*([^\n]*?)[ \t]*$)?",
    re.MULTILINE,
)
_VARIABLE: Final = re.compile(
    rb"^[ \t]*9[ \t]*\n[ \t]*(\$(?:ACADVER|INSUNITS|MEASUREMENT|DWGCODEPAGE))[ \t]*\n"
    + _COMMENTS
    + rb"[ \t]*\d+[ \t]*\n([^\n]*)$",
    re.MULTILINE,
)
_AFTER_GEOMETRY: Final = frozenset({"OBJECTS", "THUMBNAILIMAGE", "ACDSDATA"})
_NUMERIC_RANGES: Final = (
    (10, 100),
    (110, 150),
    (160, 180),
    (210, 240),
    (270, 290),
    (370, 390),
    (400, 410),
    (420, 430),
    (440, 470),
    (1010, 1072),
)
_NUMERIC_CODES: Final = frozenset(
    code for start, stop in _NUMERIC_RANGES for code in range(start, stop)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawDxf:
    """The pairs of a file in step, and what its header says. Lines of `body` alternate code and
    value, cut after the end marker. `header_unit` and `measurement` are None where the file does
    not say.
    """

    file: str
    body: bytes
    version: str
    header_unit: int | None
    measurement: int | None
    encoding: str
    sections: tuple[str, ...]
    findings: tuple[Finding, ...] = ()

    def text(self) -> str:
        """The whole file decoded; bytes that fit no encoding are kept as surrogates."""
        return self.body.decode(self.encoding, "surrogateescape")

    def stream(self) -> TextIO:
        """The same as a stream; a fraction of the memory."""
        return io.TextIOWrapper(
            io.BytesIO(self.body), self.encoding, errors="surrogateescape", newline="\n"
        )


def read_raw(data: bytes, file: str) -> RawDxf:
    """Bring the bytes of a text or binary DXF into step.

    Raises:
        PlanError: the pairs cannot be brought into step, or the geometry is cut off.
    """
    findings: list[Finding] = []
    is_binary = data.startswith(BINARY_DXF)
    body = _text_of_binary(data, file, findings) if is_binary else _unified(_single_bytes(data))
    if not _is_in_step(body):
        body = joined(_in_step(body.split(b"\n"), file, findings))
    marks = _marks(body)
    end = next((mark.end() for mark in marks if mark[1] == b"EOF"), None)
    if end is not None:
        body = body[:end] + b"\n"
    sections = _check_structure(body, marks, file, findings)
    header = _header_values(body, marks)
    version = header.get("$ACADVER", DEFAULT_VERSION)
    encoding = "utf-8"
    if not is_binary:
        utf8 = version >= FIRST_UTF8_VERSION
        encoding, remark = choose_encoding(body, header.get("$DWGCODEPAGE"), utf8_expected=utf8)
        if remark:
            findings.append(note("IMP-119", remark, file))
    return RawDxf(
        file=file,
        body=body,
        version=version,
        header_unit=_number(header.get("$INSUNITS")),
        measurement=_number(header.get("$MEASUREMENT")),
        encoding=encoding,
        sections=sections,
        findings=tuple(findings),
    )


def joined(lines: Sequence[bytes]) -> bytes:
    """Lines as one body, each ended."""
    return b"\n".join([*lines, b""])


def note(code: str, what: str, file: str) -> Finding:
    """A finding about the whole file that needs no action."""
    return Finding(code=code, severity=Severity.NOTE, what=what, where=Origin(file=file))


def _number(text: str | None) -> int | None:
    if text is None:
        return None
    try:
        return int(float(text))
    except (ValueError, OverflowError):
        return None


# --- lines -------------------------------------------------------------------------------------


def _is_in_step(body: bytes) -> bool:
    """True when pairs follow each other up to the end, or up to an end marker."""
    if not body.endswith(b"\n"):
        body += b"\n"
    match = _PAIRS.match(body)
    stop = match.end() if match else 0
    if stop == len(body):
        return True
    tail = _MARK.search(body, max(stop - 64, 0), stop)
    return tail is not None and tail[1] == b"EOF" and tail.end() + 1 >= stop


def _single_bytes(data: bytes) -> bytes:
    for bom, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(bom):
            return data[2:].decode(encoding, "replace").encode()
    return data.removeprefix(b"\xef\xbb\xbf")


def _unified(data: bytes) -> bytes:
    r"""One \n per line. Lone \r are line ends only where they are the rule, else part of a text."""
    if b"\r" not in data:
        return data
    data = re.sub(rb"\r+\n", b"\n", data)
    lone = data.count(b"\r")
    if lone > data.count(b"\n"):
        return data.replace(b"\r", b"\n")
    return data.replace(b"\r", b" ") if lone else data


def _is_code(line: bytes) -> bool:
    try:
        return -10 <= int(line) <= _LAST_CODE
    except ValueError:
        return False


def _in_step(lines: list[bytes], file: str, findings: list[Finding]) -> list[bytes]:
    """Leave out blank lines that stand where a group code or a number belongs.

    A blank value of a text code is legal and stays, unless the next line is no code either: then
    the blank was the intruder and that line is the value.
    """
    out: list[bytes] = []
    dropped: list[int] = []
    impossible: list[int] = []
    index = 0
    while index < len(lines):
        line = lines[index]
        if not line.strip():
            dropped.append(index + 1)
        elif _is_impossible(line):
            # The pair is in step, only its code is nonsense: it costs itself and nothing else.
            impossible.append(index + 1)
            index += 1
        elif _is_code(line):
            index += _take_value(lines, index, out, dropped)
            continue
        elif out and not out[-1].strip():
            out[-1] = line
            dropped.append(index)
        elif _has_ended(out):
            break
        else:
            raise _out_of_step(file, index + 1, line)
        index += 1
    for numbers, kind in (
        (dropped, "stray blank line(s)"),
        (impossible, "value(s) with an impossible group code"),
    ):
        if numbers:
            places = ", ".join(str(number) for number in numbers[:5])
            more = " and others" if len(numbers) > 5 else ""
            what = f"{len(numbers)} {kind} left out (line {places}{more})."
            findings.append(note("IMP-107", what, file))
    return out


def _is_impossible(line: bytes) -> bool:
    stripped = line.strip()
    return stripped.isdigit() and int(stripped) > _LAST_CODE


def _take_value(lines: list[bytes], index: int, out: list[bytes], dropped: list[int]) -> int:
    """Append the code at `index` and its value; returns the number of lines used."""
    code = int(lines[index])
    at = index + 1
    if code == 0 or code in _NUMERIC_CODES:
        while at < len(lines) and not lines[at].strip():
            dropped.append(at + 1)
            at += 1
    if at < len(lines):
        out.extend((lines[index], lines[at]))
    return at + 1 - index


def _has_ended(out: Sequence[bytes]) -> bool:
    return len(out) >= 2 and out[-1].strip() == b"EOF" and out[-2].strip() == b"0"


def _out_of_step(file: str, number: int, line: bytes) -> Exception:
    shown = line[:40].decode("ascii", "replace")
    return refusal(
        "IMP-105",
        f"line {number} should be a group code but reads {shown!r}: a line is missing or damaged.",
        file,
        _AGAIN,
    )


def _text_of_binary(data: bytes, file: str, findings: list[Finding]) -> bytes:
    """The pairs of a binary DXF as lines of text, up to where it is cut off."""
    lines: list[bytes] = []
    try:
        for code, value in _binary_pairs(data):
            lines.extend((b"%d" % code, value))
    except (IndexError, ValueError, LookupError, ArithmeticError) as fault:
        what = f"the binary DXF breaks off or is damaged after {len(lines) // 2} pairs ({fault})."
        findings.append(note("IMP-104", what, file))
    return joined(lines)


def _binary_pairs(data: bytes) -> Iterator[tuple[int, bytes]]:
    # struct.error is no ValueError; the loader raises it only on a cut off number at the very end.
    padded = data + b"\x00" * 8
    for tag in binary_tags_loader(padded):
        if isinstance(tag, DXFBinaryTag):
            yield tag.code, tag.value.hex().upper().encode()
        else:
            text = str(tag.value).replace("\r", " ").replace("\n", " ")
            yield tag.code, text.encode("utf-8", "surrogateescape")
            if tag.code == 0 and tag.value == "EOF":
                return


# --- structure ---------------------------------------------------------------------------------


def _marks(body: bytes) -> list[re.Match[bytes]]:
    """Every SECTION, ENDSEC and EOF, up to the first EOF.

    Needs pairs in step: then a code never reads SECTION, and a "0" before one is a code.
    """
    marks = []
    for mark in _MARK.finditer(body):
        marks.append(mark)
        if mark[1] == b"EOF":
            break
    return marks


def _check_structure(
    body: bytes, marks: Sequence[re.Match[bytes]], file: str, findings: list[Finding]
) -> tuple[str, ...]:
    names = tuple(mark[2].decode("ascii", "replace").upper() for mark in marks if mark[2])
    kinds = [mark[1] for mark in marks]
    if kinds and kinds[-1] == b"EOF":
        return names
    is_open = not kinds or kinds[-1] == b"SECTION"
    last = names[-1] if names else ""
    line = body.count(b"\n")
    if is_open and last not in _AFTER_GEOMETRY:
        inside = f" inside the section {last}" if last else ""
        what = f"the file breaks off at line {line}{inside}: it was not saved or copied whole."
        raise refusal("IMP-104", what, file, _AGAIN)
    part = f"inside {last}, after all geometry" if is_open else "with no end marker"
    findings.append(
        note("IMP-104", f"the file ends at line {line} {part}; the rest is used.", file)
    )
    return names


def _header_values(body: bytes, marks: Sequence[re.Match[bytes]]) -> dict[str, str]:
    """First value of each header variable that is asked for, as written in the file."""
    start = next((m.start() for m in marks if (m[2] or b"").upper() == b"HEADER"), 0)
    stop = next((m.start() for m in marks if m[1] == b"ENDSEC" and m.start() > start), len(body))
    found: dict[str, str] = {}
    for match in _VARIABLE.finditer(body, start, stop):
        name, value = (part.strip().decode("ascii", "replace") for part in match.groups())
        found.setdefault(name.upper(), value)
    return found
