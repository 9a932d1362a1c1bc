"""The JSON Schema says of a file's shape what the program says, and describes every setting."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import jsonschema
import pytest
import yaml

from layout.config_files import config_names, config_text
from layout.rules_file import load_rules_text
from layout.rules_schema import rules_schema, rules_schema_json
from layout.rules_text import rules_text

GOOD = {"name": "a", "plank": {"length": 1220, "width": 180}}


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    schema = rules_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.mark.parametrize("name", config_names())
def test_every_packaged_rule_set_fits_by_either_yaml(
    validator: jsonschema.Draft202012Validator, name: str
) -> None:
    text = config_text(name)
    assert list(validator.iter_errors(yaml.safe_load(text))) == []
    # YAML 1.2 reads a bare no as text, as most editors do.
    assert list(validator.iter_errors(_as_yaml_12(yaml.safe_load(text)))) == []
    shown = yaml.safe_load(rules_text(load_rules_text(text, name)))
    assert list(validator.iter_errors(shown)) == []


def _as_yaml_12(node: Any) -> Any:
    if isinstance(node, dict):
        return {k: _as_yaml_12(v) for k, v in node.items()}
    if isinstance(node, list):
        return [_as_yaml_12(v) for v in node]
    return {False: "no", True: "yes"}[node] if isinstance(node, bool) else node


@pytest.mark.parametrize(
    "change",
    [
        {"plank": {"length": 1220}},
        {"plank": {"length": 0, "width": 180}},
        {"plank": {"length": "48 inc", "width": 180}},
        {"plank": {"length": "1220", "width": 180}},
        {"plank": {"length": 1220, "width": 180, "per_pack": 1.5}},
        {"plank": {"length": 1220, "width": 180, "lay": "up"}},
        {"name": False},
        {"gap": None},
        {"gap": {"wal": 8}},
        {"gap": {"wall": -1}},
        {"gap": {"wall": True}},
        {"ends": {"min_length": [300]}},
        {"joints": {"bond": "quarter"}},
        {"rows": {"along": "longest wall"}},
        {"doorways": {"break_at": "sliding"}},
        {"doorways": {"break_at": ["gate"]}},
        {"order": {"spare": "3"}},
        {"order": {"spare": 3}},
        {"rooms": {"match": "wc"}},
        {"rooms": [{"lay": False}]},
        {"rooms": [{"match": 101}]},
        {"rooms": [{"match": "wc", "lay": "never"}]},
        {"drawing": {"units": "inches"}},
        {"drawing": {"layers": {"rooms": "A"}}},
        {"colour": "red"},
    ],
    ids=str,
)
def test_bad_shapes_are_refused(
    validator: jsonschema.Draft202012Validator, change: dict[str, Any]
) -> None:
    assert validator.is_valid(GOOD)
    assert not validator.is_valid({**GOOD, **change})


@pytest.mark.parametrize(
    "change",
    [
        {"plank": {"length": "48 in", "width": "7 1/8 in", "thickness": '3/16"'}},
        {"limits": {"run": "6 ft 2 1/2 in", "across": "15 m"}},
        {"rows": {"along": "-30 deg"}},
        {"rows": {"along": 30}},
        {"order": {"spare": "3 %"}},
        {"ends": {"never_below": None}},
        {"rooms": [{"match": "wc", "lay": "No"}]},
    ],
    ids=str,
)
def test_values_with_units_fit(
    validator: jsonschema.Draft202012Validator, change: dict[str, Any]
) -> None:
    assert validator.is_valid({**GOOD, **change})
    load_rules_text(json.dumps({**GOOD, **change}), "a.json")


def settings(schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for where, part in (("", schema), *schema["$defs"].items()):
        for name, field in part.get("properties", {}).items():
            yield f"{where}.{name}", field


def test_every_setting_and_section_is_described() -> None:
    schema = rules_schema()
    for name, field in settings(schema):
        target = field.get("$ref", "").rpartition("/")[2]
        described = schema["$defs"][target] if target else field
        assert len(described.get("description", "")) > 10, name


def test_no_setting_is_open_to_strangers() -> None:
    schema = rules_schema()
    objects = [schema, *(d for d in schema["$defs"].values() if d["type"] == "object")]
    assert all(o["additionalProperties"] is False for o in objects)


def test_printed_schema_is_the_schema() -> None:
    text = rules_schema_json()
    assert json.loads(text) == rules_schema()
    assert text.endswith("}\n")
