"""Labels: what single texts say, and which texts together are one label."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from importer.dxf.drawing import Text
from importer.dxf.label_text import Reading, parse_number, read_text
from importer.dxf.labels import RoomLabel, room_labels
from importer.hints import Hints
from tests.importer.build import Sketch

NO_HINTS = Hints()


def labels(sketch: Sketch, hints: Hints = NO_HINTS) -> tuple[RoomLabel, ...]:
    return room_labels(sketch.build(), hints)


@pytest.mark.parametrize(
    ("text", "area"),
    [
        ("12,4 m2", 12.4),
        ("12.4 m²", 12.4),
        ("F = 12,40", 12.4),
        ("NGF: 12,34 m²", 12.34),
        ("ca. 1.234,50 qm", 1234.5),
        ("133 sq ft", 133 * 0.09290304),
        ("855 SQ. FT.", 855 * 0.09290304),
        ("1,051 SF", 1051 * 0.09290304),
        ("18,4 кв.м", 18.4),
        ("9.5 ㎡", 9.5),
        ("Küche 12,4 m2", 12.4),
    ],
)
def test_printed_area_is_read_in_square_metres(text: str, area: float) -> None:
    reading = read_text(text)
    assert reading.area_m2 == pytest.approx(area)
    assert reading.area_sure


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("11'6 x 13'", (3505.2, 3962.4)),
        ("13'-8\" x 14'-0\"", (4165.6, 4267.2)),
        ("12'-6 1/2\" X 10'", (3822.7, 3048.0)),
        ("12\u20196\u201d x 10\u2019", (3810.0, 3048.0)),
        ("4,20 x 3,50", (4200.0, 3500.0)),
        ("4.20m x 3.5m", (4200.0, 3500.0)),
        ("3600 x 4200", (3600.0, 4200.0)),
    ],
)
def test_printed_size_is_read_in_millimetres(text: str, size: tuple[float, float]) -> None:
    assert read_text(text).size_mm == pytest.approx(size)


@pytest.mark.parametrize(
    "text",
    [
        "Total Area: 72.0 m²",
        "FLOOR PLAN — 2 BEDROOM APARTMENT",
        "KITCHEN ELEVATION",
        "Scale: 1:100  |  Units: mm",
        "SEE DETAIL 4 ON SHEET 12",
        "2668",
        "5050 XO",
        "6068 S.G.D.",
        "16070 O.H. DOOR",
        "W5",
        "80/210",
        "2x6",
        "+2,50",
        "FFL +0.000",
        "TYPE 'B1'",
        "Bodenbelag: Parkett",
        "U = 14,20 m",
        "A",
        "D-D",
        "PROVIDE 20 MIN. DOOR\nW/ SELF CLOSING HINGES",
        "www.example.org",
        "",
    ],
)
def test_notes_titles_levels_and_codes_say_nothing_about_a_room(text: str) -> None:
    assert read_text(text) == Reading()


@pytest.mark.parametrize(
    ("text", "name", "number"),
    [
        ("MSTR. BATH", "MSTR. BATH", None),
        ("UTIL.", "UTIL.", None),
        ("2 CAR GARAGE", "2 CAR GARAGE", None),
        ("BEDROOM 2", "BEDROOM 2", None),
        ("101 KITCHEN", "KITCHEN", "101"),
        ("B.103 Lobby", "Lobby", "B.103"),
        ("Office 101", "Office", "101"),
        ("A102", None, "A102"),
        ("Raum: Küche\nNr: 1.03", "Küche", "1.03"),
        ("1.03\nBüro\nF=12,40\nU=14,2", "Büro", "1.03"),
        ("Wohnen / Essen", "Wohnen / Essen", None),
        ("厨房", "厨房", None),
        ("Гостиная", "Гостиная", None),
        ("ST. #2", "ST. #2", None),
    ],
)
def test_name_and_number_are_told_apart(text: str, name: str | None, number: str | None) -> None:
    reading = read_text(text)
    assert (reading.name, reading.number) == (name, number)


def test_bare_decimal_below_a_name_is_an_area_but_not_beyond_doubt() -> None:
    reading = read_text("Гостиная\n18,4")
    assert (reading.area_m2, reading.area_sure) == (18.4, False)


@given(st.floats(1, 900).map(lambda v: round(v, 2)))
def test_metric_numbers_read_the_same_with_comma_and_point(value: float) -> None:
    text = f"{value:.2f}"
    assert parse_number(text, thousands=False) == pytest.approx(value)
    assert parse_number(text.replace(".", ","), thousands=False) == pytest.approx(value)


@given(st.text(max_size=60))
def test_any_text_is_read_without_error(text: str) -> None:
    read_text(text)


def test_name_number_and_area_below_each_other_are_one_label() -> None:
    sketch = Sketch()
    sketch.text("1.01", (0, 400))
    sketch.text("Schlafen", (0, 0))
    sketch.text("14,20 m²", (0, -350), 150)
    (label,) = labels(sketch)
    assert (label.name, label.number, label.area_m2) == ("Schlafen", "1.01", 14.2)
    assert label.at == (0, 0)


def test_labels_of_neighbouring_rooms_are_not_mixed() -> None:
    sketch = Sketch()
    for x, name, area in ((0, "Bad", "6,1 m²"), (1500, "WC", "1,9 m²"), (3000, "Flur", "8,0 m²")):
        sketch.text(name, (x, 0))
        sketch.text(area, (x, -350))
    assert [(x.name, x.area_m2) for x in labels(sketch)] == [
        ("Bad", 6.1),
        ("WC", 1.9),
        ("Flur", 8.0),
    ]


def test_two_line_name_is_one_name_but_a_wall_between_makes_two() -> None:
    sketch = Sketch()
    sketch.text("MASTER", (0, 300))
    sketch.text("BEDROOM", (0, 0))
    (label,) = labels(sketch)
    assert label.name == "MASTER BEDROOM"
    sketch.line((-2000, 200), (2000, 200), "WALL")
    sketch.line((-2000, 100), (2000, 100), "WALL")
    assert [x.name for x in labels(sketch)] == ["MASTER", "BEDROOM"]


def test_number_in_a_box_beside_the_name_belongs_to_it() -> None:
    sketch = Sketch()
    sketch.text("Kitchen", (0, 0))
    sketch.text("104", (900, 0))
    sketch.box(650, -150, 1150, 150, "TEXT")
    (label,) = labels(sketch)
    assert (label.name, label.number) == ("Kitchen", "104")


def test_turned_labels_are_read_along_their_own_lines() -> None:
    sketch = Sketch()
    sketch.text("Diele", (0, 0))
    sketch.text("7,5 m²", (350, 0), 150)
    drawing = sketch.build()
    turned = [
        Text(text=t.text, at=t.at, height=t.height, source=t.source, angle_deg=90)
        for t in drawing.texts
    ]
    (label,) = room_labels(replace(drawing, texts=tuple(turned)), NO_HINTS)
    assert (label.name, label.area_m2) == ("Diele", 7.5)


def test_style_of_known_labels_tells_names_from_other_short_texts() -> None:
    sketch = Sketch()
    sketch.text("KITCHEN", (0, 0), 180, "A-NOTE")
    sketch.text("SNUG", (9000, 0), 180, "A-NOTE")
    sketch.text("GAS", (5000, 0), 150, "A-NOTE")
    sketch.text("FLOOR ONE LAYOUT", (5000, -5000), 900, "A-NOTE")
    assert [x.name for x in labels(sketch)] == ["KITCHEN", "SNUG"]


def test_names_in_a_language_nobody_listed_are_names_when_areas_stand_with_them() -> None:
    sketch = Sketch()
    sketch.text("Chambre-haute", (0, 0))
    sketch.text("Qwertzu", (9000, 0))
    sketch.text("10,0 m²", (9000, -350))
    sketch.text("Asdfghj", (18000, 0))
    assert [x.name for x in labels(sketch)][1:] == ["Qwertzu", "Asdfghj"]


def test_attributes_of_one_block_are_one_label_and_of_a_grid_bubble_none() -> None:
    sketch = Sketch()
    for at, block, pairs in (
        ((0, 0), "ROOMTAG", (("NAME", "Snug"), ("NR", "0.07"), ("AREA", "9.5"))),
        ((5000, 0), "BUBBLE", (("TYPE", "WF"), ("33", "A"))),
    ):
        insert = sketch.insert(block, (*at, at[0] + 900, at[1] + 900))
        for k, (tag, value) in enumerate(pairs):
            sketch.attrib(tag, value, (at[0], at[1] - 300 * k), insert)
    (label,) = labels(sketch)
    assert (label.name, label.number, label.area_m2) == ("Snug", "0.07", 9.5)


def test_dimension_texts_and_ignored_layers_give_no_labels() -> None:
    sketch = Sketch()
    sketch.text("KITCHEN", (0, 0), layer="A-DIMS")
    sketch.text("BATH", (5000, 0), layer="OLD")
    assert labels(sketch, Hints(ignore_layers=("old",))) == ()


def test_suite_number_over_its_area_is_one_label() -> None:
    sketch = Sketch()
    sketch.text("A102", (0, 0), 400)
    sketch.text("TYPE 'F1'", (0, -500), 250)
    sketch.text("859 SQ. FT.", (0, -600), 250)
    (label,) = labels(sketch)
    assert label.name is None
    assert label.number == "A102"
    assert label.area_m2 == pytest.approx(79.80, abs=0.01)
