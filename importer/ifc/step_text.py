r"""The text of a model before it is parsed: is it whole, which schema does it name, what in it would
make the parser give up or drop letters.

A parser that meets a damaged number, a stray backslash or a raw letter outside ASCII refuses the file
or drops the letter in silence. What can be mended is mended in a copy in memory; a statement that holds
no finite number is taken out, which costs the one product that needs it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

SCHEMAS: Final[Mapping[str, str]] = {
    r"IFC2X(_?FINAL|2.*|3.*)?": "IFC2X3",
    r"IFC4([_ ]?(ADD\d.*|TC\d.*|FINAL|RC\d.*))?": "IFC4",
    r"IFC4X[123]([_ ]?(ADD\d.*|TC\d.*|FINAL|RC\d.*))?": "IFC4X3_ADD2",
}
"""Labels of schemas, as files spell them in capitals, and the schema that each is read as."""

_HEADER_BYTES: Final = 1 << 16
_TAIL_BYTES: Final = 1 << 16
_LABEL: Final = re.compile(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'", re.IGNORECASE)
_INSTANCE: Final = re.compile(rb"(?:^|;)\s*#(\d+)\s*=\s*([A-Za-z0-9_]*)", re.MULTILINE)
_STRING: Final = re.compile(rb"'(?:[^']|'')*'")
_ESCAPE: Final = re.compile(
    rb"\\\\|\\S\\.|\\P[A-I]\\|\\X\\[0-9A-Fa-f]{2}|\\X2\\(?:[0-9A-Fa-f]{4})+\\X0\\"
    rb"|\\X4\\(?:[0-9A-Fa-f]{8})+\\X0\\|(\\)",
    re.DOTALL,
)
_UNBOUNDED: Final = re.compile(
    rb"(?<=[,(=])\s*[-+]?(?:nan|inf\w*|1\.#\w+|\d+(?:\.\d*)?E\+?\d{3,})\s*(?=[,)])", re.IGNORECASE
)
_HIGH_RUN: Final = re.compile(rb"[\x80-\xff]+")
_DERIVING: Final = (
    b"IFCSIUNIT",
    b"IFCGEOMETRICREPRESENTATIONSUBCONTEXT",
    b"IFCORIENTEDEDGE",
)
"""Classes in which `*` stands by right: the schema derives the value."""
_BEFORE_STAR: Final = re.compile(rb"=\s*([A-Za-z0-9_]+)\s*\((?:[^']|'(?:[^']|'')*')*?[,(]\s*\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Mended:
    """A text after mending, and what was done, in plain sentences' parts."""

    data: bytes
    done: tuple[str, ...] = ()


def schema_label(data: bytes) -> str | None:
    """The schema named in the header, as written; None where there is none."""
    found = _LABEL.search(data[:_HEADER_BYTES])
    return None if found is None else found.group(1).decode("latin-1").strip()


def schema_to_read(label: str) -> str | None:
    """The schema a label is read as; None when it is none of the known ones.

    >>> schema_to_read("ifc4"), schema_to_read("IFC2X_FINAL"), schema_to_read("IFC4X3_RC2")
    ('IFC4', 'IFC2X3', 'IFC4X3_ADD2')
    >>> schema_to_read("IFC5") is None
    True
    """
    plain = label.strip().upper()
    for pattern, schema in SCHEMAS.items():
        if re.fullmatch(pattern, plain):
            return schema
    return None


def relabelled(data: bytes, schema: str) -> bytes:
    """The text with another schema in its header."""
    found = _LABEL.search(data[:_HEADER_BYTES])
    assert found is not None, "the label was read from this header"
    return data[: found.start(1)] + schema.encode() + data[found.end(1) :]


def is_whole(data: bytes) -> bool:
    """Whether the text reaches its end mark: a file that broke off opens without complaint, in part."""
    return b"END-ISO-10303-21" in data[-_TAIL_BYTES:].upper()


def instances(data: bytes) -> dict[int, str]:
    """Step ids and classes (capitals) of the instances that the text states."""
    return {int(k): name.decode().upper() for k, name in _INSTANCE.findall(data)}


def repeated_ids(data: bytes) -> tuple[int, ...]:
    """Step ids that are stated more than once; a parser keeps one of them."""
    counts = Counter(int(k) for k, _ in _INSTANCE.findall(data))
    return tuple(sorted(k for k, n in counts.items() if n > 1))


