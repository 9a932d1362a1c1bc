"""Bays that share their offcuts, from joints to audited layouts.

`cut.pool` says how far an offcut is carried: within its bay, its flat or its storey. Rooms that belong
to no flat are pooled by storey: a house without flats is one dwelling.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

from layout.audit import audit
from layout.bound import lower_bound
from layout.demand import BayDemand, JointPlan, PlankCut
from layout.floor import Bay, BayLayout, Piece, Run, SettingOut, Touch
from layout.joint_pool import joined
from layout.joints import Solved, solve_pool
from layout.laying import with_laying
from layout.laying_around import NOTHING_AROUND, Around, rooms_of_runs
from layout.laying_stages import Ground, Places, ordered
from layout.pieces import Drafted, Sawn, blanks_together, cut_pieces, on_planks
from layout.rules import RuleSet
from layout.runs import cut_runs, demand
from layout.setting_out import floor_in
from layout.stock import cut_planks
from layout.window import extent_of, window


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A bay with its row grid, before the joints are placed."""

    setting_out: SettingOut
    runs: tuple[Run, ...]
    touches: tuple[Touch, ...]
    demand: BayDemand


@dataclass(frozen=True, slots=True, kw_only=True)
class Sketch:
    """A bay with its joints placed as if it were alone."""

    bay: Bay
    grid: Grid
    solved: Solved
    around: Around = NOTHING_AROUND


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cut:
    """One way to lay a pool: drafts per bay, and the planks they are cut from."""

    drafts: tuple[Drafted, ...]
    planks: tuple[PlankCut, ...]

    @property
    def carried(self) -> int:
        """Planks that give pieces to more than one bay."""
        bays = [n for n, bay in enumerate(self.drafts) for _ in bay.drafts]
        return sum(len({bays[p.key] for p in plank.placed}) > 1 for plank in self.planks)

    @property
    def rank(self) -> tuple[int, int]:
        """Fewest planks, then fewest offcuts carried to another bay."""
        return len(self.planks), self.carried


def pools_of(bays: Sequence[Bay], rules: RuleSet) -> list[list[int]]:
    """Numbers of the bays that share their offcuts, in the order of the first of each pool."""
    pools: dict[tuple[str, ...], list[int]] = {}
    for number, bay in enumerate(bays):
        key: tuple[str, ...] = (bay.storey,)
        if rules.cut.pool == "flat":
            key = (bay.storey, bay.flat or "")
        elif rules.cut.pool == "bay":
            key = (bay.id,)
        pools.setdefault(key, []).append(number)
    return list(pools.values())


def lay_pool(sketches: Sequence[Sketch], rules: RuleSet) -> tuple[BayLayout, ...]:
    """Lay bays that share their offcuts, in the order in which they are laid. Never more planks than
    the bays need alone.

    Raises:
        LayoutError: a bay cannot be laid.
    """
    best, bound = _best_cut(sketches, rules)
    sawn = on_planks(best.drafts, best.planks, rules)
    bounds = _shares([len(s.planks) for s in sawn], bound)
    layouts = [
        replace(_told(sketch, own, least, sawn, rules), stage_borders=drafted.borders)
        for sketch, own, least, drafted in zip(sketches, sawn, bounds, best.drafts, strict=True)
    ]
    return tuple(
        replace(own, breaches=audit(own, rules, pool=[o for o in layouts if o is not own]))
        for own in layouts
    )


def _told(sketch: Sketch, own: Sawn, bound: int, pool: Sequence[Sawn], rules: RuleSet) -> BayLayout:
    """The layout of one bay, how it is to be laid with it."""
    beside = [p for other in pool if other is not own for p in other.pieces]
    layout = BayLayout(
        bay=sketch.bay,
        setting_out=sketch.grid.setting_out,
        runs=sketch.grid.runs,
        pieces=own.pieces,
        planks=own.planks,
        bound=bound,
        breaches=(),
        window=window(
            own.pieces,
            sketch.grid.setting_out,
            rules,
            extent=extent_of(sketch.bay, sketch.grid.setting_out.frame),
            beside=beside,
        ),
    )
    return with_laying(layout, sketch.around, rules, others=beside)


def others_of(layout: BayLayout, layouts: Sequence[BayLayout]) -> list[Piece]:
    """Pieces of other bays that come out of the same planks as pieces of this one."""
    own = {p.plank for p in layout.pieces}
    return [p for o in layouts if o.bay.id != layout.bay.id for p in o.pieces if p.plank in own]


