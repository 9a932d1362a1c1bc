"""A rule set as YAML again: every setting as it holds, lengths in millimetres."""

from __future__ import annotations

import re
from collections.abc import Iterator
from enum import Enum
from typing import Any

import yaml
from pydantic import BaseModel

from layout.rules import RuleSet
from layout.rules_yaml import plain_value


def rules_text(rules: RuleSet) -> str:
    r"""YAML that reads back as the same rule set. A setting that was not written says so behind it.

    >>> from layout.rules_file import load_rules_text
    >>> text = rules_text(load_rules_text("name: a\nplank: {length: 48 in, width: 180}", "a.yaml"))
    >>> print(text[: text.index("  width")])
    name: a
    <BLANKLINE>
    plank:
      length: 1219.2
    <BLANKLINE>
    """
    return "\n".join(_section(rules)) + "\n"


def _section(rules: RuleSet) -> Iterator[str]:
    for name in type(rules).model_fields:
        value = getattr(rules, name)
        if isinstance(value, BaseModel):
            yield from ("", f"{name}:")
            yield from _settings(value, "  ")
        elif name == "rooms":
            yield from ("", f"rooms: {'' if value else '[]'}".rstrip())
            for rule in value:
                yield f"  - {_flow({k: v for k, v in rule.model_dump().items() if v != ''})}"
        else:
            yield f"{name}: {_flow(value)}"


def _settings(section: BaseModel, indent: str) -> Iterator[str]:
    for name in type(section).model_fields:
        value = getattr(section, name)
        if isinstance(value, BaseModel):
            yield f"{indent}{name}:"
            yield from _settings(value, indent + "  ")
            continue
        note = "" if name in section.model_fields_set else "  # default"
        yield f"{indent}{name}: {_flow(value)}{note}"


_BARE = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


def _flow(value: Any) -> str:
    """One value on one line. Texts are quoted unless they are single plain words."""
    if isinstance(value, Enum):
        value = value.value
    if isinstance(value, (tuple, list)):
        return f"[{', '.join(_flow(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{{', '.join(f'{k}: {_flow(v)}' for k, v in value.items())}}}"
    if isinstance(value, str):
        is_bare = _BARE.fullmatch(value) and plain_value(value) == value
        return value if is_bare else _quoted(value)
    if value is None or isinstance(value, bool):
        return {None: "null", True: "yes", False: "no"}[value]
    return str(int(value)) if value == int(value) else repr(value)


def _quoted(text: str) -> str:
    quoted: str = yaml.safe_dump(text, default_style='"', allow_unicode=True, width=10**6)
    return quoted.removesuffix("\n")
