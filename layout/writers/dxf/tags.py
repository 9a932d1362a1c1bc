"""A DXF file as bytes with the places of its groups: what is needed to add to a file without writing
the rest of it anew.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple


class RawTag(NamedTuple):
    """A group: its code, its value without line end, and where the pair of lines stands in the file."""

    code: int
    value: bytes
    start: int
    end: int


class RawRecord(NamedTuple):
    """An entity, table entry or object: tags [first, last) of the file, its section and handle."""

    section: str
    kind: str
    handle: str | None
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawFile:
    """All groups of a text DXF, and the records they form."""

    data: bytes
    tags: tuple[RawTag, ...]
    records: tuple[RawRecord, ...]
    eol: bytes

    def bytes_of(self, record: RawRecord) -> bytes:
        """The record as it stands in the file."""
        return self.data[self.tags[record.first].start : self.tags[record.last - 1].end]

    def tags_of(self, record: RawRecord) -> tuple[RawTag, ...]:
        """The groups of a record."""
        return self.tags[record.first : record.last]

    def in_section(self, section: str) -> Iterator[RawRecord]:
        """The records of a section, in file order, its SECTION and ENDSEC lines left out."""
        return (r for r in self.records if r.section == section and r.kind != "ENDSEC")

    def end_of(self, section: str) -> RawRecord | None:
        """The ENDSEC of a section."""
        found = (r for r in self.records if r.section == section and r.kind == "ENDSEC")
        return next(found, None)

    @property
    def handles(self) -> Counter[str]:
        """How often each handle is given to a record."""
        return Counter(r.handle for r in self.records if r.handle is not None)

    def handle_tag(self, record: RawRecord) -> RawTag:
        """The group that gives a record its handle. Raises KeyError when it has none."""
        for tag in self.tags_of(record)[1:]:
            if tag.code == _handle_code(record.kind):
                return tag
        raise KeyError(record)


def parse(data: bytes) -> RawFile | None:
    """The file's groups; None when it is not plain pairs of lines from the first SECTION to EOF.

    Line ends may be LF or CR LF. What follows EOF is ignored and kept.
    """
    tags = _tags(data)
    if tags is None:
        return None
    eol = b"\r\n" if data[tags[0].end - 2 : tags[0].end] == b"\r\n" else b"\n"
    return RawFile(data=data, tags=tags, records=tuple(_records(tags)), eol=eol)


def _tags(data: bytes) -> tuple[RawTag, ...] | None:
    lines = data.split(b"\n")
    tags: list[RawTag] = []
    place = 0
    for k in range(0, len(lines) - 1, 2):
        code_line, value_line = lines[k], lines[k + 1]
        end = place + len(code_line) + len(value_line) + 2
        code = code_line.strip()
        if not code.lstrip(b"-").isdigit() or b"\r" in value_line[:-1]:
            return None
        value = value_line.removesuffix(b"\r")
        tags.append(RawTag(int(code), value, place, min(end, len(data))))
        if code == b"0" and value.strip() == b"EOF":
            return tuple(tags)
        place = end
    return None


def _records(tags: tuple[RawTag, ...]) -> Iterator[RawRecord]:
    section, first = "", 0
    for k in range(1, len(tags) + 1):
        if k < len(tags) and tags[k].code != 0:
            continue
        kind = tags[first].value.strip().decode("ascii", "replace")
        if kind == "SECTION" and first + 1 < k:
            section = tags[first + 1].value.strip().decode("ascii", "replace").upper()
        yield RawRecord(section, kind, _handle(tags, kind, first, k), first, k)
        if kind == "ENDSEC":
            section = ""
        first = k


def _handle_code(kind: str) -> int:
    return 105 if kind == "DIMSTYLE" else 5


def _handle(tags: tuple[RawTag, ...], kind: str, first: int, last: int) -> str | None:
    if kind in {"SECTION", "ENDSEC", "EOF", "CLASS", "ENDTAB"}:
        return None
    wanted = _handle_code(kind)
    for tag in tags[first + 1 : last]:
        if tag.code == wanted:
            return tag.value.strip().decode("ascii", "replace").upper()
        if tag.code in {100, 1001}:
            return None
    return None
