"""Loading: line ends, repair, what the header really says, encodings, nothing drawn."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from ezdxf.filemanagement import readfile

from importer.dxf.load import load_dxf
from importer.plan import PlanError, Severity
from tests.importer.dxf_files import (
    RAW_LINES,
    document,
    flat_file,
    raw,
    room_document,
    saved,
    strokes,
    with_header,
    write,
)

ONE_LINE = [(0.0, 0.0, 4000.0, 0.0)]


def lines_of(data: bytes, folder: Path) -> list[tuple[float, ...]]:
    return strokes(flat_file(write(folder, data)))


def refused(path: Path) -> str:
    with pytest.raises(PlanError) as caught:
        load_dxf(path)
    assert caught.value.finding.remedy
    return caught.value.finding.what


def inserted(at: int, *lines: str) -> bytes:
    return raw((*RAW_LINES[:at], *lines, *RAW_LINES[at:]))


# --- lines and pairs


@pytest.mark.parametrize(
    "data",
    [
        raw(),
        raw(end="\r\n"),
        raw(end="\r"),
        raw(end="\r\r\n"),
        raw(end="\n").rstrip(b"\n"),
        b"\xef\xbb\xbf" + raw(),
        raw().decode().encode("utf-16"),
        inserted(16, ""),
        inserted(0, ""),
        inserted(0, "", "", " "),
        inserted(9, ""),
        inserted(7, ""),
        inserted(5, ""),
        raw() + b"\n\n\n",
        raw() + b"\x1a",
        raw() + bytes(range(256)) + b"\n0\nSECTION\n",
        raw() + b"trailing words, no pairs\n",
        inserted(2, "999", "hello"),
        inserted(4, "999", "", "999", "0"),
        raw(("999", "0", "999", "SECTION", *RAW_LINES)),
        raw([f"{line:>3}" if i % 2 == 0 else line for i, line in enumerate(RAW_LINES)]),
    ],
)
def test_odd_line_ends_marks_comments_and_blanks_do_not_matter(data: bytes, tmp_path: Path) -> None:
    assert lines_of(data, tmp_path) == ONE_LINE


def test_stray_blank_lines_are_told_with_their_place(tmp_path: Path) -> None:
    loaded = load_dxf(write(tmp_path, inserted(16, "")))
    assert [f.code for f in loaded.findings] == ["IMP-107"]
    assert "line 17" in loaded.findings[0].what


def test_a_blank_value_is_legal_and_stays(tmp_path: Path) -> None:
    text = ("0", "TEXT", "8", "T", "10", "0", "20", "0", "40", "2.5", "1", "", "7", "STANDARD")
    data = raw((*RAW_LINES[:16], *text, *RAW_LINES[16:]))
    loaded = load_dxf(write(tmp_path, data))
    assert loaded.findings == ()
    assert [e.dxf.text for e in loaded.document.modelspace().query("TEXT")] == [""]


def test_carriage_return_inside_a_text_does_not_shift_the_pairs(tmp_path: Path) -> None:
    text = ("0", "TEXT", "8", "T", "10", "0", "20", "0", "40", "2.5", "1", "two\rwords")
    data = raw((*RAW_LINES[:16], *text, *RAW_LINES[16:]))
    drawing = flat_file(write(tmp_path, data))
    assert [t.text for t in drawing.texts] == ["two words"]
    assert strokes(drawing) == ONE_LINE


def test_a_missing_line_is_refused_by_its_number(tmp_path: Path) -> None:
    lines = list(RAW_LINES)
    del lines[8]
    assert "line 9" in refused(write(tmp_path, raw(lines)))


# --- cut off, empty


@pytest.mark.parametrize("keep", [3, 6, 9, 12, 15])
def test_a_file_cut_inside_its_geometry_is_refused(keep: int, tmp_path: Path) -> None:
    assert "breaks off" in refused(write(tmp_path, raw(RAW_LINES[:keep])))


def test_every_cut_of_a_real_file_is_refused_or_complete(tmp_path: Path) -> None:
    data = saved(tmp_path, room_document()).read_bytes()
    whole = strokes(flat_file(write(tmp_path, data)))
    for share in range(1, 40):
        path = write(tmp_path, data[: len(data) * share // 40])
        try:
            drawing = flat_file(path)
        except PlanError:
            continue
        assert strokes(drawing) == whole
        assert "IMP-104" in [f.code for f in drawing.findings]


def test_a_file_without_its_end_marker_is_used_and_told(tmp_path: Path) -> None:
    drawing = flat_file(write(tmp_path, raw(RAW_LINES[:-2])))
    assert strokes(drawing) == ONE_LINE
    assert next((f.code, f.severity) for f in drawing.findings) == ("IMP-104", Severity.NOTE)


def test_no_entities_section_is_an_error_not_an_empty_success(tmp_path: Path) -> None:
    assert "ENTITIES" in refused(
        write(tmp_path, raw(("0", "SECTION", "2", "HEADER", "0", "ENDSEC", "0", "EOF")))
    )
    assert "ENTITIES" in refused(write(tmp_path, raw(("0", "EOF"))))


def test_an_empty_drawing_is_an_error(tmp_path: Path) -> None:
    assert "nothing is drawn" in refused(saved(tmp_path, document()))


def test_everything_on_paper_space_is_said(tmp_path: Path) -> None:
    doc = document()
    doc.layout("Layout1").add_lwpolyline([(0, 0), (420, 0), (420, 297), (0, 297)], close=True)
    assert "Layout1" in refused(saved(tmp_path, doc))


# --- header


@pytest.mark.parametrize(
    ("data", "unit", "measurement"),
    [
        (raw(), None, None),
        (with_header("9", "$ACADVER", "1", "AC1015"), None, None),
        (with_header("9", "$INSUNITS", "70", "     4"), 4, None),
        (with_header("9", "$MEASUREMENT", "70", "1", "9", "$INSUNITS", "70", "0"), 0, 1),
        (with_header("9", "$INSUNITS", "999", "why", "70", "1"), 1, None),
        (with_header("9", "$INSUNITS", "70", "6.0"), 6, None),
        (with_header("9", "$INSUNITS", "70", "mm"), None, None),
    ],
)
def test_units_are_what_the_file_says_not_what_the_library_makes_up(
    data: bytes, unit: int | None, measurement: int | None, tmp_path: Path
) -> None:
    loaded = load_dxf(write(tmp_path, data))
    assert (loaded.header_unit, loaded.measurement) == (unit, measurement)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_all_versions_load(version: str, tmp_path: Path) -> None:
    doc = document(version)
    doc.modelspace().add_line((0, 0), (4000, 0))
    loaded = load_dxf(saved(tmp_path, doc))
    assert loaded.version == doc.dxfversion
    # Release 12 has no $INSUNITS; ezdxf does not write it there.
    assert loaded.header_unit == (None if version == "R12" else 4)


@pytest.mark.parametrize("version", ["R12", "R2000", "R2010"])
def test_binary_files_give_the_same_as_text_files(version: str, tmp_path: Path) -> None:
    doc = document(version)
    doc.modelspace().add_line((0, 0), (4000, 0), dxfattribs={"layer": "WALLS"})
    doc.modelspace().add_text("Küche").set_placement((1, 2))
    text = flat_file(saved(tmp_path, doc))
    binary = flat_file(saved(tmp_path, doc, "b.dxf", fmt="bin"))
    assert strokes(binary) == strokes(text)
    assert [t.text for t in binary.texts] == [t.text for t in text.texts] == ["Küche"]
    assert binary.header_unit == text.header_unit


def test_a_binary_file_that_breaks_off_is_refused(tmp_path: Path) -> None:
    data = saved(tmp_path, room_document(), fmt="bin").read_bytes()
    for share in (0.2, 0.4, 0.5, 0.6):
        path = write(tmp_path, data[: int(len(data) * share)])
        with pytest.raises(PlanError):
            load_dxf(path)


# --- repair


@pytest.mark.parametrize("number", ["nan", "1e400", "-inf", "1.#IND", "12a.5", "", "--3"])
def test_a_damaged_number_costs_its_entity_and_no_other(number: str, tmp_path: Path) -> None:
    bad = ("0", "LINE", "8", "WALLS", "10", number, "20", "0.0", "11", "1.0", "21", "0.0")
    data = raw((*RAW_LINES[:16], *bad, *RAW_LINES[16:]))
    try:
        drawing = flat_file(write(tmp_path, data))
    except PlanError:
        assert number == ""  # a lost line shifts the pairs
        return
    assert strokes(drawing) == ONE_LINE
    told = [f for f in drawing.findings if f.severity is Severity.SETTLE]
    assert told


def test_decimal_commas_are_read_and_told(tmp_path: Path) -> None:
    lines = [line.replace(".0", ",5") for line in RAW_LINES]
    drawing = flat_file(write(tmp_path, raw(lines)))
    assert strokes(drawing) == [(0.5, 0.5, 4000.5, 0.5)]
    assert any("comma" in f.what for f in drawing.findings)


@pytest.mark.parametrize("handles", [("1A", "1A"), ("0", "2B"), ("0", "0")])
def test_ambiguous_handles_are_repaired_and_both_lines_stay(
    handles: tuple[str, str], tmp_path: Path
) -> None:
    doc = document()
    for y in (0, 1000):
        doc.modelspace().add_line((0, y), (4000, y))
    stream = io.StringIO()
    doc.write(stream)
    text = stream.getvalue()
    first, second = (f"  5\n{e.dxf.handle}\n" for e in doc.modelspace())
    text = text.replace(first, f"  5\n{handles[0]}\n").replace(second, f"  5\n{handles[1]}\n")
    drawing = flat_file(write(tmp_path, text.encode()))
    assert strokes(drawing) == [(0.0, 0.0, 4000.0, 0.0), (0.0, 1000.0, 4000.0, 1000.0)]
    assert len({source.handle for source in drawing.sources}) == 2


def test_a_missing_endsec_is_repaired_and_told(tmp_path: Path) -> None:
    lines = (*RAW_LINES[:16], "0", "SECTION", "2", "OBJECTS", "0", "ENDSEC", "0", "EOF")
    drawing = flat_file(write(tmp_path, raw(lines)))
    assert strokes(drawing) == ONE_LINE
    assert "IMP-106" in [f.code for f in drawing.findings]


# --- text encodings


def labelled(text: str, encoding: str, *header: str) -> bytes:
    entity = ("0", "TEXT", "8", text, "10", "0", "20", "0", "40", "2.5", "1", text)
    return with_header(*header, entities=entity).decode().encode(encoding)


@pytest.mark.parametrize(
    ("text", "encoding", "header"),
    [
        (
            "Küche",
            "cp1252",
            ("9", "$ACADVER", "1", "AC1015", "9", "$DWGCODEPAGE", "3", "ANSI_1252"),
        ),
        ("Küche", "cp1252", ()),
        ("Küche", "utf-8", ("9", "$ACADVER", "1", "AC1015", "9", "$DWGCODEPAGE", "3", "ANSI_1252")),
        ("Küche 厨房", "utf-8", ("9", "$ACADVER", "1", "AC1032")),
        (
            "Кухня",
            "cp1251",
            ("9", "$ACADVER", "1", "AC1015", "9", "$DWGCODEPAGE", "3", "ANSI_1251"),
        ),
        (
            "Кухня",
            "cp1251",
            ("9", "$ACADVER", "1", "AC1015", "9", "$DWGCODEPAGE", "3", "ANSI_1252"),
        ),
        ("Кухня", "cp1251", ()),
        ("Κουζίνα", "cp1253", ()),
        ("厨房", "gbk", ("9", "$ACADVER", "1", "AC1015", "9", "$DWGCODEPAGE", "3", "ANSI_936")),
        ("台所", "cp932", ("9", "$ACADVER", "1", "AC1015", "9", "$DWGCODEPAGE", "3", "ANSI_932")),
        (
            "Küche",
            "cp1252",
            ("9", "$ACADVER", "1", "AC1032", "9", "$DWGCODEPAGE", "3", "ANSI_1252"),
        ),
        ("Chambre d'été", "cp1252", ("9", "$ACADVER", "1", "AC1015")),
    ],
)
def test_texts_and_layers_read_right_with_missing_or_wrong_code_page(
    text: str, encoding: str, header: tuple[str, ...], tmp_path: Path
) -> None:
    drawing = flat_file(write(tmp_path, labelled(text, encoding, *header)))
    assert [t.text for t in drawing.texts] == [text]
    assert drawing.layer_of(drawing.texts[0].source) == text


def test_a_guessed_encoding_is_told(tmp_path: Path) -> None:
    drawing = flat_file(write(tmp_path, labelled("Кухня", "cp1251")))
    assert [f.code for f in drawing.findings] == ["IMP-119"]


def test_bytes_of_no_encoding_never_break_the_output(tmp_path: Path) -> None:
    data = with_header(
        *("9", "$ACADVER", "1", "AC1032"),
        entities=("0", "TEXT", "8", "T", "10", "0", "20", "0", "40", "2.5", "1", "a@b"),
    ).replace(b"@", b"\x81\xfe\xff")
    drawing = flat_file(write(tmp_path, data))
    assert drawing.texts[0].text.encode("utf-8").startswith(b"a")


def test_repaired_files_keep_their_texts(tmp_path: Path) -> None:
    data = labelled("Кухня", "cp1251").replace(
        b"0\nENDSEC\n0\nEOF", b"0\nSECTION\n2\nOBJECTS\n0\nENDSEC\n0\nEOF"
    )
    drawing = flat_file(write(tmp_path, data))
    assert [t.text for t in drawing.texts] == ["Кухня"]


def test_loading_leaves_the_file_alone(tmp_path: Path) -> None:
    path = saved(tmp_path, room_document())
    before = path.read_bytes()
    load_dxf(path)
    assert path.read_bytes() == before
    assert readfile(path).dxfversion == "AC1024"


def test_too_large_files_are_refused_before_they_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("importer.dxf.load.MAX_BYTES", 10)
    assert "MB" in refused(write(tmp_path, raw()))


def test_an_entity_that_breaks_the_reader_is_left_out_by_name(tmp_path: Path) -> None:
    wipeout = ("0", "WIPEOUT", "5", "AA", "100", "AcDbEntity", "8", "X", "100", "AcDbWipeout")
    head = ("0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1024", "0", "ENDSEC")
    line = ("0", "LINE", "5", "AB", "100", "AcDbEntity", "8", "X", "100", "AcDbLine")
    place = ("10", "0", "20", "0", "11", "4000", "21", "0")
    body = (*head, "0", "SECTION", "2", "ENTITIES", *wipeout, *line, *place)
    drawing = flat_file(write(tmp_path, raw((*body, "0", "ENDSEC", "0", "EOF"))))
    assert strokes(drawing) == ONE_LINE
    told = [f.what for f in drawing.findings if f.code == "IMP-115"]
    assert told == ["entities that are damaged beyond reading are left out: 1 WIPEOUT."]


def test_a_sheet_with_nothing_but_its_viewport_is_empty(tmp_path: Path) -> None:
    doc = document()
    doc.paperspace("Layout1").add_viewport((1, 1), (2, 2), (0, 0), 10)
    assert "nothing is drawn" in refused(saved(tmp_path, doc))
