"""Equal bays, turned, moved or mirrored, are one problem: solved in one form, so with one result.

A bay mirrored along its rows exchanges first and last pieces, one mirrored across them the near and
the far edges; the stock treats both alike. Of the forms that a bay can take, the one whose numbers
come first is solved, and its joints are carried back.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, replace
from typing import Final

from layout.demand import BayDemand, Breadth, RunDemand
from layout.floor import Touch
from layout.joint_candidates import fits_one_plank

DECIMALS: Final = 2
"""Lengths are rounded to a hundredth of a millimetre: turning a plan leaves noise below that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A demand in its common form. `place[i]` is the index there of run i of the demand as given;
    `mirrored` says that its rows run the other way.
    """

    demand: BayDemand
    place: tuple[int, ...]
    mirrored: bool

    def joints(
        self, given: BayDemand, found: tuple[tuple[float, ...], ...]
    ) -> tuple[tuple[float, ...], ...]:
        """Joints of the runs as given, from those found in the common form."""
        back: list[tuple[float, ...]] = []
        for run in given.runs:
            start = self.demand.runs[self.place[run.index]].x0
            places = [x - start for x in found[self.place[run.index]]]
            if self.mirrored:
                back.append(tuple(run.x1 - x for x in reversed(places)))
            else:
                back.append(tuple(run.x0 + x for x in places))
        return tuple(back)


def common_form(demand: BayDemand) -> Form:
    """The form that comes first. A bay is not mirrored along its rows when pieces from wall to wall
    share planks with the tolerance in hand: there it matters which of two pieces is cut to measure.
    """
    onlys = any(fits_one_plank(run, demand) for run in demand.runs)
    ways = (False,) if onlys and demand.stock.tolerance > 0 else (False, True)
    forms = [form_of(demand, along=a, across=b) for a in ways for b in (False, True)]
    return min(forms, key=form_key)


def form_of(demand: BayDemand, *, along: bool, across: bool) -> Form:
    """The demand moved to x = 0 and row 1, mirrored along and across its rows as asked."""
    sign = -1.0 if along else 1.0
    origin = min((sign * x for r in demand.runs for x in (r.x0, r.x1)), default=0.0)
    rows = [_gapless(r.row) * (-1 if across else 1) for r in demand.runs]
    first = min(rows, default=1)
    moved = [
        _moved(run, sign, origin, row - first + 1, across=across)
        for run, row in zip(demand.runs, rows, strict=True)
    ]
    order = sorted(range(len(moved)), key=lambda i: (moved[i].row, moved[i].x0, moved[i].x1))
    place = [0] * len(moved)
    for new, old in enumerate(order):
        place[old] = new
    touches = []
    for t in demand.touches:
        x0, x1 = sorted((_rounded(sign * t.x0 - origin), _rounded(sign * t.x1 - origin)))
        low, high = (t.above, t.below) if across else (t.below, t.above)
        touches.append(Touch(below=place[low], above=place[high], x0=x0, x1=x1))
    runs = tuple(replace(moved[old], index=new) for new, old in enumerate(order))
    seams = tuple(sorted(touches, key=lambda t: (t.below, t.above, t.x0, t.x1)))
    return Form(
        demand=replace(demand, runs=runs, touches=seams), place=tuple(place), mirrored=along
    )


def _moved(run: RunDemand, sign: float, origin: float, row: int, *, across: bool) -> RunDemand:
    x0, x1 = sorted((_rounded(sign * run.x0 - origin), _rounded(sign * run.x1 - origin)))
    voids = (_rounded(run.void_start_mm), _rounded(run.void_end_mm))
    edges = (run.keeps_near, run.keeps_far)
    breadths = [_moved_breadth(b, run.width_mm, sign, origin, across=across) for b in run.breadths]
    return replace(
        run,
        row=row,
        x0=x0,
        x1=x1,
        void_start_mm=voids[sign < 0],
        void_end_mm=voids[sign > 0],
        width_mm=_rounded(run.width_mm),
        keeps_near=edges[across],
        keeps_far=edges[not across],
        breadths=tuple(sorted(breadths)),
    )


def _moved_breadth(
    breadth: Breadth, width: float, sign: float, origin: float, *, across: bool
) -> Breadth:
    x0, x1 = sorted((_rounded(sign * breadth.x0 - origin), _rounded(sign * breadth.x1 - origin)))
    low, high = breadth.low_mm, breadth.high_mm
    if across:
        low, high = width - high, width - low
    edges = (breadth.keeps_near, breadth.keeps_far)
    return Breadth(
        x0=x0,
        x1=x1,
        low_mm=_rounded(low),
        high_mm=_rounded(high),
        keeps_near=edges[across],
        keeps_far=edges[not across],
    )


def _gapless(row: int) -> int:
    """There is no row 0: rows behind the starter row move up by one."""
    return row if row > 0 else row + 1


def _rounded(length: float) -> float:
    return round(length, DECIMALS) + 0.0


def form_key(form: Form) -> list[tuple[float, ...]]:
    """The numbers of a form in order: equal for equal bays."""
    runs = form.demand.runs
    return [
        (
            *(r.row, r.x0, r.x1, r.void_start_mm, r.void_end_mm),
            *(r.width_mm, r.keeps_near, r.keeps_far),
            *(value for b in r.breadths for value in astuple(b)),
        )
        for r in runs
    ]
