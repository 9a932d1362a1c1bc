"""Reads a rule set from YAML: every mistake in it with file, line and column, all of them at once."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from layout.config_files import DEFAULT_CONFIG, config_text
from layout.measures import is_feet_or_inches
from layout.rules import RuleSet
from layout.rules_bytes import yaml_text
from layout.rules_checks import check_rules
from layout.rules_clash import Clash
from layout.rules_error import RuleError, RuleProblem
from layout.rules_reading import in_order, validated
from layout.rules_yaml import YamlTree, dotted, read_yaml

__all__ = ["RuleError", "RuleProblem", "default_rules", "load_rules", "load_rules_text"]


def load_rules(path: str | os.PathLike[str]) -> RuleSet:
    """The rule set in a YAML file.

    Raises RuleError, with the place of everything that is wrong, for a file that cannot be opened or
    is no rule set.
    """
    name = os.fspath(path)
    return load_rules_text(yaml_text(Path(path), name), name)


def default_rules() -> RuleSet:
    """The packaged default: rigid vinyl by common practice. Whoever uses it says so on every output."""
    return load_rules_text(config_text(DEFAULT_CONFIG), f"{DEFAULT_CONFIG}.yaml")


def load_rules_text(text: str, name: str) -> RuleSet:
    r"""The rule set in a text; `name` stands for the file in messages.

    >>> load_rules_text("name: a\nplank: {length: 48 in, width: 180}", "a.yaml").plank.length
    1219.2

    Raises RuleError.
    """
    tree = read_yaml(text, name)
    if not isinstance(tree.data, dict):
        raise RuleError(tree.problems or (_not_a_rule_set(tree, name),))
    rules, problems = validated(tree, name, RuleSet)
    if rules is None:
        raise RuleError(in_order((*tree.problems, *problems)))
    clashes = tuple(_clash_problem(c, tree, name) for c in _clashes(rules, tree))
    if clashes:
        raise RuleError(in_order(clashes))
    return rules


def _clashes(rules: RuleSet, tree: YamlTree) -> tuple[Clash, ...]:
    in_inches = any(is_feet_or_inches(text) for text in tree.written.values())
    return check_rules(rules, in_inches=in_inches)


def _clash_problem(clash: Clash, tree: YamlTree, name: str) -> RuleProblem:
    """The clash at the first of its settings that is written in the file."""
    key = next((k for k in clash.keys if k in tree.values), clash.keys[0])
    line, column = tree.place(key)
    return RuleProblem(
        code=clash.code,
        file=name,
        line=line,
        column=column,
        key=dotted(key),
        what=clash.what,
        why=clash.why,
        remedy=clash.remedy,
    )


def _not_a_rule_set(tree: YamlTree, name: str) -> RuleProblem:
    start = "Start from a commented one: `setout rules new FILE`."
    line, column = tree.place(())
    problem = RuleProblem(code="RUL-101", file=name, what="The file is empty.", remedy=start)
    if tree.data is None:
        return problem
    kind = "a list" if isinstance(tree.data, list) else "one value"
    what = f"The file holds {kind} where a group of settings is wanted."
    return replace(
        problem, line=line, column=column, what=what, remedy=f"Write 'name: ...'. {start}"
    )
