"""The site sheets as a PDF, read back by another library."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import shapely
from pypdf import PdfReader
from shapely import LineString, Polygon, box

from importer.plan import Drawn, DrawnKind, RoomId, StoreyId
from layout.cautions import CAUTIONS
from layout.floor import Breach, PlanResult, Stretch
from layout.floor_site import DimensionKind, SiteDimension
from layout.writers.sheets.book import plan_sheets, sheet_pages
from layout.writers.sheets.cut_list import stages_of
from layout.writers.sheets.key_plan import key_plan_drafts
from layout.writers.sheets.letters import text_width
from layout.writers.sheets.marks import Group, Lines, Mark, Page, Text, overlap
from layout.writers.sheets.scene import context_of, scene_of
from layout.writers.sheets.style import CAPTION, SMALL, WALL
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.sheets_checked import HAS_PDF_PROGRAMS, missing_words, qpdf_says

L_ROOM = Polygon([(0, 0), (6200, 0), (6200, 2600), (3000, 2600), (3000, 5200), (0, 5200)])
SHAPES = {
    "square": box(0, 0, 4000, 3500),
    "closet": box(0, 0, 900, 700),
    "L": L_ROOM,
    "corridor": box(0, 0, 30_000, 1600),
    "forty rows": box(0, 0, 5200, 7100),
    "far away": box(452_000_000, 5_411_000_000, 452_004_000, 5_411_003_000),
    "skew": Polygon([(0, 0), (7400, 0), (7800, 5200), (0, 5200)]),
    "hall in parts": box(0, 0, 20_500, 13_000),
}


def result(shape: Polygon, **options: object) -> PlanResult:
    return result_of([lay(shape, **options)], names=["Living room"])


def texts(marks: tuple[Mark, ...]) -> Iterator[Text]:
    for mark in marks:
        if isinstance(mark, Text):
            yield mark
        elif isinstance(mark, Group):
            yield from texts(mark.marks)


def words(data: bytes) -> str:
    return " ".join(page.extract_text() for page in PdfReader(io.BytesIO(data)).pages)


@cache
def pages_of(name: str) -> tuple[Page, ...]:
    """Made once for all tests that look at the sheets of a shape."""
    return sheet_pages(result(SHAPES[name]), rules())


def clashes(found: Sequence[Text]) -> list[tuple[Text, Text]]:
    """Pairs of texts that meet."""
    boxes = shapely.box(*np.array([t.box for t in found]).T)
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    pairs = zip(first[first < second].tolist(), second[first < second].tolist(), strict=True)
    return [(found[a], found[b]) for a, b in pairs if overlap(found[a].box, found[b].box)]


@pytest.mark.parametrize("name", SHAPES)
def test_every_text_stands_inside_the_frame_and_meets_no_other(name: str) -> None:
    for page in pages_of(name):
        found = list(texts(page.marks))
        assert [t for t in found if not inside(t, page)] == []
        assert clashes(found) == []


def inside(text: Text, page: Page) -> bool:
    x0, y0, x1, y1 = text.box
    paper = page.paper
    return paper.left <= x0 and x1 <= paper.right and paper.low <= y0 and y1 <= paper.top


def test_texts_that_meet_are_found() -> None:
    a, b = (Text(words="1220", at=(x, 0.0)) for x in (0.0, 3.0))
    assert clashes([a, b, Text(words="1220", at=(50.0, 0.0))]) == [(a, b)]


def test_plan_that_fits_no_paper_is_drawn_in_parts() -> None:
    parts = [p for p in pages_of("hall in parts") if any(isinstance(m, Group) for m in p.marks)]
    assert sum(isinstance(m, Group) for p in parts for m in p.marks) == 4
    assert len(parts) > 1
    told = [t.words for p in parts for t in texts(p.marks) if t.words.startswith("Part ")]
    assert sorted(told) == [
        "Part 1 of 4; joins part 2 on the left, part 3 below",
        "Part 2 of 4; joins part 1 on the right, part 4 below",
        "Part 3 of 4; joins part 1 above, part 4 on the left",
        "Part 4 of 4; joins part 2 above, part 3 on the right",
    ]


@pytest.mark.parametrize("name", SHAPES)
def test_no_lettering_is_below_its_least_height(name: str) -> None:
    for page in pages_of(name):
        assert {t.height for t in texts(page.marks)} >= {SMALL}
        assert min(t.height for t in texts(page.marks)) == CAPTION


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("name", ["L", "corridor", "forty rows", "closet", "skew"])
def test_pdf_holds_the_whole_cut_list_in_laying_order(name: str, mirrored: bool) -> None:
    laid = result(SHAPES[name], mirrored=mirrored)
    text = words(plan_sheets(laid, rules()).data)
    layout = laid.bays[0]
    scene = scene_of(layout, context_of(laid), "", "")
    (stage,) = stages_of(scene)
    assert [line.row for line in stage.lines] == sorted({p.row for p in layout.pieces})
    for line in stage.lines:
        cells = [str(line.row), line.first, str(line.full) if line.full else "", line.last]
        assert re.search(r"\s+".join(re.escape(c) for c in cells if c), text), cells


def test_name_number_scale_and_cautions_stand_on_the_sheets() -> None:
    text = re.sub(r"\s+", " ", words(plan_sheets(result(SHAPES["square"]), rules()).data))
    assert "Bay B1" in text
    assert "Living room" in text
    assert "1:20 A3" in text
    assert "START" in text
    assert "158 wall to datum" in text
    for caution in CAUTIONS:
        assert caution in text


def test_same_plan_gives_the_same_bytes_and_another_other_ones() -> None:
    data = plan_sheets(result(L_ROOM), rules()).data
    assert plan_sheets(result(L_ROOM), rules()).data == data
    assert plan_sheets(result(L_ROOM, first_row=120.0), rules()).data != data


def test_all_fonts_are_embedded() -> None:
    reader = PdfReader(io.BytesIO(plan_sheets(result(L_ROOM), rules()).data))
    seen = set()
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            descriptor = font.get_object()["/FontDescriptor"]
            assert "/FontFile2" in descriptor
            seen.add(font.get_object()["/BaseFont"])
    assert len(seen) == 2


def test_plan_lies_on_paper_to_its_scale() -> None:
    """The outline of a 4000 x 3500 room, found among the lines, measures that at the sheet's scale."""
    page = sheet_pages(result(SHAPES["square"]), rules())[-1]
    sizes = {
        (round(x1 - x0, 2), round(y1 - y0, 2))
        for group in page.marks
        if isinstance(group, Group)
        for mark in group.marks
        for chain in getattr(mark, "chains", ())
        for x0, y0, x1, y1 in [bounds(chain)]
    }
    assert (200.0, 175.0) in sizes


