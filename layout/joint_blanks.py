"""From joints to the blanks that the stock is asked for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from importer.tolerance import SAME_POINT_MM
from layout.demand import BayDemand, Blank
from layout.floor import Role
from layout.joint_breadths import across


def blanks_of(demand: BayDemand, joints: Sequence[Sequence[float]]) -> tuple[Blank, ...]:
    """The blanks of a plan in the order of runs, numbered from 0."""
    found: list[Blank] = []
    plank = demand.stock
    for run, places in zip(demand.runs, joints, strict=True):
        stops = (run.x0, *places, run.x1)
        last = len(stops) - 2
        lie = across(run, np.array(stops[:-1]), np.array(stops[1:]), plank.plank_width)
        for n in range(last + 1):
            length = stops[n + 1] - stops[n]
            whole = length >= plank.plank_length - SAME_POINT_MM and bool(places)
            found.append(
                Blank(
                    key=len(found),
                    role=Role.FULL if whole else _role(n, last),
                    length_mm=length,
                    width_mm=float(lie.width[n]),
                    keeps_near_edge=bool(lie.near[n]),
                    keeps_far_edge=bool(lie.far[n]),
                )
            )
    return tuple(found)


def _role(number: int, last: int) -> Role:
    if last == 0:
        return Role.ONLY
    return Role.FIRST if number == 0 else Role.LAST
