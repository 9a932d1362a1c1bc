"""YAML text to plain data that knows where every value stands, without YAML's traps.

A small, strict part of YAML: groups, lists, texts, numbers, yes and no. Anchors, aliases and tags are
refused (nine lines of aliases can stand for a thousand million values), so is a key given twice (YAML
silently keeps the last), and so are the bare numbers that YAML 1.1 and 1.2 read differently: `017`
(15 or 17), `12:30` (750 or text), `1_90` (190 or text), `0x1F`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol

import yaml

from layout.rules_error import RuleError, RuleProblem

Path = tuple[str | int, ...]
"""Keys and list places from the top, e.g. ("rooms", 0, "match")."""
Place = tuple[int, int]
"""Line and column, from 1."""

_DEEPEST: Final = 12
"""Groups within groups; a rule set needs three."""

_NULL: Final = frozenset({"", "~", "null", "Null", "NULL"})
_TRUE: Final = frozenset({"true", "True", "TRUE", "yes", "Yes", "YES", "on", "On", "ON"})
_FALSE: Final = frozenset({"false", "False", "FALSE", "no", "No", "NO", "off", "Off", "OFF"})
_INTEGER = re.compile(r"[-+]?(?:0|[1-9][0-9]{0,29})")
_DECIMAL = re.compile(
    r"[-+]?(?:[0-9]{1,30}(?:\.[0-9]{0,30})?|\.[0-9]{1,30})(?:[eE][-+]?[0-9]{1,3})?"
)
_NOT_FINITE = re.compile(r"[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)")
_TWO_READINGS = re.compile(
    r"[-+]?(?:0[0-9]+|0o[0-7]+|0x[0-9a-fA-F_]+|0b[01_]+|[0-9]+(?::[0-5]?[0-9])+(?:\.[0-9_]*)?"
    r"|[0-9]+(?:_[0-9]+)+(?:\.[0-9_]*)?)"
)

# What PyYAML says, and what a person who does not write YAML every day needs to hear.
_SYNTAX: Final[tuple[tuple[str, str, str], ...]] = (
    (
        "character '\\t'",
        "There is a tab here.",
        "YAML indents with spaces: put spaces in its place.",
    ),
    (
        "mapping values are not allowed here",
        "There is a colon where none can stand.",
        "Write one setting a line, or put a text that holds ': ' in quotes.",
    ),
    (
        "could not find expected ':'",
        "This line has no colon after its key, or a quote or bracket above is not closed.",
        "Write it as 'key: value'.",
    ),
    (
        "expected ',' or '}'",
        "The braces { } are not closed here.",
        "Put a comma between the settings in them and } after the last.",
    ),
    (
        "expected ',' or ']'",
        "The brackets [ ] are not closed here.",
        "Put a comma between the values in them and ] after the last.",
    ),
    (
        "expected <block end>",
        "The indentation does not fit the lines above.",
        "Start the settings of one group in the same column.",
    ),
    (
        "while scanning a quoted scalar",
        "A quote is opened and not closed.",
        "Close it with the same quote.",
    ),
    (
        "that cannot start any token",
        "A value cannot start with this character.",
        "Put the whole text in quotes.",
    ),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class YamlTree:
    """Plain data (dict, list, str, int, float, bool, None) and where it was written.

    `keys` and `values` give the place of a key and of its value; `written` the text of a scalar as it
    stands in the file. A value in `problems` stands in `data` as None.
    """

    data: object
    keys: Mapping[Path, Place]
    values: Mapping[Path, Place]
    written: Mapping[Path, str]
    problems: tuple[RuleProblem, ...]
    refused: frozenset[Path]

    def place(self, path: Path) -> Place:
        """Place of the value at `path`, else of the group it would stand in, else the first line."""
        while path:
            if path in self.values:
                return self.values[path]
            path = path[:-1]
            if path in self.keys:
                return self.keys[path]
        return (1, 1)


def read_yaml(text: str, name: str) -> YamlTree:
    """Read one YAML document; `name` is the file's name in messages.

    Raises RuleError when the text is no YAML at all; lesser problems are in the tree, so that all of
    them can be told at once.
    """
    try:
        reader = _Reader(text, name)
        return reader.read()
    except yaml.reader.ReaderError as error:
        raise RuleError((_bad_character(text, name, error.position),)) from error
    except yaml.MarkedYAMLError as error:
        raise RuleError((_bad_syntax(name, error),)) from error


def dotted(path: Path) -> str:
    """A path as messages write it.

    >>> dotted(("rooms", 0, "match"))
    'rooms[1].match'
    """
    parts = [f"[{p + 1}]" if isinstance(p, int) else f".{p}" for p in path]
    return "".join(parts).removeprefix(".")


class _Mark(Protocol):
    """What PyYAML's own mark and that of its C twin have in common."""

    line: int
    column: int


