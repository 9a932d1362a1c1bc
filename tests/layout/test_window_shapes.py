"""The window held against pieces that are no rectangles: what it states, the finished layout keeps."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from layout.bays import form_bays
from layout.floor import BayLayout, PieceId, Role
from layout.job import lay_bay
from layout.site_dimensions import with_dimensions
from layout.site_faces import ACROSS, ALONG, displaced, faces_of
from layout.site_refit import kept
from layout.window_planks import crowded, pushed
from layout.window_shapes import is_start_face, part_of
from tests.bench.site_deviations import bay_of
from tests.layout import build

RULES = build.rules(plank={"length": 1220, "width": 240})
SHAPES = {
    "slanting wall": build.polygon((0, 0), (3450, 0), (3450, 900), (1200, 1500), (0, 1500)),
    "notch": build.polygon(
        (0, 0),
        (3600, 0),
        (3600, 1100),
        (3250, 1100),
        (3250, 1700),
        (350, 1700),
        (350, 1250),
        (0, 1250),
    ),
}
PLANS = {name: build.plan(shape) for name, shape in SHAPES.items()}


@cache
def laid(name: str) -> tuple[BayLayout, BayLayout]:
    """As the rectangles alone would have it, and with all pieces looked at."""
    (bay,) = form_bays(PLANS[name], RULES).bays
    layout = lay_bay(bay, PLANS[name], RULES)
    return layout, with_dimensions(layout, (), RULES)


def breaches(layout: BayLayout, name: str, along: float, across: float) -> set[str]:
    outline = layout.setting_out.frame.to_bay(layout.bay.outline)
    gap = layout.bay.gap_mm
    stops = {f.index: (along, along) for f in faces_of(outline, ALONG) if not f.opens}
    sides = {
        f.index: (across, across)
        for f in faces_of(outline, ACROSS)
        if f.holds and not is_start_face(f, gap)
    }
    bay = bay_of(layout, displaced(outline, stops, sides))
    assert bay is not None
    known = {(b.rule, b.where) for b in layout.breaches}
    found = kept(layout, bay, PLANS[name], RULES).breaches
    return {b.rule for b in found if (b.rule, b.where) not in known}


@pytest.mark.parametrize("name", SHAPES)
def test_corners_of_the_window_are_clean(name: str) -> None:
    layout = laid(name)[1]
    for along in layout.window.length_mm:
        for across in layout.window.width_mm:
            assert breaches(layout, name, along, across) == set(), (along, across)


def test_slanting_wall_narrows_the_window_across() -> None:
    """Where the room gets wider, rows reach further up the slant and their ends get shorter."""
    plain, exact = laid("slanting wall")
    assert plain.breaches == ()
    assert plain.window.width_rules == ("rows.min_width", "rows.min_width")
    assert exact.window.width_rules == ("rows.min_width", "ends.min_length")
    assert exact.window.width_mm[0] == plain.window.width_mm[0]
    wider = exact.window.width_mm[1]
    assert wider < plain.window.width_mm[1]
    assert breaches(exact, "slanting wall", 0.0, wider + 0.3) == {"ends.min_length"}


def test_pieces_that_grew_are_moved_on_along_their_plank() -> None:
    layout = laid("notch")[1]
    plank = next(p for p in layout.planks if len(p.pieces) == 1)
    (piece,) = (p for p in layout.pieces if p.id == plank.pieces[0])
    one = replace(piece, role=Role.ONLY, blank_length_mm=500.0, plank_x_mm=0.0)
    two = replace(one, id=PieceId("two"), blank_length_mm=600.0, plank_x_mm=450.0)
    moved_on = pushed((one, two), RULES)
    assert [p.plank_x_mm for p in moved_on] == [0.0, 502.0]
    assert list(crowded((one, two), RULES)) == []
    assert list(crowded((one, replace(two, blank_length_mm=719.0)), RULES)) == ["two"]


def test_sliver_that_opens_beside_a_piece_is_no_part_of_it() -> None:
    """A wall that moves off a row line opens a strip there; the cover hides it, no plank is laid."""
    notched = build.polygon((0, 0), (700, 0), (700, 200), (600, 200), (600, 240), (0, 240))
    piece = replace(laid("notch")[1].pieces[0], shape=notched)
    moved_back = build.polygon(
        (0, 0), (1700, 0), (1700, 0.3), (699.7, 0.3), (699.7, 200), (600, 200), (600, 240), (0, 240)
    )
    part = part_of(moved_back, piece, 7.0)
    assert part is not None
    assert part.bounds == pytest.approx((0, 0, 699.7, 240))
