"""The sample model: the script still makes it, it is sound, and it is the twin of the drawn storey."""

from __future__ import annotations

import json
from collections import Counter
from importlib.metadata import version
from pathlib import Path

import ifcopenshell
import ifcopenshell.validate
import pytest
import shapely

from sample_plans import block_model, block_storey
from sample_plans.ifc_kit import Model
from sample_plans.scenario import MODEL
from sample_plans.wall_parts import single_walls, wall_body


@pytest.fixture(scope="module")
def model(sample_plans: Path) -> ifcopenshell.file:
    return ifcopenshell.open(str(sample_plans / MODEL))


def test_script_still_makes_the_committed_model(sample_plans: Path) -> None:
    """Byte for byte with the library it was made with; else the same things under the same ids."""
    committed = (sample_plans / MODEL).read_text(encoding="utf-8")
    made_with = json.loads((sample_plans / "truth.json").read_text())["drawn_with_ifcopenshell"]
    made = block_model.draw()
    if made_with == version("ifcopenshell"):
        assert committed == made
    else:
        assert census(committed) == census(made)


def census(text: str) -> list[str]:
    return [line.split("(")[0] for line in text.splitlines() if line.startswith("#")]


def test_model_is_small_and_validates(sample_plans: Path, model: ifcopenshell.file) -> None:
    assert (sample_plans / MODEL).stat().st_size < 1_000_000
    log = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(model, log)
    assert log.statements == []


def test_every_storey_has_the_things_of_the_drawn_one(model: ifcopenshell.file) -> None:
    plan = block_storey.building()
    levels = block_model.STOREYS
    counted = Counter(e.is_a() for e in model.by_type("IfcProduct"))
    assert counted["IfcSpace"] == levels * len(plan.spaces)
    assert counted["IfcOpeningElement"] == levels * len(plan.openings)
    assert counted["IfcWindow"] == levels * len(plan.windows)
    assert counted["IfcColumn"] == levels * len(plan.columns)
    assert counted["IfcStair"] == levels - 1
    names = {s.Name for s in model.by_type("IfcSpace")}
    assert names == {number for k in range(levels) for number, _ in block_model.rooms_of(k)}
    zones = {z.Name: len(z.IsGroupedBy[0].RelatedObjects) for z in model.by_type("IfcZone")}
    assert zones == {f"Flat {n}": 7 if n % 4 in {1, 2} else 5 for n in range(1, 13)}


def test_single_walls_are_the_body_of_all_walls_and_hold_every_opening() -> None:
    plan = block_storey.building()
    walls = single_walls(plan)
    body = shapely.MultiPolygon(wall_body(plan))
    together = shapely.union_all([w.shape for w in walls])
    assert together.symmetric_difference(body).area < 10.0
    assert sum(w.shape.area for w in walls) == pytest.approx(body.area, abs=10.0)
    tree = shapely.STRtree([w.shape for w in walls])
    for opening in plan.openings:
        middle = shapely.LineString([opening.a, opening.b]).centroid
        (host,) = tree.query(middle, predicate="within")
        assert walls[host].thickness == pytest.approx(opening.thickness)


@pytest.mark.parametrize(
    ("kind", "listed"),
    [("IfcUnitAssignment", "Units"), ("IfcRelAggregates", "RelatedObjects")],
)
def test_order_in_which_the_library_lists_things_does_not_show(kind: str, listed: str) -> None:
    """It collects them in sets, whose order depends on what the process did before."""
    one, two = Model("a block"), Model("a block")
    for model in (one, two):
        for name in ("Storey 0", "Storey 1"):
            model.storey(name, 0.0)
    for thing in two.file.by_type(kind):
        setattr(thing, listed, tuple(reversed(getattr(thing, listed))))
    assert one.text() == two.text()
