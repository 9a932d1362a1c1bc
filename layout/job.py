"""One plan through the pipeline: bays, setting-out, runs, joints, pieces, order, window, audit.

A bay that cannot be laid becomes a finding and never stops the others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from typing import Final

from importer.plan import Finding, Origin, Plan, Severity
from layout.bay_edges import thin_strips
from layout.bay_error import LayoutError, told_as_finding
from layout.bay_parting import form_floors
from layout.bound import quick_bound
from layout.floor import (
    Alternative,
    Bay,
    BayLayout,
    PlanResult,
    PlanStatus,
    SettingOut,
    UnlaidRoom,
)
from layout.job_equal import lay_equal
from layout.job_pools import Grid, Sketch, bound_of, lay_pool, others_of, pools_of
from layout.joints import solve
from layout.laying_around import around_of, unheeded
from layout.rules import RuleSet
from layout.runs import cut_runs, demand
from layout.setting_out import floor_in, set_out, set_out_across
from layout.site_dimensions import with_dimensions
from layout.takeoff_measure import measured

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

    Example: a plan of one room, made by hand instead of read from a file.

    >>> from shapely import box
    >>> from importer.plan import Room, RoomId, Storey, StoreyId, UnitReading
    >>> plan = Plan(
    ...     file="by hand",
    ...     format="none",
    ...     units=UnitReading(name="mm", to_mm=1.0, because="made so"),
    ...     storeys=(Storey(id=StoreyId("S1"), name="Ground floor"),),
    ...     flats=(),
    ...     rooms=(
    ...         Room(
    ...             id=RoomId("R1"),
    ...             shape=box(0, 0, 5200, 3400),
    ...             storey=StoreyId("S1"),
    ...             name="Study",
    ...         ),
    ...     ),
    ...     doorways=(),
    ... )
    >>> rules = RuleSet(name="rigid vinyl", plank={"length": 1220, "width": 180})
    >>> result = lay_plan(plan, rules)
    >>> result.status.value
    'clean'
    >>> (bay,) = result.bays
    >>> bay.bay.name, len(bay.planks) >= bay.bound, len(bay.breaches)
    ('Study', True, 0)
    >>> first = bay.pieces[0]
    >>> first.row, first.role.value, first.blank_width_mm == bay.setting_out.first_row_mm
    (1, 'first', True)
    >>> round(bay.area_mm2 / 1e6, 3)  # the room less the wall gap of 8 mm
    17.543
    """
    formed = form_floors(plan, rules)
    trouble = _Trouble(plan)
    layouts: list[BayLayout] = []
    for pool in pools_of(formed.bays, rules):
        bays = [formed.bays[n] for n in pool]
        layouts += lay_equal(bays, plan, rules, lay_bays) or _lay_each(bays, plan, rules, trouble)
    order = {bay.id: n for n, bay in enumerate(formed.bays)}
    layouts.sort(key=lambda layout: order[layout.bay.id])
    findings = [*plan.findings, *formed.findings, *trouble.findings, *unheeded(plan, rules)]
    return PlanResult(
        source=plan.file,
        status=_status(layouts, findings),
        plan=plan,
        bays=tuple(
            with_dimensions(b, formed.joints, rules, beside=others_of(b, layouts)) for b in layouts
        ),
        joints=formed.joints,
        unlaid=_in_plan_order(plan, (*formed.unlaid, *trouble.unlaid)),
        findings=tuple(findings),
        accessories=measured(layouts, formed.joints, plan, rules),
    )


