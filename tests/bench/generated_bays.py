"""Bays of every kind, made up at random from a seed, and cut into the runs that the solver is asked.

The cutting here is deliberately plain and owes nothing to the project's own: rows clipped from the
polygon one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import radians, tan
from random import Random

import shapely
from shapely import Polygon, box
from shapely.affinity import rotate

from layout.demand import BayDemand, RunDemand, StockRules
from layout.floor import Touch
from layout.rules import Bond

PLANKS = ((900.0, 150.0), (1220.0, 180.0), (1285.0, 192.0), (1380.0, 190.0), (2200.0, 190.0))
LEAST_STRIP_MM = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class GeneratedBay:
    """A bay with the rules it is to be laid by."""

    kind: str
    shape: Polygon
    demand: BayDemand


def rectangle(random: Random) -> Polygon:
    return box(0, 0, random.uniform(2400, 8500), random.uniform(2200, 6000))


def _less(shape: Polygon, *parts: Polygon) -> Polygon:
    rest = shape.difference(shapely.union_all(parts))
    assert isinstance(rest, Polygon)
    return rest


def ell(random: Random) -> Polygon:
    a, b = random.uniform(4000, 9000), random.uniform(3500, 7000)
    cut_a, cut_b = random.uniform(0.25, 0.6) * a, random.uniform(0.25, 0.6) * b
    return _less(box(0, 0, a, b), box(a - cut_a, b - cut_b, a, b))


def yew(random: Random) -> Polygon:
    a, b = random.uniform(5500, 9500), random.uniform(3500, 7000)
    left, right = random.uniform(0.2, 0.4) * a, random.uniform(0.6, 0.8) * a
    return _less(box(0, 0, a, b), box(left, random.uniform(0.3, 0.7) * b, right, b))


def angled(random: Random) -> Polygon:
    a, b = random.uniform(3500, 8000), random.uniform(2800, 5500)
    lean = [b * tan(radians(random.uniform(-35, 35))) for _ in range(2)]
    return Polygon([(max(0, -lean[0]), 0), (a, 0), (a + lean[1], b), (max(0, lean[0]), b)])


def column(random: Random) -> Polygon:
    shape = rectangle(random)
    for _ in range(random.randint(1, 2)):
        x0, y0, x1, y1 = shape.bounds
        x, y = random.uniform(x0 + 600, x1 - 1100), random.uniform(y0 + 500, y1 - 1000)
        cut = shape.difference(
            box(x, y, x + random.uniform(200, 500), y + random.uniform(200, 500))
        )
        if isinstance(cut, Polygon):
            shape = cut
    return shape


def alcove(random: Random) -> Polygon:
    shape = rectangle(random)
    _, _, x1, y1 = shape.bounds
    breast = random.uniform(0.25, 0.45) * y1
    cut = box(-1, breast, random.uniform(300, 700), breast + random.uniform(900, 1600))
    nook = box(x1 - 1, random.uniform(0.1, 0.3) * y1, x1 + random.uniform(350, 900), 0.6 * y1)
    joined = _less(shape, cut).union(nook)
    assert isinstance(joined, Polygon)
    return joined


def out_of_square(random: Random) -> Polygon:
    x0, y0, x1, y1 = rectangle(random).bounds
    skew = [y1 * tan(radians(random.uniform(-1.2, 1.2))) for _ in range(2)]
    rise = x1 * tan(radians(random.uniform(-1.2, 1.2)))
    return Polygon([(x0, y0), (x1, y0), (x1 + skew[1], y1 + rise), (x0 + skew[0], y1)])


def corridor(random: Random) -> Polygon:
    return box(0, 0, random.uniform(5000, 12000), random.uniform(900, 1500))


def rooms(random: Random) -> Polygon:
    """Two to four rooms in line, joined through doorways 0.8 m wide."""
    depth, x, parts = random.uniform(3000, 4500), 0.0, []
    for number in range(random.randint(2, 4)):
        width = random.uniform(2800, 4500)
        low = random.uniform(-600, 600)
        parts.append(box(x, low, x + width, low + depth))
        if number:
            door = random.uniform(800, depth - 1600)
            parts.append(box(x - 130, door, x + 10, door + 800))
        x += width + 120
    joined = shapely.union_all(parts)
    assert isinstance(joined, Polygon)
    return joined


def diagonal(random: Random) -> Polygon:
    return rotate(rectangle(random), random.choice((30, 45)), origin=(0, 0))


KINDS: dict[str, Callable[[Random], Polygon]] = {
    "rectangle": rectangle,
    "L": ell,
    "U": yew,
    "angled": angled,
    "column": column,
    "alcove": alcove,
    "out of square": out_of_square,
    "corridor": corridor,
    "rooms": rooms,
    "diagonal": diagonal,
}


def generated_bays(count: int, seed: int, kinds: tuple[str, ...] = ()) -> Iterator[GeneratedBay]:
    """Bays of the kinds in turn, each with a plank and rules of its own."""
    names = kinds or tuple(KINDS)
    for number in range(count):
        kind = names[number % len(names)]
        random = Random(f"{seed}/{kind}/{number}")
        shape = KINDS[kind](random)
        long, wide = random.choice(PLANKS)
        stock = StockRules(
            plank_length=long,
            plank_width=wide,
            kerf=2.0,
            keep_offcut=300.0,
            tolerance=random.choice((0.0, 10.0)),
        )
        rules = (random.choice((250.0, 300.0)), wide, random.choice((200.0, 300.0)))
        yield GeneratedBay(kind=kind, shape=shape, demand=demand_of(shape, stock, rules))


def demand_of(
    shape: Polygon, stock: StockRules, rules: tuple[float, float, float], phase: float | None = None
) -> BayDemand:
    """Rows along x. `rules`: least end, never-below end, joint offset; `phase`: a row line."""
    y0, y1 = shape.bounds[1], shape.bounds[3]
    width = stock.plank_width
    first = _first_width(y1 - y0, width) if phase is None else (phase - y0) % width
    runs: list[RunDemand] = []
    spans: list[tuple[Polygon, float, float]] = []
    y, row = y0 + first - width, 0
    while y < y1 - 1.0:
        row += 1
        for part in _parts(shapely.clip_by_rect(shape, -1e6, y, 1e6, y + width)):
            spans.append((part, y, y + width))
            runs.append(_run(part, len(runs), row, stock))
        y += width
    touches = tuple(_touches(runs, spans))
    above, below = {t.below for t in touches}, {t.above for t in touches}
    kept = tuple(
        RunDemand(
            index=r.index,
            row=r.row,
            x0=r.x0,
            x1=r.x1,
            void_start_mm=r.void_start_mm,
            void_end_mm=r.void_end_mm,
            width_mm=width if r.index in above and r.index in below else r.width_mm,
            keeps_near=r.index in below,
            keeps_far=r.index in above,
        )
        for r in runs
    )
    return BayDemand(
        runs=kept,
        touches=touches,
        stock=stock,
        min_length=rules[0],
        never_below=rules[1],
        min_offset=rules[2],
        bond=Bond.OFFCUT_LED,
    )


def _first_width(depth: float, width: float) -> float:
    rest = depth % width
    return width if rest < 1.0 else rest if rest >= LEAST_STRIP_MM else (width + rest) / 2


def _parts(clipped: shapely.Geometry) -> list[Polygon]:
    parts = [p for p in shapely.get_parts(clipped) if isinstance(p, Polygon) and p.area > 100.0]
    return sorted((p for p in parts if p.bounds[2] - p.bounds[0] > 5.0), key=lambda p: p.bounds)


def _run(part: Polygon, index: int, row: int, stock: StockRules) -> RunDemand:
    x0, y0, x1, y1 = part.bounds
    look = min((x1 - x0) / 2, stock.plank_length / 2)
    height = y1 - y0
    voids = [
        max(0.0, look - shapely.clip_by_rect(part, a, y0, b, y1).area / height)
        for a, b in ((x0, x0 + look), (x1 - look, x1))
    ]
    return RunDemand(
        index=index,
        row=row,
        x0=round(x0, 3),
        x1=round(x1, 3),
        void_start_mm=round(voids[0], 3) if voids[0] > 0.5 else 0.0,
        void_end_mm=round(voids[1], 3) if voids[1] > 0.5 else 0.0,
        width_mm=round(min(height, stock.plank_width), 3),
    )


def _edge(part: Polygon, y: float) -> list[tuple[float, float]]:
    """Stretches of the outline that lie on a row line."""
    found = []
    for ring in (part.exterior, *part.interiors):
        for (xa, ya), (xb, yb) in pairwise(ring.coords):
            if abs(ya - y) < 0.01 and abs(yb - y) < 0.01 and abs(xa - xb) > 1.0:
                found.append((float(min(xa, xb)), float(max(xa, xb))))
    return found


def _touches(runs: list[RunDemand], spans: list[tuple[Polygon, float, float]]) -> Iterator[Touch]:
    for lower in runs:
        part, _, top = spans[lower.index]
        for upper in runs:
            if upper.row != lower.row + 1:
                continue
            for a0, a1 in _edge(part, top):
                for b0, b1 in _edge(spans[upper.index][0], top):
                    if min(a1, b1) - max(a0, b0) > 1.0:
                        yield Touch(
                            below=lower.index,
                            above=upper.index,
                            x0=round(max(a0, b0), 3),
                            x1=round(min(a1, b1), 3),
                        )
