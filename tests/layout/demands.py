"""Demands for tests of the solver: rectangles and hand-made bays."""

from __future__ import annotations

from collections.abc import Sequence

from layout.demand import BayDemand, RunDemand, StockRules
from layout.floor import Touch
from layout.rules import Bond

Span = tuple[float, float]


def stock_rules(
    plank: float = 1220.0, wide: float = 180.0, kerf: float = 2.0, tolerance: float = 0.0
) -> StockRules:
    return StockRules(
        plank_length=plank, plank_width=wide, kerf=kerf, keep_offcut=300.0, tolerance=tolerance
    )


def demand_of(
    rows: Sequence[Sequence[Span]],
    stock: StockRules,
    *,
    min_length: float = 300.0,
    never_below: float = 180.0,
    min_offset: float = 300.0,
    bond: Bond = Bond.OFFCUT_LED,
    edge_width: float | None = None,
) -> BayDemand:
    """Rows of runs given by where they start and end; runs of neighbouring rows that overlap touch.
    `edge_width` is the width of runs that nothing touches on one side.
    """
    spans = [(row, x0, x1) for row, some in enumerate(rows, start=1) for x0, x1 in some]
    touches = tuple(
        Touch(below=i, above=j, x0=max(a[1], b[1]), x1=min(a[2], b[2]))
        for i, a in enumerate(spans)
        for j, b in enumerate(spans)
        if b[0] == a[0] + 1 and min(a[2], b[2]) > max(a[1], b[1])
    )
    below, above = {t.above for t in touches}, {t.below for t in touches}
    runs = tuple(
        RunDemand(
            index=i,
            row=row,
            x0=x0,
            x1=x1,
            width_mm=stock.plank_width
            if edge_width is None or (i in below and i in above)
            else edge_width,
            keeps_near=i in below,
            keeps_far=i in above,
        )
        for i, (row, x0, x1) in enumerate(spans)
    )
    return BayDemand(
        runs=runs,
        touches=touches,
        stock=stock,
        min_length=min_length,
        never_below=never_below,
        min_offset=min_offset,
        bond=bond,
    )


def rectangle(
    length: float, rows: int, stock: StockRules | None = None, **rules: object
) -> BayDemand:
    """Equal rows from wall to wall."""
    return demand_of([[(0.0, length)]] * rows, stock or stock_rules(), **rules)  # type: ignore[arg-type]


def ends(demand: BayDemand, joints: Sequence[Sequence[float]]) -> list[tuple[float, float]]:
    """First and last piece of every run that has joints."""
    return [
        (places[0] - run.x0, run.x1 - places[-1])
        for run, places in zip(demand.runs, joints, strict=True)
        if places
    ]


def least_offset(demand: BayDemand, joints: Sequence[Sequence[float]]) -> float:
    """Smallest distance of two joints that meet one seam from its two sides."""
    found = [float("inf")]
    for t in demand.touches:
        low = [x for x in joints[t.below] if t.x0 <= x <= t.x1]
        high = [x for x in joints[t.above] if t.x0 <= x <= t.x1]
        found += [abs(a - b) for a in low for b in high]
    return min(found)
