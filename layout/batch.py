"""Many plans as one job: every plan on its own, side by side, then the quantities over all of them.

A plan that cannot be read, or that the program itself fails on, is told in its place and never stops
the others: several plans are laid in worker processes, so that not even a crash or a lack of memory
takes more than the plan that caused it. The number of workers changes nothing in the outputs.
"""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath
from typing import Final

from importer.plan import Finding, Origin, Plan, PlanError, Severity
from importer.read import read_plan
from layout.commands.fault import FAULT_REMEDY, fault_words
from layout.floor import JobResult, PlanResult, PlanStatus
from layout.job import lay_plan
from layout.rules import RuleSet
from layout.safe_write import check_folder, safe_names, write_all
from layout.takeoff import combine
from layout.writers.dxf.mark import MarkedFile, mark_drawing
from layout.writers.dxf.storey_marks import mark_storeys
from layout.writers.page.render import page_html
from layout.writers.record import record_json
from layout.writers.sheets.book import plan_sheets
from layout.writers.tables import cuts_csv, order_csv
from layout.writers.workbook import job_workbook

PLAN_ENDINGS: Final = (".dxf", ".ifc")
"""What is taken for a plan in a folder; a file named by itself may have any name."""
MARKED_ENDING: Final = "-marked.dxf"
"""How a drawing that came from here is named; in a folder it is no plan."""

MODEL_FORMAT: Final = "IFC"
"""How the format of a plan begins that was read from a model and has no drawing of its own."""
_STOREY_LETTERS: Final = 40
"""Of a storey's name in a file name."""
_MOST_WORKERS: Final = 61
"""More processes than this cannot be waited for at once on Windows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One plan to lay, all that a worker needs."""

    path: Path
    rules: RuleSet
    default_rules: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidPlan:
    """One plan laid and its files as bytes, by the ending of their names."""

    result: PlanResult
    files: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOutcome:
    """What a job came to. `written` is empty when no plan could be used, and then nothing is left on
    the disk either.
    """

    job: JobResult
    written: tuple[Path, ...]


Worker = Callable[[Task], LaidPlan]
"""Lays one plan. Sent to another process by name, so it must stand at the top of a module."""


# --- which plans --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanList:
    """The plans of a job in the order given, and what was left out of it and why."""

    paths: tuple[Path, ...]
    left_out: tuple[str, ...] = ()


def find_plans(given: Sequence[Path]) -> PlanList:
    """Files as they are; folders as the drawings in them, by name. Each file once.

    Raises:
        PlanError: a folder cannot be listed or holds no drawing.
    """
    paths: list[Path] = []
    left_out: list[str] = []
    seen: set[Path] = set()
    for path in given:
        for found in _drawings_in(path, left_out) if path.is_dir() else (path,):
            real = found.resolve()
            if real in seen:
                left_out.append(f"{found}: given more than once, laid once.")
                continue
            seen.add(real)
            paths.append(found)
    return PlanList(paths=tuple(paths), left_out=tuple(left_out))


def _drawings_in(folder: Path, left_out: list[str]) -> Iterator[Path]:
    try:
        names = sorted(folder.iterdir(), key=lambda p: (p.name.casefold(), p.name))
    except OSError as error:
        raise _refused(
            "LAY-102",
            folder,
            f"The folder cannot be listed: {error.strerror}.",
            "Check its permissions.",
        ) from error
    drawings = [p for p in names if p.suffix.lower() in PLAN_ENDINGS and p.is_file()]
    marked = [p for p in drawings if p.name.lower().endswith(MARKED_ENDING)]
    if not drawings or len(drawings) == len(marked):
        raise _refused(
            "LAY-101",
            folder,
            "There is no drawing to lay in this folder.",
            f"Give a folder with {' or '.join(PLAN_ENDINGS)} files in it, or the files themselves.",
        )
    left_out.extend(f"{p}: a marked drawing, not a plan." for p in marked)
    yield from (p for p in drawings if p not in marked)


def _refused(code: str, path: Path, what: str, remedy: str) -> PlanError:
    return PlanError(_refusal(code, path, what, remedy))


