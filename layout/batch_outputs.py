"""One plan laid into files: what a worker does, and the table of everything that is written.

To add an output, add one line: to `PLAN_OUTPUTS` what belongs to one plan, to `JOB_OUTPUTS` what is made
over all plans together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path, PurePath
from typing import Final

from importer.plan import Finding, Origin, Plan, PlanError, Severity
from importer.read import read_plan
from layout.batch_plans import COPY_ENDING, MARKED_ENDING
from layout.batch_scope import Scope, scoped
from layout.floor import JobResult, PlanResult, PlanStatus, UnlaidRoom
from layout.job import lay_plan
from layout.rules import RuleSet
from layout.rules_error import RuleError, RuleProblem
from layout.safe_write import safe_names
from layout.site_file import SiteFile
from layout.site_lay import lay_measured
from layout.takeoff_measure import measured
from layout.writers.dxf.mark import mark_drawing
from layout.writers.dxf.storey_marks import is_stacked, mark_stacked, mark_storeys
from layout.writers.ifc.model_copy import model_with_floors
from layout.writers.page.render import page_html
from layout.writers.record import record_json
from layout.writers.sheets.book import plan_sheets
from layout.writers.site_form import site_form
from layout.writers.tables import cuts_csv, order_csv
from layout.writers.workbook import job_workbook

SITE_FORM: Final = "-site.yaml"
"""How the form for the sizes of a plan on site is named."""
MODEL_FORMAT: Final = "IFC"
"""How the format of a plan begins that was read from a model and has no drawing of its own."""
_STOREY_LETTERS: Final = 40
"""Of a storey's name in a file name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One plan to lay, all that decides what comes of it: two tasks that print alike (`repr`) over the
    same drawing give the same bytes. `path` is as the user gave it; `site` is what was measured there.
    """

    path: Path
    rules: RuleSet
    default_rules: bool
    site: SiteFile | None = None
    called: str = ""
    """What a job file calls it; its outputs are named so."""
    scope: Scope | None = None
    """What of the plan is laid, by a job file; None: all of it."""

    @property
    def measured_as(self) -> Path:
        """What a site file calls it: a drawing that stands for two storeys is two plans there."""
        return Path(self.called) if self.called else self.path

    @property
    def stem(self) -> str:
        """How the names of its outputs begin."""
        return self.called or self.path.stem


@dataclass(frozen=True, slots=True, kw_only=True)
class LaidPlan:
    """One plan laid and its files as bytes, by the ending of their names. `is_empty`: other parts of
    the job lay all of it.
    """

    result: PlanResult
    files: Mapping[str, bytes] = field(default_factory=dict)
    is_empty: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """Files of one plan by the ending of their names, and what the user should know of how they were
    made.
    """

    files: Mapping[str, bytes]
    findings: tuple[Finding, ...] = ()


Worker = Callable[[Task], LaidPlan]
"""Lays one plan. Sent to another process by name, so it must stand at the top of a module."""


def _marked(task: Task, result: PlanResult) -> Written:
    """The marked drawings: the architect's own, once a storey where they are stacked, or one a storey
    drawn from his model.
    """
    default_rules = task.default_rules
    if not is_model(result) and not is_stacked(result):
        marked = mark_drawing(task.path, result, task.rules, default_rules=default_rules)
        files = {MARKED_ENDING: marked}
    else:
        storeys = (
            mark_storeys(result, task.rules, default_rules=default_rules)
            if is_model(result)
            else mark_stacked(task.path, result, task.rules, default_rules=default_rules)
        )
        names = safe_names(f"{s.storey.name[:_STOREY_LETTERS]}.dxf" for s in storeys)
        files = {
            f"-{PurePath(name).stem}{MARKED_ENDING}": s.marked
            for name, s in zip(names, storeys, strict=True)
        }
    remarks = dict.fromkeys(r for file in files.values() for r in file.remarks)
    return Written(
        files={ending: file.data for ending, file in files.items()},
        findings=tuple(_remark(task.path, words) for words in remarks),
    )


def _sheets(task: Task, result: PlanResult) -> Written:
    sheets = plan_sheets(result, task.rules, default_rules=task.default_rules)
    return Written(files={"-sheets.pdf": sheets.data}, findings=tuple(sheets.findings))


def _cuts(task: Task, result: PlanResult) -> Written:
    data = cuts_csv(result, task.rules, default_rules=task.default_rules)
    return Written(files={"-cuts.csv": data})


def _model(task: Task, result: PlanResult) -> Written:
    """On request the model that the plan came from, as a copy with the floors in it."""
    if not task.rules.outputs.model or not is_model(result):
        return Written(files={})
    copy = model_with_floors(task.path, result, task.rules, default_rules=task.default_rules)
    files = {} if copy.data is None else {COPY_ENDING: copy.data}
    return Written(files=files, findings=copy.findings)


def is_model(result: PlanResult) -> bool:
    """Whether a plan was read from a model and has no drawing of its own."""
    return result.plan is not None and result.plan.format.startswith(MODEL_FORMAT)


def _site_form(task: Task, result: PlanResult) -> Written:
    """The empty form; a plan that was measured has one already."""
    data = site_form(result) if task.site is None else b""
    return Written(files={SITE_FORM: data} if data else {})


PLAN_OUTPUTS: Final[tuple[Callable[[Task, PlanResult], Written], ...]] = (
    _marked,
    _sheets,
    _cuts,
    _model,
    _site_form,
)
"""What is written for each plan, made in the worker. Each sees what the ones before it found out; it may
raise PlanError.
"""

JOB_OUTPUTS: Final[Mapping[str, Callable[[JobResult, RuleSet], bytes]]] = {
    "order.csv": order_csv,
    "job.xlsx": job_workbook,
    "index.html": page_html,
    "record.json": lambda job, _: record_json(job),
}
"""What is written for the job, by name, in this order."""


def lay_file(task: Task) -> LaidPlan:
    """Read and lay one plan and make its files. A plan that cannot be used comes back as failed, with
    the reason.
    """
    try:
        hints = replace(task.rules.hints(), allowed=task.rules.per_plan.allowed())
        plan = _part_of(task, read_plan(task.path, hints))
        if plan is None:
            return LaidPlan(result=_nothing(task), is_empty=True)
        result = replace(lay_plan(plan, task.rules), source=str(task.path), called=task.called)
        result = replace(result, unlaid=_to_tell(result, plan))
        if task.site is not None and result.bays:
            result = lay_measured(result, task.site, task.rules)
            things = measured(result.bays, result.joints, result.plan, task.rules)
            result = replace(result, accessories=things)
        if result.status is PlanStatus.FAILED:
            return LaidPlan(result=result)
        files: dict[str, bytes] = {}
        for make in PLAN_OUTPUTS:
            written = make(task, result)
            files.update(written.files)
            result = replace(result, findings=(*result.findings, *written.findings))
    except PlanError as error:
        return failed(task.path, error.finding)
    except RuleError as error:
        return failed(task.path, *(_at_fault(p) for p in error.problems))
    return LaidPlan(result=result, files=files)


def _part_of(task: Task, plan: Plan) -> Plan | None:
    """What of a plan is for this task; None for nothing."""
    return plan if task.scope is None else scoped(plan, task.scope)


def _nothing(task: Task) -> PlanResult:
    return PlanResult(source=str(task.path), status=PlanStatus.CLEAN, plan=None, called=task.called)


def _to_tell(result: PlanResult, plan: Plan) -> tuple[UnlaidRoom, ...]:
    """Rooms not laid, less those that are for another part of the job to tell of."""
    elsewhere = {r.id for r in plan.rooms if r.elsewhere}
    return tuple(u for u in result.unlaid if u.room not in elsewhere)


def failed(path: Path, *findings: Finding) -> LaidPlan:
    """A plan that came to nothing, with the reasons in its place."""
    return LaidPlan(
        result=PlanResult(source=str(path), status=PlanStatus.FAILED, plan=None, findings=findings)
    )


def _at_fault(problem: RuleProblem) -> Finding:
    """A mistake in a site file that only the layout could show."""
    return Finding(
        code=problem.code,
        severity=Severity.REFUSED,
        what=problem.what,
        where=Origin(file=problem.place),
        remedy=problem.remedy,
    )


def _remark(path: Path, words: str) -> Finding:
    return Finding(code="OUT-103", severity=Severity.NOTE, what=words, where=Origin(file=path.name))
