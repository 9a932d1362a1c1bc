"""Stages, and pieces that cannot be tilted in: small floors laid with plain joints, without the solver."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from importer.plan import Plan
from layout.audit import audit
from layout.bays import form_bays
from layout.floor import BayLayout, Frame, Piece
from layout.job import lay_plan
from layout.job_pools import Sketch, lay_pool
from layout.joints import Solved
from layout.laying_around import around_of, unheeded
from layout.rules import RuleSet
from layout.site_file import load_site_text
from layout.site_lay import lay_measured
from tests.bench.generated_bays import set_out_bay
from tests.layout import build
from tests.layout.build import plain_joints

ROOM = box(0, 0, 5200, 3860)
ALONG = {"along": 0}


def laid(
    shape: Polygon | Plan = ROOM, *, drawn: tuple[LineString, ...] = (), **sections: object
) -> BayLayout:
    rules = build.rules(**{"rows": ALONG, **sections})
    plan = build.plan([build.room(shape, name="Living")]) if isinstance(shape, Polygon) else shape
    return lay(replace(plan, stage_lines=drawn), rules)


def lay(plan: Plan, rules: RuleSet) -> BayLayout:
    (bay,) = form_bays(plan, rules).bays
    made = set_out_bay("", bay, plan, rules)
    solved = Solved(plan=plain_joints(made.demand), bound=1)
    sketch = Sketch(bay=bay, grid=made.grid, solved=solved, around=around_of(bay, plan, rules))
    (layout,) = lay_pool([sketch], rules)
    return layout


def stages(*lines: dict[str, object]) -> dict[str, object]:
    return {"lines": [{"room": "living", **line} for line in lines]}


def order_breaches(layout: BayLayout) -> list[str]:
    return [b.rule for b in layout.breaches if b.rule in {"order", "stages"}]


# --- stages -------------------------------------------------------------------------------------


@pytest.mark.parametrize("line", [{"side": "bottom", "at": 2000}, {"side": "top", "at": 1860}])
def test_line_along_the_rows_becomes_the_nearest_row_line(line: dict[str, object]) -> None:
    layout = laid(stages=stages(line))
    (border,) = layout.stage_borders
    frame = layout.setting_out.frame
    ys = {round(frame.point_to_bay(p)[1], 3) for p in border.path}
    asked = frame.point_to_bay(border.asked[0])[1]
    levels = {round(p.shape.bounds[3], 3) for p in layout.pieces}
    (level,) = ys
    assert level == min(levels, key=lambda y: abs(y - asked))
    assert abs(level - asked) <= 90.0
    for piece in layout.pieces:
        assert piece.stage == (1 if piece.shape.bounds[3] <= level + 0.5 else 2)
    assert "ends with row" in border.why
    assert order_breaches(layout) == []
    assert not any(p.pushed for p in layout.pieces)


def test_every_stage_is_complete_before_the_next_begins() -> None:
    layout = laid(stages=stages({"side": "bottom", "at": 1200}, {"side": "bottom", "at": 2500}))
    by_order = [p.stage for p in sorted(layout.pieces, key=lambda p: p.order)]
    assert by_order == sorted(by_order)
    assert set(by_order) == {1, 2, 3}
    assert [b.stage for b in layout.stage_borders] == [1, 2]
    assert [s.why.split()[1] for s in layout.stretches] == ["1.", "2.", "3."]


def test_lines_of_one_room_are_taken_as_the_work_gets_to_them() -> None:
    """Written the other way round, the stages are the same."""
    there = laid(stages=stages({"side": "bottom", "at": 1200}, {"side": "bottom", "at": 2500}))
    back = laid(stages=stages({"side": "bottom", "at": 2500}, {"side": "bottom", "at": 1200}))
    assert [p.stage for p in there.pieces] == [p.stage for p in back.pieces]


@pytest.mark.parametrize("share", ["30 %", "50 %", "65 %"])
def test_line_across_the_rows_stops_every_row_at_an_end_joint(share: str) -> None:
    layout = laid(stages=stages({"side": "left", "share": share}))
    (border,) = layout.stage_borders
    asked = layout.setting_out.frame.point_to_bay(border.asked[0])[0]
    rows: dict[int, list[tuple[float, float, int]]] = {}
    for p in layout.pieces:
        x0, _, x1, _ = p.shape.bounds
        rows.setdefault(p.row, []).append((x0, x1, p.stage))
    for pieces in rows.values():
        pieces.sort()
        stage = [s for *_, s in pieces]
        assert stage == sorted(stage)
        stop = next((x0 for x0, _, s in pieces if s == 2), pieces[-1][1])
        assert abs(stop - asked) <= 1220.0
    assert "ends at end joints" in border.why
    assert order_breaches(layout) == []


def test_only_planks_that_the_steps_close_in_are_pushed_in_and_the_words_name_their_rows() -> None:
    layout = laid(stages=stages({"side": "left", "share": "50 %"}))
    pushed = {p.row for p in layout.pieces if p.pushed}
    assert pushed
    assert {p.stage for p in layout.pieces if p.pushed} == {2}
    named = layout.stage_borders[0].why.partition("Where row")[2].partition(" go")[0]
    assert {int(n) for n in named.strip("s ").split(",")} == pushed
    assert len(pushed) < len({p.row for p in layout.pieces}) / 2


def test_stage_line_by_points_is_in_the_drawings_own_units() -> None:
    plan = build.plan([build.room(ROOM, name="Living")])
    metres = replace(plan, units=replace(plan.units, name="m", to_mm=1000.0))
    points = stages({"points": [0.0, 2.0, 5.2, 2.0]})
    layout = lay(metres, build.rules(rows=ALONG, stages=points))
    assert layout.stage_borders[0].asked == ((0.0, 2000.0), (5200.0, 2000.0))
    assert [p.stage for p in layout.pieces] == [
        p.stage for p in laid(stages=stages({"side": "bottom", "at": 2000})).pieces
    ]


def test_drawn_line_parts_the_room_that_it_lies_in() -> None:
    drawn = laid(drawn=(LineString([(100, 2000), (5100, 2000)]),))
    assert {p.stage for p in drawn.pieces} == {1, 2}
    assert "line in the drawing" in drawn.stage_borders[0].why
    elsewhere = laid(drawn=(LineString([(9000, 0), (9000, 3000)]),))
    assert elsewhere.stage_borders == ()


def test_line_that_parts_nothing_says_so() -> None:
    layout = laid(box(0, 0, 4200, 180), stages=stages({"side": "bottom", "at": 90}))
    (border,) = layout.stage_borders
    assert (border.stage, border.path) == (0, ())
    assert "parts nothing" in border.why
    assert {p.stage for p in layout.pieces} == {1}


def test_rule_that_names_no_room_is_told() -> None:
    plan = build.plan([build.room(ROOM, name="Kitchen")])
    rules = build.rules(
        stages={**stages({"side": "left", "at": 2000}), "layer": "FLOOR-STAGE"},
        laying={"low": [{"room": "bed", "side": "top"}]},
    )
    assert [f.code for f in unheeded(plan, rules)] == ["LAY-141", "LAY-141", "LAY-142"]
    named = build.rules(stages={"lines": [{"room": "kitch*", "side": "left", "at": 2000}]})
    assert list(unheeded(plan, named)) == []


@given(
    kind=st.sampled_from(["l_shape", "u_shape", "t_shape", "column_hole", "alcove", "neck"]),
    side=st.sampled_from(["left", "right", "top", "bottom"]),
    share=st.floats(0.2, 0.8),
)
@settings(max_examples=10, deadline=None)
def test_no_stage_leaves_a_piece_that_cannot_be_laid(kind: str, side: str, share: float) -> None:
    """Whatever the room and the line: no breach of order or stages, each piece laid once."""
    layout = laid(build.KINDS[kind], stages=stages({"side": side, "share": share}))
    assert order_breaches(layout) == []
    assert sorted(p.order for p in layout.pieces) == list(range(1, len(layout.pieces) + 1))
    ends = [s.last for s in layout.stretches]
    assert [s.first for s in layout.stretches] == [1, *(e + 1 for e in ends[:-1])]
    assert all(a.number + 1 == b.number for a, b in pairwise(layout.stretches))


# --- pushed in ----------------------------------------------------------------------------------


def low(**place: object) -> dict[str, object]:
    return {"low": [{"room": "living", "what": "radiator", **place}]}


def test_last_row_under_a_radiator_is_pushed_in() -> None:
    start = laid().setting_out.frame.point_to_bay((2600.0, 3860.0))[1]
    side = "top" if start > 1000 else "bottom"
    layout = laid(laying=low(side=side, begin=1000, end=2000, depth=120))
    last = max(p.row for p in layout.pieces)
    pushed = [p for p in layout.pieces if p.pushed]
    assert pushed
    assert {p.row for p in pushed} == {last}
    for p in layout.pieces:
        x0, _, x1, _ = layout.setting_out.frame.to_plan(p.shape).bounds
        under = x1 > 1000.5 and x0 < 1999.5 and p.row == last
        assert bool(p.pushed) is under
    assert {p.pushed for p in pushed} == {"under the radiator"}


def test_first_row_under_a_radiator_lies_flat_anyhow() -> None:
    start = laid().setting_out.frame.point_to_bay((2600.0, 3860.0))[1]
    side = "bottom" if start > 1000 else "top"
    layout = laid(laying=low(side=side, depth=120))
    assert not any(p.pushed for p in layout.pieces)


def two_rooms() -> Plan:
    return build.plan(
        [
            build.room(box(0, 0, 4000, 3000), 1, name="Living"),
            build.room(box(4120, 0, 7000, 3000), 2, name="Hall"),
        ],
        [build.doorway((4000, 1000), (4120, 1860), 1, (1, 2))],
    )


def reaches(piece: Piece, frame: Frame, between: tuple[float, float]) -> bool:
    """Whether a piece lies between two abscissas of the plan."""
    x0, _, x1, _ = frame.to_plan(piece.shape).bounds
    return bool(x0 < between[1] and x1 > between[0])


def test_planks_that_end_under_the_far_jamb_of_a_frame_are_pushed_in() -> None:
    """Only planks whose tilting half lies under a frame; those in the middle of the opening are free."""
    layout = laid(two_rooms())
    frame = layout.setting_out.frame
    pushed = [p for p in layout.pieces if p.pushed]
    assert {p.pushed for p in pushed} == {"under the door frame"}
    jambs = [frame.point_to_bay((4060.0, y))[1] for y in (1000.0, 1860.0)]
    for p in pushed:
        _, y0, _, y1 = p.shape.bounds
        middle = (y0 + y1) / 2
        low, high = (y0, middle) if p.is_reversed else (middle, y1)
        assert any(low < y + 40 and y - 40 < high for y in jambs)
    beside = [p for p in layout.pieces if reaches(p, frame, (4000.0, 4120.0))]
    assert 0 < len([p for p in beside if not p.pushed]) >= len(beside) - 4
    clear = laid(two_rooms(), frames={"undercut": False})
    assert not any(p.pushed for p in clear.pieces)


# --- the audit ----------------------------------------------------------------------------------


def test_audit_sees_an_order_that_nobody_can_lay() -> None:
    layout = laid()
    rules = build.rules(rows=ALONG)
    turn = {2: 3, 3: 2}
    mixed = [replace(p, order=1000 * turn.get(p.row, p.row) + p.number) for p in layout.pieces]
    found = audit(replace(layout, pieces=tuple(mixed)), rules)
    assert {b.rule for b in found} - {b.rule for b in layout.breaches} == {"order"}
    told = [replace(p, pushed="between") for p in mixed]
    assert "order" not in {b.rule for b in audit(replace(layout, pieces=tuple(told)), rules)}


def test_audit_sees_a_row_closed_at_both_ends_a_turn_given_twice_and_a_stage_too_late() -> None:
    layout = laid()
    rules = build.rules(rows=ALONG)
    row = [p for p in layout.pieces if p.row == 1]
    last = max(p.order for p in layout.pieces) + 1

    def broken(changed: dict[str, int], field: str) -> list[str]:
        pieces = tuple(
            replace(p, **{field: changed[p.id]}) if p.id in changed else p for p in layout.pieces
        )
        return [b.rule for b in audit(replace(layout, pieces=pieces), rules)]

    assert "order" in broken({row[1].id: last}, "order")
    assert "order" in broken({row[1].id: row[0].order}, "order")
    assert "stages" in broken({row[0].id: 2}, "stage")


def test_stages_hold_after_the_room_is_measured() -> None:
    """Shorter by more than the window: rows change, the stages stay in turn and can be laid."""
    rules = build.rules(rows=ALONG, stages=stages({"side": "left", "share": "50 %"}))
    drawn = lay_plan(build.plan([build.room(box(0, 0, 4100, 1900), name="Living")]), rules)
    (layout,) = drawn.bays
    wide = next(d for d in layout.dimensions if abs(d.drawn_mm - 4100) < 1.0)
    sizes = {"plan": "test.dxf", "bays": {"B1": {wide.id: 4060.0}}}
    again = lay_measured(drawn, load_site_text(yaml.safe_dump(sizes), "site.yaml"), rules)
    (now,) = again.bays
    assert now.site is not None
    assert now.site.recut_rows or now.site.changed_rows
    assert order_breaches(now) == []
    turn = [p.stage for p in now.pieces]
    assert turn == sorted(turn)
    assert set(turn) == {1, 2}
    assert [p.order for p in now.pieces] == list(range(1, len(now.pieces) + 1))
