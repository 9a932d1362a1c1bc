"""A DXF file as bytes with the places of its groups: what is needed to add to a file without writing
the rest of it anew.

Places are arrays, one entry a group, so that a drawing of a million lines takes little memory.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_MOST_CODE_CHARACTERS = 12
_NEWLINE, _RETURN, _BLANK, _TAB, _MINUS, _ZERO, _NINE = b"\n\r \t-09"

Places = NDArray[np.int64]


class RawTag(NamedTuple):
    """A group: its code, its value without line end, and where the pair of lines stands in the file."""

    code: int
    value: bytes
    start: int
    end: int


class RawRecord(NamedTuple):
    """An entity, table entry or object: groups [first, last) of the file, its section and handle."""

    section: str
    kind: str
    handle: str | None
    first: int
    last: int


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Groups:
    """All groups of a file: codes, and for each where its code line starts and its value starts and
    ends (line end not counted).
    """

    data: bytes
    codes: Places
    starts: Places
    value_starts: Places
    value_ends: Places

    def __len__(self) -> int:
        return len(self.codes)

    def value(self, k: int) -> bytes:
        """The value of group `k`, blanks at its ends left out."""
        return self.data[self.value_starts[k] : self.value_ends[k]].strip()

    def end(self, k: int) -> int:
        """Where group `k` ends, its line end included."""
        return int(self.starts[k + 1]) if k + 1 < len(self.starts) else len(self.data)

    def tag(self, k: int) -> RawTag:
        """Group `k`."""
        return RawTag(int(self.codes[k]), self.value(k), int(self.starts[k]), self.end(k))

    def until(self, count: int) -> Groups:
        """The first groups; one start more is kept, which is the end of the last."""
        return Groups(
            data=self.data,
            codes=self.codes[:count],
            starts=self.starts[: count + 1],
            value_starts=self.value_starts[:count],
            value_ends=self.value_ends[:count],
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawFile:
    """All groups of a text DXF, and the records they form."""

    data: bytes
    groups: Groups
    records: tuple[RawRecord, ...]
    eol: bytes

    def bytes_of(self, record: RawRecord) -> bytes:
        """The record as it stands in the file."""
        return self.data[self.start_of(record) : self.groups.end(record.last - 1)]

    def start_of(self, record: RawRecord) -> int:
        """Where the record begins in the file."""
        return int(self.groups.starts[record.first])

    def tags_of(self, record: RawRecord) -> tuple[RawTag, ...]:
        """The groups of a record."""
        return tuple(self.groups.tag(k) for k in range(record.first, record.last))

    def in_section(self, section: str) -> Iterator[RawRecord]:
        """The records of a section, in file order, its ENDSEC left out."""
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
    groups = _groups(data)
    if groups is None or not len(groups):
        return None
    heads = np.flatnonzero(groups.codes == 0)
    kinds = [groups.value(int(k)).decode("ascii", "replace") for k in heads]
    if "EOF" not in kinds or kinds[0] != "SECTION" or (groups.codes[: heads[0]] != 999).any():
        return None
    last = kinds.index("EOF")
    groups = groups.until(int(heads[last]) + 1)
    if _has_stray_returns(groups):
        return None
    first_line = data[: groups.value_starts[0]]
    return RawFile(
        data=data,
        groups=groups,
        records=tuple(_records(groups, heads[: last + 1], kinds[: last + 1])),
        eol=b"\r\n" if first_line.endswith(b"\r\n") else b"\n",
    )


def _groups(data: bytes) -> Groups | None:
    """Pairs of lines; None when a line that should be a code is none."""
    text = np.frombuffer(data, dtype=np.uint8)
    ends = np.flatnonzero(text == _NEWLINE).astype(np.int64)
    if len(text) and text[-1] != _NEWLINE:
        ends = np.append(ends, len(text))
    starts = np.concatenate([[0], ends[:-1] + 1]).astype(np.int64) if len(ends) else ends
    # The lines after EOF need not be pairs: codes are read up to the first line that is none.
    count = len(ends) // 2
    codes = _codes(text, starts[: 2 * count : 2], ends[: 2 * count : 2])
    count = len(codes)
    value_starts, value_ends = starts[1 : 2 * count : 2], ends[1 : 2 * count : 2]
    stripped = value_ends - (text[np.maximum(value_ends - 1, 0)] == _RETURN) * (
        value_ends > value_starts
    )
    return Groups(
        data=data,
        codes=codes,
        starts=starts[: 2 * count + 1 : 2],
        value_starts=value_starts,
        value_ends=stripped,
    )


def _codes(text: NDArray[np.uint8], starts: Places, ends: Places) -> Places:
    """Numbers on the code lines, up to the first line that holds no number."""
    lengths = ends - starts
    bad = (lengths < 1) | (lengths > _MOST_CODE_CHARACTERS)
    value = np.zeros(len(starts), dtype=np.int64)
    digits = np.zeros(len(starts), dtype=bool)
    negative = np.zeros(len(starts), dtype=bool)
    for offset in range(min(_MOST_CODE_CHARACTERS, int(lengths.max(initial=0)))):
        here = np.flatnonzero((offset < lengths) & ~bad)
        char = text[starts[here] + offset]
        is_digit = (char >= _ZERO) & (char <= _NINE)
        value[here] = np.where(is_digit, value[here] * 10 + char - _ZERO, value[here])
        digits[here] |= is_digit
        negative[here] |= char == _MINUS
        bad[here] |= ~(is_digit | np.isin(char, (_BLANK, _TAB, _RETURN, _MINUS)))
    bad |= ~digits
    good = int(np.argmax(bad)) if bad.any() else len(bad)
    return np.where(negative, -value, value)[:good]


def _has_stray_returns(groups: Groups) -> bool:
    """A return inside a line would be a line end to other programs."""
    data, end = groups.data, groups.end(len(groups) - 1)
    return data.count(b"\r", 0, end) > data.count(b"\r\n", 0, end)


def _records(groups: Groups, heads: Places, kinds: list[str]) -> Iterator[RawRecord]:
    handles = _handles(groups, heads, kinds)
    bounds = [*(int(h) for h in heads), len(groups)]
    section = ""
    for n, kind in enumerate(kinds):
        first, last = bounds[n], bounds[n + 1]
        if kind == "SECTION" and first + 1 < last:
            section = groups.value(first + 1).decode("ascii", "replace").upper()
        yield RawRecord(section, kind, handles.get(n), first, last)
        if kind == "ENDSEC":
            section = ""


def _handle_code(kind: str) -> int:
    return 105 if kind == "DIMSTYLE" else 5


_WITHOUT_HANDLE = frozenset({"SECTION", "ENDSEC", "EOF", "CLASS", "ENDTAB"})


def _handles(groups: Groups, heads: Places, kinds: list[str]) -> dict[int, str]:
    """Handle by number of the record: its first group 5 (DIMSTYLE: 105) ahead of any subclass marker."""
    places = np.flatnonzero(np.isin(groups.codes, (5, 100, 105, 1001)))
    owners = np.searchsorted(heads, places, side="right") - 1
    found: dict[int, str] = {}
    closed: set[int] = set()
    for place, owner in zip(places.tolist(), owners.tolist(), strict=True):
        if owner in closed or owner < 0 or kinds[owner] in _WITHOUT_HANDLE:
            continue
        code = int(groups.codes[place])
        if code == _handle_code(kinds[owner]):
            found[owner] = groups.value(place).decode("ascii", "replace").upper()
        if code in (_handle_code(kinds[owner]), 100, 1001):
            closed.add(owner)
    return found
