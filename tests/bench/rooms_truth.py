"""How well rooms and doorways come out of real drawings, held against what was found by eye.

    python -m tests.bench.rooms_truth [--walls] [--misses] [--folder DIR] [NAME ...]

Prints one line a drawing: unit believed, rooms right / wrong / missed of those that are enclosed and
unambiguous, other rooms found, doorways right / missed, seconds. `--walls` judges the recovery from
wall linework alone, given the true unit; without it the whole importer is judged. `--misses` lists what
went wrong. The drawings are not part of the project: SETOUT_REAL_PLANS names their folder.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import Point as Spot
from shapely import Polygon

from importer.dxf.drawing import Drawing

REPO = Path(__file__).resolve().parent.parent.parent

AT_MM = 250.0
"""A doorway is the one meant when its floor is this near the place noted."""


@dataclass(kw_only=True)
class Door:
    """A doorway as found: its floor, and the indices of the rooms on either side."""

    shape: Polygon
    rooms: tuple[int | None, int | None]
    width_mm: float


@dataclass(kw_only=True)
class Reading:
    """What the importer made of a drawing, in millimetres of drawing coordinates."""

    to_mm: float | None = None
    because: str = ""
    rooms: list[Polygon] = field(default_factory=list)
    doors: list[Door] = field(default_factory=list)
    failure: str = ""


@dataclass(kw_only=True)
class Score:
    """The judgement on one drawing."""

    unit: str
    right: int = 0
    wrong: int = 0
    missed: int = 0
    other: int = 0
    doors_right: int = 0
    doors_missed: int = 0
    misses: list[str] = field(default_factory=list)


def read_whole(path: Path, truth: dict[str, Any]) -> Reading:
    """The whole importer."""
    from importer.plan import PlanError
    from importer.read import read_plan

    try:
        plan = read_plan(path)
    except PlanError as refused:
        return Reading(failure=str(refused))
    index = {room.id: k for k, room in enumerate(plan.rooms)}
    doors = [
        Door(
            shape=d.shape,
            rooms=(index.get(d.rooms[0]), index.get(d.rooms[1]) if d.rooms[1] else None),
            width_mm=d.width_mm,
        )
        for d in plan.doorways
    ]
    return Reading(
        to_mm=plan.units.to_mm,
        because=plan.units.because,
        rooms=[r.shape for r in plan.rooms],
        doors=doors,
    )


def read_walls(path: Path, truth: dict[str, Any]) -> Reading:
    """Recovery from wall linework alone, with the true unit given."""
    from importer.dxf.flatten import flatten
    from importer.dxf.load import load_dxf

    to_mm = truth["unit_to_mm"] or GUESSED_UNIT.get(path.stem, 1.0)
    return walls_of(flatten(load_dxf(path), path.name).in_mm(to_mm), to_mm)


def walls_of(drawing: Drawing, to_mm: float) -> Reading:
    """What the recovery from wall linework makes of a drawing in millimetres."""
    from importer.dxf.closing import spaces_beside
    from importer.dxf.doors import door_symbols
    from importer.dxf.walls_to_rooms import recover_rooms
    from importer.hints import Hints
    from importer.outlines import Space

    symbols = door_symbols(drawing, Hints())
    start = time.process_time()
    found = recover_rooms(drawing, symbols, Hints())
    because = f"given; recovery {time.process_time() - start:.2f} s"
    shift = np.array(drawing.origin) * to_mm
    rooms = [shapely.transform(r.shape, lambda p: p + shift) for r in found.rooms]
    spaces = [Space(shape=r.shape, outside=False) for r in found.rooms]
    beside = spaces_beside(found.openings, spaces)
    doors = [
        Door(shape=shapely.transform(o.shape, lambda p: p + shift), rooms=pair, width_mm=o.width_mm)
        for o, pair in zip(found.openings, beside, strict=True)
    ]
    return Reading(to_mm=to_mm, because=because, rooms=rooms, doors=doors)


GUESSED_UNIT = {
    "elevation_r12_exploded": 25.4,
    "survey_hugecoords": 1000.0,
    "plot_outline_solvespace": 1000.0,
}


def judge(reading: Reading, truth: dict[str, Any]) -> Score:
    """Hold a reading against what was found by eye."""
    told = truth["unit_to_mm"]
    unit = "-" if reading.to_mm is None else f"{reading.to_mm:g}"
    if told is not None and reading.to_mm is not None:
        unit += " ok" if abs(told - reading.to_mm) < 1e-6 * told else f" (is {told:g})"
    score = Score(unit=unit)
    k = told or reading.to_mm or 1.0
    where = {r["id"]: _at(reading.rooms, r["point"], k) for r in truth["rooms"]}
    groups = {i: g for g in truth.get("open_plan_groups", []) for i in g["rooms"]}
    meant: set[int] = set()
    for room in truth["rooms"]:
        found = where[room["id"]]
        if found is not None:
            meant.add(found)
        if room["id"] in groups or not room["enclosed"] or room.get("ambiguous"):
            continue
        if room["kind"] == "outside":
            continue
        _judge_room(score, reading, room, found)
    for group in truth.get("open_plan_groups", []):
        stand_in = {**group, "id": "+".join(group["rooms"]), "tolerance": 0.01}
        _judge_room(score, reading, stand_in, where[group["rooms"][0]])
    score.other = len(reading.rooms) - len(meant)
    for door in truth["doorways"]:
        if not door.get("ambiguous"):
            _judge_door(score, reading, door, where, k)
    return score


def _at(rooms: list[Polygon], point: list[float], k: float) -> int | None:
    spot = Spot(point[0] * k, point[1] * k)
    return next((n for n, shape in enumerate(rooms) if shape.contains(spot)), None)


def _judge_room(score: Score, reading: Reading, room: dict[str, Any], found: int | None) -> None:
    if found is None:
        score.missed += 1
        score.misses.append(f"room {room['id']} {room.get('name') or ''}: missed")
        return
    area = reading.rooms[found].area / 1e6
    off = area / room["area_m2"] - 1
    if abs(off) <= room["tolerance"]:
        score.right += 1
    else:
        score.wrong += 1
        score.misses.append(f"room {room['id']}: {area:.3f} m2, is {room['area_m2']} ({off:+.2%})")


def _judge_door(
    score: Score,
    reading: Reading,
    door: dict[str, Any],
    where: dict[str, int | None],
    k: float,
) -> None:
    spot = Spot(door["at"][0] * k, door["at"][1] * k)
    near = [d for d in reading.doors if d.shape.distance(spot) <= AT_MM]
    wanted = [door["between"], *([door["alt_between"]] if "alt_between" in door else [])]
    if any(_joins(d, pair, where) for d in near for pair in wanted):
        score.doors_right += 1
        return
    score.doors_missed += 1
    seen = [d.rooms for d in near]
    score.misses.append(f"doorway {door['between']} at {door['at']}: {seen or 'no opening there'}")


def _joins(door: Door, pair: list[str | None], where: dict[str, int | None]) -> bool:
    return any(
        _side(one, pair[0], where) and _side(two, pair[1], where)
        for one, two in (door.rooms, door.rooms[::-1])
    )


def _side(found: int | None, told: str | None, where: dict[str, int | None]) -> bool:
    if told == "?":
        return True
    if told is None:
        return found is None
    return found is not None and where.get(told) == found


def main() -> int:
    """Run and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*")
    parser.add_argument("--walls", action="store_true")
    parser.add_argument("--misses", action="store_true")
    folder = Path(os.environ.get("SETOUT_REAL_PLANS", REPO.parent / "shared" / "real_plans"))
    parser.add_argument("--folder", type=Path, default=folder)
    given = parser.parse_args()
    truths = json.loads((given.folder / "truth.json").read_text(encoding="utf-8"))
    names = given.names or list(truths)
    reader = read_walls if given.walls else read_whole
    print(
        f"{'drawing':26} {'to mm':14} {'rooms R/W/M':12} {'other':>5} {'doors R/M':10} {'s':>6}  why"
    )
    total = Score(unit="")
    for name in names:
        start = time.perf_counter()
        reading = reader(given.folder / "dxf" / f"{name}.dxf", truths[name])
        seconds = time.perf_counter() - start
        score = judge(reading, truths[name])
        _print(name, score, seconds, reading.failure or reading.because)
        for miss in score.misses if given.misses else []:
            print(f"    {miss}")
        for count in ("right", "wrong", "missed", "other", "doors_right", "doors_missed"):
            setattr(total, count, getattr(total, count) + getattr(score, count))
    _print("all", total, 0.0, "")
    return 0


def _print(name: str, score: Score, seconds: float, why: str) -> None:
    rooms = f"{score.right}/{score.wrong}/{score.missed}"
    doors = f"{score.doors_right}/{score.doors_missed}"
    print(f"{name:26} {score.unit:14} {rooms:12} {score.other:5} {doors:10} {seconds:6.2f}  {why}")


if __name__ == "__main__":
    sys.exit(main())
