"""Floors written into a copy of the model: in every schema and unit, beside what is there, and again."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache
from math import cos, radians, sin
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.validate
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from ifcopenshell.util.element import get_psets
from ifcopenshell.util.unit import convert_file_length_units
from shapely import Polygon

from importer.hints import Hints
from importer.ifc.child import Limits
from importer.ifc.model import Watch
from importer.plan import PlanError
from layout import batch_outputs
from layout.batch import find_plans
from layout.batch_outputs import Task
from layout.floor import PlanResult
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.writers.ifc.coverings import PROPERTIES
from layout.writers.ifc.floors import floor_by_room, floors_of
from layout.writers.ifc.inside import Copy, Errand, write_floors
from layout.writers.ifc.model_copy import model_with_floors
from layout.writers.ifc.step import Statements, appended, without, written
from layout.writers.ifc.units import angle_unit_rad, area_unit_mm2
from tests.importer.ifc.models import Building, read_here, saved, step_text, two_rooms

RULES = default_rules()
SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3_ADD2")


def house(schema: str = "IFC4") -> Building:
    """Two rooms and a door between them, so that they are one floor."""
    made, storey, wall = two_rooms(schema)
    gap = made.opening(wall, (1500, 3000, 2400, 3200))
    made.door(storey, (1500, 3080, 2400, 3120), fills=gap)
    return made


def laid(path: Path) -> PlanResult:
    return lay_plan(read_here(path), RULES)


def copied(path: Path, result: PlanResult | None = None) -> Copy:
    """The copy, made in this process: the child costs half a second."""
    floors = floors_of(result or laid(path), RULES, default_rules=True)
    return write_floors(path, Errand(floors=floors, hints=Hints()), Watch(), ())


@cache
def opened(data: bytes) -> Any:
    """Kept while the tests run: the library crashes over entities whose model is gone."""
    return ifcopenshell.file.from_string(data.decode("latin-1"))


def errors(data: bytes) -> Counter[str]:
    """What the validator says; with the EXPRESS rules, which take seconds, see `tests.bench.ifc_write`."""
    log = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(opened(data), log)
    return Counter(f"{s.get('message')} {s.get('instance')}" for s in log.statements)


def ours(model: Any) -> list[Any]:
    return [c for c in model.by_type("IfcCovering") if PROPERTIES in get_psets(c)]


def body(covering: Any) -> tuple[shapely.Geometry, float, float]:
    """Plan, foot and head of a body, mm, by the geometry kernel."""
    how = ifcopenshell.geom.settings()
    how.set("use-world-coords", True)
    shape = ifcopenshell.geom.create_shape(how, covering).geometry
    points = np.array(shape.verts).reshape(-1, 3) * 1000.0
    faces = points[np.array(shape.faces).reshape(-1, 3)]
    flat = [Polygon(f[:, :2]) for f in faces if np.ptp(f[:, 2]) < 1e-3]
    return shapely.union_all(flat), float(points[:, 2].min()), float(points[:, 2].max())


@cache
def laid_house(folder: Path, schema: str) -> tuple[Path, PlanResult]:
    path = house(schema).save(folder, f"{schema}.ifc")
    return path, laid(path)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("models")


# --- schemas and units ----------------------------------------------------------------------------


@pytest.mark.parametrize("schema", SCHEMAS)
def test_copy_has_floors_and_no_new_error(folder: Path, schema: str) -> None:
    path, result = laid_house(folder, schema)
    original = path.read_bytes()
    copy = copied(path, result)
    assert path.read_bytes() == original
    assert copy.data.startswith(original[: original.rfind(b"ENDSEC")])
    assert errors(copy.data) - errors(original) == Counter()
    assert copy.findings == ()
    model = opened(copy.data)
    assert [c.PredefinedType for c in ours(model)] == ["FLOORING", "FLOORING"]
    assert {c.Name for c in ours(model)} == {"Plank floor South", "Plank floor North"}
    assert {c.Tag for c in ours(model)} == {str(result.bays[0].bay.id)}


@pytest.mark.parametrize("schema", SCHEMAS)
def test_bodies_are_the_laid_floor_on_the_floor_of_the_space(folder: Path, schema: str) -> None:
    path, result = laid_house(folder, schema)
    (bay,) = result.bays
    model = opened(copied(path, result).data)
    plans = []
    for covering in ours(model):
        plan, foot, head = body(covering)
        assert (foot, head) == pytest.approx((0.0, RULES.plank.thickness), abs=1e-6)
        (relation,) = covering.CoversSpaces
        space = getattr(relation, "RelatingSpace", None) or relation.RelatedSpace
        assert covering.Name == f"Plank floor {space.LongName}"
        storey = covering.ContainedInStructure[0].RelatingStructure
        assert storey.is_a("IfcBuildingStorey")
        said = get_psets(covering)["Qto_CoveringBaseQuantities"]
        assert said["Width"] == RULES.plank.thickness
        assert said["NetArea"] == pytest.approx(plan.area / 1e6, rel=1e-6)
        assert said["GrossArea"] == said["NetArea"]
        plans.append(plan)
    together = shapely.union_all(plans)
    assert together.symmetric_difference(bay.bay.floor).area < 1.0


def test_property_set_tells_how_the_bay_is_laid(folder: Path) -> None:
    path, result = laid_house(folder, "IFC4")
    (bay,) = result.bays
    one, other = (get_psets(c)[PROPERTIES] for c in ours(opened(copied(path, result).data)))
    assert one == other, "the figures are the bay's: one set for all its coverings"
    assert one["Bay"] == bay.bay.name
    assert one["BayPlanks"] == len(bay.planks)
    assert one["BayPacks"] >= len(bay.planks) / RULES.plank.per_pack
    assert one["LayingDirection"] == pytest.approx(radians(bay.setting_out.frame.along_deg))
    assert one["FirstRowWidth"] == pytest.approx(bay.setting_out.first_row_mm, abs=1e-3)
    assert one["RuleSet"] == RULES.name
    assert "licensed trades come before" in one["Note"]


@pytest.mark.parametrize(
    ("unit", "to_mm"), [("METRE", 1000.0), ("CENTIMETRE", 10.0), ("INCH", 25.4)]
)
def test_any_length_unit_gives_the_same_floor(folder: Path, unit: str, to_mm: float) -> None:
    mm_path, result = laid_house(folder, "IFC4")
    path = folder / f"{unit}.ifc"
    convert_file_length_units(ifcopenshell.open(str(mm_path)), unit).write(str(path))
    copy = copied(path, result)
    assert errors(copy.data) - errors(path.read_bytes()) == Counter()
    want = {c.Name: body(c) for c in ours(opened(copied(mm_path, result).data))}
    for covering in ours(opened(copy.data)):
        plan, foot, head = body(covering)
        wanted, _, _ = want[covering.Name]
        assert plan.symmetric_difference(wanted).area < 5.0
        assert (foot, head) == pytest.approx((0.0, RULES.plank.thickness), abs=1e-2)
        said = get_psets(covering)
        assert said["Qto_CoveringBaseQuantities"]["NetArea"] == pytest.approx(
            wanted.area / 1e6, rel=1e-5
        )
        assert said[PROPERTIES]["PlankLength"] * to_mm == pytest.approx(
            RULES.plank.length, abs=0.01
        )


def test_areas_and_angles_are_stated_in_the_units_of_the_project(
    folder: Path, tmp_path: Path
) -> None:
    bare = ifcopenshell.file(schema="IFC4")
    assert (area_unit_mm2(bare), angle_unit_rad(bare)) == (1e6, 1.0), (
        "the SI's where none is stated"
    )
    made = house()
    make = made.file.create_entity
    radian = make("IfcSIUnit", UnitType="PLANEANGLEUNIT", Name="RADIAN")
    degree = make(
        "IfcConversionBasedUnit",
        UnitType="PLANEANGLEUNIT",
        Name="DEGREE",
        ConversionFactor=make(
            "IfcMeasureWithUnit", make("IfcPlaneAngleMeasure", radians(1)), radian
        ),
    )
    square = make("IfcSIUnit", UnitType="AREAUNIT", Prefix="CENTI", Name="SQUARE_METRE")
    units = made.project.UnitsInContext
    units.Units = [*units.Units, square, degree]
    result = laid_house(folder, "IFC4")[1]
    said = [get_psets(c) for c in ours(opened(copied(made.save(tmp_path), result).data))]
    net = sum(s["Qto_CoveringBaseQuantities"]["NetArea"] for s in said)
    assert net == pytest.approx(result.bays[0].bay.floor.area / 100.0, rel=1e-6)
    turn = result.bays[0].setting_out.frame.along_deg
    assert said[0][PROPERTIES]["LayingDirection"] == pytest.approx(turn, abs=1e-6)


def test_storey_placed_askew_far_away_does_not_move_the_floor(folder: Path, tmp_path: Path) -> None:
    made = house()
    (storey,) = made.file.by_type("IfcBuildingStorey")
    turned = (cos(radians(31)), sin(radians(31)), 0.0)
    storey.ObjectPlacement = made.placement((4.5e6, -2.1e6, 1234.5), x=turned)
    result = laid_house(folder, "IFC4")[1]
    copy = copied(made.save(tmp_path), result)
    plan = shapely.union_all([body(c)[0] for c in ours(opened(copy.data))])
    assert plan.symmetric_difference(result.bays[0].bay.floor).area < 10.0
    assert [body(c)[1] for c in ours(opened(copy.data))] == pytest.approx([0.0, 0.0], abs=0.01)


@pytest.mark.parametrize("schema", SCHEMAS)
def test_column_in_a_floor_is_left_out_of_body_and_net_area(folder: Path, schema: str) -> None:
    path, result = laid_house(folder, schema)
    floors = floors_of(result, RULES, default_rules=True)
    (bay,) = floors.bays
    column = shapely.box(1000, 1000, 1400, 1300)
    pierced = shapely.box(500, 500, 2500, 2500).difference(column)
    assert isinstance(pierced, Polygon)
    beside = shapely.box(3000, 500, 3500, 2500)
    floor = replace(bay.floors[0], parts=(pierced, beside))
    errand = Errand(floors=replace(floors, bays=(replace(bay, floors=(floor,)),)), hints=Hints())
    copy = write_floors(path, errand, Watch(), ())
    assert errors(copy.data) - errors(path.read_bytes()) == Counter()
    (covering,) = ours(opened(copy.data))
    assert body(covering)[0].symmetric_difference(pierced.union(beside)).area < 1.0
    said = get_psets(covering)["Qto_CoveringBaseQuantities"]
    assert said["NetArea"] == pytest.approx(5.0 - 0.12)
    assert said["GrossArea"] == pytest.approx(5.0)


# --- what is there already ------------------------------------------------------------------------


@pytest.mark.parametrize("schema", SCHEMAS)
def test_writing_into_our_own_copy_replaces_our_floors(
    folder: Path, tmp_path: Path, schema: str
) -> None:
    path, result = laid_house(folder, schema)
    first = copied(path, result)
    own = saved(tmp_path, first.data)
    second = copied(own, laid(own))  # read and laid anew: our floors do not change the plan
    assert second.data == first.data
    assert [f.code for f in second.findings] == ["OUT-143"]


def test_our_floors_are_known_again_after_another_program_saved_the_model(
    folder: Path, tmp_path: Path
) -> None:
    path, result = laid_house(folder, "IFC4")
    model = opened(copied(path, result).data)
    walls = model.by_type("IfcWall")
    held = model.by_type("IfcRelContainedInSpatialStructure")
    mine = next(r for r in held if ours(model)[0] in r.RelatedElements)
    theirs = next(r for r in held if walls[0] in r.RelatedElements)
    theirs.RelatedElements = [*theirs.RelatedElements, *mine.RelatedElements]
    model.remove(mine)
    again = copied(saved(tmp_path, model.to_string().encode("latin-1")), result)
    found = opened(again.data)
    assert len(ours(found)) == 2
    assert len(found.by_type("IfcPropertySet")) == 1
    assert found.by_type("IfcWall")[0].ContainedInStructure, "the wall stays where it was"
    assert errors(again.data) - errors(path.read_bytes()) == Counter()


def test_coverings_of_the_model_stay_and_are_named(folder: Path, tmp_path: Path) -> None:
    made = house()
    tiles = made.product(
        "IfcCovering", (0, 0, 4000, 3000), 0.0, 10.0, Name="Tiles", PredefinedType="FLOORING"
    )
    ceiling = made.product(
        "IfcCovering", (0, 0, 4000, 3000), 2400.0, 10.0, PredefinedType="CEILING"
    )
    copy = copied(made.save(tmp_path), laid_house(folder, "IFC4")[1])
    (finding,) = copy.findings
    assert (finding.code, finding.where.guid) == ("OUT-141", tiles.GlobalId)
    assert "'Tiles'" in finding.what
    kept = {c.GlobalId for c in opened(copy.data).by_type("IfcCovering")}
    assert {tiles.GlobalId, ceiling.GlobalId} < kept


def test_rooms_without_spaces_stand_in_their_storey(tmp_path: Path) -> None:
    made = Building()
    storey = made.storey(z=3000.0)
    for box in (
        (0, 0, 4300, 100),
        (0, 3100, 4300, 3200),
        (0, 100, 100, 3100),
        (4200, 100, 4300, 3100),
    ):
        made.wall(storey, box, z=3000.0)
    made.put(storey, made.product("IfcSlab", (0, 0, 4300, 3200), 2800.0, 200.0))
    path = made.save(tmp_path)
    result = laid(path)
    copy = copied(path, result)
    (covering,) = ours(opened(copy.data))
    assert covering.CoversSpaces == ()
    assert covering.ContainedInStructure[0].RelatingStructure.Name == "L1"
    plan, foot, _ = body(covering)
    assert foot == pytest.approx(3000.0)
    assert plan.symmetric_difference(result.bays[0].bay.floor).area < 1.0
    assert copied(saved(tmp_path, copy.data, "again.ifc"), result).data == copy.data


def test_spaces_that_share_a_globalid_are_not_mixed_up(folder: Path, tmp_path: Path) -> None:
    made = house()
    one, other = made.file.by_type("IfcSpace")
    other.GlobalId = one.GlobalId
    path = made.save(tmp_path)
    copy = copied(path)
    assert [f.code for f in copy.findings] == ["OUT-142"]
    assert [c.CoversSpaces for c in ours(opened(copy.data))] == [(), ()]
    ids = [e.GlobalId for c in ours(opened(copy.data)) for e in (c, *c.ContainedInStructure)]
    assert len(set(ids)) == 3


# --- text -----------------------------------------------------------------------------------------


def test_odd_letters_and_line_ends_of_the_model_are_kept_byte_for_byte(tmp_path: Path) -> None:
    text = step_text(
        {30: "IFCSPACE('0ZZZZZZZZZZZZZZZZZZZZ4',$,'101',$,$,#31,#40,'居間',.ELEMENT.,.INTERNAL.,$)"}
    )
    raw = text.replace("\n", "\r\n").encode("cp932")
    copy = copied(saved(tmp_path, raw))
    assert copy.data.startswith(raw[: raw.rfind(b"ENDSEC")])
    assert copy.data.endswith(raw[raw.rfind(b"ENDSEC") :])
    assert b"\n" not in copy.data.replace(b"\r\n", b"")
    (covering,) = ours(opened(copy.data))
    assert covering.Name == "Plank floor 101 居間"


def test_model_in_an_archive_comes_back_unpacked(tmp_path: Path) -> None:
    import zipfile

    path = tmp_path / "m.ifczip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("m.ifc", step_text())
    copy = copied(path)
    assert copy.data.startswith(b"ISO-10303-21;")
    assert len(ours(opened(copy.data))) == 1


@settings(max_examples=30, deadline=None, derandomize=True, database=None)
@given(text=st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12))
def test_any_text_is_read_back_as_it_was(text: str) -> None:
    lines = Statements(first=1)
    lines.add("IFCLABEL", text)
    model = opened(
        step_text(tail=f"#99=IFCPERSON({written(text)},'x',$,$,$,$,$,$);").encode("ascii")
    )
    assert model.by_id(99).Identification == text


def test_statements_go_and_change_by_number_and_nothing_else() -> None:
    data = b"DATA;\n#1=A('#2=x;',\n$);\n/* #2=B(); */ #2=B('it''s; #1=');\n#3=C(#1);\nENDSEC;\n"
    assert (
        without(data, {2}, {3: "#3=C()"})
        == b"DATA;\n#1=A('#2=x;',\n$);\n/* #2=B(); */ #3=C();\nENDSEC;\n"
    )
    assert without(data, (), {}) is data
    assert appended(b"DATA;\r\n#1=A();\r\nENDSEC;\r\nEND", ["#2=B();"]) == (
        b"DATA;\r\n#1=A();\r\n#2=B();\r\nENDSEC;\r\nEND"
    )
    with pytest.raises(ValueError, match="no end"):
        appended(b"DATA;", ["#2=B();"])


# --- where it cannot be done ----------------------------------------------------------------------


def test_old_schema_is_not_written_into(tmp_path: Path) -> None:
    path = saved(tmp_path, step_text(schema="IFC4X1"))
    with pytest.raises(PlanError, match=r"OUT-144.*IFC4X1"):
        copied(path)


def test_death_of_the_child_costs_the_copy_only(folder: Path) -> None:
    path, result = laid_house(folder, "IFC4")
    none = model_with_floors(path, result, RULES, default_rules=True, limits=Limits(seconds=0.01))
    assert none.data is None
    (finding,) = none.findings
    assert finding.code == "OUT-144"
    assert "longer than" in finding.what


# --- on request -----------------------------------------------------------------------------------


def test_copy_is_written_on_request_only(folder: Path) -> None:
    path, result = laid_house(folder, "IFC4")
    assert result.plan is not None
    made = batch_outputs._model
    assert made in batch_outputs.PLAN_OUTPUTS
    asked = Task(path=path, rules=RULES.told(model=True), default_rules=True)
    assert len(ours(opened(made(asked, result).files["-floors.ifc"]))) == 2
    assert made(replace(asked, rules=RULES), result).files == {}
    drawn = replace(result, plan=replace(result.plan, format="DXF R2010"))
    assert made(asked, drawn).files == {}


def test_copies_in_a_folder_are_no_plans(tmp_path: Path) -> None:
    for name in ("a.ifc", "a-floors.ifc"):
        (tmp_path / name).write_bytes(b"")
    found = find_plans([tmp_path])
    assert [p.name for p in found.paths] == ["a.ifc"]
    assert "a-floors.ifc" in found.left_out[0]


# --- floors by room -------------------------------------------------------------------------------


def test_floor_through_a_doorway_is_parted_under_the_leaf(folder: Path) -> None:
    result = laid_house(folder, "IFC4")[1]
    (bay,) = result.bays
    assert result.plan is not None
    (door,) = result.plan.doorways
    parts = floor_by_room(bay, result.plan)
    assert list(parts) == list(bay.bay.rooms)
    for room, (part,) in parts.items():
        reach = part.intersection(door.shape)
        at = door.leaf_line[0][1]
        assert (at - reach.bounds[1], reach.bounds[3] - at)[room != door.rooms[0]] >= -1e-6
    together = shapely.union_all([p for own in parts.values() for p in own])
    assert together.symmetric_difference(bay.bay.floor).area < 1e-3


def test_rooms_that_touch_without_a_line_are_parted_at_their_edge(folder: Path) -> None:
    result = laid_house(folder, "IFC4")[1]
    assert result.plan is not None
    (bay,) = result.bays
    blind = replace(bay, bay=replace(bay.bay, through=()))
    parts = floor_by_room(blind, result.plan)
    for room, own in parts.items():
        inside = result.plan.room(room).shape
        assert sum(p.area for p in own) >= inside.intersection(bay.bay.floor).area - 1e-3
    areas = sum(p.area for own in parts.values() for p in own)
    assert areas == pytest.approx(bay.bay.floor.area)