def _refusal(code: str, path: Path, what: str, remedy: str) -> Finding:
    return Finding(
        code=code,
        severity=Severity.REFUSED,
        what=what,
        where=Origin(file=str(path)),
        remedy=remedy,
    )


# --- one plan -----------------------------------------------------------------------------------


def lay_file(task: Task) -> LaidPlan:
    """Read, lay and mark one plan. A plan that cannot be used comes back as failed, with the reason."""
    source = str(task.path)
    try:
        plan = read_plan(task.path, task.rules.drawing.hints())
        result = replace(lay_plan(plan, task.rules), source=source)
        if result.status is PlanStatus.FAILED:
            return LaidPlan(result=result)
        marked = _marked(task, plan, result)
    except PlanError as error:
        return LaidPlan(result=_failed(task.path, error.finding))
    remarks = tuple(
        Finding(
            code="OUT-103", severity=Severity.NOTE, what=remark, where=Origin(file=task.path.name)
        )
        for remark in dict.fromkeys(r for file in marked.values() for r in file.remarks)
    )
    result = replace(result, findings=(*result.findings, *remarks))
    sheets = plan_sheets(result, task.rules, default_rules=task.default_rules)
    result = replace(result, findings=(*result.findings, *sheets.findings))
    files = {ending: file.data for ending, file in marked.items()}
    files["-sheets.pdf"] = sheets.data
    files["-cuts.csv"] = cuts_csv(result, task.rules, default_rules=task.default_rules)
    return LaidPlan(result=result, files=files)


def _marked(task: Task, plan: Plan, result: PlanResult) -> dict[str, MarkedFile]:
    """The marked drawings by the ending of their names: the architect's own, or one a storey drawn from
    his model.
    """
    default_rules = task.default_rules
    if not plan.format.startswith(MODEL_FORMAT):
        marked = mark_drawing(task.path, result, task.rules, default_rules=default_rules)
        return {MARKED_ENDING: marked}
    storeys = mark_storeys(result, task.rules, default_rules=default_rules)
    names = safe_names(f"{s.storey.name[:_STOREY_LETTERS]}.dxf" for s in storeys)
    return {
        f"-{PurePath(name).stem}{MARKED_ENDING}": s.marked
        for name, s in zip(names, storeys, strict=True)
    }


def _failed(path: Path, finding: Finding) -> PlanResult:
    return PlanResult(source=str(path), status=PlanStatus.FAILED, plan=None, findings=(finding,))


# --- all plans ----------------------------------------------------------------------------------


def run_job(
    plans: Sequence[Path],
    rules: RuleSet,
    out: Path,
    *,
    workers: int = 1,
    default_rules: bool = False,
    keep: Sequence[Path] = (),
) -> JobOutcome:
    """Lay every plan and write all outputs into the folder `out`, or none of them.

    Args:
        plans: drawings, each a file.
        rules: the rule set for all of them.
        out: made where it is missing.
        workers: processes side by side; the outputs are the same for any number.
        default_rules: whether `rules` are the packaged ones, which the outputs say.
        keep: other files that no output may replace, such as the rule file.

    Raises:
        OutputError: the outputs cannot be written; nothing of them is left.
    """
    check_folder(out)
    tasks = [Task(path=p, rules=rules, default_rules=default_rules) for p in plans]
    laid = _lay_all(tasks, workers)
    job = combine([p.result for p in laid], rules, default_rules=default_rules)
    if all(p.result.status is PlanStatus.FAILED for p in laid):
        return JobOutcome(job=job, written=())
    files = _files(plans, laid)
    files["order.csv"] = order_csv(job, rules)
    files["job.xlsx"] = job_workbook(job, rules)
    files["index.html"] = page_html(job, rules)
    files["record.json"] = record_json(job)
    return JobOutcome(job=job, written=write_all(out, files, inputs=(*plans, *keep)))


