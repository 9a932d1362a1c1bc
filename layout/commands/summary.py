"""The closing words of `setout lay`: what was laid, what to order, what to look at first."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from importer.alike import told_together
from importer.plan import Severity
from layout.batch import JobOutcome
from layout.cautions import DEFAULT_RULES_NOTE
from layout.commands.screen import breach_words, plain
from layout.floor import BayLayout, JobResult, PlanResult

if TYPE_CHECKING:
    from rich.console import Console

_MOST_ROWS: Final = 40
"""Bays in the table; a larger job is shown plan by plan."""
_MOST_LINES: Final = 12
"""Lines under "look at first"; the record has the rest."""


def show_outcome(outcome: JobOutcome, out: Path, screen: Console, *, every: bool = False) -> None:
    """Bays, what to order, and what to look at first: findings of one kind together and no more lines
    than a screen holds, unless `every` finding is to be shown.
    """
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
    measured = list(_as_measured(job))
    if measured:
        screen.print("As measured on site:")
    for line in measured:
        screen.print(f"- {line}", soft_wrap=True)
    lines = list(_look_at_first(job, every=every))
    most = len(lines) if every else _MOST_LINES
    if lines:
        screen.print("Look at first:")
    for line in lines[:most]:
        screen.print(f"- {line}", soft_wrap=True)
    if len(lines) > most:
        screen.print(f"- and {len(lines) - most} more, in record.json (setout -v shows them)")
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
                plain(f"{plan.title}: {name}" if several else name),
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
            plain(plan.called or plan.source),
            plan.status.value,
            str(len(plan.bays)),
            f"{sum(b.area_mm2 for b in plan.bays) / 1e6:.2f}",
            f"{sum(len(b.planks) for b in plan.bays)} / {sum(b.bound for b in plan.bays)}",
            str(sum(len(b.breaches) for b in plan.bays)),
        )
    screen.print(table)


def _look_at_first(job: JobResult, *, every: bool) -> Iterator[str]:
    """What failed, then what was broken, then what was assumed, then what was left out."""
    for plan in job.plans:
        yield from _finding_lines(plan, Severity.REFUSED, every=every)
    for plan in job.plans:
        yield from _breach_lines(plan)
    for plan in job.plans:
        yield from _finding_lines(plan, Severity.SETTLE, every=every)
    for plan in job.plans:
        yield from _unlaid_lines(plan)
    if every:
        for plan in job.plans:
            yield from _finding_lines(plan, Severity.NOTE, every=every)


def _as_measured(job: JobResult) -> Iterator[str]:
    """What the measures came to, bay by bay."""
    for plan in job.plans:
        for bay in plan.bays:
            if bay.site is not None:
                yield plain(f"{bay.bay.id} {bay.bay.name}: {bay.site.why}")


def _finding_lines(plan: PlanResult, severity: Severity, *, every: bool = False) -> Iterator[str]:
    """A line for each finding, or for each kind of them."""
    found = [f for f in plan.findings if f.severity is severity]
    return (plain(str(f)) for f in (found if every else told_together(found)))


def failure_lines(plan: PlanResult) -> Iterator[str]:
    """Why a plan came to nothing; it is never said without a reason."""
    found = [
        *_finding_lines(plan, Severity.REFUSED),
        *_finding_lines(plan, Severity.SETTLE),
        *(f"{plain(plan.called or plan.source)}: {line}" for line in _unlaid_lines(plan)),
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
