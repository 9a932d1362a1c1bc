"""Walls out of square: which row tapers, from what to what, and which wall the rows are true to."""

from __future__ import annotations

import pytest
from shapely import Polygon

from importer.plan import Doorway
from layout.bays import form_bays
from layout.floor import BayLayout, CutKind, SettingOut
from layout.job import lay_bay
from layout.setting_out import set_out
from tests.layout import build

RULES = build.rules()


def set_out_of(shape: Polygon, *doorways: Doorway, **rules: object) -> SettingOut:
    plan = build.plan([build.room(shape)], doorways)
    (bay,) = form_bays(plan, build.rules(**rules)).bays
    return set_out(bay, plan, build.rules(**rules))[0]


def laid(shape: Polygon) -> BayLayout:
    plan = build.plan(shape)
    (bay,) = form_bays(plan, RULES).bays
    return lay_bay(bay, plan, RULES)


def leaning(rise: float, depth: float = 2400.0) -> Polygon:
    """A room whose far wall runs out by `rise` over 4 m."""
    return build.polygon((0, 0), (4000, 0), (4000, depth + rise), (0, depth))


def test_square_room_has_no_taper() -> None:
    out = set_out_of(leaning(0))
    assert out.tapers == ()
    assert "taper" not in out.why


def test_wall_as_straight_as_walls_are_is_none() -> None:
    assert set_out_of(leaning(4)).tapers == ()


@pytest.mark.parametrize("rise", [30.0, -30.0])
def test_taper_is_the_wall_s_and_in_the_row_beside_it(rise: float) -> None:
    layout = laid(leaning(rise))
    out = layout.setting_out
    (taper,) = out.tapers
    # Set back by the gap, the edge is shorter than the wall by as much at both its ends.
    assert taper.runs_out_mm == pytest.approx(abs(rise) * (4000 - 16) / 4000, abs=0.1)
    assert taper.row == max(p.row for p in layout.pieces)
    assert not taper.at_start
    assert not taper.crosses
    rips = [p for p in layout.pieces if p.row == taper.row]
    widths = [w for p in rips for c in p.cuts if c.kind is CutKind.RIP for w in c.measures_mm]
    assert min(widths) == pytest.approx(min(taper.width_mm), abs=0.5)
    assert max(widths) == pytest.approx(max(taper.width_mm), abs=0.5)
    first, last = (p for p in (rips[0], rips[-1]))
    starts = first.shape.bounds[3] > last.shape.bounds[3]
    assert (taper.width_mm[0] > taper.width_mm[1]) == starts
    assert f"{taper.runs_out_mm:.0f} mm out of line with the rows over 3.98 m" in out.why
    assert f"in row {taper.row}" in out.why


def test_taper_over_a_row_line_is_told_as_tips() -> None:
    (taper,) = set_out_of(leaning(190)).tapers
    assert taper.crosses
    assert max(taper.width_mm) > RULES.plank.width
    assert "end in tips" in set_out_of(leaning(190)).why


def door(y: float) -> Doorway:
    return build.doorway((1500, y - 50), (2400, y + 50))


@pytest.mark.parametrize(("at", "level"), [(-50.0, True), (2465.0, False)])
def test_rows_are_true_to_the_wall_seen_on_coming_in(at: float, *, level: bool) -> None:
    """The wall opposite the door; what tapers is on the side that one has behind oneself."""
    room = build.polygon((0, 0), (4000, 20), (4000, 2400), (0, 2400))
    out = set_out_of(room, door(at))
    along_far_wall = abs(out.frame.along[1]) < 1e-9
    assert along_far_wall is level
    assert "seen on coming in through doorway D1" in out.why
    assert out.tapers
    assert not any(t.at_start for t in out.tapers)
    assert all((y < 1200) is level for t in out.tapers for _, y in t.edge)


def test_without_a_door_the_longest_wall_decides() -> None:
    out = set_out_of(build.polygon((0, 0), (4000, 20), (4000, 2400), (0, 2400)))
    assert "seen on coming in" not in out.why


def test_door_is_no_reason_where_the_other_wall_is_much_shorter() -> None:
    room = build.polygon((0, 0), (4000, 20), (4000, 1500), (3300, 1500), (3300, 2400), (0, 2400))
    assert "seen on coming in" not in set_out_of(room, door(-50)).why
