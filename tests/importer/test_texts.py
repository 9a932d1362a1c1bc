"""What texts read like, and where their middle is."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from importer.dxf.texts import decoded, plain_mtext, plain_text
from tests.importer.dxf_files import document, flat


@pytest.mark.parametrize(
    ("code", "text"),
    [
        ("%%uBAD%%u", "BAD"),
        ("%%UBAD%%U %%oX%%o", "BAD X"),
        ("12%%d %%c50 %%p5 100%%%", "12° Ø50 ±5 100%"),
        ("%%176C", "°C"),
        ("%%zFOO", "%%zFOO"),
        (r"K\U+00FCche", "Küche"),
        (r"\U+53A8\U+623F", "厨房"),
        (r"\M+5D7DF", "走"),
        (r"\M+1836E", "ハ"),
        (r"\M+5FFFF", r"\M+5FFFF"),
        ("A^JB^MC^IE^ F", "A\nBC E^F"),
        ("  two   words  ", "two words"),
        (r"C:\Umbau", r"C:\Umbau"),
        ("", ""),
    ],
)
def test_codes_of_single_line_texts(code: str, text: str) -> None:
    assert plain_text(code) == text


@pytest.mark.parametrize(
    ("code", "text"),
    [
        (r"{\fArial|b0;\H1.5x;KITCHEN}\P12.5 m\S2^ ;", "KITCHEN\n12.5 m2"),
        (r"\A1;{\C1;BATH}\~{\LWC\l}", "BATH WC"),
        (r"\pxqc;CENTRED\PLINE", "CENTRED\nLINE"),
        (r"\S1/2; \S3#4; \S^2;", "1/2 3/4 2"),
        (r"\S+0.1^-0.2;", "+0.1 -0.2"),
        (r"\S2^ ", "2"),
        (r"A\\B \{C\} D", r"A\B {C} D"),
        (r"\\{X}", r"\X"),
        (r"{{\T1.1;nested} \W0.8;deep}", "nested deep"),
        (r"\U+00D8 %%c %%d", "Ø Ø °"),
        (r"\M+5B3F8\M+5B7BF", "厨房"),
        ("one\ntwo^Jthree", "one\ntwo\nthree"),
        (r"\FgbcbigKÜCHE", r"\FgbcbigKÜCHE"),
        (r"\Zfoo", r"\Zfoo"),
        ("{", ""),
        (r"m\U+00B2", "m²"),
    ],
)
def test_codes_of_multi_line_texts(code: str, text: str) -> None:
    assert plain_mtext(code) == text


@given(st.text(alphabet=st.sampled_from("\\{}^%;PSfHUM+05ACD m2\n|"), max_size=40))
def test_any_mixture_of_codes_decodes_to_printable_text(code: str) -> None:
    for text in (plain_text(code), plain_mtext(code)):
        assert text == text.strip()
        assert all(char == "\n" or char.isprintable() for char in text)


@given(st.text(alphabet=st.characters(codec="utf-8", categories=["L", "N"]), max_size=30))
def test_plain_words_stay_as_they_are(word: str) -> None:
    assert plain_text(word) == plain_mtext(word) == decoded(word) == word


def test_long_texts_split_into_chunks_are_joined_before_decoding() -> None:
    doc = document()
    label = r"{\fArial|b0|i0|c0|p34;" + "ROOM " * 200 + r"}\PEND"
    doc.modelspace().add_mtext(label, dxfattribs={"insert": (0, 0)})
    assert flat(doc).texts[0].text.endswith("\nEND")


# --- where the middle is


@pytest.mark.parametrize("rotation", [0.0, 30.0, 90.0, 180.0, 271.0])
@pytest.mark.parametrize(
    ("halign", "valign", "right", "up"),
    [(0, 0, 1, 1), (2, 0, -1, 1), (1, 0, 0, 1), (4, 0, 0, 0), (0, 3, 1, -1), (1, 2, 0, 0)],
)
def test_middle_of_a_text_lies_where_its_alignment_says(
    halign: int, valign: int, right: int, up: int, rotation: float
) -> None:
    doc = document()
    doc.modelspace().add_text(
        "KITCHEN",
        height=200,
        dxfattribs={
            "insert": (1000, 2000),
            "align_point": (1000, 2000),
            "halign": halign,
            "valign": valign,
            "rotation": rotation,
        },
    )
    text = flat(doc).texts[0]
    x, y = text.at[0] - 1000, text.at[1] - 2000
    turn = math.radians(-rotation)
    along, across = (
        x * math.cos(turn) - y * math.sin(turn),
        x * math.sin(turn) + y * math.cos(turn),
    )
    half_width = 7 * 0.7 * 200 / 2
    assert along == pytest.approx(right * half_width, abs=1)
    assert across == pytest.approx(up * 100, abs=1)
    assert text.angle_deg == pytest.approx(rotation)


def test_fitted_text_has_its_middle_between_its_two_points() -> None:
    doc = document()
    values = {"insert": (0, 0), "align_point": (1000, 1000), "halign": 5}
    doc.modelspace().add_text("ENTRANCE HALL", height=100, dxfattribs=values)
    text = flat(doc).texts[0]
    assert text.angle_deg == pytest.approx(45)
    offset = 50 / math.sqrt(2)
    assert text.at == pytest.approx((500 - offset, 500 + offset))


@pytest.mark.parametrize("attachment", range(1, 10))
def test_middle_of_an_mtext_lies_where_its_attachment_says(attachment: int) -> None:
    doc = document()
    doc.modelspace().add_mtext(
        r"LIVING\P24 m2",
        dxfattribs={"insert": (0, 0), "char_height": 200, "attachment_point": attachment},
    )
    x, y = flat(doc).texts[0].at
    column, row = (attachment - 1) % 3, (attachment - 1) // 3
    half_width = 6 * 0.7 * 200 / 2
    half_height = 200 * (1 + 5 / 3) / 2
    assert (x, y) == pytest.approx(((1 - column) * half_width, (row - 1) * half_height), abs=1)


def test_wrapped_mtext_grows_downwards_not_sideways() -> None:
    doc = document()
    values = {"insert": (0, 0), "char_height": 100, "width": 1000, "attachment_point": 1}
    doc.modelspace().add_mtext("WORD " * 20, dxfattribs=values)
    x, y = flat(doc).texts[0].at
    assert x == pytest.approx(500)
    assert y < -400


def test_mirrored_text_hangs_to_the_other_side() -> None:
    doc = document()
    values = {"insert": (-1000, 0), "extrusion": (0, 0, -1)}
    doc.modelspace().add_text("HALL", height=100, dxfattribs=values)
    text = flat(doc).texts[0]
    assert text.at == pytest.approx((1000 - 4 * 0.7 * 100 / 2, 50))


def test_attributes_carry_their_tag_and_the_block_they_hang_on() -> None:
    doc = document()
    block = doc.blocks.new("ROOMTAG")
    block.add_attdef("NAME", (0, 0), dxfattribs={"height": 100})
    block.add_line((0, 0), (1, 0))
    reference = doc.modelspace().add_blockref("ROOMTAG", (5000, 5000))
    reference.add_attrib("NAME", "BATH", (5000, 5100), {"height": 100})
    reference.add_attrib("SECRET", "42", (5000, 5000)).is_invisible = True
    drawing = flat(doc)
    assert [(t.text, t.tag) for t in drawing.texts] == [("BATH", "NAME")]
    source = drawing.sources[drawing.texts[0].source]
    assert source.kind == "ATTRIB"
    assert drawing.inserts[source.insert].block == "ROOMTAG"
    assert source.handle == reference.dxf.handle


def test_attribute_with_lines_of_its_own() -> None:
    doc = document()
    doc.blocks.new("TAG")
    reference = doc.modelspace().add_blockref("TAG", (0, 0))
    attribute = reference.add_attrib("NAME", "x", (0, 0))
    mtext = doc.modelspace().add_mtext(r"LIVING\PROOM", dxfattribs={"insert": (0, 0)})
    attribute.set_mtext(mtext)
    doc.modelspace().delete_entity(mtext)
    assert [t.text for t in flat(doc).texts] == ["LIVING\nROOM"]


def test_empty_texts_are_no_texts() -> None:
    doc = document()
    doc.modelspace().add_text("  ")
    doc.modelspace().add_mtext(r"{\fArial;}", dxfattribs={"insert": (0, 0)})
    assert flat(doc).texts == ()
