from __future__ import annotations

import json
from dataclasses import fields, replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import shapely

from importer.plan import Doorway, Flat, PlanError, Room, Storey
from importer.read import read_plan
from layout.floor import (
    Alternative,
    Bay,
    BayLayout,
    Breach,
    JobResult,
    MovementJoint,
    Piece,
    Plank,
    PlanResult,
    PlanStatus,
    SettingOut,
    Stretch,
    Taper,
    UnlaidRoom,
    Window,
)
from layout.floor_site import SiteDimension
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.takeoff import combine
from layout.writers.record import record, record_json
from tests.importer.ifc.models import two_rooms
from tests.layout.laid import rectangle_result, rules


@pytest.fixture
def job() -> JobResult:
    return combine([rectangle_result()], rules())


def schema() -> dict[str, object]:
    text = files("layout").joinpath("schemas/record.schema.json").read_text(encoding="utf-8")
    loaded: dict[str, object] = json.loads(text)
    return loaded


def test_record_keeps_to_its_published_schema(job: JobResult) -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    jsonschema.validate(json.loads(record_json(job)), schema())


def test_schema_refuses_a_record_that_lacks_a_key(job: JobResult) -> None:
    data = json.loads(record_json(job))
    del data["plans"][0]["bays"][0]["planks"]
    with pytest.raises(jsonschema.ValidationError, match="'planks' is a required property"):
        jsonschema.validate(data, schema())


def test_record_repeats_the_figures_of_the_layout(job: JobResult) -> None:
    bay = record(job)["plans"][0]["bays"][0]
    layout = job.plans[0].bays[0]
    assert bay["planks"] == len(layout.planks)
    assert bay["area_mm2"] == pytest.approx(layout.area_mm2)
    assert [p["id"] for p in bay["pieces"]] == [p.id for p in layout.pieces]
    assert all("shape_mm" not in p for p in bay["pieces"])


def test_piece_that_is_no_rectangle_gives_its_outline(job: JobResult) -> None:
    result = job.plans[0]
    notched = result.bays[0].pieces[0].shape.difference(shapely.box(0, 0, 50, 50))
    assert isinstance(notched, shapely.Polygon)
    pieces = (replace(result.bays[0].pieces[0], shape=notched), *result.bays[0].pieces[1:])
    changed = replace(job, plans=(replace(result, bays=(replace(result.bays[0], pieces=pieces),)),))
    shape = record(changed)["plans"][0]["bays"][0]["pieces"][0]["shape_mm"]
    assert len(shape) == 1
    assert len(shape[0]) == 6


def test_same_job_gives_the_same_bytes(job: JobResult) -> None:
    assert record_json(job) == record_json(combine([rectangle_result()], rules()))


# --- all there is ---------------------------------------------------------------------------------

LEFT_OUT: dict[type, dict[str, str]] = {
    PlanResult: {},
    BayLayout: {"runs": "told by the pieces", "damaged": "in laying", "stage_borders": "in laying"},
    Bay: {"along": "limits_kept_along_deg"},
    SettingOut: {
        "frame": "origin_mm, along_deg, mirrored",
        "phase_mm": "first_row_mm",
        "strips": "judged, not laid by",
    },
    Alternative: {},
    Piece: {"is_whole": "no cuts"},
    Plank: {},
    Breach: {},
    Window: {},
    MovementJoint: {},
    Stretch: {},
    SiteDimension: {},
    Taper: {},
    UnlaidRoom: {},
    Storey: {},
    Flat: {},
    Room: {
        "shape": "read --json",
        "printed_area_m2": "read --json",
        "also_called": "read --json",
        "finish_hint": "read --json",
        "left_out": "in unlaid",
    },
    Doorway: {
        "shape": "read --json",
        "leaf_line": "read --json",
        "wall_thickness_mm": "read --json",
        "swings_into": "read --json",
    },
}
"""Fields that are in the record under another name, or not, and why."""
NAMES = {
    "source": {"source", "file"},
    "planks": {"planks", "stock"},
    "called": {"name"},
    "blank_length_mm": {"length_mm"},
    "blank_width_mm": {"width_mm"},
    "keeps_near_edge": {"keeps"},
    "keeps_far_edge": {"keeps"},
    "plank_x_mm": {"plank_at_mm"},
    "plank_y_mm": {"plank_at_mm"},
    "is_reversed": {"reversed"},
    "shape": {"box_mm"},
    "outline": {"outline_mm"},
    "floor": {"floor_mm"},
    "bare": {"bare_mm"},
    "reference": {"reference_mm"},
    "datum": {"datum_mm"},
    "line": {"line_mm"},
    "edge": {"edge_mm"},
    "at": {"at_mm"},
    "bay": {"id", "bay"},
    "stretches": {"laying"},
}