def bounds(chain: tuple[tuple[float, float], ...]) -> tuple[float, float, float, float]:
    xs, ys = zip(*chain, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


@pytest.mark.parametrize("mirrored", [False, True])
def test_start_is_at_the_hand_that_rows_start_from(mirrored: bool) -> None:
    """Facing the start wall, a mirrored bay frame lays left to right."""
    laid = result(SHAPES["square"], mirrored=mirrored)
    page = sheet_pages(laid, rules())[-1]
    (start,) = [t for t in texts(page.marks) if t.words == "START"]
    numbers = [t.box[0] for t in texts(page.marks) if t.words == "12" and not t.bold]
    middle = (min(numbers) + max(numbers)) / 2
    assert (start.at[0] < middle) is mirrored


def test_long_hostile_and_foreign_names_are_printed_as_data() -> None:
    names = ["Very long name " * 20, "Hall\x00\x1b[31m\n2", "\u202eevil", "חדר 12", "Кухня"]
    laid = result_of(
        [lay(box(2000 * n, 0, 2000 * n + 1500, 900), f"B{n}") for n in range(5)], names=names
    )
    made = plan_sheets(laid, rules())
    text = words(made.data)
    assert "Hall [31m 2" in text
    assert "evil" in text
    for page in sheet_pages(laid, rules()):
        for text_mark in texts(page.marks):
            assert text_mark.box[2] <= page.paper.right


def test_character_that_no_font_has_is_replaced_and_told() -> None:
    laid = result_of([lay(SHAPES["square"])], names=["Room \U0001f9f1\U000131f3"])
    made = plan_sheets(laid, rules())
    (finding,) = made.findings
    assert finding.code == "OUT-104"
    assert "U+131F3" in finding.what
    assert "\N{LOZENGE}" in words(made.data)


def test_breaches_and_stretches_are_numbered_and_told() -> None:
    breach = Breach(
        rule="rows.min_width", where="B1/1.1", at=(2000, 60), value=40, limit=60, why="Too thin."
    )
    layout = lay(SHAPES["square"], breaches=[breach])
    count = len(layout.pieces)
    stretches = tuple(
        Stretch(number=n, is_reversed=n == 2, rows=(1,), first=a, last=b, why=f"Because {n}.")
        for n, a, b in ((1, 1, count // 2), (2, count // 2 + 1, count))
    )
    laid = result_of([replace(layout, stretches=stretches)])
    text = re.sub(r"\s+", " ", words(plan_sheets(laid, rules()).data))
    assert "Too thin. 40, limit 60." in text
    assert "in reverse" in text
    assert "Because 2." in text


TWO_ROOMS = shapely.union_all(
    [box(0, 0, 3000, 2600), box(3100, 0, 6100, 2600), box(3000, 900, 3100, 1700)]
)


def joined(measures: int) -> PlanResult:
    """One bay over two rooms with a doorway between them, and so many distances to measure."""
    assert isinstance(TWO_ROOMS, Polygon)
    laid = result_of([lay(TWO_ROOMS, mirrored=True)])
    assert laid.plan is not None
    (layout,) = laid.bays
    names = {"Living room": box(0, 0, 3000, 2600), "Bedroom": box(3100, 0, 6100, 2600)}
    rooms = tuple(
        replace(laid.plan.rooms[0], id=RoomId(name), name=name, shape=shape)
        for name, shape in names.items()
    )
    dimensions = tuple(
        SiteDimension(
            id=f"W{n}",
            kind=DimensionKind.WIDTH,
            line=((100.0 * n, 0.0), (100.0 * n, 2600.0)),
            drawn_mm=2600.0,
            least_mm=2590.5,
            most_mm=2612.0,
        )
        for n in range(1, measures + 1)
    )
    bay = replace(layout.bay, rooms=tuple(r.id for r in rooms))
    layout = replace(layout, bay=bay, dimensions=dimensions)
    return replace(laid, plan=replace(laid.plan, rooms=rooms), bays=(layout,))


def test_list_of_joined_rooms_tells_them_and_parts_the_stretches_of_a_row() -> None:
    pages = sheet_pages(joined(4), rules())
    words_on = [t.words for page in pages for t in texts(page.marks)]
    assert "Bay B1, 2 rooms" in words_on
    assert {"room", "Living room", "Bedroom", "1a", "1b", "7a, 7b"} <= set(words_on)
    assert words_on.count("Measure first, mm") == 1
    assert clashes(list(texts(pages[-1].marks))) == []


def test_many_measures_stand_on_a_sheet_of_their_own_before_the_plan() -> None:
    pages = [p for p in sheet_pages(joined(24), rules()) if p.name.startswith("Bay")]
    first = [t.words for t in texts(pages[0].marks)]
    assert "Measure first, before any cut" in first
    assert "START" not in first
    assert {f"W{n}" for n in range(1, 25)} <= set(first)
    assert first.count("2591 to 2612") == 24
    assert any("START" in [t.words for t in texts(p.marks)] for p in pages[1:])
    for page in pages:
        assert clashes(list(texts(page.marks))) == []


@pytest.mark.skipif(
    not HAS_PDF_PROGRAMS,
    reason="qpdf and pdftotext are not installed (Debian: qpdf, poppler-utils)",
)
@pytest.mark.parametrize("measures", [4, 24])
def test_other_programs_find_the_file_sound_and_every_line_of_the_list(
    measures: int, tmp_path: Path
) -> None:
    """All samples: `python -m tests.bench.checked_outputs`."""
    laid = joined(measures)
    path = tmp_path / "sheets.pdf"
    path.write_bytes(plan_sheets(laid, rules()).data)
    assert qpdf_says(path) == ""
    assert missing_words(path, laid) == []
    other = result_of([lay(box(0, 0, 2310, 1290), "B2")])
    assert len(missing_words(path, other)) > 2
    path.write_bytes(path.read_bytes()[:-200])
    assert qpdf_says(path) != ""


def test_sheets_are_counted_and_the_summary_points_at_them() -> None:
    laid = result_of([lay(box(9000 * n, 0, 9000 * n + 4000, 3500), f"B{n}") for n in range(4)])
    pages = sheet_pages(laid, rules())
    found = [t.words for p in pages for t in texts(p.marks) if re.fullmatch(r"\d+ / \d+", t.words)]
    assert found == [f"{n} / {len(pages)}" for n in range(1, len(pages) + 1)]
    listed = [t.words for t in texts(pages[0].marks)]
    for n, page in enumerate(pages, start=1):
        if page.name.startswith("Bay B"):
            assert str(n) in listed


def test_width_of_lettering_is_that_of_the_font() -> None:
    """Ten figures of the Latin font are 636/1000 em each, set at nine tenths; capitals are 729/1000."""
    assert text_width("0123456789", 7.29) == pytest.approx(10 * 6.362 * 0.9, rel=1e-3)


def test_default_rules_are_said_on_every_bay() -> None:
    pages: tuple[Page, ...] = sheet_pages(result(SHAPES["square"]), rules(), default_rules=True)
    told = [any("packaged default" in t.words for t in texts(p.marks)) for p in pages]
    assert told[0]
    assert told[-1]


def test_sheets_of_a_model_show_the_walls_of_their_own_storey() -> None:
    """The storeys of a model lie on top of each other."""
    room = SHAPES["square"]
    mine, theirs = room.buffer(200.0).difference(room), box(500, -400, 900, 4200)
    window = LineString([(1000, -100), (2000, -100)])
    laid = result(room)
    assert laid.plan is not None
    drawn = (
        Drawn(kind=DrawnKind.WALL, storey=StoreyId("S1"), shape=mine),
        Drawn(kind=DrawnKind.WINDOW, storey=StoreyId("S1"), shape=window),
        Drawn(kind=DrawnKind.WALL, storey=StoreyId("S2"), shape=theirs),
    )
    stacked = replace(laid, plan=replace(laid.plan, drawn=drawn, walls=(mine, theirs)))
    (bay,) = stacked.bays
    scene = scene_of(bay, context_of(stacked), "S1", "")
    shown = bay.setting_out.frame.to_plan(shapely.union_all(scene.walls))
    assert shown.symmetric_difference(mine).area < 1.0
    (key,) = key_plan_drafts(stacked, rules())
    lines = [m for m in key.marks if isinstance(m, Lines)]
    (walls,) = (m for m in lines if m.fill == WALL)
    assert len(walls.chains) == 2, "outer and inner ring of the own wall"
    outer = max(np.ptp(np.array(c)[:, 0]) for c in walls.chains)
    long = 1000 * outer / (4000 + 2 * 200)
    ends = [c for m in lines if not m.closed for c in m.chains if len(c) == 2]
    assert any(abs(a[0] - b[0]) == pytest.approx(long, abs=0.01) for a, b in ends)
