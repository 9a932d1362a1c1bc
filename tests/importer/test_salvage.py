"""Files that the library gives up on: what is sound in them is still read, and the rest is told."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from importer.dxf.drawing import Drawing
from importer.plan import Severity
from tests.importer.dxf_files import (
    ROOM,
    document,
    flat_file,
    raw,
    ring_areas,
    strokes,
    write,
)

HEAD = ("0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1024", "0", "ENDSEC")
OPEN = ("0", "SECTION", "2", "ENTITIES")
CLOSE = ("0", "ENDSEC", "0", "EOF")


def line(handle: str = "AB", layer: str = "WALLS", y: str = "0") -> tuple[str, ...]:
    head = ("0", "LINE", "5", handle, "100", "AcDbEntity", "8", layer, "100", "AcDbLine")
    return (*head, "10", "0", "20", y, "11", "4000", "21", y)


def drawn(folder: Path, *entities: str, head: tuple[str, ...] = HEAD) -> Drawing:
    return flat_file(write(folder, raw((*head, *OPEN, *entities, *CLOSE))))


def text_of_room() -> str:
    doc = document()
    doc.modelspace().add_lwpolyline(ROOM, close=True, dxfattribs={"layer": "A-AREA"})
    doc.layers.add("HIDDEN").off()
    doc.modelspace().add_line((0, 0), (1, 1), dxfattribs={"layer": "HIDDEN"})
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue()


def told(drawing: Drawing) -> str:
    return " ".join(f.what for f in drawing.findings if f.severity is Severity.SETTLE)


@pytest.mark.parametrize(
    "sick",
    [
        ("0", "WIPEOUT", "5", "AA", "100", "AcDbEntity", "8", "X", "100", "AcDbWipeout"),
        (*line("AA"), "1001", "APP", "70", "1"),
        ("0", "CLASS", "1", "X"),
        ("0", "VERTEX", "8", "X", "10", "0", "20", "0"),
        ("0", "SEQEND", "8", "X"),
    ],
)
def test_a_sick_entity_costs_only_itself(sick: tuple[str, ...], tmp_path: Path) -> None:
    wipeout = ("0", "WIPEOUT", "5", "A9", "100", "AcDbEntity", "8", "X", "100", "AcDbWipeout")
    drawing = drawn(tmp_path, *wipeout, *sick, *line())
    assert strokes(drawing) == [(0, 0, 4000, 0)]
    assert sick[1] in told(drawing)


def test_a_polyline_whose_end_is_lost_keeps_its_vertices(tmp_path: Path) -> None:
    old = ["0", "POLYLINE", "8", "A", "66", "1", "70", "1"]
    for x, y in ROOM:
        old += ["0", "VERTEX", "8", "A", "10", str(x), "20", str(y)]
    drawing = drawn(tmp_path, *old, *line(y="5000"), head=())
    assert ring_areas(drawing) == pytest.approx([12e6])
    assert len(drawing.segments) == 5


@pytest.mark.parametrize("layer", ["*", "=1+1", "a<b>c", "WAND:2", 'A"B', "A/B", ""])
def test_layer_names_that_the_library_refuses_do_not_stop_it(layer: str, tmp_path: Path) -> None:
    old = ["0", "POLYLINE", "8", layer, "66", "1", "70", "1"]
    for x, y in ROOM:
        old += ["0", "VERTEX", "8", layer, "10", str(x), "20", str(y)]
    drawing = drawn(tmp_path, *old, "0", "SEQEND", "8", layer, head=())
    assert ring_areas(drawing) == pytest.approx([12e6])


def test_a_damaged_header_is_left_aside_and_the_unit_in_it_still_read(tmp_path: Path) -> None:
    text = text_of_room().replace("  9\n$LUNITS\n", "  9\n$EMPTY\n  9\n$LUNITS\n", 1)
    drawing = flat_file(write(tmp_path, text.encode()))
    assert ring_areas(drawing) == pytest.approx([12e6])
    assert drawing.header_unit == 4
    assert len(drawing.segments) == 4


def test_damaged_objects_are_left_aside(tmp_path: Path) -> None:
    text = text_of_room()
    at = text.index("OBJECTS")
    broken = text[:at] + text[at:].replace("DICTIONARY", "LINE").replace("\nAcDbDictionary", "\nX")
    drawing = flat_file(write(tmp_path, broken.encode()))
    assert ring_areas(drawing) == pytest.approx([12e6])


def test_impossible_codes_cost_only_their_value(tmp_path: Path) -> None:
    drawing = drawn(tmp_path, *line(), "99999", "whatever", "1000000", "")
    assert strokes(drawing) == [(0, 0, 4000, 0)]
    assert any("impossible group code" in f.what for f in drawing.findings)


def test_damaged_binary_data_costs_only_itself(tmp_path: Path) -> None:
    drawing = drawn(tmp_path, *line(), "310", "not hexadecimal")
    assert strokes(drawing) == [(0, 0, 4000, 0)]


def test_damaged_colours_and_flags_count_as_none(tmp_path: Path) -> None:
    drawing = drawn(tmp_path, *line(), "62", "red")
    assert strokes(drawing) == [(0, 0, 4000, 0)]
    assert "damaged number" in told(drawing)


def test_an_owner_left_blank_does_not_matter(tmp_path: Path) -> None:
    lines = list(line())
    lines[4:4] = ["330", ""]
    assert strokes(drawn(tmp_path, *lines)) == [(0, 0, 4000, 0)]
