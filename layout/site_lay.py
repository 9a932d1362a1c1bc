"""A laid plan carried over to what was measured on site.

Walls go where the measures put them (`site_walls`), bays are formed anew there, and each that came out
different keeps of its layout what still holds (`site_refit`). What changed is told in the record of the
bay and as a finding.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import shapely

from importer.plan import Finding, Origin, Plan, Severity
from importer.tolerance import LENGTH_MM
from layout.audit import audit
from layout.bay_error import LayoutError, told_as_finding
from layout.bays import BayPlan, form_bays
from layout.floor import Bay, BayLayout, PlanResult, PlanStatus, SiteChange
from layout.floor_site import SiteMeasure
from layout.job import lay_bay
from layout.job_pools import bounds_as_measured, others_of, pools_of
from layout.laying import with_laying
from layout.laying_around import around_of
from layout.measures import nearest
from layout.rules import RuleSet
from layout.rules_error import RuleError, RuleProblem
from layout.site_dimensions import Tie, ties_of, with_dimensions
from layout.site_file import Measured, MeasuredBay, SiteFile
from layout.site_refit import Refit, refit, relisted
from layout.site_stock import recut
from layout.site_walls import Moved, moved, plan_as_measured
from layout.takeoff_measure import measured as accessories

SAME_DRAWN_MM: Final = 2.0
"""A drawn size in the site file that is further off than this was written for another layout."""
IMPLAUSIBLE: Final = 0.2
"""A measure further from the drawing than this part of it is a slip of the pen, or another wall."""
_MOST_NAMED: Final = 4
"""Measures named in a finding, those furthest off; the record has them all."""
CONTRADICTS_MM: Final = 2.0
"""Measures that cannot all be right by less than this are as good as a tape reads."""


def lay_measured(result: PlanResult, site: SiteFile, rules: RuleSet) -> PlanResult:
    """The plan laid as measured, with as little change as possible.

    Raises:
        RuleError: the site file names bays or dimensions that this layout does not have, or sizes that
            cannot be meant; with the place of each in the file.
    """
    assert result.plan is not None  # a plan that was laid
    ties: dict[str, Sequence[Tie]] = {
        b.bay.id: ties_of(b, result.joints, rules, beside=others_of(b, result.bays))
        for b in result.bays
    }
    problems = [p for bay in site.bays for p in _problems(bay, ties, result)]
    if problems:
        raise RuleError(tuple(sorted(problems, key=lambda p: (p.line or 0, p.column or 0))))
    given = {b.bay: b for b in site.bays if b.measures}
    measured = [
        moved(b, ties[b.bay.id], {m.id: m.site_mm for m in given[b.bay.id].measures})
        for b in result.bays
        if b.bay.id in given
    ]
    findings = [f for m in measured if (f := _contradiction(m, given)) is not None]
    sound = [m for m in measured if m.real.is_valid]
    plan = plan_as_measured(result.plan, sound)
    formed = _formed(plan, result, rules)
    work = _Work(result=replace(result, plan=plan), rules=rules, ties=ties, given=given)
    layouts, told = work.lay(formed.bays)
    findings += told
    layouts = [
        with_dimensions(b, formed.joints, rules, beside=others_of(b, layouts)) if b.site else b
        for b in layouts
    ]
    return replace(
        result,
        plan=plan,
        status=_status(result, layouts, findings),
        bays=tuple(layouts),
        joints=formed.joints,
        accessories=accessories(layouts, formed.joints, plan, rules),
        findings=(*result.findings, *findings),
    )


def _formed(plan: Plan, result: PlanResult, rules: RuleSet) -> BayPlan:
    """The bays of the measured plan, parted at the doorways where the layout as drawn was, their rows in
    the same direction.
    """
    assert result.plan is not None  # a plan that was laid
    whole = {j.doorway for j in form_bays(result.plan, rules).joints}
    parted = {j.doorway: j.why for j in result.joints if j.doorway and j.doorway not in whole}
    formed = form_bays(plan, rules, parted=parted)
    along = {b.bay.id: b.bay.along for b in result.bays}
    bays = (replace(b, along=along.get(b.id, b.along)) for b in formed.bays)
    return replace(formed, bays=tuple(bays))


def _status(
    result: PlanResult, layouts: Sequence[BayLayout], findings: Sequence[Finding]
) -> PlanStatus:
    every = (*result.findings, *findings)
    unsettled = any(f.severity is not Severity.NOTE for f in every)
    broken = any(b.breaches for b in layouts)
    return PlanStatus.TO_SETTLE if unsettled or broken else PlanStatus.CLEAN


# --- what the file may say ----------------------------------------------------------------------


def _problems(
    bay: MeasuredBay, ties: Mapping[str, Sequence[Tie]], result: PlanResult
) -> Iterator[RuleProblem]:
    if bay.bay not in ties:
        by_name = {b.bay.name: str(b.bay.id) for b in result.bays}
        near = by_name.get(bay.bay) or nearest(bay.bay, [*ties, *by_name])
        near = by_name.get(near, near) if near else None
        remedy = f"Did you mean {near}?" if near else f"Write one of {', '.join(ties)}."
        what = f"There is no bay {bay.bay} in this layout."
        yield bay.place.problem("SIT-301", f"bays.{bay.bay}", what, remedy)
        return
    known = {t.dimension.id: t for t in ties[bay.bay]}
    for measure in bay.measures:
        key = f"bays.{bay.bay}.{measure.id}"
        if measure.id not in known:
            near = nearest(measure.id, known)
            hint = f"Did you mean {near}? " if near else ""
            remedy = f"{hint}{bay.bay} has {', '.join(known)}."
            what = f"There is no dimension {measure.id} in {bay.bay}."
            yield measure.place.problem("SIT-302", key, what, remedy)
        else:
            yield from _implausible(measure, known[measure.id].dimension.drawn_mm, key)


def _implausible(measure: Measured, drawn: float, key: str) -> Iterator[RuleProblem]:
    if measure.drawn_mm is not None and abs(measure.drawn_mm - drawn) > SAME_DRAWN_MM:
        what = (
            f"{key} is said to be drawn {measure.drawn_mm:.0f} mm, but here it is {drawn:.0f} mm."
        )
        remedy = "The file is of another drawing or rule set: lay this one, and fill in its form."
        yield measure.place.problem("SIT-303", key, what, remedy)
    elif abs(measure.site_mm - drawn) > max(IMPLAUSIBLE * drawn, 50.0):
        what = f"{key} is {measure.site_mm:.0f} mm on site against {drawn:.0f} mm as drawn."
        remedy = "Measure it again; if it is right, have the drawing put right first."
        yield measure.place.problem("SIT-304", key, what, remedy)


def _contradiction(m: Moved, given: Mapping[str, MeasuredBay]) -> Finding | None:
    bay = m.layout.bay
    where = Origin(file=given[bay.id].place.file)
    if not m.real.is_valid:
        return Finding(
            code="LAY-151",
            severity=Severity.SETTLE,
            what=f"As measured, walls of {bay.name} would cross each other: it is laid as drawn.",
            where=where,
            remedy="Measure the bay again.",
        )
    if m.rest_mm > CONTRADICTS_MM:
        return Finding(
            code="LAY-152",
            severity=Severity.SETTLE,
            what=f"The measures of {bay.name} cannot all be right: they miss each other by "
            f"{m.rest_mm:.0f} mm, and the middle was taken.",
            where=where,
            remedy="Measure the bay again.",
        )
    return None


# --- bay by bay ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """The plan as measured (in `result.plan`) with the layout as drawn."""

    result: PlanResult
    rules: RuleSet
    ties: Mapping[str, Sequence[Tie]]
    given: Mapping[str, MeasuredBay]

    def lay(self, bays: Sequence[Bay]) -> tuple[list[BayLayout], list[Finding]]:
        """Every bay, those that did not change as they were."""
        drawn = {b.bay.id: b for b in self.result.bays}
        now: dict[str, BayLayout] = {b.id: drawn[b.id] for b in bays if b.id in drawn}
        findings: list[Finding] = []
        for bay in bays:
            if bay.id in drawn and _is_same(drawn[bay.id].bay, bay):
                if bay.id in self.given:
                    now[bay.id] = self._as_drawn(drawn[bay.id])
            else:
                try:
                    with told_as_finding(bay.name, Origin()):
                        now[bay.id] = self._bay(bay, drawn.get(bay.id), now)
                except LayoutError as error:
                    findings.append(error.finding)
                    now.pop(bay.id, None)
        order = [now[b.id] for b in bays if b.id in now]
        layouts: dict[str, BayLayout] = {}
        for pool in pools_of([b.bay for b in order], self.rules):
            for layout in self._pool([order[n] for n in pool]):
                layouts[layout.bay.id] = layout
        found = [layouts[b.bay.id] for b in order]
        findings += [f for b in found if (f := self._told(b)) is not None]
        return found, findings

    def _as_drawn(self, drawn: BayLayout) -> BayLayout:
        """A bay that was measured and is as drawn."""
        change = SiteChange(
            measures=self._measures(drawn),
            recut_rows=(),
            changed_rows=(),
            grid_changed=False,
            why="As drawn: nothing changes.",
        )
        return replace(drawn, site=change)

    def _pool(self, pool: Sequence[BayLayout]) -> Sequence[BayLayout]:
        """Bays that share their offcuts: planks and bound anew where one of them changed."""
        if all(b.site is None or not (b.site.recut_rows or b.site.changed_rows) for b in pool):
            return pool
        laid = self._cut_anew(pool)
        bounds = bounds_as_measured(laid, self.rules)
        return [
            self._in_order(replace(b, bound=bound), laid)
            for b, bound in zip(laid, bounds, strict=True)
        ]

    def _in_order(self, layout: BayLayout, pool: Sequence[BayLayout]) -> BayLayout:
        """With the order of laying told of the pieces as they are now, and audited so."""
        assert self.result.plan is not None  # a plan that was laid
        around = around_of(layout.bay, self.result.plan, self.rules)
        told = with_laying(layout, around, self.rules, others=others_of(layout, pool))
        others = [o for o in pool if o.bay.id != layout.bay.id]
        return replace(told, breaches=audit(told, self.rules, pool=others))

    def _cut_anew(self, pool: Sequence[BayLayout]) -> Sequence[BayLayout]:
        """Planks listed anew; every piece on a plank chosen anew where that saves planks."""
        now = [relisted(b, [o for o in pool if o is not b], self.rules) for b in pool]
        fewer = recut(now, self.rules)
        if sum(len(b.planks) for b in fewer) < sum(len(b.planks) for b in now):
            again = [relisted(b, [o for o in fewer if o is not b], self.rules) for b in fewer]
            if sum(len(b.breaches) for b in again) <= sum(len(b.breaches) for b in now):
                return again
        return now

    def _bay(self, bay: Bay, drawn: BayLayout | None, now: Mapping[str, BayLayout]) -> BayLayout:
        assert self.result.plan is not None  # a plan that was laid
        if drawn is None:
            layout = lay_bay(bay, self.result.plan, self.rules)
            change = SiteChange(
                measures=(),
                recut_rows=(),
                changed_rows=tuple(sorted({p.row for p in layout.pieces})),
                grid_changed=True,
                why="A bay that the drawing did not show.",
            )
            return replace(layout, site=change)
        others = [o for i, o in now.items() if i != bay.id]
        fitted = refit(drawn, bay, self.result.plan, self.rules, others)
        return replace(fitted.layout, site=self._change(fitted, drawn))

    def _change(self, fitted: Refit, drawn: BayLayout) -> SiteChange:
        return SiteChange(
            measures=self._measures(drawn),
            recut_rows=fitted.recut_rows,
            changed_rows=fitted.changed_rows,
            grid_changed=fitted.grid_changed,
            why=_why(fitted, drawn),
        )

    def _measures(self, drawn: BayLayout) -> tuple[SiteMeasure, ...]:
        known = {t.dimension.id: t.dimension for t in self.ties[drawn.bay.id]}
        given = self.given.get(drawn.bay.id)
        return tuple(
            SiteMeasure(id=m.id, drawn_mm=known[m.id].drawn_mm, measured_mm=m.site_mm)
            for m in (given.measures if given is not None else ())
        )

    def _told(self, layout: BayLayout) -> Finding | None:
        change = layout.site
        if change is None:
            return None
        given = self.given.get(layout.bay.id)
        off = [m for m in change.measures if abs(m.measured_mm - m.drawn_mm) > 0.5]
        off.sort(key=lambda m: -abs(m.measured_mm - m.drawn_mm))
        first = [f"{m.id} {m.measured_mm:.0f} (drawn {m.drawn_mm:.0f})" for m in off[:_MOST_NAMED]]
        more = f" and {len(off) - _MOST_NAMED} more" if len(off) > _MOST_NAMED else ""
        measures = f"Measured {', '.join(first)}{more}. " if off else ""
        return Finding(
            code="LAY-150",
            severity=Severity.NOTE,
            what=f"{layout.bay.name} as measured: {measures}{change.why}",
            where=Origin(file=given.place.file) if given is not None else Origin(),
        )


def _is_same(a: Bay, b: Bay) -> bool:
    if not shapely.equals_exact(
        shapely.normalize(a.outline), shapely.normalize(b.outline), tolerance=LENGTH_MM
    ):
        return a.outline.symmetric_difference(b.outline).area <= LENGTH_MM * a.outline.length
    return True


def _why(fitted: Refit, drawn: BayLayout) -> str:
    """What changed, in plain sentences."""
    said = []
    if fitted.grid_changed:
        first, was = fitted.layout.setting_out.first_row_mm, drawn.setting_out.first_row_mm
        said.append(f"The row lines move: first row {first:.0f} mm, it was {was:.0f} mm.")
    if fitted.changed_rows:
        said.append(f"Other joints in {_rows(fitted.changed_rows)}.")
    else:
        said.append("All joints stay.")
    if fitted.recut_rows:
        said.append(f"Other cuts in {_rows(fitted.recut_rows)}.")
    return " ".join(said)


def _rows(rows: Sequence[int]) -> str:
    """Row numbers as people say them: `row 4`, `rows 1 to 5, 8 and 9`."""
    spans: list[list[int]] = []
    for row in rows:
        if spans and row == spans[-1][-1] + 1:
            spans[-1].append(row)
        else:
            spans.append([row])
    words = [f"{s[0]} to {s[-1]}" if len(s) > 2 else " and ".join(map(str, s)) for s in spans]
    return ("row " if len(rows) == 1 else "rows ") + ", ".join(words)
