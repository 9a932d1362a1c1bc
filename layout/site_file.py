"""Sizes measured on site, from YAML: every mistake with file, line and column, all of them at once.

plan: ground-floor.dxf
bays:
  B3:                               # Living
    L1: 4203                        # a length in mm, or with a unit: 4.203 m, 13 ft 9 1/2 in
    W1: {drawn: 3600, site: 3608}   # drawn: as the layout said; another size is refused
    W2: {drawn: 3600, site: }       # not measured: taken as drawn
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from layout.measures import nearest, parse_length, show
from layout.rules_bytes import FileKind, yaml_text
from layout.rules_error import RuleError, RuleProblem
from layout.rules_yaml import Path as Keys
from layout.rules_yaml import YamlTree, dotted, read_yaml

SITE_FILE: Final = FileKind(
    name="site file",
    made_by="`setout lay` writes one to fill in for each drawing: NAME-site.yaml.",
    largest=1024 * 1024,
)
_TOP: Final = ("plan", "bays")
_OF_MEASURE: Final = ("drawn", "site")
_MOST_TOLD: Final = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where in the site file something is written; lines and columns from 1."""

    file: str
    line: int
    column: int

    def problem(self, code: str, key: str, what: str, remedy: str) -> RuleProblem:
        """Something to mend at this place."""
        return RuleProblem(
            code=code,
            file=self.file,
            line=self.line,
            column=self.column,
            key=key,
            what=what,
            remedy=remedy,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A dimension measured on site, mm; `drawn_mm` is what the file says that the layout said."""

    id: str
    site_mm: float
    drawn_mm: float | None
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredBay:
    """What was measured in one bay."""

    bay: str
    place: Place
    measures: tuple[Measured, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFile:
    """What was measured on one plan. `plan` is the drawing's file name, without folders."""

    name: str
    plan: str
    place: Place
    bays: tuple[MeasuredBay, ...]


def load_site(path: str | os.PathLike[str]) -> SiteFile:
    """The measures in a site file.

    Raises RuleError, with the place of everything that is wrong.
    """
    name = os.fspath(path)
    return load_site_text(yaml_text(Path(path), name, SITE_FILE), name)


def load_site_text(text: str, name: str) -> SiteFile:
    r"""The measures in a text; `name` stands for the file in messages.

    >>> site = load_site_text("plan: a.dxf\nbays: {B1: {L1: 4.2 m, W1: }}", "site.yaml")
    >>> [(m.id, m.site_mm) for m in site.bays[0].measures]
    [('L1', 4200.0)]

    Raises RuleError.
    """
    tree = read_yaml(text, name)
    reader = _Reader(tree=tree, name=name)
    site = reader.site()
    problems = sorted(
        (*tree.problems, *reader.problems), key=lambda p: (p.line or 0, p.column or 0)
    )
    if problems:
        raise RuleError(tuple(problems[:_MOST_TOLD]))
    return site


@dataclass(slots=True)
class _Reader:
    tree: YamlTree
    name: str
    problems: list[RuleProblem] = field(default_factory=list)

    def site(self) -> SiteFile:
        """The file as it stands; what is wrong is in `problems`."""
        data = self._group(self.tree.data, (), "plan: NAME and bays: ...")
        self._known(data, (), _TOP)
        plan = data.get("plan")
        if not isinstance(plan, str) or not plan.strip():
            if ("plan",) not in self.tree.refused:
                self._add(
                    "SIT-203", ("plan",), "plan is no name of a drawing.", "Write plan: a.dxf."
                )
            plan = ""
        bays = self._group(data.get("bays"), ("bays",), "bays: {B1: {L1: 4203}}")
        return SiteFile(
            name=self.name,
            plan=plan,
            place=self._place(("plan",)),
            bays=tuple(self._bay(bay, value) for bay, value in bays.items()),
        )

    def _bay(self, bay: str, value: object) -> MeasuredBay:
        path: Keys = ("bays", bay)
        measures = self._group(value, path, f"{bay}: {{L1: 4203}}") if value is not None else {}
        found = tuple(self._measures(bay, measures))
        return MeasuredBay(bay=bay, place=self._key(path), measures=found)

    def _measures(self, bay: str, measures: Mapping[str, object]) -> Iterator[Measured]:
        for name, value in measures.items():
            path: Keys = ("bays", bay, name)
            drawn: float | None = None
            at, given = path, value
            if isinstance(value, dict):
                self._known(value, path, _OF_MEASURE)
                drawn = self._length(value.get("drawn"), (*path, "drawn"))
                at, given = (*path, "site"), value.get("site")
            site = self._length(given, at)
            if site is not None:
                yield Measured(id=name, site_mm=site, drawn_mm=drawn, place=self._key(path))

    def _length(self, value: object, path: Keys) -> float | None:
        """A length in mm; None where nothing is written, or nothing that is one."""
        if value is None or any(path[:n] in self.tree.refused for n in range(len(path) + 1)):
            return None
        try:
            length = parse_length(value)
        except ValueError as error:
            what, _, remedy = str(error).rpartition("; ")
            self._add(
                "SIT-202", path, f"{dotted(path)}: {what}.", f"{remedy[:1].upper()}{remedy[1:]}."
            )
            return None
        if length <= 0.0:
            what = f"{dotted(path)} is {show(value)}, which no distance is."
            self._add("SIT-202", path, what, "Write what was measured, or nothing.")
            return None
        return length

    def _group(self, value: object, path: Keys, like: str) -> Mapping[str, object]:
        if isinstance(value, dict):
            return value
        if path not in self.tree.refused:
            name = dotted(path) or "The file"
            what = f"{name} is {_kind(value)} where a group is wanted."
            self._add("SIT-201", path, what, f"Write '{like}'. {SITE_FILE.made_by}")
        return {}

    def _known(self, group: Mapping[str, object], path: Keys, known: Sequence[str]) -> None:
        for key in group:
            if key not in known:
                near = nearest(key, known)
                remedy = f"Did you mean {near}?" if near else f"Write {' or '.join(known)}."
                what = f"There is no setting {dotted((*path, key))}."
                self._add("SIT-201", (*path, key), what, remedy)

    def _add(self, code: str, path: Keys, what: str, remedy: str) -> None:
        place = self._key(path) if path in self.tree.keys else self._place(path)
        self.problems.append(place.problem(code, dotted(path), what, remedy))

    def _place(self, path: Keys) -> Place:
        line, column = self.tree.place(path)
        return Place(file=self.name, line=line, column=column)

    def _key(self, path: Keys) -> Place:
        line, column = self.tree.keys.get(path) or self.tree.place(path)
        return Place(file=self.name, line=line, column=column)


def _kind(value: object) -> str:
    if value is None:
        return "empty"
    return "a list" if isinstance(value, list) else show(value)
