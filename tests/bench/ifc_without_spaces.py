"""Rooms found between the walls of real models whose spaces were deleted, against those spaces.

    python -m tests.bench.ifc_without_spaces [--folder DIR] [NAME ...]

Takes every IfcSpace with its boundaries and zones out of a copy, reads both, and holds the floor of each
room of the original, less what stands in it (stairs, holes, columns), against the room of the copy that
shares most of it. Right is within 1 % of the area, and sharing 95 % of what both cover. Rooms of the copy
that no space answers to are counted as well. Prints a line a model, then everything that missed. The
models are not part of the project: SETOUT_REAL_PLANS names their folder.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import shapely
from shapely.geometry.base import BaseGeometry

from importer.plan import Plan, PlanError, Room
from importer.read import read_plan
from tests.bench.ifc_truth import SPACES_OUT, Tally, default_folder, without

NEAR = 0.01
SHARED = 0.95
INVENTED = 0.5
"""A room of the copy of which spaces cover less than this part stands where no space is."""


def floor_of(plan: Plan, room: Room) -> BaseGeometry:
    """What can be laid of a room."""
    return room.shape.difference(
        shapely.union_all([o.shape for o in plan.obstacles if o.room == room.id])
    )


def level_of(plan: Plan, room: Room) -> str:
    return next(s.name for s in plan.storeys if s.id == room.storey)


def held_against(plan: Plan, copy: Plan | None) -> tuple[Tally, int]:
    """Rooms that were found again, and how many were found where none is."""
    tally = Tally()
    free = [] if copy is None else [(level_of(copy, r), floor_of(copy, r)) for r in copy.rooms]
    for room in plan.rooms:
        floor = floor_of(plan, room)
        level = level_of(plan, room)
        here = [f for name, f in free if name == level and f.intersects(floor)]
        best = max(here, key=lambda f: f.intersection(floor).area, default=None)
        title = " ".join(x for x in (room.number, room.name) if x)
        what = f"{plan.file} {level}: {title}, {floor.area / 1e6:.2f} m2"
        if best is None or floor.area <= 0:
            tally.count(f"{what}: none", right=False)
            continue
        shared = best.intersection(floor).area / best.union(floor).area
        off = best.area / floor.area - 1
        tally.count(
            f"{what}: {100 * off:+.1f} %, shared {shared:.2f}",
            right=abs(off) <= NEAR and shared > SHARED,
        )
    spaces = shapely.union_all([r.shape for r in plan.rooms])
    invented = sum(f.intersection(spaces).area < INVENTED * f.area for _, f in free)
    return tally, invented


def read(path: Path) -> Plan | None:
    try:
        return read_plan(path)
    except PlanError as refused:
        print(f"   {refused}")
        return None


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--folder", type=Path, default=default_folder())
    given = parser.parse_args()
    if not given.folder.is_dir():
        print(f"real models are not here ({given.folder}); set SETOUT_REAL_PLANS to their folder")
        return 2
    total = Tally()
    print("file, rooms found again of all, rooms where no space is")
    with tempfile.TemporaryDirectory() as scratch:
        for path in sorted((given.folder / "ifc").glob("*.ifc")):
            if given.names and not any(n in path.name for n in given.names):
                continue
            plan = read(path)
            if plan is None or not any(r.name or r.number for r in plan.rooms):
                continue  # it has no spaces to be held against
            copy = Path(scratch) / path.name
            without(path, copy, SPACES_OUT)
            tally, invented = held_against(plan, read(copy))
            print(f"{path.name:40} {tally!s:>8} {invented:3}", flush=True)
            total.right += tally.right
            total.every += tally.every
            total.misses += tally.misses
    if total.every:
        print(f"\n{total} = {100 * total.right / total.every:.1f} %")
    for miss in total.misses:
        print(f"   {miss}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