def _place(mark: _Mark | None) -> Place:
    assert mark is not None  # every event of a text has one
    return mark.line + 1, mark.column + 1


def _bad_character(text: str, name: str, position: int) -> RuleProblem:
    before = text[:position]
    return RuleProblem(
        code="RUL-106",
        file=name,
        line=before.count("\n") + 1,
        column=position - before.rfind("\n"),
        what=f"There is a control character here (number {ord(text[position])}).",
        why="A rule file is plain text.",
        remedy="Delete the character, or save the file again as plain text.",
    )


def _bad_syntax(name: str, error: yaml.MarkedYAMLError) -> RuleProblem:
    mark = error.problem_mark or error.context_mark
    said = f"{error.context or ''} {error.problem or ''}".strip()
    what, remedy = f"This is not YAML: {said}.", "Compare with `setout rules new`."
    for part, plain, cure in _SYNTAX:
        if part in said:
            what, remedy = plain, cure
            break
    if error.context_mark is not None and (
        "quoted scalar" in said or "scanning a simple key" in said
    ):
        mark = error.context_mark  # where the quote or the key starts, not where it is missed
    line, column = _place(mark) if mark is not None else (1, 1)
    return RuleProblem(
        code="RUL-107", file=name, line=line, column=column, what=what, remedy=remedy
    )