def keys_in(thing: object) -> set[str]:
    """All keys of a JSON Schema's properties, however deep."""
    if isinstance(thing, dict):
        own = set(thing.get("properties", {}))
        return own.union(*(keys_in(v) for v in thing.values()))
    return set().union(*(keys_in(v) for v in thing)) if isinstance(thing, list) else set()


@pytest.mark.parametrize("kind", LEFT_OUT, ids=lambda k: k.__name__)
def test_every_field_of_the_result_is_in_the_schema_or_left_out_on_purpose(kind: type) -> None:
    known = keys_in(schema())
    missing = [
        f.name
        for f in fields(kind)
        if f.name not in LEFT_OUT[kind] and not NAMES.get(f.name, {f.name}) & known
    ]
    assert missing == [], f"add them to layout/writers/record.py and its schema: {missing}"


@pytest.fixture(scope="module")
def joined(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Record of two rooms of a model that are one floor."""
    made, storey, wall = two_rooms()
    gap = made.opening(wall, (1500, 3000, 2400, 3200))
    made.door(storey, (1500, 3080, 2400, 3120), fills=gap)
    folder: Path = tmp_path_factory.mktemp("record")
    job = combine([lay_plan(made.read(folder), default_rules())], default_rules())
    data: dict[str, Any] = json.loads(record_json(job))
    return data


def test_record_of_a_model_leads_back_to_its_entities(joined: dict[str, Any]) -> None:
    jsonschema.validate(joined, schema())
    (plan,) = joined["plans"]
    (bay,) = plan["bays"]
    rooms = {r["id"]: r for r in plan["plan"]["rooms"]}
    doors = {d["id"]: d for d in plan["plan"]["doorways"]}
    assert [rooms[r]["name"] for r in bay["rooms"]] == ["North", "South"]
    assert all(len(r["source"]["guid"]) == 22 and r["floor_mm"] == 0.0 for r in rooms.values())
    assert [len(doors[d]["source"]["guid"]) for d in bay["through"]] == [22]
    assert plan["plan"]["format"] == "IFC4"
    floor = shapely.Polygon(bay["floor_mm"][0])
    assert floor.area == pytest.approx(bay["area_mm2"], rel=1e-6)
    assert shapely.Polygon(bay["outline_mm"][0]).contains(floor)


def test_bays_that_share_planks_name_each_other(job: JobResult) -> None:
    result = job.plans[0]
    one = result.bays[0]
    other = replace(
        one,
        bay=replace(one.bay, id="B2"),
        pieces=tuple(replace(p, id=f"{p.id}x", bay="B2") for p in one.pieces),
        planks=(),
    )
    shared = replace(one.planks[0], pieces=(*one.planks[0].pieces, other.pieces[0].id))
    lender = replace(one, planks=(shared, *one.planks[1:]))
    data = record(replace(job, plans=(replace(result, bays=(lender, other)),)))
    names = [b["shares_offcuts_with"] for b in data["plans"][0]["bays"]]
    assert names == [["B2"], [one.bay.id]]
    alone = record(job)["plans"][0]["bays"]
    assert [b["shares_offcuts_with"] for b in alone] == [[] for _ in alone]


def test_plan_that_could_not_be_read_has_no_rooms_in_the_record(job: JobResult) -> None:
    with pytest.raises(PlanError) as unread:
        read_plan("no such file.dxf")
    lost = PlanResult(
        source="x.dxf", status=PlanStatus.FAILED, plan=None, findings=(unread.value.finding,)
    )
    data = json.loads(record_json(replace(job, plans=(lost,))))
    jsonschema.validate(data, schema())
    assert data["plans"][0]["plan"] is None
