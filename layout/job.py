"""One plan through the pipeline: bays, setting-out, runs, joints, pieces, order, window, audit.

A bay that cannot be laid becomes a finding and never stops the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

from importer.plan import Finding, Plan, Severity
from importer.tolerance import LENGTH_MM
from layout.audit import audit
from layout.bay_edges import least_strip
from layout.bay_error import LayoutError, told_as_finding
from layout.bay_narrow import narrow_pieces
from layout.bays import form_bays
from layout.bound import lower_bound
from layout.demand import BayDemand
from layout.floor import (
    Alternative,
    Bay,
    BayLayout,
    PlanResult,
    PlanStatus,
    Run,
    SettingOut,
    Touch,
    UnlaidRoom,
)
from layout.joints import solve
from layout.pieces import cut_pieces, on_planks
from layout.rules import RuleSet
from layout.runs import cut_runs, demand
from layout.sequence import lay_order
from layout.setting_out import floor_in, set_out, set_out_across
from layout.site_dimensions import with_dimensions
from layout.stock import cut_planks
from layout.window import extent_of, window

WORTH_A_SEARCH: Final = 1.01
"""With `fewest-planks`, directions whose bound is within this of the best are laid and compared."""


def lay_plan(plan: Plan, rules: RuleSet) -> PlanResult:
    """Lay every room of a plan that the rules do not leave out.

    Args:
        plan: As an importer delivers it, millimetres in drawing coordinates.
        rules: The rule set to lay by.

    Returns:
        The bays in the order of their rooms, each audited; joints; rooms not laid and why; the findings
        of importer and layout. CLEAN only without a breach and without a finding to settle.
    """
    formed = form_bays(plan, rules)
    layouts: list[BayLayout] = []
    findings = [*plan.findings, *formed.findings]
    failed: list[UnlaidRoom] = []
    for bay in formed.bays:
        try:
            with told_as_finding(bay.name, plan.room(bay.rooms[0]).source):
                layouts.append(lay_bay(bay, plan, rules))
        except LayoutError as error:
            findings.append(error.finding)
            failed.extend(UnlaidRoom(room=r, because=error.finding.what) for r in bay.rooms)
    return PlanResult(
        source=plan.file,
        status=_status(layouts, findings),
        plan=plan,
        bays=tuple(with_dimensions(b, formed.joints, rules) for b in layouts),
        joints=formed.joints,
        unlaid=_in_plan_order(plan, (*formed.unlaid, *failed)),
        findings=tuple(findings),
    )


def _in_plan_order(plan: Plan, unlaid: Sequence[UnlaidRoom]) -> tuple[UnlaidRoom, ...]:
    place = {room.id: n for n, room in enumerate(plan.rooms)}
    return tuple(sorted(unlaid, key=lambda u: place[u.room]))


def _status(layouts: Sequence[BayLayout], findings: Sequence[Finding]) -> PlanStatus:
    if not layouts:
        return PlanStatus.FAILED
    unsettled = any(f.severity is not Severity.NOTE for f in findings)
    if unsettled or any(b.breaches for b in layouts):
        return PlanStatus.TO_SETTLE
    return PlanStatus.CLEAN


@dataclass(frozen=True, slots=True, kw_only=True)
class _Grid:
    """A bay with its row grid, before the joints are placed."""

    setting_out: SettingOut
    runs: tuple[Run, ...]
    touches: tuple[Touch, ...]
    demand: BayDemand


def lay_bay(bay: Bay, plan: Plan, rules: RuleSet) -> BayLayout:
    """Lay one bay. With `fewest-planks` the directions worth it are laid and compared; otherwise the
    direction is the rule's, and the one across it is stated with its bound for comparison.

    Raises:
        LayoutError: the bay cannot be laid.
    """
    grids = [_grid(bay, s, rules) for s in set_out(bay, plan, rules)]
    if len(grids) > 1:
        return _fewest_planks(bay, grids, rules)
    layout = _laid(bay, grids[0], rules)
    alternatives = [_figures(layout)]
    across = set_out_across(bay, plan, rules, layout.setting_out)
    if across is not None:
        grid = _grid(bay, across, rules)
        # Once the bound is above what the bay needs now, how far does not matter.
        bound = _bound(grid, lower_bound(grid.demand, found=len(layout.planks) + 1))
        alternatives.append(_bound_only(grid, bound, rules))
    return replace(layout, alternatives=tuple(alternatives))


def _grid(bay: Bay, setting_out: SettingOut, rules: RuleSet) -> _Grid:
    runs, touches = cut_runs(floor_in(bay, setting_out.frame), setting_out, rules)
    return _Grid(
        setting_out=setting_out, runs=runs, touches=touches, demand=demand(runs, touches, rules)
    )


def _laid(bay: Bay, grid: _Grid, rules: RuleSet) -> BayLayout:
    solved = solve(grid.demand)
    drafts = cut_pieces(grid.runs, grid.touches, solved.plan, rules)
    place = {run: n for n, run in enumerate(lay_order(grid.runs, grid.touches).runs)}
    in_order = sorted(drafts, key=lambda d: (place[d.run.index], d.key))
    sawn = on_planks(
        bay.id, in_order, cut_planks([d.blank for d in in_order], grid.demand.stock), rules
    )
    layout = BayLayout(
        bay=bay,
        setting_out=grid.setting_out,
        runs=grid.runs,
        pieces=sawn.pieces,
        planks=sawn.planks,
        bound=min(_bound(grid, solved.bound), len(sawn.planks)),
        breaches=(),
        window=window(
            sawn.pieces, grid.setting_out, rules, extent=extent_of(bay, grid.setting_out.frame)
        ),
    )
    return replace(layout, breaches=audit(layout, rules))


def _bound(grid: _Grid, as_solved: int) -> int:
    """A bound that holds for the pieces as they are, not only for runs as the solver simplifies them."""
    area = sum(r.shape.area for r in grid.runs)
    stock = grid.demand.stock
    by_area = ceil(round(area / (stock.plank_length * stock.plank_width), 6))
    return max(by_area, as_solved - narrow_pieces(grid.demand, grid.runs))


# --- directions compared ------------------------------------------------------------------------


def _fewest_planks(bay: Bay, grids: Sequence[_Grid], rules: RuleSet) -> BayLayout:
    """The layout with the fewest breaches, then planks, then pieces to saw, among the directions whose
    bound is near the best; ties go to the direction named first.
    """
    bounds = [_bound(g, lower_bound(g.demand)) for g in grids]
    limit = min(bounds) * WORTH_A_SEARCH
    layouts = {
        n: _laid(bay, grid, rules)
        for n, (grid, bound) in enumerate(zip(grids, bounds, strict=True))
        if bound <= limit
    }
    best = min(layouts, key=lambda n: (*_rank(layouts[n]), n))
    alternatives = tuple(
        _figures(layouts[n], chosen=n == best)
        if n in layouts
        else _bound_only(grid, bounds[n], rules)
        for n, grid in enumerate(grids)
    )
    return replace(layouts[best], alternatives=alternatives)


def _rank(layout: BayLayout) -> tuple[int, int, int]:
    sawn = sum(not p.is_whole for p in layout.pieces)
    return len(layout.breaches), len(layout.planks), sawn


def _figures(layout: BayLayout, *, chosen: bool = True) -> Alternative:
    return Alternative(
        along_deg=layout.setting_out.frame.along_deg,
        why=layout.setting_out.why,
        planks=len(layout.planks),
        bound=layout.bound,
        breaches=len(layout.breaches),
        chosen=chosen,
    )


def _bound_only(grid: _Grid, bound: int, rules: RuleSet) -> Alternative:
    """A direction that was not laid: its bound, and the edges at which its row grid leaves a strip below
    the least width.
    """
    out = grid.setting_out
    return Alternative(
        along_deg=out.frame.along_deg,
        why=out.why,
        planks=None,
        bound=bound,
        breaches=_thin_strips(out, rules),
    )


def _thin_strips(setting_out: SettingOut, rules: RuleSet) -> int:
    return sum(
        s.width_mm < least_strip(s.x1 - s.x0, rules.rows.min_width) - LENGTH_MM
        for s in setting_out.strips
    )
