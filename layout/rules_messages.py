"""What pydantic found wrong with a rule set, said for the person who wrote the file."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, get_args

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from layout.measures import nearest, show
from layout.rules import RuleSet
from layout.rules_error import RuleProblem
from layout.rules_yaml import Path, Place, YamlTree, dotted

Model = type[BaseModel]
Words = tuple[str, str, str]
"""What is wrong, why (may be empty), what to write."""

_EXAMPLES: Final[Mapping[str, str]] = {
    "name": "name: rigid vinyl, 1220 x 180",
    "plank": "plank: {length: 1220, width: 180, per_pack: 10}",
    "length": "length: 1220",
    "width": "width: 180",
    "match": 'match: "bath*|wc"',
    "plans": "plans: [{file: level-1.dxf}]",
    "file": "file: level-1.dxf",
    "count": "count: 2",
}
"""How the settings that must be there are written."""


@dataclass(frozen=True, slots=True)
class _Case:
    """One error and the file it was made in."""

    path: Path
    error: ErrorDetails
    tree: YamlTree
    root: Model = RuleSet

    @property
    def name(self) -> str:
        return dotted(self.path)

    @property
    def written(self) -> str:
        """The value as it stands in the file; empty for a group or a list."""
        return self.tree.written.get(self.path, "")

    @property
    def kind(self) -> str:
        value = self.error["input"]
        if isinstance(value, dict):
            return "a group of settings"
        return "a list" if isinstance(value, list) else show(value)


def problem_of(
    error: ErrorDetails, tree: YamlTree, file: str, root: Model = RuleSet
) -> RuleProblem:
    """One pydantic error, with its place in the file and what to write instead. `root` is what the file
    holds as a whole.
    """
    path: Path = tuple(error["loc"])
    kind = error["type"]
    code, place = ("RUL-202", tree.place(path))
    if kind == "extra_forbidden":
        code, place = "RUL-201", tree.keys.get(path, place)
        what, why, remedy = _unknown(path, root)
    elif kind == "missing":
        code, place = "RUL-203", _group_place(path[:-1], tree)
        what, why, remedy = _missing(path)
    else:
        what, why, remedy = _SAID.get(kind, _otherwise)(_Case(path, error, tree, root))
    return RuleProblem(
        code=code,
        file=file,
        line=place[0],
        column=place[1],
        key=dotted(path),
        what=what,
        why=why,
        remedy=remedy,
    )


def is_misspelt(error: ErrorDetails, tree: YamlTree, root: Model = RuleSet) -> bool:
    """Whether a missing setting is there under a misspelt name, which is told already."""
    path: Path = tuple(error["loc"])
    if error["type"] != "missing":
        return False
    model = model_at(path[:-1], root)
    known = list(model.model_fields) if model is not None else []
    depth = len(path)
    beside = [p for p in tree.keys if len(p) == depth and p[:-1] == path[:-1]]
    strangers = [str(p[-1]) for p in beside if p[-1] not in known]
    return any(nearest(word, known) == path[-1] for word in strangers)


def _group_place(path: Path, tree: YamlTree) -> Place:
    return tree.keys.get(path) or tree.place(path)


# --- settings that are unknown or missing -------------------------------------------------------


def _unknown(path: Path, root: Model) -> Words:
    *group, last = path
    model = model_at(tuple(group), root)
    fields = list(model.model_fields) if model is not None else []
    what = f"There is no setting {dotted(path)}."
    near = nearest(str(last), fields)
    if near is not None:
        return what, "", f"Did you mean {near}?"
    elsewhere = [p for p in _all_settings(root) if p[-1] == last]
    if elsewhere:
        return what, "", f"Did you mean {' or '.join(dotted(p) for p in elsewhere)}?"
    far = nearest(str(last), [str(p[-1]) for p in _all_settings(root)])
    if far is not None:
        places = [dotted(p) for p in _all_settings(root) if p[-1] == far]
        return what, "", f"Did you mean {' or '.join(places)}?"
    return what, "", f"Delete it, or write one of {', '.join(fields)}."


def _missing(path: Path) -> Words:
    last = str(path[-1])
    where = f" under {dotted(path[:-1])}" if len(path) > 1 else ""
    return f"{dotted(path)} is missing.", "", f"Write '{_EXAMPLES.get(last, last)}'{where}."


def model_at(path: Path, root: Model = RuleSet) -> Model | None:
    """The section of the model that a path leads to; None where it leads to a plain value."""
    model: Model | None = root
    for step in path:
        if isinstance(step, int):
            continue  # the items of a list share one section
        field = model.model_fields.get(step) if model is not None else None
        model = _section_of(field.annotation) if field is not None else None
    return model


def _section_of(annotation: Any) -> type[BaseModel] | None:
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def _all_settings(root: Model) -> Iterator[Path]:
    """Every setting, as a path; sections first, then what is in them."""
    for name, field in root.model_fields.items():
        yield (name,)
        section = _section_of(field.annotation)
        is_list = field.annotation is not section
        for inner in section.model_fields if section is not None else ():
            yield (name, 0, inner) if is_list else (name, inner)


# --- values of the wrong kind -------------------------------------------------------------------


def _not_a_group(case: _Case) -> Words:
    model = model_at(case.path, case.root)
    fields = ", ".join(f"{f}: ..." for f in model.model_fields) if model is not None else ""
    remedy = f"Write settings under it: {{{fields}}}, those that are needed."
    if case.error["input"] is None:
        return f"Nothing stands under {case.name}.", "", f"{remedy[:-1]}, or delete the line."
    return f"{case.name} is {case.kind}, not a group of settings.", "", remedy


def _not_a_list(case: _Case) -> Words:
    what = f"{case.name} is {case.kind}, not a list."
    if model_at(case.path, case.root) is not None:
        return what, "", "Write each rule on a line of its own that starts with '- '."
    is_text = isinstance(case.error["input"], str) and case.written[:1].isalpha()
    entry = f'"{case.written}"' if is_text else case.written
    return what, "", f"Write it in brackets: {case.path[-1]}: [{entry}]."


def _not_a_text(case: _Case) -> Words:
    what = f"{case.name} is {case.kind}, not a text."
    if case.written:
        why = f"YAML reads a bare {case.written} so."
        return what, why, f'Put it in quotes: "{case.written}".'
    if case.error["input"] is None:
        return what, "", "Write a text after the colon, or delete the line."
    return what, "", "Write one text, in quotes if it holds a colon or a bracket."


def _not_a_choice(case: _Case) -> Words:
    options = re.findall(r"'([^']*)'", str(case.error.get("ctx", {}).get("expected", "")))
    near = nearest(case.written, options)
    what = f"{case.name} is {case.kind}, which is not one of {', '.join(options)}."
    return what, "", f"Did you mean {near}?" if near else "Write one of them."


def _unreadable(case: _Case) -> Words:
    said = str(case.error.get("ctx", {}).get("error", case.error["msg"]))
    what, _, remedy = said.rpartition("; ")
    return f"{case.name}: {what}.", "", f"{remedy[:1].upper()}{remedy[1:]}."


_BOUNDS: Final[Mapping[str, tuple[str, str]]] = {
    "greater_than": ("gt", "more than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


def _out_of_bounds(case: _Case) -> Words:
    bound, words = _BOUNDS[case.error["type"]]
    limit = case.error.get("ctx", {}).get(bound, "")
    written = case.written or show(case.error["input"])
    what = f"{case.name} is {written}; it must be {words} {limit:g}."
    if case.path == ("order", "spare") and case.error["type"] == "less_than_equal":
        return what, "A share of 1 is all of it.", f"Write '{written} %' if a percentage is meant."
    return what, "", f"Write a number that is {words} {limit:g}."


def _otherwise(case: _Case) -> Words:
    what = f"{case.name} is {case.kind}: {case.error['msg']}."
    return what, "", "See `setout rules schema` for what it may be."


def _too_short(case: _Case) -> Words:
    return f"Nothing stands in {case.name}.", "", "Write at least one entry, or delete the line."


_SAID: Final[Mapping[str, Callable[[_Case], Words]]] = {
    "model_type": _not_a_group,
    "model_attributes_type": _not_a_group,
    "tuple_type": _not_a_list,
    "string_type": _not_a_text,
    "literal_error": _not_a_choice,
    "enum": _not_a_choice,
    "value_error": _unreadable,
    "too_short": _too_short,
    "greater_than": _out_of_bounds,
    "greater_than_equal": _out_of_bounds,
    "less_than": _out_of_bounds,
    "less_than_equal": _out_of_bounds,
}
