"""The layout made by hand: each row starts with what the last row left.

Lengths are exact here, not points of a grid, so once in a while it needs a plank fewer than the search
has found; then it is the one to take.
"""

from __future__ import annotations

import numpy as np

from layout.demand import BayDemand, RunDemand
from layout.floor import Touch
from layout.joint_candidates import (
    Floats,
    Options,
    Tier,
    Trying,
    fits_one_plank,
    joints_of,
    kind_of,
    options_at,
    points_of,
)
from layout.joint_conflicts import conflicts
from layout.joint_search import EPS


def carried(demand: BayDemand) -> tuple[tuple[float, ...], ...] | None:
    """Joints of the runs in order, none of them in breach of a rule, tolerance in hand; None when a run
    has no start left.
    """
    below: dict[int, list[Touch]] = {run.index: [] for run in demand.runs}
    for touch in demand.touches:
        below[touch.above].append(touch)
    chosen: dict[int, Options] = {}
    joints: list[tuple[float, ...]] = []
    rest = 0.0
    for run in demand.runs:
        if fits_one_plank(run, demand):
            joints.append(())
            continue
        options = _starts(run, rest, below[run.index], chosen, demand)
        if not options.size:
            return None
        served = np.flatnonzero(options.need <= rest + EPS)
        pick = served[-1:] if len(served) else [options.size - 1]
        chosen[run.index] = _part(options, pick)
        rest = float(chosen[run.index].room[0])
        joints.append(joints_of(run, float(chosen[run.index].first[0]), demand))
    return tuple(joints)


def _starts(
    run: RunDemand,
    rest: float,
    touches: list[Touch],
    chosen: dict[int, Options],
    demand: BayDemand,
) -> Options:
    """First pieces of a run, ascending, that keep every rule against the runs below it."""
    kind = kind_of(run, Tier.IN_HAND)
    points: Floats = np.union1d(points_of(kind, demand, Trying()), [rest])
    options = options_at(points, kind, demand)
    clash = options.price.copy()
    for touch in touches:
        if touch.below in chosen:
            pair = (chosen[touch.below], options)
            clash += conflicts((demand.runs[touch.below], run), touch, pair, demand)[0]
    return _part(options, np.flatnonzero(clash < EPS))


def _part(options: Options, pick: np.typing.ArrayLike) -> Options:
    """Some of the options."""
    at = np.asarray(pick, dtype=np.intp)
    return Options(
        first=options.first[at],
        last=options.last[at],
        need=options.need[at],
        room=options.room[at],
        opened=options.opened[at],
        price=options.price[at],
    )
