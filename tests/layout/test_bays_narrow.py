"""The solver's bound is for runs; these tests are about what holds for the pieces cut from them."""

from __future__ import annotations

import pytest
from shapely import Polygon, box

from layout.bay_narrow import narrow_pieces
from layout.bays import form_bays
from layout.joints import solve
from layout.pieces import cut_pieces
from layout.rules import RuleSet
from layout.runs import cut_runs, demand
from layout.setting_out import floor_in, set_out
from layout.stock import cut_planks
from tests.layout import build
from tests.layout.build import polygon, rules
from tests.layout.test_runs import cut

PLAIN = rules()
W = 180.0


def narrow(floor: Polygon, phase: float = W, rule_set: RuleSet = PLAIN) -> int:
    runs, touches = cut(floor, phase)
    return narrow_pieces(demand(runs, touches, rule_set), runs)


def test_even_rows_have_no_piece_narrower_than_the_row() -> None:
    assert narrow(box(0, 0, 5000, 700), 80) == 0


def test_end_that_steps_back_far_enough_can_share_a_plank_with_another_strip() -> None:
    """A last row of 160 whose first 1000 mm are only 70 wide; the starter strip is 100."""
    floor = polygon((0, 0), (5000, 0), (5000, 620), (1000, 620), (1000, 530), (0, 530))
    assert narrow(floor, 100) == 1


def test_step_shorter_than_any_end_piece_does_not_count() -> None:
    floor = polygon((0, 0), (5000, 0), (5000, 620), (250, 620), (250, 530), (0, 530))
    assert narrow(floor, 100) == 0


def test_step_in_the_middle_counts_only_where_a_whole_plank_goes_in() -> None:
    def notched(length: float) -> Polygon:
        return polygon(
            (0, 0),
            (6000, 0),
            (6000, 620),
            (1500 + length, 620),
            (1500 + length, 530),
            (1500, 530),
            (1500, 620),
            (0, 620),
        )

    assert narrow(notched(1100), 100) == 0
    assert narrow(notched(1280), 100) == 1
    assert narrow(notched(2520), 100) == 2


def test_strip_with_nothing_to_lie_beside_does_not_count() -> None:
    """The starter strip is 150: 70 and 150 are more than a plank; two of 70 keep the same edge."""
    floor = polygon((0, 0), (5000, 0), (5000, 670), (1000, 670), (1000, 580), (0, 580))
    assert narrow(floor, 150) == 0


def test_tapering_last_row_counts_where_it_is_narrow() -> None:
    """From 40 to 140 wide over 6 m: beside a starter strip of 100 up to 78, which is 2.3 m."""
    floor = polygon((0, 0), (6000, 0), (6000, 600), (0, 500))
    assert narrow(floor, 100) == 2


@pytest.mark.parametrize(
    "kind", ["t_shape", "z_shape", "out_of_square", "chimney_breast", "wall_end"]
)
def test_bound_less_narrow_pieces_is_not_above_what_is_sawn(kind: str) -> None:
    drawing = build.plan(build.KINDS[kind])
    (bay,) = form_bays(drawing, PLAIN).bays
    out = set_out(bay, drawing, PLAIN)[0]
    runs, touches = cut_runs(floor_in(bay, out.frame), out, PLAIN)
    asked = demand(runs, touches, PLAIN)
    solved = solve(asked)
    drafts = cut_pieces(runs, touches, solved.plan, PLAIN)
    sawn = len(cut_planks([d.blank for d in drafts], asked.stock))
    assert solved.bound - narrow_pieces(asked, runs) <= sawn