def has_stray_stars(data: bytes) -> bool:
    """Whether `*` (derived) stands where the schema derives nothing."""
    at = data.find(b"*")
    while at >= 0:
        start = data.rfind(b";", 0, at) + 1
        before = _BEFORE_STAR.search(data[start:at])
        if before is not None and before.group(1).upper() not in _DERIVING:
            return True
        at = data.find(b"*", at + 1)
    return False


def mended_letters(data: bytes) -> Mended:
    r"""Raw letters outside ASCII as the escapes of the format; wide text (UTF-16) as plain bytes.

    The parser drops such letters. Which code page they are in is judged from the bytes: UTF-8 where
    that fits, Shift-JIS, Chinese or Cyrillic where the pattern of the bytes says so, else Latin.
    """
    for bom, encoding in ((b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if data.startswith(bom):
            data = data[2:].decode(encoding, "replace").encode("utf-8")
            break
    data = data.removeprefix(b"\xef\xbb\xbf")
    if data.isascii():
        return Mended(data=data)
    codec = _code_page(data)
    text = data.decode(codec, "replace")
    escaped = re.sub(r"[^\x00-\x7f]+", _as_escape, text).encode("ascii")
    return Mended(data=escaped, done=(f"letters stored as raw bytes were read as {codec}",))


def _as_escape(found: re.Match[str]) -> str:
    return f"\\X4\\{found.group().encode('utf-32-be').hex().upper()}\\X0\\"


def _code_page(data: bytes) -> str:
    """The likeliest code page of the bytes above 127."""
    if _fits(data, "utf-8"):
        return "utf-8"
    runs = [r for r in _HIGH_RUN.findall(data) if r]
    controls = sum(1 for r in runs for byte in r if byte < 0xA0)
    if controls and _fits(data, "cp932"):
        return "cp932"
    if all(len(r) % 2 == 0 for r in runs) and _fits(data, "gbk"):
        return "gbk"
    mean = sum(map(len, runs)) / len(runs)
    return "cp1251" if mean >= 3 else "cp1252"


def _fits(data: bytes, codec: str) -> bool:
    try:
        data.decode(codec)
    except UnicodeDecodeError:
        return False
    return True


def mended_statements(data: bytes) -> Mended:
    """The text with what stops the parser mended: stray backslashes doubled, statements without finite
    numbers taken out. Only for a text that the parser refused.
    """
    stray = unbounded = 0
    kept: list[bytes] = []
    for statement in _statements(data):
        mended, strays = _escapes_mended(statement)
        stray += strays
        if _UNBOUNDED.search(_STRING.sub(b"''", mended)):
            unbounded += 1
            continue
        kept.append(mended)
    done = []
    if stray:
        done.append(f"{stray} damaged escape(s) in texts were taken as plain letters")
    if unbounded:
        done.append(f"{unbounded} statement(s) with numbers that are none were left out")
    return Mended(data=b"".join(kept), done=tuple(done))


def _statements(data: bytes) -> list[bytes]:
    """The text in statements, each with its semicolon; semicolons in strings do not end one."""
    return re.findall(rb"(?:'(?:[^']|'')*'|[^';])*;|[^;]+$", data)


def _escapes_mended(statement: bytes) -> tuple[bytes, int]:
    if b"\\" not in statement:
        return statement, 0
    strays = 0

    def mended(found: re.Match[bytes]) -> bytes:
        nonlocal strays
        if found.group(1) is None:
            return found.group()
        strays += 1
        return b"\\\\"

    return _STRING.sub(lambda s: _ESCAPE.sub(mended, s.group()), statement), strays


def mended_text(text: str) -> str:
    """A text whose letters were escaped byte by byte in another code page than the format's.

    Control characters between 128 and 159 never stand in names, they give such bytes away; UTF-8 is
    tried first, then Shift-JIS.
    """
    if not any("\x80" <= c <= "\x9f" for c in text):
        return text
    try:
        raw = text.encode("latin-1")
    except UnicodeEncodeError:
        return text
    for codec in ("utf-8", "cp932"):
        if _fits(raw, codec):
            return raw.decode(codec)
    return text
