"""`setout lay`: plans laid, written, and summed up on the screen."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from pathlib import Path

from layout.batch import Running, find_plans, run_job
from layout.batch_limits import FAULT_CODE, Limits
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
    rule_set, is_default = rules_or_default(rules)
    layers = None if said.layers is None else LayerNames(said.layers)
    rule_set = rule_set.told(job=said.job, date=said.date, layers=layers, model=said.ifc or None)
    rule_set = work.limited(rule_set)
    found = find_plans(plans)
    sites = sites_of(found.paths, [load_site(path) for path in said.sites])
    errors = console(errors=True)
    for words in found.left_out:
        errors.print(f"left out: {plain(words)}")
    with (
        work.executor() as executor,
        progress(len(found.paths), quiet=quiet) as on_done,
    ):
        how = Running(
            executor=executor,
            workers=work.workers or _processors(),
            limits=work.limits(rule_set),
            fresh=work.fresh,
            on_done=on_done,
        )
        outcome = run_job(
            found.paths,
            rule_set,
            out,
            default_rules=is_default,
            sites=sites,
            keep=(*said.sites, *(() if rules is None else (Path(rules),))),
            how=how,
        )
    for words in outcome.remarks:
        errors.print(plain(words), soft_wrap=True)
    for plan in outcome.job.plans:
        if plan.status is PlanStatus.FAILED:
            for line in failure_lines(plan):
                errors.print(line, soft_wrap=True)
    if not quiet and outcome.written:
        show_outcome(outcome, out, console())
    return exit_status(outcome.job)


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
