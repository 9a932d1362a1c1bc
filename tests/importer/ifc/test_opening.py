"""Models as programs write them: units, schemas, circles, doubled ids, damage. Kinds I1, I12, I13, I16, I19."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from importer.hints import Hints
from importer.plan import Plan, PlanError, Severity
from tests.importer.ifc.models import (
    ONE_ROOM,
    Building,
    codes,
    read_here,
    read_text,
    said,
    saved,
    step_text,
)


def area_of(plan: Plan) -> float:
    return sum(r.shape.area for r in plan.rooms) / 1e6


# --- I1: the length unit ----------------------------------------------------------------------------

NO_UNIT: tuple[Mapping[int, str | None], ...] = (
    {1: ONE_ROOM[1].replace("#4)", "$)")},
    {5: "IFCSIUNIT(*,.AREAUNIT.,$,.SQUARE_METRE.)"},
)


@pytest.mark.parametrize("changes", NO_UNIT)
def test_missing_unit_is_never_taken_for_metres_in_silence(
    tmp_path: Path, changes: Mapping[int, str | None]
) -> None:
    # The space is 2500 high, which is a room's height in millimetres only.
    plan = read_text(tmp_path, changes)
    assert area_of(plan) == pytest.approx(12.0)
    assert plan.units.to_mm == 1.0
    assert any(f.code.startswith("IMP-25") for f in plan.findings)


@pytest.mark.parametrize("changes", NO_UNIT)
def test_unit_in_the_rule_set_overrides(tmp_path: Path, changes: Mapping[int, str | None]) -> None:
    plan = read_here(saved(tmp_path, step_text(changes)), Hints(units="mm"))
    assert area_of(plan) == pytest.approx(12.0)
    plan = read_here(saved(tmp_path, step_text(changes)), Hints(units="cm"))
    assert area_of(plan) == pytest.approx(1200.0)


def test_model_whose_sizes_tell_no_unit_is_refused(tmp_path: Path) -> None:
    # Five high: in metres and in feet as unlikely.
    changes = {1: ONE_ROOM[1].replace("#4)", "$)"), 42: ONE_ROOM[42].replace("2500.", "5.")}
    with pytest.raises(PlanError, match=r"drawing\.units"):
        read_text(tmp_path, changes)


CENTIMETRE = "IFCSIUNIT(*,.LENGTHUNIT.,.CENTI.,.METRE.)"
INCH = "IFCCONVERSIONBASEDUNIT(#60,.LENGTHUNIT.,'INCH',#61)"
INCH_PARTS = {
    60: "IFCDIMENSIONALEXPONENTS(1,0,0,0,0,0,0)",
    61: "IFCMEASUREWITHUNIT(IFCLENGTHMEASURE(0.0254),#62)",
    62: "IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.)",
}


@pytest.mark.parametrize(("unit", "name", "to_mm"), [(CENTIMETRE, "cm", 10.0), (INCH, "in", 25.4)])
def test_any_stated_unit_gives_the_same_room(
    tmp_path: Path, unit: str, name: str, to_mm: float
) -> None:
    x, y, z, up = (v / to_mm for v in (4000.0, 3000.0, 2500.0, 3000.0))
    sizes = {
        42: f"IFCEXTRUDEDAREASOLID(#44,#43,#45,{z})",
        44: f"IFCRECTANGLEPROFILEDEF(.AREA.,$,$,{x},{y})",
        26: f"IFCCARTESIANPOINT((0.,0.,{up}))",
    }
    plan = read_text(tmp_path, {5: unit, **INCH_PARTS, **sizes})
    assert area_of(plan) == pytest.approx(12.0)
    assert plan.units.name == name
    assert plan.storeys[0].elevation_mm == pytest.approx(3000.0)


def test_stated_unit_that_no_size_fits_is_told(tmp_path: Path) -> None:
    plan = read_text(tmp_path, {5: "IFCSIUNIT(*,.LENGTHUNIT.,$,.METRE.)"})
    assert area_of(plan) == pytest.approx(12.0)
    assert "stated m" in plan.units.because
    assert "IMP-251" in codes(plan)


# --- I12, I13: schemas --------------------------------------------------------------------------------


def test_profile_without_position_is_read_in_the_old_schema(tmp_path: Path) -> None:
    plan = read_text(tmp_path, schema="IFC2X3")
    assert area_of(plan) == pytest.approx(12.0)
    assert "IMP-150" in codes(plan)
    assert "#44" in said(plan, "IMP-150")


@pytest.mark.parametrize(
    ("label", "read_as"),
    [
        ("IFC4X3_RC2", "IFC4X3_ADD2"),
        ("IFC4RC4", "IFC4"),
        ("IFC4X2", "IFC4X3_ADD2"),
        ("IFC2X3_TC1", "IFC2X3"),
        ("IFC2X_FINAL", "IFC2X3"),
        ("IFC4_ADD2_TC1", "IFC4"),
    ],
)
def test_odd_schema_is_read_as_its_nearest_and_told(
    tmp_path: Path, label: str, read_as: str
) -> None:
    plan = read_text(tmp_path, schema=label)
    assert area_of(plan) == pytest.approx(12.0)
    assert plan.format == read_as
    assert label in said(plan, "IMP-157")


def test_schema_in_small_letters_is_the_same(tmp_path: Path) -> None:
    plan = read_text(tmp_path, schema="ifc4")
    assert area_of(plan) == pytest.approx(12.0)
    assert "IMP-157" not in codes(plan)


@pytest.mark.parametrize("label", ["IFC5", "IFC20_LONGFORM", "AUTOMOTIVE_DESIGN", ""])
def test_unknown_schema_is_refused(tmp_path: Path, label: str) -> None:
    with pytest.raises(PlanError) as caught:
        read_text(tmp_path, schema=label)
    assert caught.value.finding.code == "IMP-154"
    assert label in caught.value.finding.what


# --- I16: what kills the kernel -----------------------------------------------------------------------


def test_placements_in_a_circle_are_parted_and_named(tmp_path: Path) -> None:
    plan = read_text(tmp_path, {23: "IFCLOCALPLACEMENT(#24,#7)"})
    assert area_of(plan) == pytest.approx(12.0)
    assert "circle" in said(plan, "IMP-158")


def test_stars_in_ordinary_attributes_lose_no_product(tmp_path: Path) -> None:
    starred = ONE_ROOM[30].replace("'101',$,$,#31", "'101',*,*,#31")
    shape = "IFCPRODUCTDEFINITIONSHAPE(*,*,(#41))"
    plan = read_text(tmp_path, {30: starred, 40: shape})
    assert area_of(plan) == pytest.approx(12.0)


@pytest.mark.parametrize("kept", [0.3, 0.7, 0.97])
def test_half_a_model_is_refused(tmp_path: Path, kept: float) -> None:
    text = step_text()
    with pytest.raises(PlanError) as caught:
        read_here(saved(tmp_path, text[: int(kept * len(text))]))
    assert caught.value.finding.severity is Severity.REFUSED


# --- I19: GlobalIds -----------------------------------------------------------------------------------


def test_spaces_that_share_a_guid_are_two_rooms(tmp_path: Path) -> None:
    house = Building()
    storey = house.storey()
    one = house.space(storey, (0, 0, 4000, 3000), "South")
    two = house.space(storey, (0, 3200, 4000, 6200), "North")
    two.GlobalId = one.GlobalId
    plan = house.read(tmp_path)
    assert sorted(r.name or "" for r in plan.rooms) == ["North", "South"]
    assert len({r.id for r in plan.rooms}) == 2
    assert one.GlobalId in said(plan, "IMP-159")


def test_malformed_guid_is_kept_as_it_is(tmp_path: Path) -> None:
    guid = "4c8494a3-c12c-40c3-96bc-da7eb87a2ee9-007e3442"
    plan = read_text(tmp_path, {30: ONE_ROOM[30].replace("0ZZZZZZZZZZZZZZZZZZZZ4", guid)})
    (room,) = plan.rooms
    assert room.source.guid == guid
    assert room.shape.area == pytest.approx(12e6)
