"""Many plans as one job: every plan on its own, side by side, then the quantities over all of them.

A plan that cannot be read, or that the program itself fails on, is told in its place and never stops the
others: each is laid in a process of its own (`layout.batch_keeper`), so that not even a crash, a hang or
a lack of memory takes more than the plan that caused it. Results are kept as they come
(`layout.batch_kept`), so that a stopped job goes on where it was. Neither the number of workers, nor the
executor, nor what was kept changes a byte of the outputs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath
from types import MappingProxyType
from typing import Final

from layout.batch_keeper import Errand, children, lay_guarded
from layout.batch_kept import KeptResults
from layout.batch_limits import DEFAULT_LIMITS, FAULT_CODE, Limits
from layout.batch_outputs import (
    JOB_OUTPUTS,
    SITE_FORM,
    LaidPlan,
    Task,
    Worker,
    failed,
    lay_file,
)
from layout.batch_plans import MARKED_ENDING as MARKED_ENDING  # noqa: PLC0414 - taken from here
from layout.batch_plans import PLAN_ENDINGS as PLAN_ENDINGS  # noqa: PLC0414
from layout.batch_plans import PlanList as PlanList  # noqa: PLC0414
from layout.batch_plans import find_plans as find_plans  # noqa: PLC0414
from layout.batch_plans import refusal
from layout.batch_sites import filled_in
from layout.commands.fault import FAULT_REMEDY, fault_words
from layout.floor import JobResult, PlanStatus
from layout.rules import RuleSet
from layout.safe_write import check_folder, safe_names, write_all
from layout.site_file import SiteFile
from layout.takeoff import combine

_SPARED: Final = (
    "there are measures in it, so it was left as it is. Lay by them with --site, or move the file away "
    "to get an empty form."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """One plan finished: the how-manieth of how many, and whether it was kept from an earlier run."""

    task: Task
    laid: LaidPlan
    number: int
    count: int
    was_kept: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """How a job is run; nothing of it shows in the outputs.

    `executor` is anything like those of `concurrent.futures`: it is handed each plan and takes `workers`
    out of account. `fresh`: nothing that was kept is used. `on_done` is told of every finished plan.
    """

    workers: int = 1
    executor: Executor | None = None
    limits: Limits = DEFAULT_LIMITS
    fresh: bool = False
    on_done: Callable[[Done], None] | None = None
    lay: Worker = lay_file


@dataclass(frozen=True, slots=True, kw_only=True)
class JobOutcome:
    """What a job came to. `written` is empty when no plan could be used, and then nothing is left on
    the disk either. `kept` counts the plans taken from an earlier run, `remarks` tells of kept results
    that were damaged or could not be kept, and of forms that were not written over.
    """

    job: JobResult
    written: tuple[Path, ...]
    kept: int = 0
    remarks: tuple[str, ...] = ()


def run_job(  # noqa: PLR0913 - the inputs of a job, each by its name
    plans: Sequence[Path],
    rules: RuleSet,
    out: Path,
    *,
    default_rules: bool = False,
    sites: Mapping[Path, SiteFile] = MappingProxyType({}),
    keep: Sequence[Path] = (),
    how: Running = Running(),
) -> JobOutcome:
    """Lay every plan and write all outputs into the folder `out`, or none of them.

    Args:
        plans: drawings, each a file.
        rules: the rule set for all of them.
        out: made where it is missing.
        default_rules: whether `rules` are the packaged ones, which the outputs say.
        sites: what was measured on site, by plan.
        keep: other files that no output may replace, such as the rule file.
        how: workers, limits and the like; the outputs are the same for any.

    Raises:
        OutputError: the outputs cannot be written; nothing of them is left.
    """
    tasks = [
        Task(path=p, rules=rules, default_rules=default_rules, site=sites.get(p)) for p in plans
    ]
    return run_tasks(tasks, rules, out, keep=keep, how=how)


def run_tasks(
    tasks: Sequence[Task],
    rules: RuleSet,
    out: Path,
    *,
    keep: Sequence[Path] = (),
    how: Running = Running(),
) -> JobOutcome:
    """The same for plans that each have their own rule set, name and scope, as a job file says; `rules`
    are those of the job as a whole.

    Raises:
        OutputError: the outputs cannot be written; nothing of them is left.
    """
    check_folder(out)
    work = _Work(tasks=tasks, how=how, kept=KeptResults(out=out) if len(tasks) > 1 else None)
    tasks, laid = _told_once(tasks, work.all_laid())
    default_rules = any(t.default_rules for t in tasks)
    own = [t.rules for t in tasks]
    job = combine([p.result for p in laid], own, default_rules=default_rules)
    if all(p.result.status is PlanStatus.FAILED for p in laid):
        return JobOutcome(job=job, written=(), remarks=work.remarks())
    files = _files(tasks, laid)
    files.update((name, make(job, rules)) for name, make in JOB_OUTPUTS.items())
    spared = filled_in(out, [name for name in files if name.endswith(SITE_FORM)])
    wanted = {name: data for name, data in files.items() if name not in spared}
    written = write_all(out, wanted, inputs=(*(t.path for t in tasks), *keep))
    if work.kept is not None:
        work.kept.forget()
    remarks = (*work.remarks(), *(f"{out / name}: {_SPARED}" for name in spared))
    return JobOutcome(job=job, written=written, kept=work.taken, remarks=remarks)


def _told_once(
    tasks: Sequence[Task], laid: Sequence[LaidPlan]
) -> tuple[list[Task], list[LaidPlan]]:
    """Without parts that have nothing to lay; what cannot be read is told by its first part."""
    kept = []
    lost: set[tuple[Path, str]] = set()
    for task, plan in zip(tasks, laid, strict=True):
        storey = task.scope.storey if task.scope is not None else ""
        again = (task.path, storey) in lost and task.scope is not None and task.scope.part > 0
        if plan.result.status is PlanStatus.FAILED:
            lost.add((task.path, storey))
            if again:
                continue
        if not plan.is_empty:
            # A plan that failed in a process of its own knows nothing of its name.
            named = replace(plan.result, called=task.called)
            kept.append((task, replace(plan, result=named)))
    return [t for t, _ in kept], [p for _, p in kept]


def _files(tasks: Sequence[Task], laid: Sequence[LaidPlan]) -> dict[str, bytes]:
    """The files of all plans by name; plans of one name in several folders are told apart."""
    stems = [PurePath(name).stem for name in safe_names(f"{t.stem}.dxf" for t in tasks)]
    files: dict[str, bytes] = {}
    taken: set[str] = set()
    for stem, plan in zip(stems, laid, strict=True):
        for ending, data in plan.files.items():
            name, number = stem + ending, 1
            # The first storey of `a` is named like a plan `a-1`; the ending says what it is and stays.
            while name.casefold() in taken:
                number += 1
                name = f"{stem}-{number}{ending}"
            files[name] = data
            taken.add(name.casefold())
    return files


# --- the plans of a job -------------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class _Work:
    """The plans of a job while they are laid. `kept` is None where it is not worth keeping anything."""

    tasks: Sequence[Task]
    how: Running
    kept: KeptResults | None
    taken: int = 0
    _done: dict[int, LaidPlan] = field(default_factory=dict)

    def all_laid(self) -> list[LaidPlan]:
        """Every plan laid, in the order of the tasks."""
        keys = [self.kept.key(t) if self.kept is not None else None for t in self.tasks]
        missing = []
        for n, key in enumerate(keys):
            found = self._from_before(key)
            if found is None:
                missing.append(n)
            else:
                self.taken += 1
                self._finish(n, found, was_kept=True)
        for n, laid in self._newly_laid(missing):
            key = keys[n]
            if self.kept is not None and key is not None:
                self.kept.store(key, laid)
            self._finish(n, laid, was_kept=False)
        return [self._done[n] for n in range(len(self.tasks))]

    def _from_before(self, key: str | None) -> LaidPlan | None:
        if self.kept is None or key is None:
            return None
        if self.how.fresh:
            self.kept.forget([key])
        return self.kept.load(key)

    def _newly_laid(self, numbers: Sequence[int]) -> Iterator[tuple[int, LaidPlan]]:
        tasks = [self.tasks[n] for n in numbers]
        for n, laid in lay_side_by_side(tasks, self.how):
            yield numbers[n], laid

    def _finish(self, n: int, laid: LaidPlan, *, was_kept: bool) -> None:
        self._done[n] = laid
        if self.how.on_done is not None:
            self.how.on_done(
                Done(
                    task=self.tasks[n],
                    laid=laid,
                    number=len(self._done),
                    count=len(self.tasks),
                    was_kept=was_kept,
                )
            )

    def remarks(self) -> tuple[str, ...]:
        """What the user should know of kept results."""
        if self.kept is None:
            return ()
        found = []
        if self.kept.damaged:
            found.append(
                f"{self.kept.folder}: {self.kept.damaged} kept results were damaged and were made anew."
            )
        if self.kept.trouble:
            found.append(
                f"{self.kept.trouble}. Results could not be kept: if this job is stopped, it starts "
                "from the beginning."
            )
        return tuple(found)


def lay_side_by_side(tasks: Sequence[Task], how: Running) -> Iterator[tuple[int, LaidPlan]]:
    """Each task's place and result, as they are finished; what fails comes as a failed plan."""
    folder = str(Path.cwd())
    with _executor(how, len(tasks)) as executor:
        places = {
            executor.submit(
                lay_guarded, Errand(task=t, limits=how.limits, folder=folder, lay=how.lay)
            ): n
            for n, t in enumerate(tasks)
        }
        for future in as_completed(places):
            n = places.pop(future)  # not held on to: the results of a large job are large
            yield n, _result(tasks[n], future)


@contextmanager
def _executor(how: Running, most: int) -> Iterator[Executor]:
    """The executor of a job. Our own waits in threads while processes do the work; whatever stops the
    job ends them at once.
    """
    if how.executor is not None:
        yield how.executor
        return
    own = ThreadPoolExecutor(max(1, min(how.workers, most)))
    try:
        yield own
    except BaseException:
        own.shutdown(wait=False, cancel_futures=True)
        children().end()
        raise
    own.shutdown()


def _result(task: Task, future: Future[LaidPlan]) -> LaidPlan:
    """What an executor brought back; where the executor itself failed, a finding in the plan's place."""
    error = future.exception()
    if error is None:
        return future.result()
    return failed(task.path, refusal(FAULT_CODE, task.path, fault_words(error), FAULT_REMEDY))
