"""Many plans as one job: nothing stops the others, nothing depends on the number of workers."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from importer.plan import Finding, PlanError, Severity
from layout import batch
from layout.batch import (
    LaidPlan,
    Task,
    find_plans,
    lay_file,
    lay_side_by_side,
    run_job,
)
from layout.floor import PlanResult, PlanStatus
from layout.rules_file import default_rules
from layout.safe_write import OutputError
from tests.layout.small_plans import NOT_DRAWINGS, one_room

RULES = default_rules()


def task(name: str) -> Task:
    return Task(path=Path(name), rules=RULES, default_rules=True)


def by_name(task: Task) -> LaidPlan:
    """A worker that does what the plan is called."""
    if task.path.name == "dies":
        os._exit(9)
    if task.path.name == "fails":
        raise ZeroDivisionError("no such\nthing")
    return LaidPlan(result=PlanResult(source=str(task.path), status=PlanStatus.CLEAN, plan=None))


def test_a_plan_that_kills_its_process_is_reported_and_the_others_are_laid() -> None:
    names = ["a", "dies", "b", "fails", "c"]
    laid = lay_side_by_side([task(n) for n in names], 2, by_name)
    assert [p.result.source for p in laid] == names
    states = [p.result.status for p in laid]
    assert states == [
        PlanStatus.CLEAN,
        PlanStatus.FAILED,
        PlanStatus.CLEAN,
        PlanStatus.FAILED,
        PlanStatus.CLEAN,
    ]
    (died,), (failed,) = laid[1].result.findings, laid[3].result.findings
    assert (died.code, died.severity) == ("LAY-191", Severity.REFUSED)
    assert str(died).startswith("dies: [LAY-191] The process that laid this plan ended")
    assert failed.code == "LAY-190"
    assert "ZeroDivisionError (test_batch.py:" in failed.what
    assert "no such thing" in failed.what
    assert "report it" in failed.remedy


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def test_outputs_are_the_same_for_any_number_of_workers(tmp_path: Path) -> None:
    plans = [
        one_room(tmp_path / "a" / "flat.dxf"),
        one_room(tmp_path / "b" / "Flat.dxf", name="Hall", width=3100.0),
    ]
    (tmp_path / "bad.dxf").write_bytes(NOT_DRAWINGS["dwg"])
    plans.append(tmp_path / "bad.dxf")
    outcomes = [
        run_job(plans, RULES, tmp_path / f"out{n}", workers=n, default_rules=True) for n in (1, 2)
    ]
    one, two = contents(tmp_path / "out1"), contents(tmp_path / "out2")
    assert one == two
    assert sorted(one) == [
        "Flat-2-cuts.csv",
        "Flat-2-marked.dxf",
        "Flat-2-sheets.pdf",
        "flat-cuts.csv",
        "flat-marked.dxf",
        "flat-sheets.pdf",
        "index.html",
        "job.xlsx",
        "order.csv",
        "record.json",
    ]
    job = outcomes[0].job
    assert [p.source for p in job.plans] == [str(p) for p in plans]
    assert job.plans[2].status is PlanStatus.FAILED
    assert "bad.dxf" in str(job.plans[2].findings[0])
    assert job.totals.planks == sum(len(b.planks) for p in job.plans for b in p.bays) > 0
    assert b"No rule set was given" in one["order.csv"]


def test_bad_plan_comes_back_as_failed_with_its_reason(tmp_path: Path) -> None:
    for kind, data in NOT_DRAWINGS.items():
        path = tmp_path / f"{kind}.dxf"
        path.write_bytes(data)
        laid = lay_file(Task(path=path, rules=RULES, default_rules=True))
        assert laid.result.status is PlanStatus.FAILED, kind
        assert laid.files == {}
        (finding,) = laid.result.findings
        assert finding.severity is Severity.REFUSED
        assert finding.remedy, kind


def test_job_of_bad_plans_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "bad.dxf").write_bytes(b"")
    outcome = run_job([tmp_path / "bad.dxf"], RULES, tmp_path / "out")
    assert outcome.written == ()
    assert not (tmp_path / "out").exists()


def test_unusable_folder_is_refused_before_any_plan_is_laid(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(task: Task) -> LaidPlan:
        raise AssertionError(task)

    monkeypatch.setattr(batch, "lay_file", never)
    (tmp_path / "out").write_bytes(b"a file")
    with pytest.raises(OutputError, match="A file stands where a folder is wanted"):
        run_job([tmp_path / "a.dxf"], RULES, tmp_path / "out" / "deeper")


def fake_laid(task: Task) -> LaidPlan:
    result = PlanResult(source=str(task.path), status=PlanStatus.CLEAN, plan=None)
    return LaidPlan(result=result, files={"-marked.dxf": b"marked"})


def test_no_output_replaces_a_plan_or_the_rule_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(batch, "lay_file", fake_laid)
    (tmp_path / "a-marked.dxf").write_bytes(b"a plan of that name")
    (tmp_path / "a.dxf").symlink_to(tmp_path / "a-marked.dxf")
    with pytest.raises(OutputError, match="would overwrite the input"):
        run_job([tmp_path / "a.dxf"], RULES, tmp_path)
    (tmp_path / "record.json").write_bytes(b"rules")
    (tmp_path / "b.dxf").write_bytes(b"plan")
    with pytest.raises(OutputError, match="would overwrite the input"):
        run_job([tmp_path / "b.dxf"], RULES, tmp_path, keep=[tmp_path / "record.json"])
    assert (tmp_path / "record.json").read_bytes() == b"rules"
    assert (tmp_path / "a-marked.dxf").read_bytes() == b"a plan of that name"


def test_names_of_outputs_are_safe(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(batch, "lay_file", fake_laid)
    plan = tmp_path / "-1. OG: Süd\n?.dxf"
    plan.write_bytes(b"plan")
    run_job([plan], RULES, tmp_path / "out")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "_-1. OG_ Süd__-marked.dxf",
        "index.html",
        "job.xlsx",
        "order.csv",
        "record.json",
    ]


def test_repairs_made_while_marking_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from layout.writers.dxf.mark import MarkedFile

    monkeypatch.setattr(
        batch, "mark_drawing", lambda *_, **__: MarkedFile(data=b"x", remarks=("Saved anew.",))
    )
    laid = lay_file(Task(path=one_room(tmp_path / "a.dxf"), rules=RULES, default_rules=False))
    remarks = [f for f in laid.result.findings if f.code == "OUT-103"]
    assert [(f.what, f.severity) for f in remarks] == [("Saved anew.", Severity.NOTE)]


# --- which plans --------------------------------------------------------------------------------


def test_folder_gives_its_drawings_by_name(tmp_path: Path) -> None:
    for name in ("b.DXF", "A.dxf", "c.ifc", "a-marked.dxf", "notes.txt", "x.yaml"):
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "sub.dxf").mkdir()
    found = find_plans([tmp_path])
    assert [p.name for p in found.paths] == ["A.dxf", "b.DXF", "c.ifc"]
    assert found.left_out == (f"{tmp_path / 'a-marked.dxf'}: a marked drawing, not a plan.",)


def test_plan_given_twice_is_laid_once(tmp_path: Path) -> None:
    plan = tmp_path / "a.dxf"
    plan.write_bytes(b"")
    (tmp_path / "b.dxf").symlink_to(plan)
    found = find_plans([plan, tmp_path, tmp_path / "." / "a.dxf"])
    assert found.paths == (plan,)
    assert len(found.left_out) == 3
    assert all("given more than once" in words for words in found.left_out)


def test_named_file_is_taken_whatever_its_name(tmp_path: Path) -> None:
    paths = (tmp_path / "plan.txt", tmp_path / "missing.dxf", tmp_path / "x-marked.dxf")
    assert find_plans(paths).paths == paths


@pytest.mark.parametrize("names", [[], ["notes.txt"], ["a-marked.dxf"]])
def test_folder_without_drawings_is_refused(tmp_path: Path, names: list[str]) -> None:
    for name in names:
        (tmp_path / name).write_bytes(b"")
    with pytest.raises(PlanError, match="no drawing to lay in this folder") as caught:
        find_plans([tmp_path])
    assert isinstance(caught.value.finding, Finding)
