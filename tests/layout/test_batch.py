"""Many plans as one job: nothing stops the others, nothing depends on the number of workers."""

from __future__ import annotations

import multiprocessing
import os
import subprocess
import sys
import warnings
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import pytest

from importer.plan import Finding, PlanError, Severity
from layout import batch_outputs
from layout.batch import Done, Running, find_plans, lay_side_by_side, run_job
from layout.batch_cluster import cluster
from layout.batch_kept import FOLDER, KeptResults
from layout.batch_limits import Limits
from layout.batch_outputs import LaidPlan, Task, lay_file
from layout.floor import PlanResult, PlanStatus
from layout.rules_file import default_rules
from layout.safe_write import OutputError
from tests.layout.errands import by_name
from tests.layout.small_plans import NOT_DRAWINGS, one_room

RULES = default_rules()


def task(name: str) -> Task:
    return Task(path=Path(name), rules=RULES, default_rules=True)


def laid_by(names: list[str], **how: object) -> list[LaidPlan]:
    found = dict(lay_side_by_side([task(n) for n in names], Running(lay=by_name, **how)))
    return [found[n] for n in range(len(names))]


def test_bad_plans_are_named_and_the_others_are_laid() -> None:
    names = ["a", "dies", "b", "fails", "eats", "leaps", "c", "hangs"]
    laid = laid_by(names[:-1], workers=2, limits=Limits(memory_mb=300))
    laid += laid_by(names[-1:], limits=Limits(seconds=3.0))
    assert [p.result.source for p in laid] == names
    codes = {p.result.source: [f.code for f in p.result.findings] for p in laid}
    assert codes == {
        "a": [],
        "dies": ["LAY-191"],
        "b": [],
        "fails": ["LAY-190"],
        "hangs": ["LAY-192"],
        "eats": ["LAY-193"],
        "leaps": ["LAY-193"],
        "c": [],
    }
    said = {p.result.source: str(p.result.findings[0]) for p in laid if p.result.findings}
    assert "ended all at once (exit status 9)" in said["dies"]
    assert "ZeroDivisionError (errands.py:" in said["fails"]
    assert "no such thing" in said["fails"]
    assert "after 3 s" in said["hangs"]
    assert "--minutes" in said["hangs"]
    assert "300 MB" in said["eats"]
    assert "--memory" in said["eats"]


def test_any_executor_fits() -> None:
    """One of processes, which hands the work on to a process for each plan all the same."""
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as executor:
        laid = laid_by(["a", "dies", "c"], executor=executor)
    assert [len(p.result.findings) for p in laid] == [0, 1, 0]


def test_what_a_library_prints_does_not_disturb_the_answer() -> None:
    (laid,) = laid_by(["talks"])
    assert laid.result.status is PlanStatus.CLEAN


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.is_file()}


def test_outputs_are_the_same_for_any_number_of_workers(tmp_path: Path) -> None:
    plans = [
        one_room(tmp_path / "a" / "flat.dxf"),
        one_room(tmp_path / "b" / "Flat.dxf", name="Hall", width=3100.0),
    ]
    (tmp_path / "bad.dxf").write_bytes(NOT_DRAWINGS["dwg"])
    plans.append(tmp_path / "bad.dxf")
    outcomes = [
        run_job(plans, RULES, tmp_path / f"out{n}", default_rules=True, how=Running(workers=n))
        for n in (1, 2)
    ]
    one, two = contents(tmp_path / "out1"), contents(tmp_path / "out2")
    assert one == two
    assert sorted(one) == [
        "Flat-2-cuts.csv",
        "Flat-2-marked.dxf",
        "Flat-2-sheets.pdf",
        "Flat-2-site.yaml",
        "flat-cuts.csv",
        "flat-marked.dxf",
        "flat-sheets.pdf",
        "flat-site.yaml",
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


def never(done: Done) -> None:
    raise AssertionError(done)


def test_unusable_folder_is_refused_before_any_plan_is_laid(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"a file")
    with pytest.raises(OutputError, match="A file stands where a folder is wanted"):
        run_job(
            [tmp_path / "a.dxf"], RULES, tmp_path / "out" / "deeper", how=Running(on_done=never)
        )


def fake_laid(task: Task) -> LaidPlan:
    result = PlanResult(source=str(task.path), status=PlanStatus.CLEAN, plan=None)
    return LaidPlan(result=result, files={"-marked.dxf": b"marked"})


FAKE = Running(lay=fake_laid)


def test_no_output_replaces_a_plan_or_the_rule_file(tmp_path: Path) -> None:
    (tmp_path / "a-marked.dxf").write_bytes(b"a plan of that name")
    (tmp_path / "a.dxf").symlink_to(tmp_path / "a-marked.dxf")
    with pytest.raises(OutputError, match="would overwrite the input"):
        run_job([tmp_path / "a.dxf"], RULES, tmp_path, how=FAKE)
    (tmp_path / "record.json").write_bytes(b"rules")
    (tmp_path / "b.dxf").write_bytes(b"plan")
    with pytest.raises(OutputError, match="would overwrite the input"):
        run_job([tmp_path / "b.dxf"], RULES, tmp_path, keep=[tmp_path / "record.json"], how=FAKE)
    assert (tmp_path / "record.json").read_bytes() == b"rules"
    assert (tmp_path / "a-marked.dxf").read_bytes() == b"a plan of that name"


def test_names_of_outputs_are_safe(tmp_path: Path) -> None:
    plan = tmp_path / "-1. OG: Süd\n?.dxf"
    plan.write_bytes(b"plan")
    run_job([plan], RULES, tmp_path / "out", how=FAKE)
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
        batch_outputs,
        "mark_drawing",
        lambda *_, **__: MarkedFile(data=b"x", remarks=("Saved anew.",)),
    )
    laid = lay_file(Task(path=one_room(tmp_path / "a.dxf"), rules=RULES, default_rules=False))
    remarks = [f for f in laid.result.findings if f.code == "OUT-103"]
    assert [(f.what, f.severity) for f in remarks] == [("Saved anew.", Severity.NOTE)]


