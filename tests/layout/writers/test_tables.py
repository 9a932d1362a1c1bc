from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest
from shapely import box

from importer.plan import RoomId
from layout.takeoff import combine
from layout.writers.tables import (
    CUT_HEADINGS,
    ORDER_HEADINGS,
    cut_rows,
    cuts_csv,
    order_csv,
    safe_cell,
)
from tests.layout.laid import rectangle_result, rules
from tests.layout.writers.build import lay, result_of


def rows_of(data: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def test_cut_list_holds_every_sawn_piece_in_laying_order() -> None:
    result = rectangle_result()
    heading, *rows = rows_of(cuts_csv(result, rules()))
    assert heading == list(CUT_HEADINGS)
    sawn = [p for p in result.bays[0].pieces if p.cuts]
    assert [r[5] for r in rows] == [p.id for p in sawn]
    assert [int(r[0]) for r in rows] == sorted(p.order for p in sawn)


def test_room_name_cannot_run_as_a_formula() -> None:
    _, first, *_ = rows_of(cuts_csv(rectangle_result(), rules()))
    assert first[2] == '\'=Living, "big"'


@pytest.mark.parametrize("text", ["=1+1", "-Bad", "@x", "\tX", "+1", "\rX"])
def test_dangerous_text_is_made_safe_and_numbers_stay_numbers(text: str) -> None:
    assert safe_cell(text) == "'" + text
    assert safe_cell(-5.0) == -5.0


def test_order_names_every_item_for_job_and_flat() -> None:
    rule_set = rules()
    heading, *rows = rows_of(order_csv(combine([rectangle_result()], rule_set), rule_set))
    assert heading == list(ORDER_HEADINGS)
    assert [r[1] for r in rows if r[0] == "whole job"] == [
        r[1] for r in rows if r[0] != "whole job"
    ]


def test_order_says_what_goes_with_the_planks() -> None:
    """check: 4 x 3.26 m less a door of 900; strips of 1 m along the 4 m: 4, in 2 rolls of 10 m."""
    rule_set = rules()
    _, *rows = rows_of(order_csv(combine([rectangle_result()], rule_set), rule_set))
    lines = {r[1]: r[2:] for r in rows if r[0] == "whole job"}
    assert lines["underlay, rolls of 1 x 10 m"] == [
        "2",
        "rolls",
        "4 strips edge to edge, 16.0 m off the roll, for 13.04 m2",
    ]
    assert lines["profiles, bars of 900 mm"] == ["1", "bars", "for 1: 900 mm"]
    assert lines["skirting or bead, bars of 2400 mm"] == ["7", "bars", "13.62 m of wall"]
    assert "pipe collars" not in lines


def test_default_rules_are_said_on_the_order() -> None:
    rule_set = rules()
    job = combine([rectangle_result()], rule_set, default_rules=True)
    assert "packaged default" in order_csv(job, rule_set).decode("utf-8-sig")


def test_every_line_of_the_cut_list_names_the_rules() -> None:
    _, *rows = rows_of(cuts_csv(rectangle_result(), rules(), default_rules=True))
    assert {r[-1] for r in rows} == {"test (packaged default)"}


def test_lines_end_as_rfc_4180_asks() -> None:
    """RFC 4180 section 2: records are delimited by CRLF."""
    data = cuts_csv(rectangle_result(), rules())
    assert data.count(b"\n") == data.count(b"\r\n") > 1


def test_each_piece_is_listed_with_its_own_room() -> None:
    """Two rooms side by side as one bay: what is left of the wall is in the one, the rest in the other."""
    laid = result_of([lay(box(0, 0, 6000, 2500))])
    assert laid.plan is not None
    (layout,) = laid.bays
    rooms = tuple(
        replace(laid.plan.rooms[0], id=RoomId(name), name=name, shape=shape)
        for name, shape in (("West", box(0, 0, 3000, 2500)), ("East", box(3000, 0, 6000, 2500)))
    )
    bay = replace(layout.bay, rooms=tuple(r.id for r in rooms))
    joined = replace(laid, plan=replace(laid.plan, rooms=rooms), bays=(replace(layout, bay=bay),))
    listed = {
        str(row[CUT_HEADINGS.index("role")]): row[CUT_HEADINGS.index("rooms")]
        for row in cut_rows(joined)
    }
    assert listed["first"] == "West"
    assert listed["last"] == "East"
    assert {row[CUT_HEADINGS.index("rooms")] for row in cut_rows(laid)} == {"Room 1"}
