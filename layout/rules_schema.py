"""The JSON Schema of a rule file, so that editors complete it and other programs check it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Final

from layout.measures import ANGLE_PATTERN, LENGTH_PATTERN, SHARE_PATTERN, YES_NO_PATTERN
from layout.rules import RuleSet

Json = dict[str, Any]

_TEXTS: Final[dict[str, Json]] = {
    "lengthText": {
        "type": "string",
        "pattern": LENGTH_PATTERN,
        "description": "A length with its unit: 8 mm, 1.2 m, 48 in, 3/8 in, 6 ft 2 1/2 in.",
        "examples": ["8 mm", "1.2 m", "48 in", "3/8 in", "6 ft 2 1/2 in"],
    },
    "shareText": {
        "type": "string",
        "pattern": SHARE_PATTERN,
        "description": "A percentage: 3 %.",
        "examples": ["3 %"],
    },
    "angleText": {
        "type": "string",
        "pattern": ANGLE_PATTERN,
        "description": "An angle: 30 deg, counter-clockwise from the drawing's x axis.",
        "examples": ["30 deg"],
    },
    "yesNoText": {
        "type": "string",
        "pattern": YES_NO_PATTERN,
        "description": "YAML 1.2 reads a bare no as this text, YAML 1.1 as false: both mean no.",
        "examples": ["yes", "no"],
    },
}
_BY_PATTERN: Final = {str(text["pattern"]): name for name, text in _TEXTS.items()}


def rules_schema() -> Json:
    """JSON Schema (2020-12) of the YAML of a rule set.

    It holds the shape of the file; the rules between settings (`layout.rules_checks`) are beyond it.
    """
    return published(
        RuleSet.model_json_schema(),
        title="setout rule set",
        description="Every number a plank floor is laid by. Lengths are millimetres unless they are "
        "written with a unit.",
        texts=_TEXTS,
    )


def published(plain: Json, *, title: str, description: str, texts: Mapping[str, Json]) -> Json:
    """The schema that pydantic makes of a file's model, tidied, with the definitions of texts in it."""
    definitions = {name: tidied(part) for name, part in plain.pop("$defs").items()}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **tidied(plain),
        "title": title,
        "description": description,
        "$defs": {**definitions, **texts},
    }


def rules_schema_json() -> str:
    """The schema as text, one trailing newline."""
    return json.dumps(rules_schema(), indent=2, ensure_ascii=False) + "\n"


def yes_no_text() -> dict[str, Json]:
    """The definition that a yes or no written as text is read by."""
    return {"yesNoText": _TEXTS["yesNoText"]}


def tidied(node: Any) -> Any:
    """Long text patterns named once, and pydantic's titles, which only repeat the keys, left out."""
    if isinstance(node, list):
        return [tidied(item) for item in node]
    if not isinstance(node, dict):
        return node
    if node.get("pattern") in _BY_PATTERN:
        return {"$ref": f"#/$defs/{_BY_PATTERN[node['pattern']]}"}
    return {k: tidied(v) for k, v in node.items() if k != "title" or not isinstance(v, str)}
