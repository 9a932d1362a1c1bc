from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from shapely import box

from layout.audit import audit
from layout.bays import form_bays
from layout.floor import BayId, BayLayout, EdgeStrip, Piece, PieceId, PlankId, Role
from layout.job import lay_bay
from layout.rules import RuleSet
from layout.window import FARTHEST_MM, window
from tests.layout import build
from tests.layout.build import rules
from tests.layout.test_runs import grid_at

BARE = rules(gap={"wall": 8, "cover": 8})
"""Nothing hidden beyond the gap, so that the audit sees every millimetre."""
L, W = 1220.0, 180.0


def piece(name: str, length: float, role: Role, **fields: object) -> Piece:
    """A piece of full width that closes a run of its own, at the near end of plank P1."""
    given: dict[str, object] = {
        "id": PieceId(name),
        "bay": BayId("B1"),
        "row": 1,
        "run": 0,
        "number": 1,
        "role": role,
        "shape": box(0, 0, length, W),
        "blank_length_mm": length,
        "blank_width_mm": W,
        "end_length_mm": length,
        "keeps_near_edge": True,
        "keeps_far_edge": True,
        "cuts": (),
        "plank": PlankId("P1"),
        "plank_x_mm": 0.0,
        "plank_y_mm": 0.0,
        **fields,
    }
    return Piece(**given)  # type: ignore[arg-type]


def along(*pieces: Piece, rule_set: RuleSet = BARE) -> tuple[float, float]:
    return window(pieces, grid_at(W), rule_set).length_mm


# --- along the rows -----------------------------------------------------------------------------


def test_last_piece_may_shrink_to_the_least_end_and_grow_to_a_plank() -> None:
    assert along(piece("a", 700, Role.LAST)) == (-400, 520)


def test_end_below_the_preferred_length_may_shrink_to_the_graver_limit() -> None:
    assert along(piece("a", 250, Role.LAST)) == (-70, 970)


def test_end_in_breach_already_does_not_narrow_the_window() -> None:
    assert along(piece("a", 120, Role.LAST))[0] == -FARTHEST_MM


def test_first_piece_out_of_the_same_plank_bounds_the_growth() -> None:
    """1220 - 700 - 400 - kerf 2."""
    first = piece("b", 400, Role.FIRST, plank_x_mm=820.0, shape=box(0, W, 400, 2 * W), run=1)
    rest = piece("c", 900, Role.LAST, shape=box(400, W, 1300, 2 * W), run=1, plank=PlankId("P2"))
    assert along(piece("a", 700, Role.LAST), first, rest)[1] == pytest.approx(118)


def test_pieces_that_grow_out_of_one_plank_share_what_is_left() -> None:
    """Two of 400 from wall to wall and the saw between them: 418 for both."""
    second = piece("b", 400, Role.ONLY, plank_x_mm=402.0, shape=box(0, W, 400, 2 * W), run=1)
    assert along(piece("a", 400, Role.ONLY), second)[1] == pytest.approx(209)


def test_cover_lets_the_gap_open_where_a_piece_cannot_grow() -> None:
    covered = rules(gap={"wall": 8, "cover": 15})
    assert along(piece("a", L, Role.FULL), rule_set=covered) == (-920, 7)
    assert along(piece("a", L, Role.FULL)) == (-920, 0)


# --- across -------------------------------------------------------------------------------------


def across(
    strips: Sequence[EdgeStrip] = (), *pieces: Piece, rule_set: RuleSet = BARE
) -> tuple[float, float]:
    return window(pieces, replace(grid_at(W), strips=tuple(strips)), rule_set).width_mm


def strip(width: float, *, above: bool = False, y: float = 1000.0, taper: float = 0.0) -> EdgeStrip:
    return EdgeStrip(x0=0, x1=3000, y_low=y, y_high=y + taper, floor_above=above, width_mm=width)


