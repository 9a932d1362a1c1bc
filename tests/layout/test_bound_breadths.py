"""The bound where pieces ask for less than their run: held against layouts cut from the geometry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from shapely import Polygon, box

from layout.bays import form_bays
from layout.bound import Bound, lower_bound
from layout.bound_sets import Inside, counted_in, counted_sets
from layout.demand import BayDemand, Breadth, JointPlan
from layout.floor import Run, Touch
from layout.joint_breadths import across
from layout.joint_candidates import Tier
from layout.joint_mirror import common_form, form_of
from layout.joint_problem import build
from layout.joint_rows import first_rows
from layout.joints import blanks_of
from layout.pieces import cut_pieces
from layout.rules import RuleSet
from layout.runs import cut_runs, demand
from layout.setting_out import floor_in, set_out
from layout.stock import cut_planks
from tests.layout import build as plans
from tests.layout.build import polygon, rules
from tests.layout.test_runs import cut

PLAIN = rules()
FREE = rules(joints={"min_offset": 0})


def stepped(start: float, end: float, deep: float = 90.0, length: float = 6000.0) -> Polygon:
    """A starter strip, two full rows and a last row of 160 that steps back from `start` to `end`."""
    top, low = 620.0, 620.0 - deep
    corners = [(0.0, 0.0), (length, 0.0), (length, top), (end, top), (end, low), (start, low)]
    return polygon(*corners, (start, top), (0.0, top))


def asked(floor: Polygon, phase: float, rule_set: RuleSet = PLAIN) -> BayDemand:
    runs, touches = cut(floor, phase)
    return demand(runs, touches, rule_set)


def some_layouts(
    runs: tuple[Run, ...], touches: tuple[Touch, ...], rule_set: RuleSet, count: int
) -> Iterator[tuple[JointPlan, int]]:
    """Layouts with joints by chance, all ends in hand, and their planks cut from the geometry."""
    bay = demand(runs, touches, rule_set)
    problem = build(bay, [Tier.IN_HAND] * len(bay.runs), riding=False)
    draw = np.random.default_rng(count)
    for seed in range(count):
        choice = first_rows(problem, seed)
        for node in range(problem.size):
            if draw.random() < 0.6:
                choice[node] = int(draw.integers(problem.options(node).size))
        plan = JointPlan(joints=problem.joints(choice), planks=0)
        drafts = cut_pieces(runs, touches, plan, rule_set)
        yield plan, len(cut_planks([d.blank for d in drafts], bay.stock))


def test_even_rows_have_no_breadths() -> None:
    assert all(run.breadths == () for run in asked(box(0, 0, 5000, 700), 80).runs)


def test_breadths_say_where_a_row_steps_back() -> None:
    *_, last = asked(stepped(1500, 2700), 100).runs
    assert last.breadths == (
        Breadth(x0=0, x1=1500, low_mm=0, high_mm=160, keeps_near=True, keeps_far=False),
        Breadth(x0=1500, x1=2700, low_mm=0, high_mm=70, keeps_near=True, keeps_far=False),
        Breadth(x0=2700, x1=6000, low_mm=0, high_mm=160, keeps_near=True, keeps_far=False),
    )


def test_slanted_row_is_never_said_to_be_wider_than_it_is() -> None:
    floor = polygon((0, 0), (6000, 0), (6000, 600), (0, 500))
    *_, last = asked(floor, 100).runs
    assert last.breadths[0].high_mm == pytest.approx(40.0, abs=1e-3)
    for b in last.breadths:
        here = 40.0 + b.x0 * 100.0 / 6000.0
        assert b.high_mm - b.low_mm <= here + 1e-3
        assert b.high_mm - b.low_mm >= here - 0.51


def test_piece_asks_for_all_that_it_reaches_into() -> None:
    *_, last = asked(stepped(1500, 2900), 100).runs
    start, end = np.array([0.0, 1500.0, 1600.0, 1400.0]), np.array([1000.0, 2720.0, 2820.0, 2620.0])
    assert across(last, start, end, 180.0).width.tolist() == [160.0, 70.0, 70.0, 160.0]


def test_mirrored_bay_has_the_same_breadths_mirrored() -> None:
    bay = asked(stepped(400, 2900), 100)
    for along in (False, True):
        for far in (False, True):
            turned = form_of(bay, along=along, across=far).demand
            assert common_form(turned).demand == common_form(bay).demand


@pytest.mark.parametrize(("long", "pieces"), [(1100, 0), (1280, 1), (2520, 2)])
def test_step_in_the_middle_costs_the_planks_that_go_in_whole(long: float, pieces: int) -> None:
    """The strip of 100 lies beside the pieces of 70: as many planks fewer as go into the step."""
    bay = asked(stepped(1500, 1500 + long), 100, FREE)
    plain = replace(bay, runs=tuple(replace(r, breadths=()) for r in bay.runs))
    assert lower_bound(bay) == lower_bound(plain) - pieces


def test_step_shorter_than_any_piece_costs_nothing() -> None:
    bay = asked(stepped(2000, 2250), 100)
    plain = replace(bay, runs=tuple(replace(r, breadths=()) for r in bay.runs))
    assert lower_bound(bay) == lower_bound(plain)


def test_step_too_wide_to_lie_beside_anything_costs_nothing() -> None:
    """The starter strip is 150: with the step's 70 that is more than a plank."""
    runs, touches = cut(stepped(1500, 4500, deep=40), 150)
    bay = demand(runs, touches, FREE)
    sets = [[counted_in(run, s, bay) for run in bay.runs] for s in counted_sets(bay)]
    assert [Inside.ALL] * len(bay.runs) in sets


