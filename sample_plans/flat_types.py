"""The two flat types of the block, in local u (along the corridor) and v (away from it)."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot
from typing import Final

from sample_plans.building import Leaf, Opening, Place, Point, Space, Thing, rectangle

FIXT: Final = "A-FLOR-FIXT"
CASE: Final = "A-FLOR-CASE"
Ring = tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatType:
    """A flat before it is placed. `title_at` is where its name is printed, in the hall; `bays` are
    the floors that reach beyond the front.
    """

    spaces: tuple[Space, ...]
    doors: tuple[Opening, ...]
    windows: tuple[Opening, ...]
    shafts: tuple[Ring, ...]
    columns: tuple[Ring, ...]
    things: tuple[Thing, ...]
    title_at: Point
    bays: tuple[Ring, ...] = ()

    def placed(self, place: Place, name: str, number: str) -> FlatType:
        """The flat in its place: rooms named after it and numbered within it."""
        return FlatType(
            spaces=tuple(s.placed(place, name, f"{number}.") for s in self.spaces),
            doors=tuple(d.placed(place, name) for d in self.doors),
            windows=tuple(w.placed(place, name) for w in self.windows),
            shafts=tuple(_moved(place, ring) for ring in self.shafts),
            columns=tuple(_moved(place, ring) for ring in self.columns),
            things=tuple(replace(t, place=place) for t in self.things),
            title_at=place.point(self.title_at),
            bays=tuple(_moved(place, ring) for ring in self.bays),
        )


def _moved(place: Place, ring: Ring) -> Ring:
    return tuple(place.point(p) for p in ring)


def door(a: Point, b: Point, rooms: tuple[str, str | None], *, side: int = 1) -> Opening:
    """A hinged door in a 100 wall, hinge at `a`."""
    return Opening(a=a, b=b, thickness=100, rooms=rooms, leaf=Leaf.HINGED, side=side)


def entrance(low: float, high: float) -> Opening:
    """A flat's entrance from the corridor: 200 wall, opens into the hall."""
    return Opening(
        a=(low, -100),
        b=(high, -100),
        thickness=200,
        rooms=("Hall", "/Corridor"),
        leaf=Leaf.HINGED,
        flat_entrance=True,
    )


def window_on(start: Point, end: Point, middle: float, width: float) -> Opening:
    """A window in the 300 outer wall whose inner face runs from `start` to `end` with the room on
    its left; `middle` is the distance of the window's middle from `start`.
    """
    length = hypot(end[0] - start[0], end[1] - start[1])
    ux, uy = (end[0] - start[0]) / length, (end[1] - start[1]) / length
    x, y = start[0] + uy * 150, start[1] - ux * 150
    low, high = middle - width / 2, middle + width / 2
    return Opening(a=(x + ux * low, y + uy * low), b=(x + ux * high, y + uy * high), thickness=300)


# --- two bedrooms, kitchen on the gable, bay window and free column in the living room ----------

SOUTH_BAY: Final = ((7800.0, 7400.0), (8400.0, 8300.0), (9600.0, 8300.0), (10200.0, 7400.0))


def south_flat() -> FlatType:
    """11400 along the corridor, 7400 deep."""
    return FlatType(
        spaces=_south_spaces(),
        doors=(
            entrance(5700, 6710),
            door((2450, 2700), (2450, 1900), ("Hall", "Bathroom"), side=-1),
            door((4450, 1450), (3650, 1450), ("Hall", "WC")),
            door((7850, 500), (7850, 1400), ("Hall", "Kitchen"), side=-1),
            door((6800, 2950), (7700, 2950), ("Hall", "Living room")),
            door((3550, 2950), (2700, 2950), ("Hall", "Bedroom 1"), side=-1),
            door((3950, 2950), (4800, 2950), ("Hall", "Bedroom 2")),
            Opening(
                a=(8800, 2950), b=(10600, 2950), thickness=100, rooms=("Kitchen", "Living room")
            ),
        ),
        windows=_south_windows(),
        shafts=(rectangle(0, 0, 600, 400),),
        columns=(rectangle(9300, 5000, 9600, 5300),),
        things=_south_things(),
        title_at=(6300, 2400),
        bays=(SOUTH_BAY,),
    )


def _south_spaces() -> tuple[Space, ...]:
    hall = ((4600, 0), (7800, 0), (7800, 2900), (2500, 2900), (2500, 1500), (4600, 1500))
    bath = ((650, 0), (2400, 0), (2400, 2900), (0, 2900), (0, 450), (650, 450))
    living = ((6600, 3000), (11400, 3000), (11400, 7400), *SOUTH_BAY[::-1], (6600, 7400))
    kitchen, bed = rectangle(7900, 0, 11400, 2900), rectangle(0, 3000, 3700, 7400)
    small_bed, wc = rectangle(3800, 3000, 6500, 7400), rectangle(2500, 0, 4500, 1400)
    return (
        Space(name="Hall", ring=hall, label_at=(6400, 1450), number="1"),
        Space(name="Bathroom", ring=bath, label_at=(1550, 1250), number="2"),
        Space(name="WC", ring=wc, label_at=(3090, 950), number="3"),
        Space(name="Kitchen", ring=kitchen, label_at=(9500, 1600), number="4"),
        Space(name="Living room", ring=living, label_at=(8500, 4400), number="5"),
        Space(name="Bedroom 1", ring=bed, label_at=(1500, 3950), number="6"),
        Space(name="Bedroom 2", ring=small_bed, label_at=(5000, 4550), number="7"),
    )


