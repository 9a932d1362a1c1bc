"""Every message about a rule file: `tests/rules/*.yaml` hold texts that fail, and near ones that pass.

A failing text gives exactly one problem, with the code, place and words of the case. A code without
a failing and a passing case fails the suite.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from layout.rules_file import RuleError, load_rules_text

REPO = Path(__file__).resolve().parents[2]
BASE = "name: a\nplank: {length: 1220, width: 180}\n"
FILE_CODES = {"RUL-110", "RUL-111"}
"""Of the file itself; tests/layout/test_rules_file.py has them."""


def groups() -> list[dict[str, Any]]:
    return [
        group
        for path in sorted((REPO / "tests" / "rules").glob("*.yaml"))
        for group in yaml.safe_load(path.read_text(encoding="utf-8"))
    ]


def cases(kind: str) -> Iterator[Any]:
    for group in groups():
        for i, case in enumerate(group[kind]):
            full = {"rules": case} if isinstance(case, str) else dict(case)
            full.setdefault("code", group["code"])
            full["text"] = full["rules"] if full.get("whole") else BASE + full["rules"]
            yield pytest.param(full, id=f"{group['code']}-{i + 1}")


@pytest.mark.parametrize("case", [*cases("fails")])
def test_bad_rules_give_one_message_with_place_and_remedy(case: dict[str, Any]) -> None:
    with pytest.raises(RuleError) as caught:
        load_rules_text(case["text"], "floor.yaml")
    assert len(caught.value.problems) == 1, str(caught.value)
    problem = caught.value.problems[0]
    at = "" if problem.line is None else f"{problem.line}:{problem.column}"
    assert (problem.code, at) == (case["code"], case["at"])
    assert case["says"] in str(problem)
    place = f"floor.yaml:{at}: " if at else "floor.yaml: "
    assert str(problem).startswith(f"{place}[{case['code']}] ")
    assert "\n" not in str(problem)


@pytest.mark.parametrize("case", [*cases("passes")])
def test_good_rules_near_the_limit_are_taken(case: dict[str, Any]) -> None:
    load_rules_text(case["text"], "floor.yaml")


def test_every_code_has_cases() -> None:
    sources = " ".join(
        p.read_text(encoding="utf-8") for p in sorted((REPO / "layout").glob("rules_*.py"))
    )
    codes = set(re.findall(r"RUL-\d{3}", sources)) - FILE_CODES
    covered = {g["code"] for g in groups() if g["fails"] and g["passes"]}
    assert codes == covered