def test_bound_without_breadths_would_be_above_a_layout() -> None:
    """A bound that takes every piece to be as wide as its run is too strong; ours is not."""
    runs, touches = cut(stepped(1500, 5400, length=7000.0), 100)
    bay = demand(runs, touches, FREE)
    plain = replace(bay, runs=tuple(replace(r, breadths=()) for r in bay.runs))
    best = min(planks for _, planks in some_layouts(runs, touches, FREE, 60))
    assert lower_bound(bay) <= best < lower_bound(plain)


def test_bound_is_never_above_a_layout_of_uneven_rows() -> None:
    random = Random(5)
    for number in range(8):
        start = random.uniform(10, 3000)
        floor = stepped(start, start + random.uniform(300, 3000), random.uniform(30, 150))
        runs, touches = cut(floor, random.uniform(70, 180))
        rule_set = FREE if number % 2 else PLAIN
        bay = demand(runs, touches, rule_set)
        tiers = [Tier.IN_HAND] * len(bay.runs)
        bound = Bound(bay, tiers, strict=False).raised(1 << 20)
        for plan, planks in some_layouts(runs, touches, rule_set, 12):
            assert bound <= planks
            assert bound <= len(cut_planks(blanks_of(bay, plan.joints), bay.stock))


@pytest.mark.parametrize(
    "kind", ["t_shape", "z_shape", "out_of_square", "chimney_breast", "wall_end"]
)
def test_solver_sees_the_blanks_that_the_geometry_gives(kind: str) -> None:
    drawing = plans.plan(plans.KINDS[kind])
    (bay,) = form_bays(drawing, PLAIN).bays
    out = set_out(bay, drawing, PLAIN)[0]
    runs, touches = cut_runs(floor_in(bay, out.frame), out, PLAIN)
    asks = demand(runs, touches, PLAIN)
    bound = lower_bound(asks)
    for plan, planks in some_layouts(runs, touches, PLAIN, 3):
        seen = blanks_of(asks, plan.joints)
        drafts = cut_pieces(runs, touches, plan, PLAIN)
        assert bound <= planks
        for blank, draft in zip(seen, drafts, strict=True):
            assert blank.width_mm <= draft.blank_width_mm + 0.01
            assert blank.width_mm >= draft.blank_width_mm - 2.0
            edges = (draft.keeps_near_edge, draft.keeps_far_edge)
            assert (blank.keeps_near_edge, blank.keeps_far_edge) == edges
