"""Paper-space sheets: standard paper and scales, nothing outside the frame, nothing over anything else."""

from __future__ import annotations

import difflib
import os
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.entities import Insert, MText, Viewport
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from layout.floor import PlanResult
from layout.writers.dxf.compose import compose
from layout.writers.dxf.flow import Ledger, flow_of, set_flow
from layout.writers.dxf.mark import mark_drawing
from layout.writers.dxf.marks import Align, Dimension, Letter, Lines, Mark
from layout.writers.dxf.paper import BAY_SCALES, KEY_SCALES, PAPERS, TITLE_BLOCK_MM
from layout.writers.dxf.scheme import PLAIN, Content
from layout.writers.dxf.sheet_set import MOST_SHEETS, SheetSet, sheet_set
from layout.writers.dxf.sheets import Sheet, placed
from layout.writers.dxf.sizes import SMALL_MM
from layout.writers.dxf.title_block import CAPTION_MM, FIELDS, filled
from layout.writers.dxf.xdata import APPID
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.drawings import load, room_drawing, save
from tests.layout.writers.test_dxf_compose import GOLDEN, marks_as_text, walls_of

ROOM = box(0, 0, 5200, 3900)
LONG = box(6000, 0, 6900, 24000)
TOLD = rules().told(job="Harbour Row 17", date="2026-11-24")
NAME = "Bad {x}\\P 100%%c ^J \U0001d11e"


def sheets_of(result: PlanResult, *shapes: Polygon) -> SheetSet:
    underlay = walls_of(*shapes)
    drawn = compose(result, TOLD, underlay)
    return sheet_set(drawn, result, TOLD, underlay, default_rules=True)


@pytest.fixture(scope="module")
def two_bays() -> SheetSet:
    bays = [lay(ROOM, "B1"), lay(LONG, "B2", along_deg=90.0)]
    return sheets_of(result_of(bays, names=["Hall", "Corridor"]), ROOM, LONG)


def words(marks: Sequence[Mark]) -> str:
    lines = [m.text for m in marks if isinstance(m, Letter)]
    lines += [line for m in marks if isinstance(m, Lines) for line in m.lines]
    return "\n".join(lines)


def ground(mark: Mark) -> shapely.Geometry:
    if isinstance(mark, (Letter, Lines)):
        return mark.box()
    assert not isinstance(mark, Dimension)
    return shapely.MultiPoint(mark.points)


def title_box(sheet: Sheet) -> Polygon:
    x, y = sheet.paper.title_block
    return box(x, y, x + TITLE_BLOCK_MM[0], y + TITLE_BLOCK_MM[1])


# --- paper --------------------------------------------------------------------------------------


def test_papers_halve_as_iso_216_says() -> None:
    """Each size is the one before it cut in two, rounded down to millimetres; A0 is a square metre."""
    for small, large in pairwise(PAPERS):
        assert small.width == large.height
        assert small.height == large.width // 2
    assert PAPERS[-1].width * PAPERS[-1].height == pytest.approx(1e6, rel=0.001)


def test_scales_are_those_of_iso_5455() -> None:
    """The reductions of the standard: 1, 2 or 5 times a power of ten."""
    for scale in (*BAY_SCALES, *KEY_SCALES):
        assert scale.ratio / 10 ** np.floor(np.log10(scale.ratio)) in {1.0, 2.0, 5.0}


def test_a_key_plan_comes_first_then_a_sheet_for_each_bay(two_bays: SheetSet) -> None:
    assert [s.name for s in two_bays.sheets] == ["Setout key", "Setout B1", "Setout B2"]
    assert [s.fields["SHEET"] for s in two_bays.sheets] == ["1 / 3", "2 / 3", "3 / 3"]
    assert two_bays.left_out == 0
    key = words(two_bays.sheets[0].marks)
    assert "Corridor" in key
    assert "sheet\n2\n3" in key


def test_everything_stands_inside_the_frame_and_clear_of_the_title_block(
    two_bays: SheetSet,
) -> None:
    for sheet in two_bays.sheets:
        frame, block, view = (
            box(*sheet.paper.frame),
            title_box(sheet),
            box(*sheet.viewport.on_paper),
        )
        assert frame.contains(view)
        assert not block.intersects(view)
        for mark in sheet.marks:
            assert frame.contains(ground(mark)), (sheet.name, mark)
            assert not block.intersects(ground(mark)), (sheet.name, mark)


