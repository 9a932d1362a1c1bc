"""The sample drawings: the script still makes them, they are sound, and they say what is in them."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.entities.insert import Insert
from ezdxf.entities.lwpolyline import LWPolyline
from ezdxf.entities.mtext import MText
from ezdxf.entities.text import Text
from ezdxf.filemanagement import readfile
from ezdxf.version import __version__ as ezdxf_version
from shapely import Polygon

from importer.plan import Plan, Room
from importer.read import read_plan
from sample_plans.draw_samples import truth, write_all
from sample_plans.scenario import MODEL, SAMPLES, Sample

FILES = [s.file for s in SAMPLES]
AREA = re.compile(r"([\d.,]+)\s*(m2|m²|SQ FT)")
TO_M2 = {"m2": 1.0, "m²": 1.0, "SQ FT": 0.09290304}


@pytest.fixture(scope="session")
def redrawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("redrawn")
    write_all(folder)
    return folder


def texts(doc: Drawing) -> list[str]:
    """Every text of modelspace, attributes too."""
    found = []
    for entity in doc.modelspace():
        if isinstance(entity, MText):
            found.append(entity.plain_text())
        elif isinstance(entity, Insert):
            found += [a.dxf.text for a in entity.attribs]
        elif isinstance(entity, Text):
            found.append(entity.dxf.text)
    return [t if isinstance(t, str) else "\n".join(t) for t in found]


@pytest.mark.parametrize("name", [*FILES, "truth.json"])
def test_script_still_makes_the_committed_file(
    name: str, redrawn: Path, sample_plans: Path
) -> None:
    """Byte for byte with the ezdxf they were drawn with; else the same entities."""
    committed = (sample_plans / name).read_bytes()
    made_with = json.loads((sample_plans / "truth.json").read_text())["drawn_with_ezdxf"]
    if made_with == ezdxf_version:
        assert committed == (redrawn / name).read_bytes()
    elif name.endswith(".dxf"):
        assert census(sample_plans / name) == census(redrawn / name)


def census(path: Path) -> list[tuple[str, str, str]]:
    doc = readfile(path)
    return [(e.dxftype(), e.dxf.layer, e.dxf.handle) for e in doc.modelspace()]


@pytest.mark.parametrize("seed", ["1", "77"])
def test_script_draws_the_same_bytes_in_any_process(
    seed: str, redrawn: Path, sample_plans: Path, tmp_path: Path
) -> None:
    """Run as a script, from elsewhere, under another order of sets."""
    copy = tmp_path / "sample_plans"
    copy.mkdir()
    for source in sample_plans.glob("*.py"):
        (copy / source.name).write_bytes(source.read_bytes())
    run = subprocess.run(
        [sys.executable, str(copy / "draw_samples.py")],
        cwd=tmp_path,
        env={**os.environ, "PYTHONHASHSEED": seed},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (run.returncode, run.stderr) == (0, "")
    for name in [*FILES, MODEL, "truth.json"]:
        assert (copy / name).read_bytes() == (redrawn / name).read_bytes(), name


@pytest.mark.parametrize("name", FILES)
def test_file_is_small_and_passes_the_dxf_audit(name: str, sample_plans: Path) -> None:
    path = sample_plans / name
    assert path.stat().st_size <= 300 * 1024
    auditor = readfile(path).audit()
    assert (auditor.errors, auditor.fixes) == ([], [])


@pytest.mark.parametrize("name", FILES)
def test_every_printed_area_is_that_of_its_room(name: str, sample_plans: Path) -> None:
    printed = sorted(
        (float(number.replace(",", ".")), unit)
        for text in texts(readfile(sample_plans / name))
        for number, unit in AREA.findall(text)
    )
    rooms = truth()[name]["rooms"]
    assert len(printed) == len(rooms)
    expected = sorted(r["area_m2"] for r in rooms)
    for (number, unit), area in zip(printed, expected, strict=True):
        last_digit = 0.01 if unit != "SQ FT" else 0.1
        assert number == pytest.approx(area / TO_M2[unit], abs=0.5001 * last_digit)


@pytest.mark.parametrize("name", FILES)
def test_every_room_is_named_in_the_drawing(name: str, sample_plans: Path) -> None:
    words = "\n".join(texts(readfile(sample_plans / name)))
    for room in truth()[name]["rooms"]:
        assert room["name"] in words
        if name == "block_storey.dxf":
            assert re.search(rf"^{re.escape(room['number'])}$", words, re.MULTILINE)


@pytest.mark.parametrize("name", FILES)
def test_truth_is_a_possible_building(name: str) -> None:
    """Rooms do not overlap, names stand in their rooms, doorways touch the rooms they join."""
    facts: dict[str, Any] = truth()[name]
    shapes = {r["key"]: Polygon(r["outline_mm"]) for r in facts["rooms"]}
    assert len(shapes) == len(facts["rooms"])
    for room in facts["rooms"]:
        assert shapes[room["key"]].contains(shapely.Point(room["inside_mm"]))
        assert shapes[room["key"]].area / 1e6 == pytest.approx(room["area_m2"], abs=1e-5)
    for a, b in combinations(shapes.values(), 2):
        assert a.intersection(b).area < 1.0
    for door in facts["doorways"]:
        gap = Polygon(door["shape_mm"])
        for key in door["rooms"]:
            if key is not None:
                shared = gap.buffer(0.5).intersection(shapes[key].exterior).length
                assert shared == pytest.approx(door["width_mm"], abs=2.0), (door["rooms"], key)


@pytest.mark.parametrize("sample", SAMPLES, ids=FILES)
def test_walls_leave_rooms_and_openings_free(sample: Sample) -> None:
    building = sample.building()
    walls = shapely.union_all(building.walls())
    for shape in [s.shape for s in building.spaces] + [o.shape() for o in building.openings]:
        assert walls.intersection(shape).area < 1e-6 * shape.area + 1.0
    rest = building.footprint.difference(walls).area
    parts = [s.shape for s in building.spaces] + [o.shape() for o in building.openings]
    parts += [Polygon(s) for s in building.shafts]
    assert rest == pytest.approx(sum(p.area for p in parts), rel=1e-6)


def test_outlines_on_the_room_layer_are_the_rooms(sample_plans: Path) -> None:
    for name in ("flat.dxf", "block_storey.dxf"):
        outlines = readfile(sample_plans / name).modelspace().query('*[layer=="A-AREA"]')
        rings = [list(e.vertices()) for e in outlines if isinstance(e, LWPolyline)]
        drawn = sorted(Polygon(ring).area / 1e6 for ring in rings)
        assert drawn == pytest.approx(sorted(r["area_m2"] for r in truth()[name]["rooms"]))


def test_samples_differ_in_what_a_reader_must_cope_with(sample_plans: Path) -> None:
    docs = {name: readfile(sample_plans / name) for name in FILES}
    assert docs["flat_inches.dxf"].header["$INSUNITS"] == 1
    messy = (sample_plans / "flat_messy.dxf").read_bytes()
    assert b"$INSUNITS" not in messy
    assert b"K\xfcche" in messy
    assert not docs["flat_messy.dxf"].modelspace().query("INSERT")
    assert not docs["flat_inches.dxf"].modelspace().query('*[layer=="A-AREA"]')
    mirrored = [
        i for i in docs["block_storey.dxf"].modelspace().query("INSERT") if i.dxf.yscale < 0
    ]
    assert len(mirrored) > 10


# --- what the reader makes of them -----------------------------------------------------------


@pytest.fixture(scope="session", params=FILES)
def read_sample(request: pytest.FixtureRequest) -> tuple[Plan, dict[str, Any]]:
    """(plan as read, truth) of every sample."""
    folder = Path(__file__).resolve().parent.parent / "sample_plans"
    return read_plan(folder / request.param), truth()[request.param]


def matched(plan: Plan, facts: dict[str, Any]) -> dict[str, Room]:
    """The room that was read at each place where one is drawn, by key."""
    found = {}
    for fact in facts["rooms"]:
        there = [r for r in plan.rooms if r.shape.contains(shapely.Point(fact["inside_mm"]))]
        assert len(there) == 1, fact["key"]
        found[fact["key"]] = there[0]
    return found


def test_reader_finds_every_room_by_name_and_area_and_no_other(
    read_sample: tuple[Plan, dict[str, Any]],
) -> None:
    plan, facts = read_sample
    assert plan.units.to_mm == facts["units"]["to_mm"]
    rooms = matched(plan, facts)
    assert len(plan.rooms) == len(rooms)
    for fact in facts["rooms"]:
        room = rooms[fact["key"]]
        assert room.name == fact["name"]
        assert room.communal == fact["communal"]
        assert room.shape.area / 1e6 == pytest.approx(fact["area_m2"], rel=facts["room_slack"])
        assert room.printed_area_m2 == pytest.approx(fact["area_m2"], rel=0.005)


def test_reader_finds_every_doorway_between_its_rooms(
    read_sample: tuple[Plan, dict[str, Any]],
) -> None:
    plan, facts = read_sample
    keys = {room.id: key for key, room in matched(plan, facts).items()}
    slack = 25.0 if facts["room_slack"] > 1e-3 else 1.0
    assert len(plan.doorways) == len(facts["doorways"])
    for fact in facts["doorways"]:
        place = shapely.Point(fact["at_mm"])
        near = min(plan.doorways, key=lambda d: d.shape.distance(place))
        assert near.shape.distance(place) < 1.0, fact["rooms"]
        ends = {None if r is None else keys[r] for r in near.rooms}
        assert ends == set(fact["rooms"])
        assert near.width_mm == pytest.approx(fact["width_mm"], abs=slack)
        assert near.kind.value == fact["kind"], fact["rooms"]
        if plan.flats:  # with a single dwelling its front door is a door to the outside like any
            assert near.flat_entrance == fact["flat_entrance"], fact["rooms"]


def test_reader_gives_each_room_to_its_flat(read_sample: tuple[Plan, dict[str, Any]]) -> None:
    plan, facts = read_sample
    flats = {f.id: f.name for f in plan.flats}
    rooms = matched(plan, facts)
    for fact in facts["rooms"]:
        if fact["flat"]:
            flat = rooms[fact["key"]].flat
            assert flat is not None
            assert flats[flat] == fact["flat"]
