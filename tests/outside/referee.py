"""The joint problem put to OR-Tools CP-SAT, from the rules alone: shares no code with the solver.

Lengths are tried on a grid, so its optimum is what a grid can do at best; every number comes from the
demand and the meaning of the rules. Only full-width bays without slanted ends and with the tolerance
in hand are put to it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from ortools.sat.python import cp_model

from layout.demand import BayDemand, RunDemand

WALL_TO_WALL = -1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """Fewest planks on the grid; `proven` False when time ran out. `planks` is None when no layout
    without breaches exists (proven) or none was found.
    """

    planks: int | None
    bound: int
    proven: bool


def choices(run: RunDemand, demand: BayDemand, grid: float) -> list[tuple[float, int, float]]:
    """First piece, whole planks between, last piece: all that keep the rules with tolerance in hand."""
    stock = demand.stock
    length, plank, spare = run.x1 - run.x0, stock.plank_length, stock.tolerance
    found = []
    for first in np.arange(grid, plank + grid / 2, grid):
        for whole in range(int(length // plank) + 1):
            last = length - first - whole * plank
            if not 0 < last <= plank:
                continue
            ends = ((first, run.void_start_mm), (last, run.void_end_mm))
            whole_ends = [abs(blank - plank) < 1e-6 for blank, _ in ends]
            good = [
                is_whole or (blank - void >= demand.min_length + spare and blank <= plank - spare)
                for is_whole, (blank, void) in zip(whole_ends, ends, strict=True)
            ]
            if all(good) and not (all(whole_ends) and spare > 0):
                found.append((float(first), whole, float(last)))
    return found


def joints(run: RunDemand, choice: tuple[float, int, float], plank: float) -> np.ndarray:
    first, whole, _ = choice
    return run.x0 + first + plank * np.arange(whole + 1)


def too_close(a: np.ndarray, b: np.ndarray, seam: tuple[float, float], offset: float) -> bool:
    a = a[(a >= seam[0]) & (a <= seam[1])]
    b = b[(b >= seam[0]) & (b <= seam[1])]
    return bool(len(a) and len(b) and np.abs(a[:, None] - b[None, :]).min() < offset - 1e-6)


def judge(
    demand: BayDemand, *, grid: float = 10.0, seconds: float = 2.0, workers: int = 1
) -> Verdict:
    """Solve on the grid."""
    plank = demand.stock.plank_length
    model = cp_model.CpModel()
    options, pick = [], []
    for run in demand.runs:
        if run.x1 - run.x0 <= plank:
            raise ValueError("the referee takes runs longer than a plank only")
        some = choices(run, demand, grid)
        options.append(some)
        pick.append([model.new_bool_var(f"{run.index}/{k}") for k in range(len(some))])
        model.add_exactly_one(pick[-1])
    if not all(options):
        return Verdict(planks=None, bound=0, proven=True)
    seen: dict[tuple[object, ...], list[list[int]]] = {}
    for touch in demand.touches:
        i, j = touch.below, touch.above
        a, b = demand.runs[i], demand.runs[j]
        key = (
            a.x0,
            a.x1,
            a.void_start_mm,
            a.void_end_mm,
            b.x0,
            b.x1,
            b.void_start_mm,
            b.void_end_mm,
            touch.x0,
            touch.x1,
        )
        if key not in seen:
            upper = [joints(b, o, plank) for o in options[j]]
            seen[key] = [
                [
                    m
                    for m, other in enumerate(upper)
                    if too_close(
                        joints(a, o, plank), other, (touch.x0, touch.x1), demand.min_offset
                    )
                ]
                for o in options[i]
            ]
        for k, clashing in enumerate(seen[key]):
            if clashing:
                model.add_at_most_one([pick[i][k], *(pick[j][m] for m in clashing)])
    _count(model, demand, options, pick)
    solver = cp_model.CpSolver()
    # The solver's own deterministic time, so that a busy machine gives the same verdict.
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.num_workers = workers
    solver.parameters.random_seed = 1
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return Verdict(planks=None, bound=0, proven=True)
    if status not in {cp_model.OPTIMAL, cp_model.FEASIBLE}:
        return Verdict(planks=None, bound=0, proven=False)
    return Verdict(
        planks=round(solver.objective_value),
        bound=round(solver.best_objective_bound),
        proven=status == cp_model.OPTIMAL,
    )


def _count(
    model: cp_model.CpModel,
    demand: BayDemand,
    options: list[list[tuple[float, int, float]]],
    pick: list[list[cp_model.IntVar]],
) -> None:
    """Planks = opened - served; run i's last plank serves run j's first piece at most once each way,
    and only when both pieces, the kerf and the tolerance fit.
    """
    stock = demand.stock
    limit = stock.plank_length - stock.kerf - stock.tolerance
    served = []
    runs = range(len(options))
    gives = [[] for _ in runs]
    takes = [[] for _ in runs]
    for i in runs:
        for j in runs:
            serve = model.new_bool_var(f"{i} serves {j}")
            served.append(serve)
            gives[i].append(serve)
            takes[j].append(serve)
            for k, (_, _, last) in enumerate(options[i]):
                unfit = [
                    pick[j][m]
                    for m, (first, _, _) in enumerate(options[j])
                    if last + first > limit + 1e-9
                ]
                if i == j:
                    if pick[i][k] in unfit:
                        model.add_at_most_one([serve, pick[i][k]])
                elif unfit:
                    model.add(sum(unfit) + pick[i][k] + serve <= 2)
    for i in runs:
        model.add_at_most_one(gives[i])
        model.add_at_most_one(takes[i])
    opened = sum(
        (whole + 2) * var
        for some, row in zip(options, pick, strict=True)
        for (_, whole, _), var in zip(some, row, strict=True)
    )
    model.minimize(opened - sum(served))


def clean_is_possible(demand: BayDemand, *, grid: float = 5.0, seconds: float = 5.0) -> bool | None:
    """Whether first pieces on the grid exist that keep the least ends (by the drawing, no tolerance in
    hand) and every joint offset; None when time ran out. Runs that fit one plank have no joints.
    """
    nominal = replace(demand, stock=replace(demand.stock, tolerance=0.0))
    plank = demand.stock.plank_length
    model = cp_model.CpModel()
    options: dict[int, list[tuple[float, int, float]]] = {}
    pick: dict[int, list[cp_model.IntVar]] = {}
    for run in demand.runs:
        if run.x1 - run.x0 <= plank + 0.01:
            continue
        some = choices(run, nominal, grid)
        if not some:
            return False
        options[run.index] = some
        pick[run.index] = [model.new_bool_var("") for _ in some]
        model.add_exactly_one(pick[run.index])
    for touch in demand.touches:
        i, j = touch.below, touch.above
        if i not in options or j not in options:
            continue
        seam = (touch.x0, touch.x1)
        upper = [joints(demand.runs[j], o, plank) for o in options[j]]
        for k, option in enumerate(options[i]):
            lower = joints(demand.runs[i], option, plank)
            clashing = [
                pick[j][m]
                for m, other in enumerate(upper)
                if too_close(lower, other, seam, demand.min_offset)
            ]
            if clashing:
                model.add_at_most_one([pick[i][k], *clashing])
    solver = cp_model.CpSolver()
    solver.parameters.max_deterministic_time = seconds
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return False
    return True if status in {cp_model.OPTIMAL, cp_model.FEASIBLE} else None
