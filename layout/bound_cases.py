"""The finitely many cases that stand for all first pieces a run may have."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil

import numpy as np

from importer.tolerance import GRID_MM
from layout.demand import BayDemand
from layout.joint_candidates import Floats, Reach, RunKind, Tier, reaches
from layout.stock_program import NEVER, Cases
from layout.stock_shares import SLACK_MM


def marks_of(kinds: Sequence[RunKind], demand: BayDemand, cell: float) -> Floats:
    """The lengths t at which V is looked at: every `cell` mm, and just below and at the lengths where
    something changes for a kind of run, its first piece's or those that its last piece leaves.
    """
    special: list[float] = []
    for kind in kinds:
        for reach in _reaches(kind, demand):
            places = np.array([reach.low, reach.high, *_turns(reach, demand)])
            places = places[(places >= reach.low) & (places <= reach.high)]
            rooms = places + _shift(reach, demand)
            special += [*(places - GRID_MM), *rooms]
    plank = demand.stock.plank_length
    every = np.arange(0, ceil(plank / cell) + 1) * cell
    marks = np.unique(np.concatenate([every, special]))
    marks = marks[(marks >= 0) & (marks <= every[-1])]
    kept: Floats = marks[np.diff(marks, prepend=-1.0) > GRID_MM / 4]
    return kept


def cases_of(kind: RunKind, times: int, demand: BayDemand, marks: Floats) -> Cases:
    """Every pair of cells between marks that a first piece and the room beside the last one can fall
    in, with the shortest pieces of each.
    """
    found = _reaches(kind, demand)
    turns = np.sort([turn for reach in found for turn in _turns(reach, demand)])
    parts = [_cases_in(reach, turns, demand, marks) for reach in found]
    need, room, low, high = (np.concatenate(column) for column in zip(*parts, strict=True))
    sizes = [len(p[0]) for p in parts]
    opened = np.repeat([r.whole + 2 for r in found], sizes)
    last = np.repeat([r.ends for r in found], sizes) - high
    zone = np.searchsorted(turns, (low + high) / 2)
    cells, of_point = np.unique(np.stack([need, room, opened, zone]), axis=1, return_inverse=True)
    ends = np.full((3, cells.shape[1]), np.inf)
    for least, values in zip(ends, (low, -high, last), strict=True):
        np.minimum.at(least, of_point, values)
    return Cases(
        need=cells[0],
        room=cells[1],
        opened=cells[2],
        low=ends[0],
        high=-ends[1],
        last=ends[2],
        ends=np.full(cells.shape[1], 2),
        times=times,
    )


def only_cases(length: float, times: int, demand: BayDemand, marks: Floats) -> Cases:
    """`only` pieces beside a last piece, where they count like first ones, or the other way."""
    stock = demand.stock
    taken = length + stock.tolerance
    room = stock.plank_length - stock.kerf - taken + SLACK_MM
    lengths = np.array([length, length])
    return Cases(
        need=np.array([np.searchsorted(marks, taken), NEVER]),
        room=np.array([0, np.searchsorted(marks, room)]),
        opened=np.array([1, 1]),
        low=lengths,
        high=lengths,
        last=np.array([np.inf, np.inf]),
        ends=np.array([1, 1]),
        times=times,
    )


def _reaches(kind: RunKind, demand: BayDemand) -> tuple[Reach, ...]:
    lowest = RunKind(kind.x0, kind.length, kind.void_start, kind.void_end, Tier.TOO_SHORT)
    return reaches(kind, demand) or reaches(lowest, demand)


def _turns(reach: Reach, demand: BayDemand) -> tuple[float, float]:
    """First pieces beyond which a neighbour's joint has room on one side only."""
    return reach.low + demand.min_offset, reach.high - demand.min_offset


def _shift(reach: Reach, demand: BayDemand) -> float:
    """Room beside the last piece, less the first piece."""
    stock = demand.stock
    return stock.plank_length - stock.kerf - stock.tolerance - reach.ends + SLACK_MM


def _cases_in(
    reach: Reach, turns: Floats, demand: BayDemand, marks: Floats
) -> tuple[np.ndarray, np.ndarray, Floats, Floats]:
    """Points where a cell ends, and the open stretches between: number of the mark from which the
    first piece counts, number of marks at which the last one does, first pieces above and up to.
    """
    shift = _shift(reach, demand)
    stops = np.concatenate([[reach.low, reach.high], turns, marks, marks - shift])
    stops = np.unique(stops[(stops >= reach.low) & (stops <= reach.high)])
    points = np.concatenate([stops, (stops[1:] + stops[:-1]) / 2])
    low = np.concatenate([stops - GRID_MM, stops[:-1]])
    high = np.concatenate([stops, stops[1:]])
    # A first piece counts at every t >= it, a last piece at every t < the room it leaves.
    return np.searchsorted(marks, points), np.searchsorted(marks, points + shift), low, high