def test_far_wall_may_move_until_its_strip_is_too_thin_or_more_than_a_plank() -> None:
    assert across([strip(100)]) == (-40, 80)


def test_edge_with_the_floor_above_it_works_the_other_way() -> None:
    assert across([strip(100, above=True)]) == (-80, 40)


def test_start_wall_is_what_all_is_measured_from() -> None:
    assert across([strip(100, above=True, y=0.0)]) == (-FARTHEST_MM, FARTHEST_MM)


def test_taper_uses_up_the_room_to_grow() -> None:
    assert across([strip(100, taper=30)]) == (-40, 50)


def test_strip_in_breach_does_not_narrow_the_window() -> None:
    assert across([strip(40)])[0] == -FARTHEST_MM


def test_short_edge_may_keep_a_tongue() -> None:
    jamb = replace(strip(100), x1=200)
    assert across([jamb]) == (-70, 80)


@pytest.mark.parametrize("cover", [8, 15])
def test_starter_and_closing_strip_out_of_one_plank_bound_the_width(cover: float) -> None:
    """180 - 80 - 70 - kerf 2, and no cover lies over the saw cut between the two."""
    starter = piece("a", L, Role.FULL, blank_width_mm=80.0, plank_y_mm=100.0, keeps_near_edge=False)
    closing = piece(
        "b",
        L,
        Role.FULL,
        blank_width_mm=70.0,
        keeps_far_edge=False,
        run=1,
        shape=box(0, 900, L, 970),
    )
    covered = rules(gap={"wall": 8, "cover": cover})
    assert across([strip(70)], starter, closing, rule_set=covered) == (-10, 28)


# --- against the audit --------------------------------------------------------------------------


def deviating(layout: BayLayout, dx: float, dy: float) -> BayLayout:
    """The same layout in a rectangular room that is longer and wider than drawn: last pieces and last
    row cut to measure, from the planks they were planned from.
    """
    x1 = max(p.shape.bounds[2] for p in layout.pieces)
    y1 = max(p.shape.bounds[3] for p in layout.pieces)
    pieces = []
    for p in layout.pieces:
        a, b, c, d = p.shape.bounds
        grows_x, grows_y = dx if c == x1 else 0.0, dy if d == y1 else 0.0
        pieces.append(
            replace(
                p,
                shape=box(a, b, c + grows_x, d + grows_y),
                blank_length_mm=p.blank_length_mm + grows_x,
                blank_width_mm=p.blank_width_mm + grows_y,
            )
        )
    frame, gap = layout.setting_out.frame, layout.bay.gap_mm
    floor = box(0, 0, x1 + dx, y1 + dy)
    bay = replace(
        layout.bay,
        floor=frame.to_plan(floor),
        outline=frame.to_plan(floor.buffer(gap, join_style="mitre")),
    )
    return replace(layout, bay=bay, pieces=tuple(pieces))


@pytest.mark.parametrize(
    ("length", "depth"), [(4000, 3260), (3333, 2050), (5217, 1871), (2900, 2400)]
)
def test_layout_stays_clean_inside_its_window_and_breaks_a_rule_outside(
    length: float, depth: float
) -> None:
    drawing = build.plan(box(0, 0, length, depth))
    (bay,) = form_bays(drawing, BARE).bays
    layout = lay_bay(bay, drawing, BARE)
    assert layout.breaches == ()
    (shorter, longer), (narrower, wider) = layout.window.length_mm, layout.window.width_mm
    for dx, dy in ((shorter, 0), (longer, 0), (0, narrower), (0, wider), (shorter / 2, wider / 2)):
        assert audit(deviating(layout, dx, dy), BARE) == (), (dx, dy)
    for dx, dy in ((shorter - 0.2, 0), (longer + 0.2, 0), (0, narrower - 0.2), (0, wider + 0.2)):
        assert audit(deviating(layout, dx, dy), BARE), (dx, dy)