def test_no_two_texts_meet_and_none_stands_in_the_view(two_bays: SheetSet) -> None:
    """But for the labels of the key plan, which are drawn over its view on purpose."""
    for sheet in two_bays.sheets:
        texts = [m for m in sheet.marks if isinstance(m, (Letter, Lines))]
        boxes = np.array([m.box() for m in texts], dtype=object)
        first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        shared = shapely.area(shapely.intersection(boxes[first], boxes[second]))
        assert not ((first < second) & (shared > 1e-6)).any()
        view = box(*sheet.viewport.on_paper)
        own = [m for m in texts if sheet.name != "Setout key" or isinstance(m, Lines)]
        assert own
        assert not any(m.box().intersects(view) for m in own)


def test_nothing_is_lettered_smaller_than_iso_3098_allows(two_bays: SheetSet) -> None:
    for sheet in two_bays.sheets:
        heights = [m.height for m in sheet.marks if isinstance(m, (Letter, Lines))]
        assert min(heights) >= SMALL_MM - 1e-9
    assert CAPTION_MM == 1.8


def test_each_row_is_listed_with_its_lengths_in_the_order_of_laying() -> None:
    layout = lay(ROOM, "B1")
    (_, sheet) = sheets_of(result_of([layout]), ROOM).sheets
    columns = [m for m in sheet.marks if isinstance(m, Lines) and m.content is Content.TABLE]
    by_name = {m.lines[0]: m.lines[1:] for m in columns}
    rows = dict.fromkeys(p.row for p in layout.pieces)
    assert [r for r in by_name["row"] if r] == [str(r) for r in rows]
    first = {p.row: p for p in reversed(layout.pieces)}
    for row, length in zip(by_name["row"], by_name["first"], strict=False):
        cross = bool(row) and any(c.kind.value == "cross" for c in first[int(row)].cuts)
        if row:
            assert length == (str(round(first[int(row)].blank_length_mm)) if cross else "full")


def test_an_offcut_of_another_bay_is_named_with_its_bay() -> None:
    one, two = lay(ROOM, "B1"), lay(LONG, "B2", along_deg=90.0)
    giver = next(p for p in one.pieces if p.row == 2 and p.number == 1)
    taker = replace(two.pieces[0], offcut_of=giver.id)
    result = result_of([one, replace(two, pieces=(taker, *two.pieces[1:]))])
    _, sheet, other = sheets_of(result, ROOM, LONG).sheets
    assert f"B2/{taker.row}" in words(sheet.marks)
    assert "B1/2" in words(other.marks)


def test_more_bays_than_a_drawing_holds_sheets_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("layout.writers.dxf.sheet_set.MOST_SHEETS", 2)
    made = sheets_of(result_of([lay(ROOM, "B1"), lay(LONG, "B2", along_deg=90.0)]), ROOM, LONG)
    assert [s.name for s in made.sheets] == ["Setout key", "Setout B1"]
    assert made.left_out == 1
    assert MOST_SHEETS < 255


def test_a_floor_too_large_for_any_sheet_is_drawn_smaller_not_cut() -> None:
    place = placed((90_000.0, 60_000.0), flow_of([ledger(10)], []), BAY_SCALES)
    assert place.scale.ratio == 100
    x0, y0, x1, y1 = place.viewport
    assert (x1 - x0) * 100 >= 90_000
    assert (y1 - y0) * 100 >= 60_000


# --- flow ---------------------------------------------------------------------------------------


def ledger(count: int) -> Ledger:
    cuts = "rip to 90; notch 500 x 90, 130 x 90"
    return Ledger(
        headings=("row", "first", "cuts"),
        aligns=(Align.RIGHT, Align.RIGHT, Align.LEFT),
        rows=tuple((str(n), f"{n}00", cuts) for n in range(1, count + 1)),
    )