def _best_cut(sketches: Sequence[Sketch], rules: RuleSet) -> tuple[_Cut, int]:
    """The way with the fewest planks, and the bound of their number."""
    alone = tuple(_drafted(s, s.solved.plan, rules) for s in sketches)
    if len(sketches) == 1:
        return _cut(alone, sketches), bound_of(sketches[0].grid, sketches[0].solved.bound)
    ways = [_cut_alone(alone, sketches), _cut(alone, sketches)]
    pooled = solve_pool([s.grid.demand for s in sketches], [s.solved for s in sketches])
    if any(p is not s.solved.plan for p, s in zip(pooled.plans, sketches, strict=True)):
        together = zip(sketches, pooled.plans, strict=True)
        ways.append(_cut(tuple(_drafted(s, p, rules) for s, p in together), sketches))
    return min(ways, key=lambda way: way.rank), _pool_bound(sketches, pooled.bound)


def _drafted(sketch: Sketch, plan: JointPlan, rules: RuleSet) -> Drafted:
    grid = sketch.grid
    drafts = cut_pieces(grid.runs, grid.touches, plan, rules)
    frame = grid.setting_out.frame
    ground = Ground(
        runs=grid.runs,
        touches=grid.touches,
        joints=plan.joints,
        rooms=rooms_of_runs(grid.runs, frame, sketch.around),
        plank=rules.plank.length,
        frame=frame,
    )
    found = ordered(ground, sketch.around)
    places = Places(found)
    placed = [(places.of(d.run.index, (d.box.x0 + d.box.x1) / 2), d) for d in drafts]
    placed.sort(key=lambda p: (p[0][0], p[1].key))
    return Drafted(
        bay=sketch.bay.id,
        drafts=tuple(replace(d, stage=stage) for (_, stage), d in placed),
        borders=found.borders,
    )


def _cut(drafts: tuple[Drafted, ...], sketches: Sequence[Sketch]) -> _Cut:
    stock = sketches[0].grid.demand.stock
    return _Cut(drafts=drafts, planks=cut_planks(blanks_together(drafts), stock))


def _cut_alone(drafts: tuple[Drafted, ...], sketches: Sequence[Sketch]) -> _Cut:
    """Every bay from planks of its own."""
    planks: list[PlankCut] = []
    start = 0
    for n, bay in enumerate(drafts):
        for plank in _cut((bay,), sketches[n:]).planks:
            placed = tuple(replace(p, key=start + p.key) for p in plank.placed)
            planks.append(replace(plank, placed=placed))
        start += len(bay.drafts)
    return _Cut(drafts=drafts, planks=tuple(planks))


# --- bounds -------------------------------------------------------------------------------------


def bound_of(grid: Grid, as_solved: int) -> int:
    """A bound that holds for the pieces as they are, not only for runs as the solver simplifies them."""
    return _real_bound(grid.demand, grid.runs, as_solved)


def _pool_bound(sketches: Sequence[Sketch], as_solved: int) -> int:
    runs = _side_by_side([s.grid.runs for s in sketches])
    return _real_bound(joined([s.grid.demand for s in sketches]), runs, as_solved)


def _side_by_side(bays: Sequence[Sequence[Run]]) -> list[Run]:
    """The runs of several bays, counted on as `joined` does."""
    runs: list[Run] = []
    for own in bays:
        start = len(runs)
        runs += [replace(r, index=start + r.index) for r in own]
    return runs


def _real_bound(demand: BayDemand, runs: Sequence[Run], as_solved: int) -> int:
    area = sum(r.shape.area for r in runs)
    stock = demand.stock
    by_area = ceil(round(area / (stock.plank_length * stock.plank_width), 6))
    return max(by_area, as_solved)


def bounds_as_measured(layouts: Sequence[BayLayout], rules: RuleSet) -> list[int]:
    """The bound of bays that share their offcuts on the floors and row lines they have, in parts as
    `BayLayout.bound` is. What was measured needs no tolerance in hand.
    """
    cut = [cut_runs(floor_in(b.bay, b.setting_out.frame), b.setting_out, rules) for b in layouts]
    demands = [demand(runs, touches, rules) for runs, touches in cut]
    exact = [replace(d, stock=replace(d.stock, tolerance=0.0)) for d in demands]
    planks = [len(b.planks) for b in layouts]
    together = joined(exact)
    runs = _side_by_side([runs for runs, _ in cut])
    bound = _real_bound(together, runs, lower_bound(together, found=sum(planks)))
    return _shares(planks, bound)


def _shares(planks: Sequence[int], bound: int) -> list[int]:
    """The bound of a pool in parts, none above the planks of its bay: what the pool may be over is taken
    from the bays one after the other, from those with most planks first.
    """
    parts = list(planks)
    for _ in range(sum(planks) - min(bound, sum(planks))):
        most = max(range(len(parts)), key=lambda n: (parts[n], -n))
        parts[most] -= 1
    return parts
