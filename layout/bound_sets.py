"""Sets of pieces no two of which can lie side by side on a plank, for the bound.

Two pieces lie side by side when they do not keep the same long edge and are together no wider than a
plank less the kerf. So for any width w all pieces that keep the near edge and are wider than w, all that
keep the far edge and are wider than what is left beside w, and all free ones wider than both are such a
set. In a run whose breadth changes, the joints decide which of its pieces belong to it: that is worked
out for every case of the bound, for the shortest piece the case can mean, which asks for least.
"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum
from typing import Final

import numpy as np

from importer.tolerance import LENGTH_MM
from layout.demand import BayDemand, RunDemand, StockRules
from layout.joint_breadths import Counted, across, least_pieces
from layout.joint_candidates import Floats, Ints, fits_one_plank
from layout.stock_program import NEVER, Cases
from layout.stock_shares import SLACK_MM

SETS: Final = 3
"""Most sets looked at, those with the greatest length to cut."""
NEAR: Final = 1.0
"""A set that has more than this many planks less to cut than the first is not worth its programme."""


class Inside(Enum):
    """How many of the pieces of a run belong to a set, whatever its joints."""

    NONE = "none"
    SOME = "some"
    ALL = "all"


def counted_sets(demand: BayDemand) -> list[Counted]:
    """The sets with most to cut, without repeats, the one with most first."""
    room = demand.stock.plank_width - demand.stock.kerf + SLACK_MM
    lengths, width, near, far = _stretches(demand)
    splits = np.unique(
        np.concatenate(
            [[room / 2], width[near & ~far] - LENGTH_MM, room - width[far & ~near] + LENGTH_MM]
        )
    )
    free = np.maximum(splits, room - splits)[:, None]
    limit = np.where(near, splits[:, None], (room - splits)[:, None])
    inside = (width > np.where(near == far, free, limit)) | (near & far)
    total = inside @ lengths
    _, first = np.unique(inside, axis=0, return_index=True)
    order = sorted(first.tolist(), key=lambda k: (-round(float(total[k]), 3), float(splits[k])))
    return [Counted(near_mm=float(splits[k]), far_mm=room - float(splits[k])) for k in order[:SETS]]


def _stretches(demand: BayDemand) -> tuple[Floats, Floats, np.ndarray, np.ndarray]:
    """Every stretch of every run: its length, and what it asks for."""
    parts = [least_pieces(run, demand.stock.plank_width) for run in demand.runs]
    lengths = [
        np.array([b.x1 - b.x0 for b in run.breadths] or [run.x1 - run.x0]) for run in demand.runs
    ]
    return (
        np.concatenate(lengths),
        np.concatenate([p.width for p in parts]),
        np.concatenate([p.near for p in parts]),
        np.concatenate([p.far for p in parts]),
    )


def counted_in(run: RunDemand, counted: Counted, demand: BayDemand) -> Inside:
    """How much of a run belongs to a set."""
    plank_width = demand.stock.plank_width
    whole = across(run, np.array([run.x0]), np.array([run.x1]), plank_width)
    if not counted.holds(whole).all():
        return Inside.NONE
    if fits_one_plank(run, demand) or not run.breadths:
        return Inside.ALL
    covered = sum(b.x1 - b.x0 for b in run.breadths)
    every = counted.holds(least_pieces(run, plank_width)).all()
    return Inside.ALL if every and covered >= run.x1 - run.x0 - LENGTH_MM else Inside.SOME


def part_of_cases(cases: Cases, run: RunDemand, counted: Counted, stock: StockRules) -> Cases:
    """The cases of a run with only those pieces that belong to the set; the others need no plank."""
    first = _holds(counted, run, (np.full(cases.size, run.x0), run.x0 + cases.low), stock)
    last = _holds(counted, run, (run.x1 - cases.last, np.full(cases.size, run.x1)), stock)
    whole = cases.opened - cases.ends
    held: Ints = np.zeros(cases.size, dtype=np.intp)
    for k in range(int(whole.max(initial=0))):
        # Whatever the first piece of the case, the piece covers what is between.
        start = run.x0 + cases.high + k * stock.plank_length
        end = run.x0 + cases.low + (k + 1) * stock.plank_length
        held += (k < whole) & _holds(counted, run, (start, end), stock)
    ends = first.astype(np.intp) + last
    return replace(
        cases,
        need=np.where(first, cases.need, NEVER),
        room=np.where(last, cases.room, 0),
        opened=held + ends,
        ends=ends,
    )


def _holds(
    counted: Counted, run: RunDemand, between: tuple[Floats, Floats], stock: StockRules
) -> np.ndarray:
    return counted.holds(across(run, *between, stock.plank_width))
