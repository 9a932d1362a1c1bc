"""Bays of every kind, made up at random from a seed, set out and cut into the runs that the solver is
asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import radians, tan
from random import Random

import numpy as np
import shapely
from shapely import Polygon, box
from shapely.affinity import rotate, translate

from importer.plan import Plan, Room, RoomId, Storey, StoreyId, UnitReading
from layout.bays import form_bays
from layout.demand import BayDemand
from layout.floor import Bay
from layout.job_pools import Grid
from layout.rules import RuleSet
from layout.runs import cut_runs, demand
from layout.setting_out import floor_in, set_out

PLANKS = ((900.0, 150.0), (1220.0, 180.0), (1285.0, 192.0), (1380.0, 190.0), (2200.0, 190.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class GeneratedBay:
    """A bay set out: its floor in the bay frame, its row grid, and the rules it is laid by."""

    kind: str
    shape: Polygon
    bay: Bay
    grid: Grid
    rules: RuleSet

    @property
    def demand(self) -> BayDemand:
        """What it asks of the solver."""
        return self.grid.demand


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


def tee(random: Random) -> Polygon:
    a, b = random.uniform(5000, 9500), random.uniform(3500, 7000)
    stem, top = random.uniform(0.3, 0.5) * a, random.uniform(0.35, 0.6) * b
    x = random.uniform(0.1, 0.9) * (a - stem)
    joined = shapely.union_all([box(0, 0, a, top), box(x, 0, x + stem, b)])
    assert isinstance(joined, Polygon)
    return joined


def zed(random: Random) -> Polygon:
    a, b = random.uniform(3000, 5000), random.uniform(2200, 3600)
    shift, low = random.uniform(0.3, 0.7) * a, random.uniform(0.5, 0.9) * b
    joined = shapely.union_all([box(0, 0, a, b), box(shift, low, shift + a, low + b)])
    assert isinstance(joined, Polygon)
    return joined


def bay_window(random: Random) -> Polygon:
    """A rectangle with a splayed or a round bay in its far wall or in one at the end of the rows."""
    room = rectangle(random)
    _, _, x1, y1 = room.bounds
    wide, deep = random.uniform(1400, 2000), random.uniform(500, 900)
    if random.random() < 0.5:
        splay = 0.45 * deep
        out = Polygon([(0, -1), (wide, -1), (wide - splay, deep), (splay, deep)])
    else:
        turns = np.linspace(0.0, np.pi, 17)
        out = Polygon(np.column_stack([wide / 2 * (1 - np.cos(turns)), deep * np.sin(turns)]))
        out = out.union(box(0, -1, wide, 1))
    if random.random() < 0.5:
        out = translate(out, random.uniform(200, x1 - wide - 200), y1)
    else:
        out = rotate(out, -90, origin=(0, 0))
        out = translate(out, x1, random.uniform(wide + 100, y1 - 100) if y1 > wide + 250 else y1)
    joined = room.union(out)
    return joined if isinstance(joined, Polygon) else room


def angled(random: Random) -> Polygon:
    """A room with two leaning walls, drawn again where these would cross."""
    while True:
        a, b = random.uniform(3500, 8000), random.uniform(2800, 5500)
        lean = [b * tan(radians(random.uniform(-35, 35))) for _ in range(2)]
        shape = Polygon([(max(0, -lean[0]), 0), (a, 0), (a + lean[1], b), (max(0, lean[0]), b)])
        if shape.is_valid:
            return shape


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
    """Two to five rooms in line, joined through doorways 0.8 m wide."""
    depth, x, parts = random.uniform(3000, 4500), 0.0, []
    for number in range(random.randint(2, 5)):
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
    "T": tee,
    "Z": zed,
    "angled": angled,
    "bay window": bay_window,
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
        yield bay_of(kind, KINDS[kind](random), random_rules(random))


def random_rules(random: Random) -> RuleSet:
    """A plank and rules as they occur; rows along the drawing's x axis."""
    long, wide = random.choice(PLANKS)
    return RuleSet.model_validate(
        {
            "name": "generated",
            "plank": {"length": long, "width": wide},
            "ends": {"min_length": random.choice((250, 300))},
            "joints": {"min_offset": random.choice((200, 300))},
            "rows": {"along": 0},
            "limits": {"run": "40 m", "across": "40 m"},
            "cut": {"kerf": 2},
            "site": {"tolerance": random.choice((0, 10))},
        }
    )


def plan_of(shape: Polygon) -> Plan:
    """A plan of one room."""
    storey = StoreyId("S1")
    return Plan(
        file="generated.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="generated"),
        storeys=(Storey(id=storey, name="0", elevation_mm=0.0),),
        flats=(),
        rooms=(Room(id=RoomId("R1"), shape=shapely.orient_polygons(shape), storey=storey),),
        doorways=(),
    )


def bay_of(kind: str, shape: Polygon, rules: RuleSet) -> GeneratedBay:
    """The room as one bay, set out and cut into runs."""
    plan = plan_of(shape)
    (bay,) = form_bays(plan, rules).bays
    return set_out_bay(kind, bay, plan, rules)


def set_out_bay(kind: str, bay: Bay, plan: Plan, rules: RuleSet) -> GeneratedBay:
    """Any bay of a plan, set out and cut into runs.

    Raises:
        LayoutError: the bay cannot be laid.
    """
    (setting_out, *_) = set_out(bay, plan, rules)
    floor = floor_in(bay, setting_out.frame)
    runs, touches = cut_runs(floor, setting_out, rules)
    grid = Grid(
        setting_out=setting_out, runs=runs, touches=touches, demand=demand(runs, touches, rules)
    )
    return GeneratedBay(kind=kind, shape=floor, bay=bay, grid=grid, rules=rules)