@settings(derandomize=True, max_examples=40, deadline=None)
@given(
    rows=st.integers(1, 60),
    notes=st.lists(st.text("abc de", min_size=1, max_size=300), max_size=4),
    height=st.floats(60.0, 400.0),
)
def test_every_line_is_set_once_and_in_its_column(
    rows: int, notes: list[str], height: float
) -> None:
    flow = flow_of([ledger(rows)], [("Note", (note,)) for note in notes])
    columns = flow.columns([height] * 200)
    assert columns is not None
    marks = list(set_flow(flow, columns, [(n * 1000.0, 0.0) for n in range(len(columns))]))
    for mark in marks:
        _, low, _, high = ground(mark).bounds
        assert -height - 1e-6 <= low <= high <= 1e-6
    texts = [m for m in marks if isinstance(m, Lines)]
    listed = [line for m in texts if m.lines[0] == "row" for line in m.lines[1:] if line]
    assert listed == [str(n) for n in range(1, rows + 1)]
    said = " ".join(line for m in texts if m.content is Content.NOTE for line in m.lines)
    for note in notes:
        assert " ".join(note.split()) in " ".join(said.split())


def test_a_list_that_goes_on_has_its_headings_again() -> None:
    columns = flow_of([ledger(40)], []).columns([80.0] * 10)
    assert columns is not None
    assert len(columns) > 1
    assert all(column[0].head for column in columns)


def test_lines_that_find_no_room_are_not_dropped_in_silence() -> None:
    assert flow_of([ledger(40)], []).columns([80.0]) is None


# --- title block --------------------------------------------------------------------------------


def test_a_title_is_cut_to_its_field_and_nothing_is_made_up() -> None:
    values = filled({"JOB": "Harbour Row " * 20})
    assert values["JOB"].endswith("...")
    assert values["DATE"] == ""
    assert set(values) == {f.tag for f in FIELDS}


def test_fields_fill_their_lines_without_a_gap() -> None:
    for line in (0, 1, 2):
        own = [f for f in FIELDS if f.line == line]
        assert own[0].left == 0
        assert own[-1].right == TITLE_BLOCK_MM[0]
        assert all(a.right == b.left for a, b in pairwise(own))


# --- in the drawing -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def marked(tmp_path_factory: pytest.TempPathFactory) -> Drawing:
    path = save(room_drawing(), tmp_path_factory.mktemp("sheets") / "plan.dxf")
    return load(mark_drawing(path, result_of([lay(ROOM, "B/1")], names=[NAME]), TOLD).data)


def test_the_architects_layouts_are_kept_and_ours_follow(marked: Drawing) -> None:
    assert marked.layouts.names_in_taborder() == ["Model", "Layout1", "Setout key", "Setout B-1"]
    assert marked.layouts.active_layout().name == "Layout1"
    assert marked.audit().errors == []


def view_of(doc: Drawing, name: str) -> Viewport:
    (view,) = (v for v in doc.layouts.get(name).viewports() if v.dxf.id > 1)
    return view


def test_views_are_to_scale_and_show_the_bay(marked: Drawing) -> None:
    for name, ratio in (("Setout key", 100.0), ("Setout B-1", 50.0)):
        view = view_of(marked, name)
        assert view.dxf.view_height / view.dxf.height == pytest.approx(ratio)
        assert view.dxf.view_twist_angle == 0
        x, y = view.dxf.view_center_point.x, view.dxf.view_center_point.y
        wide, high = view.dxf.width * ratio / 2, view.dxf.height * ratio / 2
        assert box(x - wide, y - high, x + wide, y + high).contains(ROOM)


def test_views_hide_what_is_not_made_for_their_scale(marked: Drawing) -> None:
    bay = set(view_of(marked, "Setout B-1").frozen_layers)
    key = set(view_of(marked, "Setout key").frozen_layers)
    assert bay == {PLAIN.names[Content.KEY100], PLAIN.names[Content.TABLE]}
    assert {PLAIN.names[c] for c in (Content.ROW, Content.LENGTH, Content.PLANK)} <= key
    assert PLAIN.names[Content.MOVE] not in key


def test_the_title_block_says_what_the_user_said(marked: Drawing) -> None:
    block = next(e for e in marked.layouts.get("Setout B-1") if isinstance(e, Insert))
    said = {a.dxf.tag: a.dxf.text for a in block.attribs}
    assert said["JOB"] == "Harbour Row 17"
    assert said["DATE"] == "2026-11-24"
    assert said["SCALE"] == "1:50 A4"
    assert said["TITLE"].startswith("Bay B/1")
    assert said["APPROVED"] == ""