def _files(plans: Sequence[Path], laid: Sequence[LaidPlan]) -> dict[str, bytes]:
    """The files of all plans by name; plans of one name in several folders are told apart."""
    stems = [PurePath(name).stem for name in safe_names(f"{p.stem}.dxf" for p in plans)]
    files: dict[str, bytes] = {}
    for stem, plan in zip(stems, laid, strict=True):
        taken = {name.casefold() for name in files}
        for ending, data in plan.files.items():
            name, number = stem + ending, 1
            # The first storey of `a` is named like a plan `a-1`; the ending says what it is and stays.
            while name.casefold() in taken:
                number += 1
                name = f"{stem}-{number}{ending}"
            files[name] = data
    return files


def _lay_all(tasks: Sequence[Task], workers: int) -> list[LaidPlan]:
    if len(tasks) == 1:
        return [lay_file(tasks[0])]
    return lay_side_by_side(tasks, min(workers, len(tasks), _MOST_WORKERS))


def lay_side_by_side(tasks: Sequence[Task], workers: int, lay: Worker = lay_file) -> list[LaidPlan]:
    """Lay each task in a worker process; what a worker fails on comes back as a failed plan.

    A worker that dies takes its pool with it. Each plan that was lost is tried again in a process of its
    own, so that only the one that kills its process is lost for good.
    """
    with _pool(workers) as pool, _processes_ended():
        futures = _submitted(pool, tasks, lay)
        wait(futures)
    lost = [i for i, f in enumerate(futures) if isinstance(f.exception(), BrokenProcessPool)]
    again = _lay_each_alone([tasks[i] for i in lost], workers, lay)
    for i, future in zip(lost, again, strict=True):
        futures[i] = future
    return [_contained(task, future) for task, future in zip(tasks, futures, strict=True)]


def _lay_each_alone(tasks: Sequence[Task], workers: int, lay: Worker) -> list[Future[LaidPlan]]:
    def alone(task: Task) -> Future[LaidPlan]:
        with _pool(1) as pool:
            (future,) = _submitted(pool, [task], lay)
            future.exception()  # waits
        return future

    with ThreadPoolExecutor(workers) as threads, _processes_ended():
        try:
            return list(threads.map(alone, tasks))
        except BaseException:
            threads.shutdown(wait=False, cancel_futures=True)
            raise


def _pool(workers: int) -> ProcessPoolExecutor:
    # Spawned, not forked: the same on every system, and safe beside the threads of the libraries.
    return ProcessPoolExecutor(
        workers, mp_context=multiprocessing.get_context("spawn"), initializer=_leave_interrupts
    )


def _leave_interrupts() -> None:
    """In a worker: Ctrl-C is the parent's to answer, which ends the workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _submitted(
    pool: ProcessPoolExecutor, tasks: Sequence[Task], lay: Worker
) -> list[Future[LaidPlan]]:
    """Hand all tasks to the pool, which starts its processes.

    Where signals can be held back they are meanwhile: a process that is born so never sees a Ctrl-C,
    not even while it still loads its modules. Ours comes through as soon as they are let go.
    """
    mask = getattr(signal, "pthread_sigmask", None)
    before = mask(signal.SIG_BLOCK, {signal.SIGINT}) if mask is not None else None
    try:
        return [pool.submit(lay, t) for t in tasks]
    finally:
        if mask is not None:
            mask(signal.SIG_SETMASK, before)


@contextmanager
def _processes_ended() -> Iterator[None]:
    """Ends the processes that were started inside when something cuts the work short."""
    before = set(multiprocessing.active_children())
    try:
        yield
    except BaseException:
        for child in multiprocessing.active_children():
            if child not in before:
                child.terminate()
        raise


def _contained(task: Task, future: Future[LaidPlan]) -> LaidPlan:
    """What a worker brought back; where it failed by our own fault, a finding in the plan's place."""
    error = future.exception()
    if error is None:
        return future.result()
    if isinstance(error, BrokenProcessPool):
        finding = _refusal(
            "LAY-191",
            task.path,
            "The process that laid this plan ended all at once, most likely for want of memory.",
            "Lay it alone on a machine with more memory, or cut the drawing down to the floor plans.",
        )
    else:
        finding = _refusal("LAY-190", task.path, fault_words(error), FAULT_REMEDY)
    return LaidPlan(result=_failed(task.path, finding))
