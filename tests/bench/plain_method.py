"""What is done without planning: each row starts with the offcut of the last, if that is long enough
and staggers the joints, else with a new plank.
"""

from __future__ import annotations

from layout.demand import BayDemand, RunDemand, Touch
from layout.joint_candidates import Tier, fits_one_plank, kind_of, reaches

STEP_MM = 10.0


def plain_planks(demand: BayDemand) -> int:
    """Planks bought when rows are laid in order, only the last offcut being tried.

    Starts are those the rules allow (with the tolerance in hand), so that the comparison is of
    planning, not of breaches; a row without such a start begins with whatever it must.
    """
    stock = demand.stock
    offcut, planks = 0.0, 0
    placed: dict[int, tuple[float, int]] = {}
    for run in demand.runs:
        length = run.x1 - run.x0
        if fits_one_plank(run, demand):
            used_offcut = length + stock.tolerance <= offcut
            planks += 0 if used_offcut else 1
            left = (offcut if used_offcut else stock.plank_length) - length - stock.kerf
            offcut = max(0.0, left)
            continue
        first, from_offcut = _start(run, offcut, placed, demand)
        whole = int((length - first - 0.01) // stock.plank_length)
        placed[run.index] = (run.x0 + first, whole + 1)
        planks += whole + 1 + (0 if from_offcut else 1)
        offcut = stock.plank_length - (length - first - whole * stock.plank_length)
        offcut = max(0.0, offcut - stock.kerf - stock.tolerance)
    return planks


def _start(
    run: RunDemand, offcut: float, placed: dict[int, tuple[float, int]], demand: BayDemand
) -> tuple[float, bool]:
    """First piece: the offcut as it is, the offcut cut shorter, else the longest that works."""
    found = next((f for t in Tier if (f := reaches(kind_of(run, t), demand))), ())
    highs = sorted({r.high for r in found}, reverse=True)
    allowed = [(r.low, r.high) for r in found]
    grid = [k * STEP_MM for k in range(int(demand.stock.plank_length / STEP_MM), 0, -1)]
    tries = [offcut, *(g for g in grid if g < offcut)]
    for length in tries:
        if any(a <= length <= b for a, b in allowed) and _staggers(run, length, placed, demand):
            return length, True
    for length in sorted({demand.stock.plank_length, *highs, *grid}, reverse=True):
        if any(a <= length <= b for a, b in allowed) and _staggers(run, length, placed, demand):
            return length, False
    return (highs[0] if highs else demand.stock.plank_length), False


def _staggers(
    run: RunDemand, first: float, placed: dict[int, tuple[float, int]], demand: BayDemand
) -> bool:
    return all(
        _apart(run, first, placed[t.below], t, demand)
        for t in demand.touches
        if t.above == run.index and t.below in placed
    )


def _apart(
    run: RunDemand, first: float, below: tuple[float, int], touch: Touch, demand: BayDemand
) -> bool:
    plank = demand.stock.plank_length
    mine = _on(touch, run.x0 + first, run.x1, plank)
    others = _on(touch, below[0], below[0] + (below[1] - 0.5) * plank, plank)
    return all(abs(a - b) >= demand.min_offset - 0.001 for a in mine for b in others)


def _on(touch: Touch, start: float, stop: float, plank: float) -> list[float]:
    found = []
    while start < stop - 0.01:
        if touch.x0 <= start <= touch.x1:
            found.append(start)
        start += plank
    return found
