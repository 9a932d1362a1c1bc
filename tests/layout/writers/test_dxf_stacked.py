"""A drawing whose storeys stand over each other at their heights: one marked drawing a storey."""

from __future__ import annotations

from pathlib import Path

import pytest
from ezdxf.document import Drawing
from shapely import box

from importer.read import read_plan
from layout.audit import audit
from layout.batch import Task, lay_file
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.writers.dxf.reread import reread
from layout.writers.dxf.storey_marks import STACKED, is_stacked, mark_stacked
from tests.layout.writers.build import lay, result_of
from tests.layout.writers.drawings import ROOM, load, room_drawing, save
from tests.layout.writers.test_dxf_mark import assert_records_kept

RISE = 2800.0


def tower() -> Drawing:
    """Two rooms of 4.0 by 3.0 m, one over the other, each with its name."""
    doc = room_drawing(name="KITCHEN")
    space = doc.modelspace()
    ring = [(0, 0), (4000, 0), (4000, 3000), (0, 3000)]
    space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "A-AREA", "elevation": RISE})
    name = space.add_text("STUDY", height=200, dxfattribs={"layer": "A-TEXT"})
    name.set_placement((1400, 1500, RISE))
    return doc


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return save(tower(), tmp_path_factory.mktemp("stacked") / "tower.dxf")


def test_each_storey_has_the_whole_drawing_with_its_own_marks_at_its_height(path: Path) -> None:
    rules = default_rules()
    result = lay_plan(read_plan(path), rules)
    assert is_stacked(result)
    stored = mark_stacked(path, result, rules)
    assert len(stored) == 2
    for height, name, storey in zip((0.0, RISE), ("KITCHEN", "STUDY"), stored, strict=True):
        data = storey.marked.data
        assert_records_kept(path.read_bytes(), data)
        doc = load(data)
        assert doc.audit().errors == []
        planks = doc.modelspace().query('LWPOLYLINE[layer=="SETOUT-PLANK"]')
        assert {p.dxf.elevation for p in planks} == {height}
        assert len(planks) > 10
        notes = doc.modelspace().query('TEXT[layer=="SETOUT-NOTE" | layer=="SETOUT-TABLE"]')
        assert any(t.dxf.text == name for t in notes)
        assert STACKED in storey.marked.remarks


def test_marked_storey_is_read_back_and_audits_as_laid(path: Path, tmp_path: Path) -> None:
    laid = lay_file(Task(path=path, rules=default_rules(), default_rules=True))
    marked = [data for name, data in laid.files.items() if name.endswith("-marked.dxf")]
    assert len(marked) == 2
    for n, data in enumerate(marked):
        out = tmp_path / f"{n}-marked.dxf"
        out.write_bytes(data)
        again = reread(out)
        assert len(again.bays) == 1
        assert audit(again.bays[0], again.rules) == laid.result.bays[n].breaches


def test_bays_of_a_flat_drawing_are_not_taken_apart() -> None:
    bays = [lay(ROOM, "B1"), lay(box(5000, 0, 8000, 3000), "B2")]
    assert not is_stacked(result_of(bays))