@dataclass(slots=True)
class _Reader:
    """Walks the parser's events once. Recursion is bounded by `_DEEPEST`."""

    text: str
    name: str
    keys: dict[Path, Place] = field(default_factory=dict)
    values: dict[Path, Place] = field(default_factory=dict)
    written: dict[Path, str] = field(default_factory=dict)
    problems: list[RuleProblem] = field(default_factory=list)
    refused: set[Path] = field(default_factory=set)
    events: Iterator[yaml.Event] = field(init=False)

    def read(self) -> YamlTree:
        self.events = iter(yaml.parse(self.text, Loader=yaml.SafeLoader))
        next(self.events)  # start of the stream
        data: object = None
        if isinstance(next(self.events), yaml.DocumentStartEvent):
            data = self._value((), 0, next(self.events))
            next(self.events)  # end of the document
            self._expect_end(next(self.events))
        return YamlTree(
            data=data,
            keys=self.keys,
            values=self.values,
            written=self.written,
            problems=tuple(self.problems),
            refused=frozenset(self.refused),
        )

    def _expect_end(self, event: yaml.Event) -> None:
        if isinstance(event, yaml.StreamEndEvent):
            return
        line, column = _place(event.start_mark)
        problem = RuleProblem(
            code="RUL-112",
            file=self.name,
            line=line,
            column=column,
            what="A second document starts here (---).",
            remedy="Keep one rule set in one file.",
        )
        raise RuleError((problem,))

    def _value(self, path: Path, depth: int, event: yaml.Event) -> object:
        place = _place(event.start_mark)
        self.values[path] = place
        assert isinstance(event, yaml.NodeEvent)  # the parser gives nothing else here
        if event.anchor is not None:
            self._refuse_reference(path, place, event)
        if isinstance(event, yaml.AliasEvent):
            return None
        if isinstance(event, (yaml.ScalarEvent, yaml.CollectionStartEvent)) and event.tag:
            self._refuse_tag(path, place, event.tag)
        if isinstance(event, yaml.ScalarEvent):
            return self._scalar(path, place, event)
        if depth >= _DEEPEST:
            raise RuleError((self._too_deep(place),))
        if isinstance(event, yaml.SequenceStartEvent):
            return self._list(path, depth)
        return self._group(path, depth)

    def _list(self, path: Path, depth: int) -> list[object]:
        items: list[object] = []
        while not isinstance(event := next(self.events), yaml.SequenceEndEvent):
            items.append(self._value((*path, len(items)), depth + 1, event))
        return items

    def _group(self, path: Path, depth: int) -> dict[str, object]:
        group: dict[str, object] = {}
        while not isinstance(event := next(self.events), yaml.MappingEndEvent):
            place = _place(event.start_mark)
            key = self._key(path, place, event)
            here = (*path, key)
            if key in group:
                here = (*path, f"{key} (again)")
                self._refuse_repeat((*path, key), here, place)
            value = self._value(here, depth + 1, next(self.events))
            if here[-1] == key:
                self.keys[here] = place
                group[key] = value
        return group

    def _key(self, path: Path, place: Place, event: yaml.Event) -> str:
        if isinstance(event, yaml.ScalarEvent) and event.anchor is None and event.tag is None:
            return str(event.value)
        problem = RuleProblem(
            code="RUL-105",
            file=self.name,
            line=place[0],
            column=place[1],
            key=dotted(path),
            what="The key of a setting must be a plain word.",
            remedy="Write it as 'key: value', without brackets, &, * or !.",
        )
        raise RuleError((problem,))

    def _scalar(self, path: Path, place: Place, event: yaml.ScalarEvent) -> object:
        text = event.value
        self.written[path] = text
        if event.style is not None:
            return str(text)
        if _TWO_READINGS.fullmatch(text):
            self._refuse(
                path,
                place,
                code="RUL-108",
                what=f"{text} is read as different values by different YAML programs.",
                remedy=f"Write a plain decimal number, or '{text}' in quotes if it is a text.",
            )
            return None
        return plain_value(text)

    def _refuse_reference(self, path: Path, place: Place, event: yaml.NodeEvent) -> None:
        sign = "*" if isinstance(event, yaml.AliasEvent) else "&"
        self._refuse(
            path,
            place,
            code="RUL-102",
            what=f"{sign}{event.anchor} is a YAML anchor or alias.",
            why="Rule files do without them: a few lines of them can stand for millions of values.",
            remedy="Write the value out, or put the text in quotes if it starts with & or *.",
        )

    def _refuse_tag(self, path: Path, place: Place, tag: str) -> None:
        self._refuse(
            path,
            place,
            code="RUL-103",
            what=f"{tag!r} is a YAML tag.",
            why="A rule file holds plain values only.",
            remedy="Delete the tag, or put the text in quotes if it starts with !.",
        )

    def _refuse_repeat(self, first: Path, again: Path, place: Place) -> None:
        self._refuse(
            again,
            place,
            code="RUL-104",
            what=f"{dotted(first)} is given a second time, first in line {self.keys[first][0]}.",
            why="Only one of the two can hold.",
            remedy="Delete one of them.",
        )

    def _too_deep(self, place: Place) -> RuleProblem:
        return RuleProblem(
            code="RUL-109",
            file=self.name,
            line=place[0],
            column=place[1],
            what=f"Groups are nested more than {_DEEPEST} deep here.",
            remedy="A rule set needs three levels at most; compare with `setout rules new`.",
        )

    def _refuse(
        self, path: Path, place: Place, *, code: str, what: str, remedy: str, why: str = ""
    ) -> None:
        self.refused.add(path)
        self.problems.append(
            RuleProblem(
                code=code,
                file=self.name,
                line=place[0],
                column=place[1],
                key=dotted(path),
                what=what,
                why=why,
                remedy=remedy,
            )
        )


def plain_value(text: str) -> str | int | float | bool | None:
    """A bare scalar as a value. `no` is a boolean, `1e3` a number, everything unclear a text.

    >>> plain_value("no"), plain_value("1e3"), plain_value("180"), plain_value("3/8 in")
    (False, 1000.0, 180, '3/8 in')
    """
    if text in _NULL:
        return None
    if text in _TRUE or text in _FALSE:
        return text in _TRUE
    if _INTEGER.fullmatch(text):
        return int(text)
    if _DECIMAL.fullmatch(text):
        return float(text)
    if _NOT_FINITE.fullmatch(text):
        return float(text.replace(".", "", 1))
    return text
