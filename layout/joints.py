"""Where the joints of a bay go.

Order of importance: fewest and smallest breaches; fewest planks; fewest cuts; looks. A first layout
comes from a dynamic programme over the rows; a search over the whole stock then takes planks away
until the bound is met or the effort is spent; a last pass betters the looks with the planks kept.
Effort is counted in moves and the random numbers are seeded, so a result never depends on the clock.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from layout.bound import Bound, bonded_bound
from layout.demand import BayDemand, JointPlan
from layout.joint_blanks import blanks_of
from layout.joint_bonds import bonded
from layout.joint_carry import carried
from layout.joint_counts import counted_choice
from layout.joint_looks import better_looks
from layout.joint_mirror import common_form
from layout.joint_problem import Problem
from layout.joint_search import Search
from layout.joint_settle import SEED, settle
from layout.rules import Bond
from layout.stock import count_planks

FIRST_MOVES: Final = 30
"""Moves a run of the first search, before counting."""

REPAIR_MOVES: Final = 30
"""Moves a run to make a counted plan keep its joints apart."""

TRIES: Final = 3
"""How often a repair is tried afresh."""

Joints = tuple[tuple[float, ...], ...]


class Effort(Enum):
    """How long to look for fewer planks: moves a run without gain before giving up."""

    QUICK = 0
    NORMAL = 45
    THOROUGH = 1500


LOOK_SWEEPS: Final = {Effort.QUICK: 3, Effort.NORMAL: 4, Effort.THOROUGH: 12}
"""Times that every run is looked at to better the looks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """A plan and the bound it was held against."""

    plan: JointPlan
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
    joints, bound = _solved(form.demand, effort)
    joints = form.joints(demand, joints)
    planks = count_planks(blanks_of(demand, joints), demand.stock)
    return Solved(plan=JointPlan(joints=joints, planks=planks), bound=bound)


def _solved(demand: BayDemand, effort: Effort) -> tuple[Joints, int]:
    if demand.bond is not Bond.OFFCUT_LED:
        bond = bonded(demand)
        return bond.joints, bonded_bound(demand, bond.weight)
    settled = settle(demand)
    problem = settled.problem
    search = Search(problem, settled.choice, SEED, allowed=settled.weight)
    bound = Bound(settled)
    if effort is not Effort.QUICK and search.planks > bound.planks:
        _lessen(search, bound, effort)
    plan = _planned(problem, search.choice)
    better_looks(search, search.planks, LOOK_SWEEPS[effort])
    nicer = _planned(problem, search.choice)
    if nicer.planks <= plan.planks:
        plan = nicer
    if plan.planks > bound.planks:
        plan = _by_hand(demand, plan)
    return plan.joints, bound.raised(plan.planks)


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


__all__ = ["Effort", "Solved", "blanks_of", "place_joints", "solve"]