@pytest.fixture
def address() -> Iterator[str]:
    """A scheduler and two workers that speak over the loopback, in threads of this process."""
    distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what a library thinks of the libraries it uses
        with distributed.LocalCluster(
            n_workers=2,
            threads_per_worker=1,
            processes=False,
            protocol="tcp://",
            host="127.0.0.1",
            dashboard_address=None,
        ) as running:
            yield running.scheduler_address


@pytest.mark.filterwarnings("ignore")
def test_cluster_gives_the_same_bytes_as_one_worker(tmp_path: Path, address: str) -> None:
    """With a plan that fails among the others: it costs itself only, on a cluster too."""
    plans = [*three_plans(tmp_path), tmp_path / "bad.dxf"]
    plans[-1].write_bytes(NOT_DRAWINGS["dwg"])
    run_job(plans, RULES, tmp_path / "one")
    with cluster(address) as executor:
        laid = laid_by(["a", "dies", "c"], executor=executor)
        outcome = run_job(plans, RULES, tmp_path / "many", how=Running(executor=executor))
    assert [[f.code for f in p.result.findings] for p in laid] == [[], ["LAY-191"], []]
    assert outcome.job.plans[-1].status is PlanStatus.FAILED
    assert contents(tmp_path / "many") == contents(tmp_path / "one")


def test_cluster_that_does_not_answer_is_refused_with_a_remedy(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    monkeypatch.setattr("layout.batch_cluster._WAIT_S", 0.2)
    with (
        pytest.raises(PlanError, match=r"No cluster answers at tcp://127\.0\.0\.1:1.*scheduler"),
        cluster("tcp://127.0.0.1:1"),
    ):
        raise AssertionError


# --- kept results -------------------------------------------------------------------------------


def three_plans(folder: Path) -> list[Path]:
    return [one_room(folder / f"p{n}.dxf", name=f"Room {n}", width=2600.0 + n) for n in range(3)]


def again(plans: list[Path], out: Path, **how: object) -> list[str]:
    """Run the job; the plans that were laid anew."""
    anew: list[str] = []

    def told(done: Done) -> None:
        if not done.was_kept:
            anew.append(done.task.path.name)

    run_job(plans, RULES, out, how=Running(on_done=told, **how))
    return sorted(anew)


def test_only_what_is_missing_is_laid_and_the_outputs_are_the_same(tmp_path: Path) -> None:
    plans, out = three_plans(tmp_path), tmp_path / "out"
    assert again(plans, out) == ["p0.dxf", "p1.dxf", "p2.dxf"]
    first = contents(out)
    for path in out.iterdir():
        if path.is_file():
            path.unlink()
    assert again(plans, out) == []
    assert contents(out) == first
    one_room(plans[1], name="Another", width=2700.0)
    assert again(plans, out) == ["p1.dxf"]
    assert contents(out) != first
    assert len(list((out / FOLDER).iterdir())) == 3, "what is not used any more is removed"
    assert again(plans, out, fresh=True) == ["p0.dxf", "p1.dxf", "p2.dxf"]


def test_damaged_entry_is_noticed_and_made_anew(tmp_path: Path) -> None:
    plans, out = three_plans(tmp_path), tmp_path / "out"
    again(plans, out)
    first = contents(out)
    entries = sorted((out / FOLDER).iterdir())
    data = bytearray(entries[0].read_bytes())
    data[len(data) // 2] ^= 1
    entries[0].write_bytes(data)
    entries[1].write_bytes(entries[1].read_bytes()[:100])
    outcome = run_job(plans, RULES, out)
    assert outcome.kept == 1
    assert "2 kept results were damaged" in outcome.remarks[0]
    assert contents(out) == first


class Evil:
    def __reduce__(self) -> tuple[object, tuple[str]]:
        return os.system, ("touch hit",)


def test_entry_from_a_stranger_runs_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An entry whose own hash is right may still hold anything."""
    monkeypatch.chdir(tmp_path)
    kept = KeptResults(out=tmp_path)
    laid = LaidPlan(
        result=PlanResult(source="a", status=PlanStatus.CLEAN, plan=None),
        files={"a": Evil()},  # type: ignore[dict-item]
    )
    kept.store("0" * 64, laid)
    assert kept.load("0" * 64) is None
    assert kept.damaged == 1
    assert not (tmp_path / "hit").exists()


@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_killed_job_goes_on_where_it_was(tmp_path: Path) -> None:
    plans, out = three_plans(tmp_path / "plans"), tmp_path / "out"
    command = [
        sys.executable,
        "-m",
        "layout.cli",
        "lay",
        str(tmp_path / "plans"),
        "--out",
        str(out),
    ]
    job = subprocess.Popen(
        [*command, "--workers", "1"], stderr=subprocess.PIPE, stdout=subprocess.DEVNULL
    )
    assert job.stderr is not None
    assert job.stderr.readline().startswith(b"1 of 3")
    job.kill()
    job.communicate()
    assert contents(out) == {}
    run_job(plans, RULES, tmp_path / "whole", default_rules=True)
    done: list[bool] = []
    how = Running(on_done=lambda d: done.append(d.was_kept))
    run_job(plans, RULES, out, default_rules=True, how=how)
    assert 1 <= sum(done) < 3
    assert contents(out) == contents(tmp_path / "whole")


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
