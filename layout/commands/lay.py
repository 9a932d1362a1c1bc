"""`setout lay`: plans laid, written, and summed up on the screen."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from pathlib import Path

from importer.plan import PlanError
from layout.batch import PlanList, Running, find_plans, run_tasks
from layout.batch_job_file import Job, is_job_file, load_job
from layout.batch_limits import FAULT_CODE, Limits
from layout.batch_outputs import Task, is_model
from layout.batch_plans import refusal
from layout.batch_scope import flats_without_match
from layout.batch_sites import sites_of
from layout.commands.progress import progress
from layout.commands.screen import console, plain, rules_or_default
from layout.commands.status import ExitStatus
from layout.commands.summary import failure_lines, show_outcome
from layout.floor import JobResult, PlanStatus
from layout.rules import LayerNames, RuleSet
from layout.site_file import load_site


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was said on the command line about the job; it comes before the rule set."""

    job: str | None = None
    date: str | None = None
    layers: str | None = None
    ifc: bool = False
    sites: tuple[Path, ...] = ()
    """Site files: sizes measured there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """How the work is to be done, as said on the command line; limits come before the rule set's."""

    workers: int | None = None
    fresh: bool = False
    minutes: float | None = None
    memory_mb: int | None = None
    entities: int | None = None
    cluster: str | None = None
    verbose: bool = False

    def executor(self) -> AbstractContextManager[Executor | None]:
        """The cluster's, or None for processes of this machine. Raises PlanError."""
        if self.cluster is None:
            return nullcontext()
        from layout.batch_cluster import cluster

        return cluster(self.cluster)

    def limited(self, rules: RuleSet) -> RuleSet:
        """The rules with what was said of what one plan may take."""
        said = {"minutes": self.minutes, "memory_mb": self.memory_mb, "entities": self.entities}
        own = rules.per_plan.model_copy(update={k: v for k, v in said.items() if v is not None})
        return rules.model_copy(update={"per_plan": own})

    def limits(self, rules: RuleSet) -> Limits:
        """What one plan may take."""
        own = self.limited(rules).per_plan
        return Limits(seconds=60.0 * own.minutes, memory_mb=own.memory_mb)


def lay(
    plans: Sequence[Path],
    *,
    rules: str | None,
    out: Path,
    quiet: bool,
    said: Said = Said(),
    work: Work = Work(),
) -> ExitStatus:
    """Lay the plans, write the outputs, show the sum. Raises RuleError, PlanError, OutputError."""
    order = _order(plans, rules=rules, said=said, work=work)
    errors = console(errors=True)
    for words in order.left_out:
        errors.print(f"left out: {plain(words)}")
    with (
        work.executor() as executor,
        progress(len(order.tasks), quiet=quiet) as on_done,
    ):
        how = Running(
            executor=executor,
            workers=work.workers or _processors(),
            limits=work.limits(order.rules),
            fresh=work.fresh,
            on_done=on_done,
        )
        outcome = run_tasks(order.tasks, order.rules, out, keep=order.keep, how=how)
    for words in order.unmatched(outcome.job):
        errors.print(plain(words), soft_wrap=True)
    if said.ifc and not any(is_model(p) for p in outcome.job.plans):
        errors.print("--ifc: no plan of this job was read from a model (IFC), so none is copied.")
    for words in outcome.remarks:
        errors.print(plain(words), soft_wrap=True)
    for plan in outcome.job.plans:
        if plan.status is PlanStatus.FAILED:
            for line in failure_lines(plan):
                errors.print(line, soft_wrap=True)
    if not quiet and outcome.written:
        show_outcome(outcome, out, console(), every=work.verbose)
    return exit_status(outcome.job)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Order:
    """What is to be laid. `rules` are those of the job as a whole, `wide` the patterns for flats that a
    job file has over all plans.
    """

    tasks: tuple[Task, ...]
    rules: RuleSet
    keep: tuple[Path, ...]
    left_out: tuple[str, ...]
    wide: tuple[str, ...] = ()

    def unmatched(self, job: JobResult) -> Iterator[str]:
        """Patterns for flats that no plan has a flat for: most likely misspelt."""
        known = [p.plan for p in job.plans if p.plan is not None]
        for match in flats_without_match(self.wide, known):
            yield f"The job names flats '{match}'; no plan has one of that name."


def _order(plans: Sequence[Path], *, rules: str | None, said: Said, work: Work) -> _Order:
    """The plans as tasks: from a job file, or as they are given."""
    base, is_default = rules_or_default(rules)
    files = [p for p in plans if is_job_file(p)]
    if files and len(plans) > 1:
        raise PlanError(
            refusal(
                "LAY-105",
                files[0],
                "A job file is given beside other plans.",
                "Give it alone and name the plans in it.",
            )
        )
    job = load_job(files[0]) if files else None
    found = PlanList(paths=()) if job is not None else find_plans(plans)
    if job is not None:
        tasks = job.tasks(base, is_default=is_default, is_said=rules is not None)
    else:
        tasks = tuple(Task(path=p, rules=base, default_rules=is_default) for p in found.paths)
    sites = sites_of([t.measured_as for t in tasks], [load_site(path) for path in said.sites])
    tasks = tuple(
        replace(t, rules=_told(t.rules, said, work, job), site=sites.get(t.measured_as))
        for t in tasks
    )
    keep = (*said.sites, *(() if rules is None else (Path(rules),)))
    return _Order(
        tasks=tasks,
        rules=tasks[0].rules,
        keep=keep if job is None else (*keep, *job.keep),
        left_out=found.left_out if job is None else job.left_out,
        wide=() if job is None else job.wide,
    )


def _told(rules: RuleSet, said: Said, work: Work, job: Job | None) -> RuleSet:
    """The rules with what the job file says for title blocks, and over it what the command line says."""
    if job is not None:
        own = {k: getattr(job.said, k) for k in ("name", "date", "revision")}
        own = {k: v for k, v in own.items() if v}
        rules = rules.model_copy(update={"job": rules.job.model_copy(update=own)})
    layers = None if said.layers is None else LayerNames(said.layers)
    told = rules.told(job=said.job, date=said.date, layers=layers, model=said.ifc or None)
    return work.limited(told)


def exit_status(job: JobResult) -> ExitStatus:
    """The worst of the plans decides."""
    states = {p.status for p in job.plans}
    if any(f.code == FAULT_CODE for p in job.plans for f in p.findings):
        return ExitStatus.FAULT
    if PlanStatus.FAILED in states:
        return ExitStatus.BAD_INPUT
    return ExitStatus.TO_SETTLE if PlanStatus.TO_SETTLE in states else ExitStatus.CLEAN


def _processors() -> int:
    """Processors this process may use; fewer than the machine has inside a container."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
