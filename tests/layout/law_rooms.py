"""Rooms of every kind that strains geometry, made up from a seed: a metre to a few metres, so that a
property test can lay many of them.
"""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, sin
from random import Random

import shapely
from shapely import Polygon, box

from tests.layout.build import polygon


def _one(shape: shapely.Geometry) -> Polygon:
    """The largest part, holes kept."""
    parts = [p for p in shapely.get_parts(shape).tolist() if isinstance(p, Polygon)]
    return shapely.orient_polygons(max(parts, key=lambda p: p.area))  # type: ignore[no-any-return]


def _base(random: Random) -> tuple[float, float]:
    return random.uniform(1500, 2900), random.uniform(900, 1900)


def plain(random: Random) -> Polygon:
    return box(0, 0, *_base(random))


def angled(random: Random) -> Polygon:
    a, b = _base(random)
    corners = [(0, 0), (a, 0), (a, b), (0, b)]
    return polygon(
        *((x + random.uniform(-300, 300), y + random.uniform(-250, 250)) for x, y in corners)
    )


def curved(random: Random) -> Polygon:
    """A room whose far wall bows out or in as an arc of many chords."""
    a, b = _base(random)
    bow = random.choice((-1, 1)) * random.uniform(80, 400)
    arc = [(a / 2 + a / 2 * cos(pi * k / 20), b + bow * sin(pi * k / 20)) for k in range(21)]
    return polygon((0, 0), (a, 0), *arc)


def round_room(random: Random) -> Polygon:
    r, n = random.uniform(700, 1300), random.randint(5, 40)
    return polygon(*((r * cos(2 * pi * k / n), r * sin(2 * pi * k / n)) for k in range(n)))


def stepped(random: Random) -> Polygon:
    a, b = _base(random)
    x, y = random.uniform(0.2, 0.8) * a, random.uniform(0.2, 0.8) * b
    return polygon((0, 0), (a, 0), (a, y), (x, y), (x, b), (0, b))


def holed(random: Random) -> Polygon:
    a, b = _base(random)
    x, y = random.uniform(200, a - 500), random.uniform(200, b - 500)
    hole = box(x, y, x + random.uniform(60, 300), y + random.uniform(60, 300))
    return _one(box(0, 0, a, b).difference(hole))


def hole_at_shell(random: Random) -> Polygon:
    """A pillar turned by 45 degrees whose corner stands on a wall, or misses it by a hair."""
    a, b = _base(random)
    r, x = random.uniform(60, 200), random.uniform(350, a - 350)
    y = r + random.choice((0.0, 0.004, 0.4, 9.0))
    hole = Polygon([(x - r, y), (x, y - r), (x + r, y), (x, y + r)])
    return _one(box(0, 0, a, b).difference(hole))


def necked(random: Random) -> Polygon:
    """Two halves joined by a neck, from one that no plank fits through to a wide one."""
    a, b = _base(random)
    wide = random.choice((10.0, 30.0, 60.0, 110.0, 400.0))
    y = random.uniform(0, b - wide)
    parts = [box(0, 0, a, b), box(a, y, a + 200, y + wide), box(a + 200, 0, 2 * a, b)]
    return _one(shapely.union_all(parts))


def sliver(random: Random) -> Polygon:
    """A wedge or a strip hardly wider than its gaps."""
    a = random.uniform(1500, 3500)
    if random.random() < 0.5:
        return box(0, 0, a, random.uniform(40, 260))
    return polygon((0, 0), (a, 0), (a, random.uniform(120, 500)))


def nearly_degenerate(random: Random) -> Polygon:
    """Hair steps, corners a micrometre apart, spikes of no width, walls that waver by hundredths."""
    a, b = _base(random)
    hair = random.choice((1e-6, 1e-3, 0.02, 0.3))
    x = random.uniform(300, a - 300)
    bottom = [(x, 0.0), (x, hair), (x + hair, hair), (a, hair)]
    top = [(a, b), (a - hair, b), (x, b + hair), (x - hair / 2, b + 120.0), (x - hair, b)]
    waver = [(0.0, b), (hair, b / 2), (0.0, b / 3)]
    return _one(shapely.make_valid(Polygon([(0.0, 0.0), *bottom, *top, *waver])))


def alcoves(random: Random) -> Polygon:
    a, b = _base(random)
    shape: shapely.Geometry = box(0, 0, a, b)
    for _ in range(random.randint(1, 3)):
        x, w, d = random.uniform(0, a - 300), random.uniform(100, 500), random.uniform(30, 300)
        y = random.choice((0.0, b))
        nook = box(x, y - d, min(x + w, a), y + d)
        shape = shape.union(nook) if random.random() < 0.5 else shape.difference(nook)
    return _one(shape)


ROOMS: dict[str, Callable[[Random], Polygon]] = {
    "plain": plain,
    "angled": angled,
    "curved": curved,
    "round": round_room,
    "stepped": stepped,
    "holed": holed,
    "hole at shell": hole_at_shell,
    "necked": necked,
    "sliver": sliver,
    "nearly degenerate": nearly_degenerate,
    "alcoves": alcoves,
}
