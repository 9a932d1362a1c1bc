"""Which strips lie beside which: a starter row and a closing row out of the same planks.

A strip that keeps only its near edge and one that keeps only its far edge share planks when their
widths and the kerf fit. The longer run hosts: its planks are opened anyway, and the other's pieces are
ripped from what they leave. A rider about as long as its host must take the same first piece, so that
its pieces lie beside the host's piece for piece; a much shorter one finds room beside whole planks,
whatever its joints.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import floor

from importer.tolerance import SAME_POINT_MM
from layout.demand import BayDemand, RunDemand
from layout.joint_candidates import fits_one_plank


@dataclass(frozen=True, slots=True, kw_only=True)
class Rides:
    """`bound[q] = h`: run q takes its planks and its first piece from h. `free`: runs that need no
    planks of their own, whatever their joints.
    """

    bound: dict[int, int]
    free: frozenset[int]


def rides(demand: BayDemand) -> Rides:
    """Riders and hosts, longest first."""
    limit = demand.stock.plank_width - demand.stock.kerf
    strips = [r for r in demand.runs if r.keeps_near != r.keeps_far and r.width_mm < limit]
    strips.sort(key=lambda r: (r.x0 - r.x1, r.index))
    bound: dict[int, int] = {}
    free: set[int] = set()
    hosts: set[int] = set()
    touching = {(t.below, t.above) for t in demand.touches}
    for host in strips:
        if host.index in bound or host.index in free:
            continue
        others = [
            r
            for r in strips
            if r.keeps_near != host.keeps_near
            and r.index not in hosts | free | bound.keys()
            and r.width_mm + host.width_mm <= limit + SAME_POINT_MM
            and _length(r) <= _length(host) + SAME_POINT_MM
            and not {(r.index, host.index), (host.index, r.index)} & touching
        ]
        if others:
            hosts.add(host.index)
            _load(host, others, demand, bound, free)
    return Rides(bound=bound, free=frozenset(free))


def _length(run: RunDemand) -> float:
    return run.x1 - run.x0


def _load(
    host: RunDemand,
    others: Sequence[RunDemand],
    demand: BayDemand,
    bound: dict[int, int],
    free: set[int],
) -> None:
    """Put as many of the others beside the host's planks as there is room for."""
    if fits_one_plank(host, demand):
        free.add(others[0].index)
        return
    plank = demand.stock.plank_length
    whole = floor(_length(host) / plank) - 1
    has_rider = False
    for rider in others:
        pieces = 1 if fits_one_plank(rider, demand) else floor(_length(rider) / plank) + 2
        if pieces <= whole:
            free.add(rider.index)
            whole -= pieces
        elif not has_rider and pieces > 1:
            bound[rider.index] = host.index
            has_rider = True
            whole -= pieces - 1
