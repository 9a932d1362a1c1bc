"""A laid plan carried over to measured sizes: inside the windows the same pieces, outside the least change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from importer.plan import Plan, RoomId
from layout.audit import audit
from layout.floor import BayLayout, PieceId, PlankId, PlanResult, PlanStatus
from layout.job import lay_plan
from layout.rules_error import RuleError
from layout.site_dimensions import ties_of
from layout.site_file import load_site_text
from layout.site_lay import lay_measured
from layout.site_walls import moved
from layout.writers.site_form import site_form
from tests.layout import build

RULES = build.rules(plank={"length": 1220, "width": 240})
COLUMN = [(1700.0, 700.0), (1700.0, 1000.0), (2000.0, 1000.0), (2000.0, 700.0)]
Measures = Mapping[str, Mapping[str, float]]


def two_rooms() -> Plan:
    """Two rooms side by side and a doorway that the floor runs on through."""
    rooms = [build.room(box(0, 0, 2600, 1500)), build.room(box(2700, 0, 4700, 1500), 2)]
    return build.plan(rooms, [build.doorway((2600, 400), (2700, 1300), rooms=(1, 2))])


LONG, DEEP = 3600.0, 1640.0
PLANS: dict[str, Plan] = {
    "rectangle": build.plan(build.rectangle(LONG, DEEP)),
    "l_shape": build.plan(
        build.polygon((0, 0), (3600, 0), (3600, 900), (2100, 900), (2100, 1900), (0, 1900))
    ),
    "out_of_square": build.plan(build.polygon((0, 0), (3600, 0), (3620, 1840), (0, 1810))),
    "column": build.plan(Polygon(build.rectangle(LONG, DEEP).exterior, [COLUMN])),
    "two rooms": two_rooms(),
}


@cache
def laid(kind: str) -> PlanResult:
    return lay_plan(PLANS[kind], RULES)


def measured(result: PlanResult, sizes: Measures) -> PlanResult:
    text = yaml.safe_dump({"plan": "test.dxf", "bays": {b: dict(m) for b, m in sizes.items()}})
    return lay_measured(result, load_site_text(text, "site.yaml"), RULES)


def drawn(layout: BayLayout) -> dict[str, float]:
    return {d.id: d.drawn_mm for d in layout.dimensions}


def planks(layout: BayLayout) -> dict[PieceId, PlankId]:
    return {p.id: p.plank for p in layout.pieces}


def joints(layout: BayLayout) -> dict[PieceId, float]:
    """Where each piece that follows another begins along the rows."""
    first: dict[int, float] = {}
    for p in layout.pieces:
        first[p.run] = min(p.shape.bounds[0], first.get(p.run, p.shape.bounds[0]))
    return {
        p.id: round(p.shape.bounds[0], 2) for p in layout.pieces if p.shape.bounds[0] > first[p.run]
    }


# --- what is measured as drawn, or inside the window --------------------------------------------


@pytest.mark.parametrize("kind", PLANS)
def test_measured_as_drawn_changes_nothing(kind: str) -> None:
    before = laid(kind)
    after = measured(before, {b.bay.id: drawn(b) for b in before.bays})
    assert [planks(b) for b in after.bays] == [planks(b) for b in before.bays]
    assert [b.breaches for b in after.bays] == [b.breaches for b in before.bays]
    for bay in after.bays:
        assert bay.site is not None
        assert (bay.site.changed_rows, bay.site.recut_rows) == ((), ())
        assert "nothing changes" in bay.site.why
    assert after.status is before.status


@pytest.mark.parametrize("kind", PLANS)
@settings(max_examples=3, deadline=None, derandomize=True)
@given(data=st.data())
def test_one_size_inside_its_range_keeps_every_joint_and_plank(
    kind: str, data: st.DataObject
) -> None:
    before = laid(kind)
    bay = data.draw(st.sampled_from(before.bays))
    size = data.draw(st.sampled_from(bay.dimensions))
    low, high = max(size.least_mm, 0.9 * size.drawn_mm), min(size.most_mm, 1.1 * size.drawn_mm)
    value = data.draw(st.floats(low, high))
    after = next(
        b
        for b in measured(before, {bay.bay.id: {size.id: round(value, 2)}}).bays
        if b.bay.id == bay.bay.id
    )
    assert planks(after) == planks(bay)
    assert joints(after) == joints(bay)
    assert {b.rule for b in after.breaches} <= {b.rule for b in bay.breaches}
    assert after.site is not None
    assert after.site.changed_rows == ()
    assert not after.site.grid_changed


def test_only_what_ends_on_the_wall_is_cut_to_another_measure() -> None:
    """A last piece that is a plank long already stays so: the cover hides what is left."""
    before = laid("rectangle").bays[0]
    after = measured(laid("rectangle"), {before.bay.id: longer(before, 5)}).bays[0]
    grown = {p.id: p.blank_length_mm for p in after.pieces}
    steps = {p.id: round(grown[p.id] - p.blank_length_mm, 2) for p in before.pieces}
    last = {
        max(row, key=lambda p: p.shape.bounds[2]).id
        for n in {p.row for p in before.pieces}
        if (row := [p for p in before.pieces if p.row == n])
    }
    whole = {p.id for p in before.pieces if p.blank_length_mm >= RULES.plank.length}
    assert {i for i, step in steps.items() if step != 0} == last - whole
    assert {steps[i] for i in last - whole} == {5}


# --- outside ------------------------------------------------------------------------------------


def longer(layout: BayLayout, by: float) -> dict[str, float]:
    return {d.id: d.drawn_mm + by for d in layout.dimensions if d.id.startswith("L")}


def wider(layout: BayLayout, by: float) -> dict[str, float]:
    return {d.id: d.drawn_mm + by for d in layout.dimensions if d.id.startswith("W")}


@pytest.mark.parametrize("kind", ["rectangle", "l_shape", "two rooms"])
@pytest.mark.parametrize("way", [-1, 1])
def test_just_outside_the_length_only_some_rows_get_other_joints(kind: str, way: int) -> None:
    before = laid(kind).bays[0]
    by = before.window.length_mm[0] - 2 if way < 0 else before.window.length_mm[1] + 2
    after = measured(laid(kind), {before.bay.id: longer(before, by)}).bays[0]
    assert after.breaches == before.breaches
    assert after.site is not None
    rows = {p.row for p in before.pieces}
    assert len(after.site.changed_rows) < len(rows) / 2
    kept = [p.id for p in before.pieces if p.row not in after.site.changed_rows]
    now = joints(after)
    assert {i: x for i, x in joints(before).items() if i in kept} == {
        i: x for i, x in now.items() if i in kept
    }
    for row in after.site.changed_rows:
        assert str(row) in after.site.why or "to" in after.site.why
    assert audit(after, RULES) == after.breaches


@pytest.mark.parametrize("way", [-1, 1])
def test_just_outside_the_width_the_row_lines_move_and_are_told(way: int) -> None:
    before = laid("rectangle").bays[0]
    by = before.window.width_mm[0] - 2 if way < 0 else before.window.width_mm[1] + 2
    after = measured(laid("rectangle"), {before.bay.id: wider(before, by)}).bays[0]
    assert after.breaches == ()
    assert after.site is not None
    assert after.site.grid_changed
    assert "row lines move" in after.site.why
    assert after.setting_out.first_row_mm != before.setting_out.first_row_mm


def test_bound_is_that_of_the_measured_floor() -> None:
    before = laid("rectangle").bays[0]
    smaller = {i: 0.9 * size for i, size in drawn(before).items()}
    after = measured(laid("rectangle"), {before.bay.id: smaller}).bays[0]
    drawn_so = lay_plan(build.plan(build.rectangle(0.9 * LONG, 0.9 * DEEP)), RULES).bays[0]
    assert after.area_mm2 == pytest.approx(drawn_so.area_mm2, rel=1e-6)
    assert after.bound <= len(drawn_so.planks) < len(before.planks)
    assert after.bound <= len(after.planks)


def test_wall_out_of_square_is_measured_at_both_its_ends() -> None:
    before = laid("rectangle").bays[0]
    ends = [d for d in before.dimensions if d.id.startswith("W")]
    assert len(ends) == 2
    sizes = {ends[0].id: ends[0].drawn_mm, ends[1].id: ends[1].drawn_mm + 12}
    after = measured(laid("rectangle"), {before.bay.id: sizes}).bays[0]
    (x0, _), (x1, _) = (before.setting_out.frame.point_to_bay(d.line[0]) for d in ends)
    heights = after.setting_out.frame.to_bay(after.bay.outline).bounds
    slope = 12 / abs(x1 - x0)
    reach = LONG - min(x0, x1) if x0 < x1 else max(x0, x1)
    assert heights[3] - heights[1] == pytest.approx(ends[0].drawn_mm + slope * reach, abs=0.5)
    assert after.site is not None
    assert after.site.changed_rows == ()


def test_doorway_stays_in_the_wall_that_moved() -> None:
    before = laid("two rooms")
    bay = before.bays[0]
    after = measured(before, {bay.bay.id: longer(bay, 4)})
    assert len(after.bays) == len(before.bays) == 1
    assert after.bays[0].bay.rooms == (RoomId("R1"), RoomId("R2"))
    assert after.plan is not None
    (door,) = after.plan.doorways
    one, two = (r.shape for r in after.plan.rooms)
    assert door.shape.distance(one) == pytest.approx(0, abs=0.01)
    assert door.shape.distance(two) == pytest.approx(0, abs=0.01)


# --- what the file may say of this layout -------------------------------------------------------


def told(sizes: Measures) -> str:
    with pytest.raises(RuleError) as caught:
        measured(laid("rectangle"), sizes)
    return str(caught.value)


def test_bay_or_dimension_that_is_not_there_is_refused_with_the_nearest() -> None:
    name = laid("rectangle").bays[0].bay.id
    assert "Did you mean B1?" in told({"B": {"L1": LONG}})
    assert "site.yaml:3:5: [SIT-302]" in told({name: {"L9": LONG}})
    assert "has L1" in told({name: {"L9": LONG}})


def test_size_that_cannot_be_meant_is_refused() -> None:
    assert "[SIT-304]" in told({"B1": {"L1": 360.0}})


def test_form_of_another_layout_is_refused() -> None:
    text = "plan: test.dxf\nbays: {B1: {L1: {drawn: 4321, site: 4325}}}"
    with pytest.raises(RuleError, match=r"SIT-303.*4321"):
        lay_measured(laid("rectangle"), load_site_text(text, "site.yaml"), RULES)


@settings(max_examples=10, deadline=None, derandomize=True)
@given(data=st.data())
def test_measures_never_contradict_each_other(data: st.DataObject) -> None:
    """There are as many as fix the walls and no more: each is met, whatever the others are."""
    layout = laid(data.draw(st.sampled_from(sorted(PLANS)))).bays[0]
    sizes = {i: v + data.draw(st.floats(-12, 12)) for i, v in drawn(layout).items()}
    there = moved(layout, ties_of(layout, (), RULES), sizes)
    assert there.rest_mm <= 0.01
    assert there.real.is_valid


# --- the form -----------------------------------------------------------------------------------


def test_empty_form_reads_as_nothing_measured() -> None:
    before = laid("two rooms")
    site = load_site_text(site_form(before).decode(), "site.yaml")
    assert site.plan == "test.dxf"
    assert [b.bay for b in site.bays] == [b.bay.id for b in before.bays]
    assert all(b.measures == () for b in site.bays)
    assert lay_measured(before, site, RULES) == before


def test_form_filled_in_lays_as_it_says() -> None:
    before = laid("two rooms")
    form = site_form(before).decode()
    size = before.bays[0].dimensions[0]
    filled = form.replace("site: }", f"site: {size.drawn_mm + 3:.0f}}}", 1)
    after = lay_measured(before, load_site_text(filled, "site.yaml"), RULES)
    change = after.bays[0].site
    assert change is not None
    assert [(m.id, m.drawn_mm, m.measured_mm) for m in change.measures] == [
        (size.id, size.drawn_mm, round(size.drawn_mm + 3))
    ]
    assert any(f.code == "LAY-150" and size.id in f.what for f in after.findings)


def test_form_has_every_dimension_with_its_range() -> None:
    before = laid("l_shape")
    form = site_form(before).decode()
    for size in before.bays[0].dimensions:
        line = next(x for x in form.splitlines() if x.strip().startswith(f"{size.id}:"))
        assert f"drawn: {size.drawn_mm:.0f}" in line
        for rule in size.breaks:
            assert rule in line


@pytest.mark.parametrize("name", ['a"b: #1.dxf', "Küche: 2.dxf", "  x\ty.dxf", "\U0001f600.dxf"])
def test_form_takes_any_name_of_a_drawing(name: str) -> None:
    result = replace(laid("rectangle"), source=f"some/folder/{name}")
    bay = result.bays[0]
    named = replace(bay, bay=replace(bay.bay, name="Bad\nB2: {L1: 3}"))
    text = site_form(replace(result, bays=(named,))).decode()
    site = load_site_text(text, "site.yaml")
    assert " ".join(site.plan.split()) == " ".join(name.split())
    assert [b.bay for b in site.bays] == ["B1"]


def test_plan_without_dimensions_has_no_form() -> None:
    result = laid("rectangle")
    bare = replace(result, bays=tuple(replace(b, dimensions=()) for b in result.bays))
    assert site_form(bare) == b""


def test_status_tells_of_new_breaches() -> None:
    assert (
        measured(laid("rectangle"), {"B1": drawn(laid("rectangle").bays[0])}).status
        is PlanStatus.CLEAN
    )


def test_shape_of_a_room_is_carried_with_its_walls() -> None:
    before = laid("l_shape").bays[0]
    after = measured(laid("l_shape"), {before.bay.id: wider(before, 6)}).bays[0]
    old, new = before.bay.outline, after.bay.outline
    assert isinstance(new, Polygon)
    assert len(new.exterior.coords) == len(old.exterior.coords)
    assert new.area > old.area