def test_names_are_no_codes_in_paragraphs(marked: Drawing) -> None:
    """Braces, backslashes and carets of a name come out as they are."""
    texts = [e for e in marked.layouts.get("Setout key") if isinstance(e, MText)]
    shown = [" ".join(e.plain_text(split=True)) for e in texts]
    assert any("Bad {x}\\P 100% %c ^" in words for words in shown)


def test_everything_on_our_sheets_is_ours_and_by_layer(marked: Drawing) -> None:
    for name in ("Setout key", "Setout B-1"):
        for entity in marked.layouts.get(name):
            if isinstance(entity, Viewport) and entity.dxf.id == 1:
                continue
            assert entity.has_xdata(APPID), entity
            assert entity.dxf.layer.startswith("SETOUT-")
            assert not any(entity.dxf.hasattr(k) for k in ("color", "lineweight", "linetype"))


def test_papers_are_told_to_the_plotter(marked: Drawing) -> None:
    setup = marked.layouts.get("Setout B-1").dxf_layout.dxf
    assert (setup.paper_width, setup.paper_height) == (297.0, 210.0)
    assert setup.paper_size == "ISO_full_bleed_A4_(297.00_x_210.00_MM)"
    assert (setup.scale_numerator, setup.scale_denominator) == (1.0, 1.0)


def test_no_sheets_when_the_rules_say_so(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    plain = rules().model_validate({**rules().model_dump(), "outputs": {"sheets": False}})
    doc = load(mark_drawing(path, result_of([lay(ROOM)]), plain).data)
    assert doc.layouts.names_in_taborder() == ["Model", "Layout1"]


def test_a_layout_of_the_same_name_is_left_alone(tmp_path: Path) -> None:
    doc = room_drawing()
    doc.layouts.new("SETOUT KEY")
    marked = load(
        mark_drawing(save(doc, tmp_path / "plan.dxf"), result_of([lay(ROOM)]), rules()).data
    )
    expected = ["Model", "Layout1", "SETOUT KEY", "Setout key (2)", "Setout B1"]
    assert marked.layouts.names_in_taborder() == expected


def test_a_drawing_without_a_list_of_layouts_gains_one(tmp_path: Path) -> None:
    """As LibreCAD writes them: its own spaces are listed too, and nothing else of it changes."""
    path = save(room_drawing(), tmp_path / "plan.dxf")
    root = ezdxf.readfile(path).rootdict.dxf.handle
    head, _, objects = path.read_text(encoding="utf-8").partition("  2\nOBJECTS\n")
    assert "ACAD_LAYOUT" in objects
    bare = f"  0\nDICTIONARY\n  5\n{root}\n330\n0\n100\nAcDbDictionary\n281\n1\n"
    path.write_text(f"{head}  2\nOBJECTS\n{bare}  0\nENDSEC\n  0\nEOF\n", encoding="utf-8")
    data = mark_drawing(path, result_of([lay(ROOM)]), rules()).data
    marked = load(data)
    assert marked.layouts.names_in_taborder() == ["Model", "Layout1", "Setout key", "Setout B1"]
    for layout in marked.layouts:
        record = marked.entitydb[layout.layout_key]
        assert record.dxf.layout == layout.dxf_layout.dxf.handle
    assert marked.audit().errors == []


def test_a_bay_sheet_is_as_it_was() -> None:
    """After an intended change: look at the sheet, then run with SETOUT_UPDATE_GOLDEN=1."""
    room = Polygon([(0, 0), (2600, 0), (2450, 1500), (0, 1500)])
    (_, sheet) = sheets_of(result_of([lay(room, mirrored=True)]), room).sheets
    text = marks_as_text(sheet.marks)
    path = GOLDEN / "dxf_bay_sheet.txt"
    if os.environ.get("SETOUT_UPDATE_GOLDEN"):
        path.write_text(text, encoding="utf-8")
    golden = path.read_text(encoding="utf-8")
    changes = list(difflib.unified_diff(golden.splitlines(), text.splitlines(), "golden", "now"))
    assert not changes, "\n".join(changes[:40])