class _Trouble:
    """Bays that could not be laid: what to tell, and their rooms."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self.findings: list[Finding] = []
        self.unlaid: list[UnlaidRoom] = []

    @contextmanager
    def of(self, bay: Bay) -> Iterator[None]:
        """Work on one bay: if it cannot be laid, the others go on."""
        try:
            with told_as_finding(bay.name, self._plan.room(bay.rooms[0]).source):
                yield
        except LayoutError as error:
            self.findings.append(error.finding)
            self.unlaid += [UnlaidRoom(room=r, because=error.finding.what) for r in bay.rooms]


def lay_bays(bays: Sequence[Bay], plan: Plan, rules: RuleSet) -> tuple[BayLayout, ...]:
    """Lay bays that share their offcuts.

    Raises:
        LayoutError: one of them cannot be laid.
    """
    return _together([_drawn(bay, plan, rules) for bay in bays], rules)


def _together(drawn: Sequence[_Drawn], rules: RuleSet) -> tuple[BayLayout, ...]:
    layouts = lay_pool([d.sketch for d in drawn], rules)
    return tuple(
        _with_figures(layout, d, pool=len(drawn)) for layout, d in zip(layouts, drawn, strict=True)
    )


def _lay_each(
    bays: Sequence[Bay], plan: Plan, rules: RuleSet, trouble: _Trouble
) -> list[BayLayout]:
    """Lay a pool of which a bay may not be layable. Where one of them cannot be laid, each of the others
    is laid by itself.
    """
    drawn: list[_Drawn] = []
    for bay in bays:
        with trouble.of(bay):
            drawn.append(_drawn(bay, plan, rules))
    if len(drawn) > 1:
        with suppress(LayoutError), told_as_finding("bays", Origin()):
            return list(_together(drawn, rules))
    found: list[BayLayout] = []
    for own in drawn:
        with trouble.of(own.sketch.bay):
            (layout,) = lay_pool([own.sketch], rules)
            found.append(_with_figures(layout, own, pool=1))
    return found


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


def lay_bay(bay: Bay, plan: Plan, rules: RuleSet) -> BayLayout:
    """Lay one bay by itself. With `fewest-planks` the directions worth it are laid and compared;
    otherwise the direction is the rule's, and the one across it is stated with its bound for comparison.

    Raises:
        LayoutError: the bay cannot be laid.
    """
    drawn = _drawn(bay, plan, rules)
    (layout,) = lay_pool([drawn.sketch], rules)
    return _with_figures(layout, drawn, pool=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Drawn:
    """A bay with its joints placed; `others` are the directions not taken, `before` those of them that
    come before the one taken.
    """

    sketch: Sketch
    others: tuple[Alternative, ...]
    before: int = 0


def _drawn(bay: Bay, plan: Plan, rules: RuleSet) -> _Drawn:
    """Set out, and the joints placed as if the bay were alone."""
    grids = [_grid(bay, s, rules) for s in set_out(bay, plan, rules)]
    if len(grids) > 1:
        return _fewest_planks(bay, grids, plan, rules)
    sketch = _sketch(bay, grids[0], plan, rules)
    others: tuple[Alternative, ...] = ()
    across = set_out_across(bay, plan, rules, grids[0].setting_out)
    if across is not None:
        grid = _grid(bay, across, rules)
        bound = bound_of(grid, quick_bound(grid.demand))
        others = (_bound_only(grid, bound, rules),)
    return _Drawn(sketch=sketch, others=others)


def _grid(bay: Bay, setting_out: SettingOut, rules: RuleSet) -> Grid:
    runs, touches = cut_runs(floor_in(bay, setting_out.frame), setting_out, rules)
    return Grid(
        setting_out=setting_out, runs=runs, touches=touches, demand=demand(runs, touches, rules)
    )


def _sketch(bay: Bay, grid: Grid, plan: Plan, rules: RuleSet) -> Sketch:
    around = around_of(bay, plan, rules)
    return Sketch(bay=bay, grid=grid, solved=solve(grid.demand), around=around)


def _with_figures(layout: BayLayout, drawn: _Drawn, *, pool: int) -> BayLayout:
    """The layout with the figures of the directions; those of its own are for the bay laid alone."""
    own = _figures(layout)
    if pool > 1:
        solved = drawn.sketch.solved
        own = replace(
            own, planks=solved.plan.planks, bound=bound_of(drawn.sketch.grid, solved.bound)
        )
    before, after = drawn.others[: drawn.before], drawn.others[drawn.before :]
    return replace(layout, alternatives=(*before, own, *after))


# --- directions compared ------------------------------------------------------------------------


def _fewest_planks(bay: Bay, grids: Sequence[Grid], plan: Plan, rules: RuleSet) -> _Drawn:
    """The direction with the fewest breaches, then planks, then pieces to saw, among those whose bound
    is near the best; ties go to the direction named first.
    """
    bounds = [bound_of(g, quick_bound(g.demand)) for g in grids]
    limit = min(bounds) * WORTH_A_SEARCH
    sketches = {n: _sketch(bay, g, plan, rules) for n, g in enumerate(grids) if bounds[n] <= limit}
    layouts = {n: lay_pool([sketch], rules)[0] for n, sketch in sketches.items()}
    best = min(layouts, key=lambda n: (*_rank(layouts[n]), n))
    others = tuple(
        _figures(layouts[n], chosen=False) if n in layouts else _bound_only(grid, bounds[n], rules)
        for n, grid in enumerate(grids)
        if n != best
    )
    return _Drawn(sketch=sketches[best], others=others, before=best)


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


def _bound_only(grid: Grid, bound: int, rules: RuleSet) -> Alternative:
    """A direction that was not laid: its bound, and the edges at which its row grid leaves a strip below
    the least width.
    """
    out = grid.setting_out
    return Alternative(
        along_deg=out.frame.along_deg,
        why=out.why,
        planks=None,
        bound=bound,
        breaches=thin_strips(out, rules),
    )
