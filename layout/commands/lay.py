"""`setout lay`: plans laid, written, and summed up on the screen."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from importer.plan import Severity
from layout.batch import JobOutcome, find_plans, run_job
from layout.cautions import DEFAULT_RULES_NOTE
from layout.commands.screen import breach_words, busy, console, plain, rules_or_default
from layout.commands.status import ExitStatus
from layout.floor import BayLayout, JobResult, PlanResult, PlanStatus
from layout.rules import LayerNames

if TYPE_CHECKING:
    from rich.console import Console

_MOST_ROWS: Final = 40
"""Bays in the table; a larger job is shown plan by plan."""
_MOST_LINES: Final = 12
"""Lines under "look at first"; the record has the rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What was said on the command line about the outputs; it comes before the rule set."""

    job: str | None = None
    date: str | None = None
    layers: str | None = None


def lay(
    plans: Sequence[Path],
    *,
    rules: str | None,
    out: Path,
    workers: int | None,
    quiet: bool,
    said: Said = Said(),
) -> ExitStatus:
    """Lay the plans, write the outputs, show the sum. Raises RuleError, PlanError, OutputError."""
    rule_set, is_default = rules_or_default(rules)
    layers = None if said.layers is None else LayerNames(said.layers)
    rule_set = rule_set.told(job=said.job, date=said.date, layers=layers)
    found = find_plans(plans)
    errors = console(errors=True)
    for words in found.left_out:
        errors.print(f"left out: {plain(words)}")
    with busy(f"Laying {_count(len(found.paths), 'plan')}", quiet=quiet):
        outcome = run_job(
            found.paths,
            rule_set,
            out,
            workers=workers or _processors(),
            default_rules=is_default,
            keep=() if rules is None else (Path(rules),),
        )
    for plan in outcome.job.plans:
        if plan.status is PlanStatus.FAILED:
            for line in _failure_lines(plan):
                errors.print(line, soft_wrap=True)
    if not quiet and outcome.written:
        show_outcome(outcome, out, console())
    return exit_status(outcome.job)


def exit_status(job: JobResult) -> ExitStatus:
    """The worst of the plans decides."""
    states = {p.status for p in job.plans}
    if PlanStatus.FAILED in states:
        return ExitStatus.BAD_INPUT
    return ExitStatus.TO_SETTLE if PlanStatus.TO_SETTLE in states else ExitStatus.CLEAN


def _processors() -> int:
    """Processors this process may use; fewer than the machine has inside a container."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


# --- on the screen ------------------------------------------------------------------------------


def show_outcome(outcome: JobOutcome, out: Path, screen: Console) -> None:
    """Bays, what to order, and what to look at first."""
    job = outcome.job
    screen.print(f"Rules: {plain(job.rules_name)}")
    if job.default_rules:
        screen.print(DEFAULT_RULES_NOTE)
    bays = sum(len(p.bays) for p in job.plans)
    (_show_bays if bays <= _MOST_ROWS else _show_plans)(job, screen)
    total = job.totals
    screen.print(
        f"Order {_count(total.packs, 'pack')}: {total.planks} planks laid (no layout needs fewer than "
        f"{total.bound}) and {total.spare_planks} spare, for {total.net_area_m2:.2f} m2; "
        f"waste {total.waste_percent:.1f} %."
    )
    lines = list(_look_at_first(job))
    if lines:
        screen.print("Look at first:")
    for line in lines[:_MOST_LINES]:
        screen.print(f"- {line}", soft_wrap=True)
    if len(lines) > _MOST_LINES:
        screen.print(f"- and {len(lines) - _MOST_LINES} more, in record.json")
    screen.print(f"{_count(len(outcome.written), 'file')} written to {plain(str(out))}")


def _show_bays(job: JobResult, screen: Console) -> None:
    from rich.table import Table

    table = Table("bay")
    for head in ("floor m2", "first row mm", "last row mm", "planks / bound", "breaches"):
        table.add_column(head, justify="right")
    several = len(job.plans) > 1
    for plan in job.plans:
        for bay in plan.bays:
            name = bay.bay.name or str(bay.bay.id)
            table.add_row(
                plain(f"{Path(plan.source).stem}: {name}" if several else name),
                f"{bay.area_mm2 / 1e6:.2f}",
                f"{bay.setting_out.first_row_mm:.0f}",
                f"{bay.setting_out.last_row_mm:.0f}",
                f"{len(bay.planks)} / {bay.bound}",
                str(len(bay.breaches)),
            )
    screen.print(table)


def _show_plans(job: JobResult, screen: Console) -> None:
    from rich.table import Table

    table = Table("plan", "status")
    for head in ("bays", "floor m2", "planks / bound", "breaches"):
        table.add_column(head, justify="right")
    for plan in job.plans:
        table.add_row(
            plain(plan.source),
            plan.status.value,
            str(len(plan.bays)),
            f"{sum(b.area_mm2 for b in plan.bays) / 1e6:.2f}",
            f"{sum(len(b.planks) for b in plan.bays)} / {sum(b.bound for b in plan.bays)}",
            str(sum(len(b.breaches) for b in plan.bays)),
        )
    screen.print(table)


def _look_at_first(job: JobResult) -> Iterator[str]:
    """What failed, then what was broken, then what was assumed, then what was left out."""
    for plan in job.plans:
        yield from _finding_lines(plan, Severity.REFUSED)
    for plan in job.plans:
        yield from _breach_lines(plan)
    for plan in job.plans:
        yield from _finding_lines(plan, Severity.SETTLE)
    for plan in job.plans:
        yield from _unlaid_lines(plan)


def _finding_lines(plan: PlanResult, severity: Severity) -> Iterator[str]:
    return (plain(str(f)) for f in plan.findings if f.severity is severity)


def _failure_lines(plan: PlanResult) -> Iterator[str]:
    """Why a plan came to nothing; it is never said without a reason."""
    found = [
        *_finding_lines(plan, Severity.REFUSED),
        *_finding_lines(plan, Severity.SETTLE),
        *(f"{plain(plan.source)}: {line}" for line in _unlaid_lines(plan)),
    ]
    yield from found or [f"{plain(plan.source)}: no room was found to lay."]


def _unlaid_lines(plan: PlanResult) -> Iterator[str]:
    """Rooms without planks, one line for each reason."""
    names = {r.id: r.name or r.number or str(r.id) for r in plan.plan.rooms} if plan.plan else {}
    by_reason: dict[str, list[str]] = {}
    for unlaid in plan.unlaid:
        by_reason.setdefault(unlaid.because, []).append(names.get(unlaid.room, str(unlaid.room)))
    for reason, rooms in by_reason.items():
        yield plain(f"not laid: {', '.join(rooms)} ({reason.rstrip('.')})")


def _breach_lines(plan: PlanResult) -> Iterator[str]:
    """One line for each rule broken in a bay: a bay that breaks one does so in many places."""
    for bay in plan.bays:
        rules: dict[str, int] = {}
        for breach in bay.breaches:
            rules[breach.rule] = rules.get(breach.rule, 0) + 1
        for rule, count in rules.items():
            yield _breach_line(bay, rule, count)


def _breach_line(bay: BayLayout, rule: str, count: int) -> str:
    first = next(b for b in bay.breaches if b.rule == rule)
    places = f"in {count} places, first " if count > 1 else ""
    name = bay.bay.name or str(bay.bay.id)
    return plain(f"{name}: [{rule}] {places}{first.where}: {breach_words(first)}")


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
