"""What is done without planning: room by room, each row starts with the offcut of the last one, if that is
long enough and staggers the joints, else with a new plank. Common practice, no source.

The fitter here is a careful one: he keeps every rule that our layouts keep (least ends, offsets, the
tolerance in hand), starts from the same row lines, and takes the last offcut along to the next room. What
he does not do is choose: he never trims a first piece for the sake of a later row, never looks for an
older offcut, and rips strips from planks of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

from layout.demand import BayDemand, RunDemand
from layout.floor import Touch
from layout.joint_candidates import Tier, fits_one_plank, kind_of, reaches

STEP_MM = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plain:
    """A room as the fitter lays it: joints per run, planks opened, first pieces that are an offcut as it
    is (nothing to saw), and the offcut left at the end.
    """

    joints: tuple[tuple[float, ...], ...]
    planks: int
    as_it_is: int
    offcut: float


def plain_planks(demand: BayDemand) -> int:
    """Planks of one room."""
    return plain_layout(demand).planks


def plain_layout(demand: BayDemand, offcut: float = 0.0) -> Plain:
    """Lay the rows in order, only the last offcut being tried; at first `offcut`.

    Starts are those the rules allow (with the tolerance in hand), so that the comparison is of
    planning, not of breaches; a row without such a start begins with whatever it must.
    """
    stock = demand.stock
    planks, as_it_is = 0, 0
    placed: dict[int, tuple[float, int]] = {}
    joints: list[tuple[float, ...]] = []
    for run in demand.runs:
        length = run.x1 - run.x0
        if fits_one_plank(run, demand):
            used_offcut = length + stock.tolerance <= offcut
            planks += 0 if used_offcut else 1
            left = (offcut if used_offcut else stock.plank_length) - length - stock.kerf
            offcut = max(0.0, left)
            joints.append(())
            continue
        first, from_offcut = _start(run, offcut, placed, demand)
        as_it_is += from_offcut and first == offcut
        whole = int((length - first - 0.01) // stock.plank_length)
        placed[run.index] = (run.x0 + first, whole + 1)
        joints.append(tuple(run.x0 + first + k * stock.plank_length for k in range(whole + 1)))
        planks += whole + 1 + (0 if from_offcut else 1)
        offcut = stock.plank_length - (length - first - whole * stock.plank_length)
        offcut = max(0.0, offcut - stock.kerf - stock.tolerance)
    return Plain(joints=tuple(joints), planks=planks, as_it_is=as_it_is, offcut=offcut)


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
