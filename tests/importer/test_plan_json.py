"""The plan's JSON: valid against its published schema, exact, the same bytes for the same plan."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon, get_parts, union_all
from shapely.affinity import translate

from importer.plan import (
    Finding,
    FlatId,
    Obstacle,
    ObstacleId,
    ObstacleKind,
    Origin,
    Room,
    RoomId,
    Severity,
)
from importer.plan_json import plan_json_bytes, plan_schema, plan_to_json
from tests.importer.plans import STOREY, sample_plan, tiny_plan

SAMPLES = ("flat.dxf", "block_storey.dxf", "flat_inches.dxf", "flat_messy.dxf")
VALIDATOR = jsonschema.Draft202012Validator(plan_schema())


def test_the_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(plan_schema())


@pytest.mark.parametrize("file", SAMPLES)
def test_sample_plan_is_valid_and_its_outlines_give_its_areas(file: str) -> None:
    plan = sample_plan(file)
    data = json.loads(plan_json_bytes(plan))
    VALIDATOR.validate(data)
    assert data["schema"] == 1
    assert [r["id"] for r in data["rooms"]] == [r.id for r in plan.rooms]
    for room in data["rooms"]:
        shape = Polygon(room["outline_mm"], room["holes_mm"])
        assert shape.exterior.is_ccw
        assert room["outline_mm"][0] != room["outline_mm"][-1]
        assert room["area_m2"] == pytest.approx(shape.area / 1e6, abs=1e-5)
        assert room["perimeter_mm"] == pytest.approx(shape.exterior.length, abs=0.01)


def test_keys_promised_to_other_programs_are_there() -> None:
    data = plan_to_json(sample_plan("flat.dxf"))
    promised = {
        "plan": {"file", "format", "units"},
        "rooms": {
            "id", "name", "number", "storey", "flat", "area_m2", "perimeter_mm", "outline_mm",
            "holes_mm", "source",
        },
        "doorways": {"id", "rooms", "width_mm", "at_mm", "kind"},
        "findings": {"code", "severity", "what", "where", "remedy"},
        "storeys": {"id", "name", "elevation_mm"},
    }  # fmt: skip
    for part, keys in promised.items():
        entry = data[part] if isinstance(data[part], dict) else data[part][0]
        assert keys <= set(entry)
    assert data["rooms"][0]["source"] == {"layer": "A-AREA", "handle": "1"}
    assert set(data["plan"]["units"]) == {"name", "to_mm", "because"}


@pytest.mark.parametrize(
    "damage",
    [
        lambda d: d["rooms"][0].pop("outline_mm"),
        lambda d: d["rooms"][0].update(outline_mm=[[0, 0], [1, 1]]),
        lambda d: d["doorways"][0].update(rooms=[None, "room-1"]),
        lambda d: d["doorways"][0].update(kind="trapdoor"),
        lambda d: d["plan"]["units"].update(to_mm=0),
        lambda d: d.update(schema=2),
        lambda d: d.update(surprise=1),
    ],
)
def test_schema_refuses_a_damaged_record(damage: Any) -> None:
    data = json.loads(plan_json_bytes(sample_plan("flat.dxf")))
    damage(data)
    with pytest.raises(jsonschema.ValidationError):
        VALIDATOR.validate(data)


def test_room_with_column_keeps_its_hole_and_clockwise_rings_are_turned() -> None:
    ring = [(0, 0), (0, 4000), (4000, 4000), (4000, 0)]
    hole = [(1000, 1000), (1300, 1000), (1300, 1300), (1000, 1300)]
    room = Room(id=RoomId("room-1"), shape=Polygon(ring, [hole]), storey=STOREY)
    entry = plan_to_json(tiny_plan(rooms=(room,)))["rooms"][0]
    assert Polygon(entry["outline_mm"]).exterior.is_ccw
    assert len(entry["holes_mm"]) == 1
    assert Polygon(entry["holes_mm"][0]).exterior.is_ccw
    assert entry["area_m2"] == pytest.approx(15.91)
    assert entry["perimeter_mm"] == 16000.0


def test_place_of_a_finding_is_given_in_drawing_units_and_in_mm() -> None:
    finding = Finding(
        code="IMP-301",
        severity=Severity.SETTLE,
        what="open",
        where=Origin(file="a.dxf", layer="W", at=(10.0, 2.5)),
    )
    plan = tiny_plan(findings=(finding,))
    inches = replace(plan, units=replace(plan.units, name="in", to_mm=25.4))
    entry = plan_to_json(inches)["findings"][0]
    assert entry["at_mm"] == [254.0, 63.5]
    assert entry["where"] == "a.dxf, layer W, at (10, 2.5)"


def test_guid_is_the_source_of_a_thing_from_a_model() -> None:
    column = Obstacle(
        id=ObstacleId("o"),
        kind=ObstacleKind.COLUMN,
        shape=Polygon([(0, 0), (300, 0), (300, 300)]),
        storey=STOREY,
        source=Origin(guid="2O2Fr$t4X7Zf8NOew3FLOH"),
    )
    data = plan_to_json(tiny_plan(obstacles=(column,)))
    VALIDATOR.validate(data)
    assert data["obstacles"][0]["source"] == {"guid": "2O2Fr$t4X7Zf8NOew3FLOH"}


@pytest.mark.parametrize("name", ['"</script>', "\ud800 damaged", "浴室", "a\nb", "=1+1"])
def test_any_name_survives_as_data(name: str) -> None:
    plan = tiny_plan()
    room = replace(plan.rooms[0], name=name, flat=FlatId(name))
    data = json.loads(plan_json_bytes(replace(plan, rooms=(room,))).decode("utf-8"))
    VALIDATOR.validate(data)
    assert data["rooms"][0]["name"] == name.replace("\ud800", "?")


coordinate = st.floats(-1e9, 1e9).map(lambda v: round(v, 2))


@given(dx=coordinate, dy=coordinate, size=st.floats(0.01, 20_000.0))
def test_coordinates_are_rounded_to_a_thousandth_and_rings_stay_rings(
    dx: float, dy: float, size: float
) -> None:
    shape = translate(Polygon([(0, 0), (size, 0), (size, size / 3), (0, size)]), dx, dy)
    room = Room(id=RoomId("room-1"), shape=shape, storey=STOREY)
    ring = plan_to_json(tiny_plan(rooms=(room,)))["rooms"][0]["outline_mm"]
    assert len(ring) >= 3
    for p, q in zip(ring, ring[1:] + ring[:1], strict=True):
        assert p != q or size < 0.05
        assert all(v == round(v, 3) and str(v) != "-0.0" for v in p)


def test_bytes_do_not_depend_on_the_order_of_sets() -> None:
    code = (
        "from tests.importer.plans import sample_plan; from importer.plan_json import plan_json_bytes;"
        "import hashlib; print(hashlib.sha256(plan_json_bytes(sample_plan('flat.dxf'))).hexdigest())"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(digests) == 1


def test_hand_made_plans_are_possible() -> None:
    """Guards the helper: rooms and walls of a sample do not overlap."""
    plan = sample_plan("block_storey.dxf")
    rooms = union_all([r.shape for r in plan.rooms])
    assert sum(p.area for p in get_parts(rooms.intersection(union_all(plan.walls)))) < 1.0
