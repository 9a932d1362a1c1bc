from __future__ import annotations

import json
from dataclasses import replace
from importlib.resources import files

import jsonschema
import pytest
import shapely

from layout.floor import JobResult
from layout.takeoff import combine
from layout.writers.record import record, record_json
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
