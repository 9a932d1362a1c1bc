"""The tables of `setout read`: complete, aligned, safe for any terminal or pipe."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest

from importer.plan import Finding, Origin, RoomId, Severity
from importer.plan_table import plan_text, rooms_grid, show_plan
from tests.importer.plans import sample_plan, tiny_plan


class Terminal(io.TextIOWrapper):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def shown(plan_file: str, encoding: str, *, terminal: bool) -> str:
    raw = io.BytesIO()
    kind = Terminal if terminal else io.TextIOWrapper
    stream = kind(raw, encoding=encoding, newline="\n")
    show_plan(sample_plan(plan_file), stream)
    stream.flush()
    return raw.getvalue().decode(encoding)


def test_every_room_doorway_and_finding_is_told() -> None:
    plan = sample_plan("block_storey.dxf")
    text = plan_text(plan)
    for room in plan.rooms:
        assert f"{room.shape.area / 1e6:.2f} m2" in text
    lines = text.splitlines()
    assert sum(line.endswith(tuple(d.id for d in plan.doorways)) for line in lines) == 31
    for finding in plan.findings:
        assert finding.code in text
    assert "because the header says so" in text
    assert "Name the door's layer" in " ".join(text.split())


def test_totals_are_those_of_the_plan() -> None:
    assert "4 flats, 27 rooms, 31 doorways, 2 obstacles; floor area 336.92 m2" in plan_text(
        sample_plan("block_storey.dxf")
    )


def test_drawing_in_inches_is_told_in_feet_and_inches() -> None:
    text = plan_text(sample_plan("flat_inches.dxf"))
    assert "238.0 sq ft" in text
    assert "36 in" in text
    assert "m2" not in text


def test_columns_line_up_and_figures_end_together() -> None:
    lines = plan_text(sample_plan("flat.dxf")).splitlines()
    start = lines.index("Rooms") + 4
    ends = {line.index(" m2") for line in lines[start : start + 6]}
    assert len(ends) == 1


def test_columns_without_content_are_left_out() -> None:
    assert rooms_grid(tiny_plan()).heads == ("Room", "Area", "Doorways", "Id")


@pytest.mark.parametrize("encoding", ["cp1252", "ascii", "utf-8", "cp437"])
@pytest.mark.parametrize("terminal", [True, False])
def test_any_encoding_of_the_stream_is_enough(encoding: str, *, terminal: bool) -> None:
    text = shown("flat_messy.dxf", encoding, terminal=terminal)
    assert "25.48 m2" in text
    assert ("Küche" in text) == (encoding != "ascii")
    assert ("\x1b" in text) == terminal


def test_names_are_data_for_a_terminal() -> None:
    plan = tiny_plan()
    room = replace(plan.rooms[0], name="[red]x[/red]\x1b[2J\r\nnext", id=RoomId("room-1"))
    plan = replace(plan, rooms=(room,))
    raw = io.BytesIO()
    stream = Terminal(raw, encoding="utf-8")
    show_plan(plan, stream)
    stream.flush()
    text = raw.getvalue().decode()
    assert "[red]x[/red] [2J next" in text
    assert "\x1b[2J" not in text
    assert "[red]x[/red] [2J next" in plan_text(plan)


def test_gravest_finding_comes_first_and_long_ones_are_wrapped() -> None:
    findings = (
        Finding(code="IMP-101", severity=Severity.NOTE, what="repaired " * 30),
        Finding(
            code="IMP-301", severity=Severity.REFUSED, what="not a room", where=Origin(layer="W")
        ),
    )
    text = plan_text(tiny_plan(findings=findings), width=72)
    assert text.index("1  [IMP-301] not used: not a room (layer W)") < text.index(
        "2  [IMP-101] note"
    )
    assert max(len(line) for line in text.splitlines()) <= 72


def test_plan_without_rooms_or_findings_is_told_plainly() -> None:
    text = plan_text(tiny_plan(rooms=()))
    assert "0 rooms" in text
    assert "Findings: none" in text
