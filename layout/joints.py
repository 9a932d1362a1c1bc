"""Where the joints of a bay go.

Order of importance: fewest and smallest breaches; fewest planks; fewest cuts; looks. A first layout
comes from a dynamic programme over the rows; a search over the whole stock then takes planks away
until the bound is met or the effort is spent; a last pass betters the looks with the planks kept.
Effort is counted in moves and the random numbers are seeded, so a result never depends on the clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import lru_cache
from typing import Final

from layout.bound import Bound, bonded_bound, by_area
from layout.demand import BayDemand, JointPlan
from layout.joint_blanks import blanks_of
from layout.joint_bonds import bonded
from layout.joint_carry import carried
from layout.joint_counts import counted_choice
from layout.joint_looks import better_looks
from layout.joint_mirror import common_form
from layout.joint_pool import Start, joined, solve_together
from layout.joint_problem import Problem
from layout.joint_search import Search
from layout.joint_settle import SEED, Settled, settle
from layout.rules import Bond
from layout.stock import count_planks

FIRST_MOVES: Final = 30
"""Moves a run of the first search, before counting."""

REPAIR_MOVES: Final = 30
"""Moves a run to make a counted plan keep its joints apart."""

TRIES: Final = 3
"""How often a repair is tried afresh."""
KEPT: Final = 32
"""Bays whose solution is kept, so that equal ones are solved once."""

Joints = tuple[tuple[float, ...], ...]


class Effort(Enum):
    """How long to look for fewer planks: moves a run without gain before giving up."""

    QUICK = 0
    NORMAL = 60
    THOROUGH = 1500


LOOK_SWEEPS: Final = {Effort.QUICK: 3, Effort.NORMAL: 4, Effort.THOROUGH: 12}
"""Times that every run is looked at to better the looks."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solved:
    """A plan and the bound it was held against; `start` is where a search over several bays goes on
    from (None: a named bond, or nothing to lay).
    """

    plan: JointPlan
    bound: int
    start: Start | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pooled:
    """A plan per bay, the planks that all of them take with their offcuts shared, and the bound of
    that number.
    """

    plans: tuple[JointPlan, ...]
    planks: int
    bound: int


def place_joints(demand: BayDemand, *, effort: Effort = Effort.NORMAL) -> JointPlan:
    """Fix every run's joints.

    Args:
        demand: Runs, touches and rules, mm in the bay frame.
        effort: How long to search; the result for one effort is always the same.

    Returns:
        Joints per run and the number of planks that cutting them takes.
    """
    return solve(demand, effort=effort).plan


def solve(demand: BayDemand, *, effort: Effort = Effort.NORMAL) -> Solved:
    """`place_joints` together with the lower bound, which it works out anyway."""
    if not demand.runs:
        return Solved(plan=JointPlan(joints=(), planks=0), bound=0)
    form = common_form(demand)
    found = _solved(form.demand, effort)
    plan = _plan(demand, form.joints(demand, found.joints))
    start = None
    if found.settled is not None:
        start = Start(form=form, settled=found.settled, choice=found.choice)
    return Solved(plan=plan, bound=found.bound, start=start)


def solve_pool(
    demands: Sequence[BayDemand], solved: Sequence[Solved], *, effort: Effort = Effort.NORMAL
) -> Pooled:
    """Let the bays share their offcuts.

    Args:
        demands: Bays that are laid by the same rules.
        solved: Each of them solved alone.
        effort: How long to search.

    Returns:
        Plans that take no more planks together than those of the bays alone do, breaches no heavier.
    """
    alone = [s.plan for s in solved]
    planks = _planks_of(demands, alone)
    starts = [(k, s.start) for k, s in enumerate(solved) if s.start is not None]
    if len(starts) < 2:
        least = max(by_area(joined(demands)), max((s.bound for s in solved), default=0))
        return Pooled(plans=tuple(alone), planks=planks, bound=min(planks, least))
    # The bays have had their search: half of it does for what they can give each other.
    moves = effort.value // 2
    together = solve_together([s for _, s in starts], planks, moves, LOOK_SWEEPS[effort])
    plans = list(alone)
    for (k, start), joints in zip(starts, together.joints, strict=True):
        plans[k] = _plan(demands[k], start.form.joints(demands[k], joints))
    fewer = _planks_of(demands, plans)
    if fewer >= planks:
        return Pooled(plans=tuple(alone), planks=planks, bound=together.bound)
    return Pooled(plans=tuple(plans), planks=fewer, bound=together.bound)


