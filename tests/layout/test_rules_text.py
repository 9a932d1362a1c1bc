"""A rule set shown as YAML reads back as the same rule set."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.config_files import config_names, config_text
from layout.rules import Bond, Hand, RuleSet
from layout.rules_file import load_rules_text
from layout.rules_text import rules_text

TEXTS = st.text(
    alphabet=st.characters(categories=["L", "N", "P", "S", "Zs"]), min_size=1, max_size=20
).filter(lambda t: t.isprintable() and t.strip())


@st.composite
def rule_sets(draw: st.DrawFn) -> RuleSet:
    """Rule sets without contradictions."""
    length = draw(st.floats(1000.0, 2500.0))
    width = draw(st.floats(150.0, 250.0))
    matches = draw(st.lists(TEXTS.filter(lambda t: "|" not in t), max_size=3))
    unique = list({m.strip().casefold(): m for m in matches}.values())
    return RuleSet.model_validate(
        {
            "name": draw(TEXTS),
            "plank": {
                "length": length,
                "width": width,
                "per_pack": draw(st.integers(1, 30)),
                "lay": draw(st.sampled_from(Hand)),
            },
            "gap": {"wall": draw(st.floats(1.0, 15.0))},
            "ends": draw(st.sampled_from([{}, {"min_length": 300, "never_below": 151.5}])),
            "joints": {"bond": draw(st.sampled_from(Bond))},
            "rows": {"along": draw(st.sampled_from(["across", 0.0, 30.0, -12.25]))},
            "order": {"spare": draw(st.floats(0.0, 0.5))},
            "rooms": [
                {"match": m, "lay": draw(st.booleans()), "because": draw(TEXTS)} for m in unique
            ],
            "drawing": {"units": draw(st.sampled_from([None, "in"])), "layers": {"walls": unique}},
        }
    )


@given(rule_sets())
def test_rule_set_survives_being_shown(rules: RuleSet) -> None:
    assert load_rules_text(rules_text(rules), "shown.yaml") == rules


@pytest.mark.parametrize("name", config_names())
def test_packaged_rule_set_survives_being_shown(name: str) -> None:
    rules = load_rules_text(config_text(name), name)
    assert load_rules_text(rules_text(rules), name) == rules


@pytest.mark.parametrize(
    "name", ["no", "017", "1e3", "12:30", "a: b", "# a", "&a", "", "null", "é"]
)
def test_names_that_yaml_could_misread_are_quoted(name: str) -> None:
    rules = RuleSet.model_validate(
        {
            "name": f"x{name}",
            "plank": {"length": 1220, "width": 180},
            "rooms": [{"match": f"{name}x"}],
        }
    )
    assert load_rules_text(rules_text(rules), "a").rooms == rules.rooms
    if name:
        rules = rules.model_copy(update={"name": name})
        assert load_rules_text(rules_text(rules), "a").name == name


def test_defaults_are_marked() -> None:
    text = rules_text(
        load_rules_text("name: a\nplank: {length: 1220, width: 180}\ngap: {wall: 8}", "")
    )
    assert "  wall: 8\n" in text
    assert "  cover: 15  # default\n" in text
