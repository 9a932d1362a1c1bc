"""Six bays that are hard to lay, as pictures to be judged by a fitter's eye.

    python -m tests.bench.hard_bays FOLDER [NAME ...]

Writes the site sheets of each as `NAME.pdf` and, where pdftoppm is installed, each sheet as a picture. One
line a bay is printed: planks and bound, rows, cut and ripped pieces, shortest end, narrowest strip,
breaches. The rooms are made up; the rules are the packaged ones.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from math import cos, pi, radians, sin, tan
from pathlib import Path
from typing import Final

import shapely
from shapely import Polygon, box

from importer.plan import (
    Doorway,
    DoorwayId,
    DoorwayKind,
    Flat,
    FlatId,
    Obstacle,
    ObstacleId,
    ObstacleKind,
    Plan,
    Room,
    RoomId,
    Storey,
    StoreyId,
    UnitReading,
)
from layout.floor import BayLayout, PlanResult, Role
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.writers.dxf.runs_seen import is_cross_cut, is_ripped
from layout.writers.sheets.book import plan_sheets

STOREY: Final = StoreyId("S1")
FLAT: Final = Flat(id=FlatId("F1"), name="Flat", storey=STOREY)
WALL: Final = 120.0
OUTER: Final = 300.0


def plan(
    name: str,
    rooms: Mapping[str, Polygon],
    doors: Sequence[Doorway] = (),
    fixed: Sequence[Obstacle] = (),
) -> Plan:
    """A plan of these rooms with walls about them; doors and what is fixed name rooms as `rooms` does."""
    ids = {n: RoomId(f"R{k}") for k, n in enumerate(rooms, start=1)}
    floors = shapely.union_all([*rooms.values(), *(d.shape for d in doors)])
    hull = shapely.union_all(list(rooms.values()))
    around = hull.buffer(OUTER, join_style="mitre").buffer(WALL).buffer(-WALL)
    walls = shapely.get_parts(around.difference(floors))
    return Plan(
        file=f"{name}.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="made up"),
        storeys=(Storey(id=STOREY, name="Ground"),),
        flats=(FLAT,),
        rooms=tuple(
            Room(
                id=ids[n],
                name=n,
                shape=shapely.orient_polygons(shape),
                storey=STOREY,
                flat=FLAT.id,
            )
            for n, shape in rooms.items()
        ),
        doorways=tuple(
            replace(d, rooms=(ids[d.rooms[0]], ids[d.rooms[1]])) for d in doors if d.rooms[1]
        ),
        obstacles=tuple(replace(o, room=ids[o.room]) for o in fixed if o.room),
        walls=tuple(w for w in walls if isinstance(w, Polygon)),
    )


def door(rooms: tuple[str, str], shape: Polygon) -> Doorway:
    """A hinged door in an opening through a wall, its leaf in the middle of the wall."""
    x0, y0, x1, y1 = shape.bounds
    across = x1 - x0 < y1 - y0
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    ends = ((middle[0], y0), (middle[0], y1)) if across else ((x0, middle[1]), (x1, middle[1]))
    return Doorway(
        id=DoorwayId("-".join(rooms)),
        rooms=(RoomId(rooms[0]), RoomId(rooms[1])),
        storey=STOREY,
        shape=shape,
        leaf_line=ends,
        width_mm=max(x1 - x0, y1 - y0),
        wall_thickness_mm=min(x1 - x0, y1 - y0),
        kind=DoorwayKind.HINGED,
    )


def fixed(name: str, room: str, shape: Polygon, kind: ObstacleKind) -> Obstacle:
    """Something that the floor stops at."""
    return Obstacle(id=ObstacleId(name), kind=kind, shape=shape, room=RoomId(room), storey=STOREY)


def angled_wall() -> Plan:
    """One end wall leans by 14 degrees, the wall across by 1: every last plank is cut at an angle."""
    high = 4300.0
    lean, rise = high * tan(radians(14)), 5600.0 * tan(radians(1))
    shape = Polygon([(0, 0), (5600, 0), (5600 + lean, high + rise), (0, high)])
    return plan("angled_wall", {"Studio": shape})


def round_bay() -> Plan:
    """A bay window as half a circle in the wall that the last rows end at."""
    turns = [pi * k / 48 for k in range(49)]
    ring = [(2600 + 1250 * cos(t), 3600 + 1250 * sin(t)) for t in turns]
    out = Polygon([*ring, (1350, 3400), (3850, 3400)])
    shape = shapely.union_all([box(0, 0, 5200, 3600), out])
    assert isinstance(shape, Polygon)
    return plan("round_bay", {"Dining room": shape})


def columns() -> Plan:
    """A round and a square column, neither on a row."""
    ring = [(4300 + 200 * cos(pi * k / 24), 2950 + 200 * sin(pi * k / 24)) for k in range(48)]
    posts = (
        fixed("pillar", "Gallery", box(1750, 1230, 2130, 1610), ObstacleKind.COLUMN),
        fixed("round column", "Gallery", Polygon(ring), ObstacleKind.COLUMN),
    )
    return plan("columns", {"Gallery": box(0, 0, 6100, 4400)}, fixed=posts)


def neck() -> Plan:
    """Two halves of a room that a neck of 1.1 m joins."""
    parts = (box(0, 0, 3700, 4200), box(3600, 1450, 4700, 2550), box(4600, 300, 8100, 3900))
    shape = shapely.union_all(parts)
    assert isinstance(shape, Polygon)
    return plan("neck", {"Workshop": shape})


def joined_rooms() -> Plan:
    """A living room in L shape, a hall and two bedrooms, one floor through four doorways."""
    living = Polygon([(0, 0), (6200, 0), (6200, 2400), (3900, 2400), (3900, 4600), (0, 4600)])
    rooms = {
        "Living room": living,
        "Hall": box(4020, 2520, 6200, 4600),
        "Bedroom 1": box(6320, 0, 9800, 3100),
        "Bedroom 2": box(6320, 3220, 9800, 6200),
        "Study": box(2400, 4720, 6200, 7000),
    }
    doors = (
        door(("Living room", "Hall"), box(3900, 3200, 4020, 4100)),
        door(("Hall", "Bedroom 1"), box(6200, 2560, 6320, 3060)),
        door(("Hall", "Bedroom 2"), box(6200, 3500, 6320, 4400)),
        door(("Hall", "Study"), box(4700, 4600, 5600, 4720)),
    )
    return plan("joined_rooms", rooms, doors)


def island() -> Plan:
    """A kitchen with an island across the rows and units along two walls."""
    units = (
        fixed("island", "Kitchen", box(1900, 1700, 4300, 2600), ObstacleKind.FIXED_UNIT),
        fixed("units", "Kitchen", box(0, 3700, 4800, 4300), ObstacleKind.FIXED_UNIT),
        fixed("tall units", "Kitchen", box(5900, 0, 6500, 1800), ObstacleKind.FIXED_UNIT),
    )
    return plan("island", {"Kitchen": box(0, 0, 6500, 4300)}, fixed=units)


HARD: Final[Mapping[str, Callable[[], Plan]]] = {
    make.__name__: make for make in (angled_wall, round_bay, columns, neck, joined_rooms, island)
}


def figures(layout: BayLayout) -> str:
    """What a fitter asks first, on one line."""
    pieces = layout.pieces
    ends = [p.end_length_mm for p in pieces if p.role in (Role.FIRST, Role.LAST)]
    strips = [p.shape.bounds[3] - p.shape.bounds[1] for p in pieces]
    breaches = ", ".join(f"{b.rule} {b.value:.0f}" for b in layout.breaches) or "none"
    return (
        f"{layout.bay.id}: {len(layout.planks)} planks, bound {layout.bound}; "
        f"{len({p.row for p in pieces})} rows, {len(pieces)} pieces, "
        f"{sum(map(is_cross_cut, pieces))} cut, {sum(map(is_ripped, pieces))} ripped; shortest end "
        f"{min(ends, default=0):.0f}, narrowest strip {min(strips, default=0):.0f}; breaches {breaches}"
    )


def write(result: PlanResult, name: str, folder: Path) -> None:
    """Sheets, and pictures of them where there is a program for it."""
    path = folder / f"{name}.pdf"
    path.write_bytes(plan_sheets(result, default_rules(), default_rules=True).data)
    if shutil.which("pdftoppm"):
        command = ["pdftoppm", "-r", "110", "-png", str(path), str(folder / name)]
        subprocess.run(command, check=True, timeout=120)


def main() -> int:
    """Lay the bays, print their figures, write their sheets."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("names", nargs="*", choices=[*HARD, []], help="only these")
    options = parser.parse_args()
    options.folder.mkdir(parents=True, exist_ok=True)
    for name, make in HARD.items():
        if options.names and name not in options.names:
            continue
        result = replace(lay_plan(make(), default_rules()), source=f"{name}.dxf")
        for layout in result.bays:
            print(name, figures(layout), flush=True)
        write(result, name, options.folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