def _plan(demand: BayDemand, joints: Joints) -> JointPlan:
    return JointPlan(joints=joints, planks=count_planks(blanks_of(demand, joints), demand.stock))


def _planks_of(demands: Sequence[BayDemand], plans: Sequence[JointPlan]) -> int:
    blanks = [b for d, p in zip(demands, plans, strict=True) for b in blanks_of(d, p.joints)]
    keyed = [replace(b, key=n) for n, b in enumerate(blanks)]
    return count_planks(keyed, demands[0].stock)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Found:
    """Joints in the common form and their bound; what the search began with (None: a named bond) and
    what it chose.
    """

    joints: Joints
    bound: int
    settled: Settled | None = None
    choice: tuple[int, ...] = ()


@lru_cache(maxsize=KEPT)
def _solved(demand: BayDemand, effort: Effort) -> _Found:
    """A bay in its common form; equal bays are solved once."""
    if demand.bond is not Bond.OFFCUT_LED:
        bond = bonded(demand)
        return _Found(joints=bond.joints, bound=bonded_bound(demand, bond.weight))
    settled = settle(demand)
    problem = settled.problem
    search = Search(problem, settled.choice, SEED, allowed=settled.weight)
    bound = Bound(demand, settled.tiers, strict=settled.strict)
    if effort is not Effort.QUICK and search.planks > bound.planks:
        _lessen(search, bound, effort)
    plan = _planned(problem, search.choice)
    better_looks(search, search.planks, LOOK_SWEEPS[effort])
    nicer = _planned(problem, search.choice)
    if nicer.planks <= plan.planks:
        plan = nicer
    if plan.planks > bound.planks:
        plan = _by_hand(demand, plan)
    return _Found(
        joints=plan.joints,
        bound=bound.raised(plan.planks),
        settled=settled,
        choice=tuple(search.choice),
    )


def _by_hand(demand: BayDemand, plan: JointPlan) -> JointPlan:
    """The plan, or the one made by hand when that takes fewer planks."""
    joints = carried(demand)
    if joints is None:
        return plan
    planks = count_planks(blanks_of(demand, joints), demand.stock)
    return JointPlan(joints=joints, planks=planks) if planks < plan.planks else plan


def _planned(problem: Problem, choice: Sequence[int]) -> JointPlan:
    joints = problem.joints(choice)
    planks = count_planks(blanks_of(problem.demand, joints), problem.demand.stock)
    return JointPlan(joints=joints, planks=planks)


def _lessen(search: Search, bound: Bound, effort: Effort) -> None:
    """Fewer planks without more breaches, down to the bound if it can be met."""
    moves = effort.value * search.problem.size
    search.improve(bound.planks, FIRST_MOVES * search.problem.size)
    if search.planks > bound.raised(search.planks):
        _count(search, bound.planks)
    if search.planks > bound.planks:
        search.improve(bound.planks, moves)


def _count(search: Search, bound: int) -> None:
    """Start again from a plan of the stock by counts, where there is one."""
    problem = search.problem
    counted = counted_choice(problem, search)
    if counted is None:
        return
    for target in range(bound, search.planks):
        for seed in range(SEED, SEED + TRIES):
            trial = Search(problem, counted, seed, allowed=search.allowed)
            if trial.repair(target, REPAIR_MOVES * problem.size):
                search.restart(trial.choice)
                return


__all__ = ["Effort", "Pooled", "Solved", "blanks_of", "place_joints", "solve", "solve_pool"]
