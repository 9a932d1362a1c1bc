"""A plan through the whole pipeline, with the real solver and the audit."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from math import ceil

import pytest
from shapely import box

from importer.plan import Finding, Plan, Severity
from layout.bay_error import not_laid
from layout.floor import Bay, PlanResult, PlanStatus, Role, SettingOut
from layout.job import lay_plan
from layout.rules import RuleSet
from layout.setting_out import set_out
from tests.layout import build
from tests.layout.build import plan, room, rules

PLAIN = rules()
TILED = rules(rooms=[{"match": "bath", "lay": "no", "because": "tiled"}])


@cache
def flat() -> PlanResult:
    return lay_plan(build.flat_of_three(), TILED)


@cache
def laid(kind: str) -> PlanResult:
    return lay_plan(plan(build.KINDS[kind]), PLAIN)


def planks(result: PlanResult) -> list[int]:
    return [len(b.planks) for b in result.bays]


# --- a plan -------------------------------------------------------------------------------------


def test_every_room_is_laid_but_those_left_out_by_rule() -> None:
    result = flat()
    assert [(b.bay.id, b.bay.rooms) for b in result.bays] == [("B1", ("R1", "R2"))]
    assert [(u.room, u.because) for u in result.unlaid] == [("R3", "tiled")]
    assert [j.doorway for j in result.joints] == ["D1", "D3"]
    assert result.source == "test.dxf"
    assert result.plan is not None


def test_clean_means_no_breach_and_nothing_to_settle() -> None:
    drawing = build.flat_of_three()
    assert all(b.breaches == () for b in flat().bays)
    assert flat().status is PlanStatus.CLEAN
    note = Finding(code="IMP-301", severity=Severity.NOTE, what="A gap was closed.")
    doubt = Finding(code="IMP-201", severity=Severity.SETTLE, what="Unit guessed.")
    small = plan([room(box(0, 0, 2000, 1500))])
    assert lay_plan(replace(small, findings=(note,)), PLAIN).status is PlanStatus.CLEAN
    assert lay_plan(replace(small, findings=(doubt,)), PLAIN).status is PlanStatus.TO_SETTLE
    nothing = rules(rooms=[{"match": "*", "lay": "no"}])
    assert lay_plan(drawing, nothing).status is PlanStatus.FAILED


def test_breach_leaves_something_to_settle() -> None:
    """The far wall runs out by 200 mm, more than a row is wide: some row must taper to nothing."""
    leaning = build.polygon((0, 0), (4000, 0), (4000, 2000), (0, 2200))
    result = lay_plan(plan(leaning), rules(rows={"along": 0}))
    assert result.status is PlanStatus.TO_SETTLE
    assert {b.rule for b in result.bays[0].breaches} == {"rows.min_width"}
    assert "199 mm out of line" in result.bays[0].setting_out.why


def test_bay_that_cannot_be_laid_is_reported_and_the_others_are_laid(
    monkeypatch: pytest.MonkeyPatch,
) -> None:

    def fails_for_the_hall(bay: Bay, drawing: Plan, rule_set: RuleSet) -> tuple[SettingOut, ...]:
        if bay.outline.area < 8e6:
            raise not_laid(
                "LAY-128", "The rows differ from the floor.", room(box(0, 0, 1, 1)).source, ""
            )
        return set_out(bay, drawing, rule_set)

    monkeypatch.setattr("layout.job.set_out", fails_for_the_hall)
    apart = TILED.model_copy(update={"doorways": rules(doorways={"default": "break"}).doorways})
    result = lay_plan(build.flat_of_three(), apart)
    assert [b.bay.id for b in result.bays] == ["B2"]
    assert [u.room for u in result.unlaid] == ["R1", "R3"]
    assert "LAY-128" in [f.code for f in result.findings]
    assert result.status is PlanStatus.TO_SETTLE


def test_fault_of_the_program_is_not_hidden(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("layout.job.set_out", broken)
    with pytest.raises(ZeroDivisionError):
        lay_plan(plan(box(0, 0, 3000, 2000)), PLAIN)


def test_same_plan_and_rules_give_the_same_result() -> None:
    drawing = plan(build.KINDS["chimney_breast"])
    assert lay_plan(drawing, PLAIN) == lay_plan(drawing, PLAIN)


# --- trade facts (common practice, no source) ---------------------------------------------------


def test_floor_of_15_m_runs_on_and_15_01_m_gets_a_joint_with_nothing_in_breach() -> None:
    runs_on = lay_plan(plan(box(0, 0, 15_000, 1000)), PLAIN)
    broken = lay_plan(plan(box(0, 0, 15_010, 1000)), PLAIN)
    assert (len(runs_on.bays), len(runs_on.joints)) == (1, 0)
    assert (len(broken.bays), len(broken.joints)) == (2, 1)
    for result in (runs_on, broken):
        assert {b.rule for bay in result.bays for b in bay.breaches} == set()


def test_room_of_10_m_needs_no_break() -> None:
    result = lay_plan(plan(box(0, 0, 10_000, 1600)), PLAIN)
    assert len(result.bays) == 1
    assert result.joints == ()


@pytest.mark.parametrize(
    "kind", ["rectangle", "alcove", "column_hole", "chimney_breast", "corridor"]
)
def test_no_end_is_shorter_than_300_mm_in_a_room_that_allows_it(kind: str) -> None:
    (bay,) = laid(kind).bays
    ends = [p.end_length_mm for p in bay.pieces if p.role in {Role.FIRST, Role.LAST}]
    assert min(ends) >= 300.0 - 0.05


def test_no_end_is_shorter_than_the_plank_is_wide_where_300_cannot_be_kept() -> None:
    """Runs of 1.7 m hold one joint: ends of 300 and more are there, whatever the plank."""
    result = lay_plan(
        plan(box(0, 0, 1650, 2500)), rules(rows={"along": 0}, ends={"min_length": 500})
    )
    ends = [p.end_length_mm for p in result.bays[0].pieces if p.role in {Role.FIRST, Role.LAST}]
    assert min(ends) >= 180.0


def test_offcut_that_is_long_enough_starts_another_row() -> None:
    (bay,) = laid("rectangle").bays
    by_id = {p.id: p for p in bay.pieces}
    starters = [p for p in bay.pieces if p.role is Role.FIRST and p.offcut_of is not None]
    assert len(starters) > 3
    for p in starters:
        assert p.offcut_of is not None
        opener = by_id[p.offcut_of]
        assert opener.plank == p.plank
        assert opener.row < p.row
        assert p.blank_length_mm >= PLAIN.ends.min_length


# --- counts -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "kind", ["rectangle", "alcove", "column_hole", "chimney_breast", "corridor", "sliver"]
)
def test_planks_lie_between_the_bound_and_one_for_each_piece(kind: str) -> None:
    (bay,) = laid(kind).bays
    by_area = ceil(bay.area_mm2 / (1220 * 180) - 1e-9)
    assert by_area <= bay.bound <= len(bay.planks) <= len(bay.pieces)
    assert sorted(i for p in bay.planks for i in p.pieces) == sorted(p.id for p in bay.pieces)
    assert [p.order for p in bay.pieces] == list(range(1, len(bay.pieces) + 1))


@pytest.mark.parametrize(("degrees", "mirrored"), [(90.0, False), (37.0, False), (0.0, True)])
def test_moved_plan_needs_the_same_planks(degrees: float, mirrored: bool) -> None:
    moved = build.moved_plan(build.flat_of_three(), degrees, build.FAR, mirrored=mirrored)
    result = lay_plan(moved, TILED)
    assert planks(result) == planks(flat())
    assert result.status is PlanStatus.CLEAN


def test_alternatives_name_the_direction_chosen_and_the_one_across() -> None:
    (bay,) = laid("rectangle").bays
    chosen, across = bay.alternatives
    assert chosen.chosen
    assert (chosen.planks, chosen.bound) == (len(bay.planks), bay.bound)
    assert not across.chosen
    assert across.planks is None
    assert across.bound is not None
    assert across.bound >= bay.area_mm2 / (1220 * 180)
    assert (across.along_deg - chosen.along_deg) % 180 == pytest.approx(90)


def test_fewest_planks_is_never_worse_than_the_longest_wall() -> None:
    shape = box(0, 0, 2400, 3100)
    by_wall = lay_plan(plan(shape), PLAIN)
    fewest = lay_plan(plan(shape), rules(rows={"along": "fewest-planks"}))
    assert planks(fewest) <= planks(by_wall)
    (bay,) = fewest.bays
    (chosen,) = [a for a in bay.alternatives if a.chosen]
    assert chosen.planks == len(bay.planks)
    assert all(a.planks is None or a.planks >= len(bay.planks) for a in bay.alternatives)
    assert len(bay.alternatives) == 2
