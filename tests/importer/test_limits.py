"""What one drawing may hold: said with how many there are and how to allow more."""

from __future__ import annotations

from pathlib import Path

import pytest

from importer.hints import Allowed, Hints
from importer.plan import PlanError, Severity
from importer.read import read_plan
from importer.sniff import check_entities
from layout.batch_outputs import Task, lay_file
from layout.floor import PlanStatus
from layout.rules_file import default_rules
from tests.layout.small_plans import one_room

SAMPLES = Path(__file__).resolve().parents[2] / "sample_plans"


def test_a_drawing_with_more_entities_than_allowed_is_refused() -> None:
    path = SAMPLES / "flat.dxf"
    with pytest.raises(PlanError) as caught:
        read_plan(path, Hints(allowed=Allowed(entities=100)))
    finding = caught.value.finding
    assert (finding.code, finding.severity) == ("IMP-120", Severity.REFUSED)
    count = int(finding.what.split(" entities")[0].split()[-1].replace(",", ""))
    assert "100 are allowed for one plan" in finding.what
    assert "per_plan.entities" in finding.remedy
    raised = int(finding.remedy.split("--entities ")[1].split()[0])
    assert count <= raised <= 1.1 * count
    # What it says is enough.
    assert read_plan(path, Hints(allowed=Allowed(entities=raised))).rooms
    with pytest.raises(PlanError):
        read_plan(path, Hints(allowed=Allowed(entities=count - 1)))


def test_a_model_with_more_entities_than_allowed_is_refused() -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(SAMPLES / "block.ifc", Hints(allowed=Allowed(entities=1000)))
    assert caught.value.finding.code == "IMP-120"


def test_a_model_is_given_up_after_the_time_allowed() -> None:
    with pytest.raises(PlanError) as caught:
        read_plan(SAMPLES / "block.ifc", Hints(allowed=Allowed(seconds=0.1)))
    assert "--minutes" in caught.value.finding.remedy


@pytest.mark.parametrize(
    ("count", "says"), [(1234567, "--entities 1300000"), (1001, "1100"), (99, "99")]
)
def test_the_remedy_is_a_round_number_that_is_enough(count: int, says: str) -> None:
    check_entities(count, None, "a.dxf")
    check_entities(count, count, "a.dxf")
    with pytest.raises(PlanError) as caught:
        check_entities(count, count - 1, "a.dxf")
    assert says in caught.value.finding.remedy


def test_the_limit_of_the_rule_set_reaches_the_reader(tmp_path: Path) -> None:
    rules = default_rules()
    few = rules.model_copy(update={"per_plan": rules.per_plan.model_copy(update={"entities": 1})})
    path = one_room(tmp_path / "a.dxf")
    laid = lay_file(Task(path=path, rules=few, default_rules=False))
    assert laid.result.status is PlanStatus.FAILED
    assert [f.code for f in laid.result.findings] == ["IMP-120"]