def _south_windows() -> tuple[Opening, ...]:
    left, right = (0.0, 7400.0), (11400.0, 7400.0)
    slant = hypot(600, 900)
    return (
        window_on((11400, 0), right, 1450, 1200),
        window_on((11400, 0), right, 5200, 1200),
        window_on(right, left, 11400 - 1850, 1800),
        window_on(right, left, 11400 - 5150, 1500),
        window_on(SOUTH_BAY[3], SOUTH_BAY[2], slant / 2, 600),
        window_on(SOUTH_BAY[2], SOUTH_BAY[1], 600, 900),
        window_on(SOUTH_BAY[1], SOUTH_BAY[0], slant / 2, 600),
    )


def _south_things() -> tuple[Thing, ...]:
    return (
        Thing(block="BATH", at=(0, 2200), angle=-90, layer=FIXT),
        Thing(block="WC", at=(850, 0), layer=FIXT),
        Thing(block="BASIN", at=(1550, 0), layer=FIXT),
        Thing(block="WC", at=(2500, 500), angle=-90, layer=FIXT),
        Thing(block="BASIN", at=(3500, 0), layer=FIXT),
        Thing(block="HOB", at=(9200, 0), layer=CASE),
        Thing(block="UNIT", at=(9800, 0), layer=CASE),
        Thing(block="SINK", at=(10400, 0), layer=CASE),
        Thing(block="TALL", at=(11400, 2300), angle=90, layer=CASE),
        Thing(block="SOFA", at=(6600, 7000), angle=-90),
        Thing(block="TABLE-LOW", at=(7900, 6450), angle=-90),
        Thing(block="TABLE-4", at=(11250, 5650), angle=90),
        Thing(block="BED-DOUBLE", at=(0, 6600), angle=-90),
        Thing(block="WARDROBE", at=(3700, 4200), angle=90),
        Thing(block="WARDROBE", at=(3700, 5400), angle=90),
        Thing(block="BED-SINGLE", at=(6500, 7400), angle=180),
        Thing(block="DESK", at=(3800, 6500), angle=-90),
        Thing(block="WARDROBE", at=(6500, 3100), angle=90),
    )


# --- one bedroom; the gable may slant inwards by `slant` for every unit of depth ----------------


def north_flat(slant: float = 0.0) -> FlatType:
    """8300 along the corridor, 7000 deep."""
    gable = tuple((8300 - slant * v, float(v)) for v in (0, 2600, 2700, 7000))
    return FlatType(
        spaces=_north_spaces(gable),
        doors=(
            entrance(3300, 4310),
            door((2250, 300), (2250, 1100), ("Hall", "Bathroom")),
            door((3200, 2650), (2400, 2650), ("Hall", "Bedroom"), side=-1),
            door((3900, 2650), (4800, 2650), ("Hall", "Living room")),
            door((5250, 1900), (5250, 1000), ("Hall", "Kitchen")),
            Opening(
                a=(6000, 2650), b=(7600, 2650), thickness=100, rooms=("Kitchen", "Living room")
            ),
        ),
        windows=(
            window_on(gable[0], gable[3], 1400, 1200),
            window_on(gable[0], gable[3], 4900, 1500),
            window_on(gable[3], (0, 7000), gable[3][0] - 5700, 2400),
            window_on(gable[3], (0, 7000), gable[3][0] - 1650, 1500),
        ),
        shafts=(rectangle(0, 0, 600, 400),),
        columns=(),
        things=_north_things(),
        title_at=(3750, 2200),
    )


def _north_spaces(gable: Ring) -> tuple[Space, ...]:
    bath = ((650, 0), (2200, 0), (2200, 2600), (0, 2600), (0, 450), (650, 450))
    kitchen = ((5300, 0), gable[0], gable[1], (5300, 2600))
    living = ((3400, 2700), gable[2], gable[3], (3400, 7000))
    hall, bed = rectangle(2300, 0, 5200, 2600), rectangle(0, 2700, 3300, 7000)
    return (
        Space(name="Hall", ring=hall, label_at=(3750, 1420), number="1"),
        Space(name="Bathroom", ring=bath, label_at=(1470, 1600), number="2"),
        Space(name="Kitchen", ring=kitchen, label_at=(7150, 1550), number="3"),
        Space(name="Living room", ring=living, label_at=(5900, 3700), number="4"),
        Space(name="Bedroom", ring=bed, label_at=(1700, 6350), number="5"),
    )


def _north_things() -> tuple[Thing, ...]:
    return (
        Thing(block="BATH", at=(0, 2500), angle=-90, layer=FIXT),
        Thing(block="WC", at=(850, 0), layer=FIXT),
        Thing(block="BASIN", at=(1700, 2600), angle=180, layer=FIXT),
        Thing(block="UNIT", at=(5800, 0), layer=CASE),
        Thing(block="HOB", at=(6400, 0), layer=CASE),
        Thing(block="SINK", at=(7000, 0), layer=CASE),
        Thing(block="SOFA", at=(3400, 6700), angle=-90),
        Thing(block="TABLE-LOW", at=(4750, 6150), angle=-90),
        Thing(block="TABLE-4", at=(5900, 4700)),
        Thing(block="BED-DOUBLE", at=(0, 5800), angle=-90),
        Thing(block="WARDROBE", at=(100, 2700)),
    )
