"""What stands where: nothing overlaps, nothing is upside down, what has no room goes to the tables."""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box
from shapely.affinity import rotate

from importer.plan import Finding, Point, RoomId, Severity
from layout.floor import Breach, JointKind, MovementJoint, PlanResult, UnlaidRoom
from layout.writers.dxf.compose import Composition, compose
from layout.writers.dxf.lettering import from_drawing, text_width, wrapped
from layout.writers.dxf.marks import (
    Align,
    Dimension,
    Fill,
    Letter,
    Lines,
    Mark,
    Stroke,
    read_along,
    upright,
)
from layout.writers.dxf.pieces import rip_strokes
from layout.writers.dxf.runs_seen import end_slant, length_words, rip_words, runs_seen, sawn_paths
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import table_scale
from layout.writers.dxf.underlay import Underlay, underlay_of
from layout.writers.dxf.xdata import Kind
from tests.layout.laid import rectangle_layout
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.drawings import room_drawing

GOLDEN = Path(__file__).parents[1] / "golden"
LIVING = Polygon([(0, 0), (7837, 0), (7450, 5200), (0, 5200)]).difference(
    box(4900, 2800, 5200, 3100)
)
BEDROOMS = shapely.union_all(
    [
        box(0, -1430, 6500, -130),
        box(900, -1530, 1800, -1430),
        box(4600, -1530, 5500, -1430),
        box(0, -4730, 3400, -1530),
        box(3500, -4730, 8000, -1530),
    ]
)
JOINT = MovementJoint(
    id="J",
    kind=JointKind.THRESHOLD,
    line=((2400.0, -65.0), (3300.0, -65.0)),
    why="Doorway.",
    bays=(),
)
EMPTY = Underlay(texts=(), strokes=np.array([], dtype=object))


def walls_of(*shapes: Polygon) -> Underlay:
    """An architect's drawing of these rooms' faces, and a name in each."""
    rings = [r for s in shapes for r in (s.exterior, *s.interiors)]
    names = tuple(
        box(p.x - 800, p.y - 100, p.x + 800, p.y + 100)
        for p in (s.representative_point() for s in shapes)
    )
    return Underlay(texts=names, strokes=np.array(rings, dtype=object))


def flat_result(along_deg: float = 0.0, *, mirrored: bool = True) -> PlanResult:
    breach = Breach(
        rule="rows.min_width", where="B2/8.1", at=(2000.0, -2500.0), value=42, limit=60, why="Thin."
    )
    return result_of(
        [
            lay(LIVING, "B1", along_deg=along_deg, mirrored=mirrored),
            lay(BEDROOMS, "B2", along_deg=along_deg, mirrored=mirrored, breaches=[breach]),
        ],
        joints=[JOINT],
    )


def letters(marks: Sequence[Mark]) -> Iterator[Letter]:
    for mark in marks:
        if isinstance(mark, Letter):
            yield mark
        elif isinstance(mark, Dimension):
            yield mark.text


def words(drawn: Composition) -> str:
    return "\n".join(x.text for x in letters(drawn.marks))


def assert_no_two_meet(boxes: Sequence[Polygon]) -> None:
    tree = shapely.STRtree(boxes)
    first, second = tree.query(np.array(boxes, dtype=object), predicate="intersects")
    shared = shapely.area(shapely.intersection(np.array(boxes)[first], np.array(boxes)[second]))
    clash = (first < second) & (shared > 1.0)
    assert not clash.any()


@pytest.mark.parametrize("along_deg", [0.0, 90.0, 180.0, 270.0, 45.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_no_two_texts_meet_and_no_name_of_the_architects_is_covered(
    along_deg: float, mirrored: bool
) -> None:
    underlay = walls_of(LIVING, BEDROOMS)
    drawn = compose(flat_result(along_deg, mirrored=mirrored), rules(), underlay)
    boxes = [letter.box() for letter in letters(drawn.marks)]
    assert len(boxes) > 100
    assert_no_two_meet([*boxes, *underlay.texts])


def test_the_check_for_overlaps_can_fail() -> None:
    letter = Letter(content=Content.NOTE, text="abc", at=(0, 0), height=125)
    with pytest.raises(AssertionError):
        assert_no_two_meet([letter.box(), replace(letter, at=(50, 0)).box()])


@pytest.mark.parametrize("along_deg", [0.0, 90.0, 135.0, 180.0, 270.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_no_text_is_upside_down(along_deg: float, mirrored: bool) -> None:
    drawn = compose(flat_result(along_deg, mirrored=mirrored), rules(), EMPTY)
    assert all(upright(letter.along) for letter in letters(drawn.marks))


def test_every_sawn_length_is_on_the_plan_or_in_the_table() -> None:
    result = flat_result()
    drawn = compose(result, rules(), walls_of(LIVING, BEDROOMS))
    on_plan = sum(x.content is Content.LENGTH for x in letters(drawn.marks))
    table = words(drawn).replace("\n", " ").partition("LENGTHS NOT ON THE PLAN")[2]
    in_table = sum(table.count(f" {role} ") for role in ("first", "last", "only"))
    ends = 0
    for layout in result.bays:
        for run in runs_seen(layout):
            first, last = run.pieces[0], run.pieces[-1]
            ends += any(c.kind.value == "cross" for c in first.cuts)
            ends += last is not first and any(c.kind.value == "cross" for c in last.cuts)
    assert on_plan + in_table == ends
    assert in_table > 0


def test_lengths_lie_at_their_end_of_the_run_in_the_middle_of_the_row() -> None:
    layout = rectangle_layout()
    drawn = compose(result_of([layout]), rules(), EMPTY)
    first = [p for p in layout.pieces if p.number == 1 and not p.is_whole and p.row > 1]
    placed = {
        (round(x.at[1], 3), x.text) for x in letters(drawn.marks) if x.content is Content.LENGTH
    }
    frame = layout.setting_out.frame
    for piece in first[:-1]:
        middle = frame.point_to_plan(piece.shape.centroid.coords[0])[1]
        assert (round(middle, 3), f"{piece.blank_length_mm:.0f}") in placed


def test_row_numbers_stand_outside_where_there_is_room() -> None:
    layout = rectangle_layout()
    drawn = compose(result_of([layout]), rules(), EMPTY)
    numbers = [x for x in letters(drawn.marks) if x.content is Content.ROW]
    assert sorted(int(x.text) for x in numbers) == list(
        range(1, max(p.row for p in layout.pieces) + 1)
    )
    assert all(not layout.bay.floor.intersects(x.box()) for x in numbers)
    assert len({round(x.at[0], 3) for x in numbers}) == 1


def test_row_numbers_go_inside_where_another_floor_is_next_door() -> None:
    left, right = box(0, 0, 3000, 2500), box(3100, 0, 6000, 2500)
    drawn = compose(result_of([lay(left, "A"), lay(right, "B")]), rules(), walls_of(left, right))
    numbers = [x for x in letters(drawn.marks) if x.content is Content.ROW]
    inside = [x for x in numbers if right.contains(x.box())]
    assert len(inside) > 8
    assert_no_two_meet([x.box() for x in letters(drawn.marks)])


def test_start_square_touches_the_start_corner_and_the_arrow_shows_the_way() -> None:
    layout = lay(box(0, 0, 5000, 3000), along_deg=0, mirrored=True)
    drawn = compose(result_of([layout]), rules(), EMPTY)
    fills = [m for m in drawn.marks if isinstance(m, Fill) and m.content is Content.START]
    square, arrow = fills[0], fills[1]
    assert shapely.Polygon(square.points).bounds[2:] == pytest.approx((0.0, 3120.0))
    tip, left, right = arrow.points
    assert tip[0] > left[0]
    assert left[0] == pytest.approx(right[0])


def test_datum_is_dimensioned_and_worded_at_both_ends() -> None:
    layout = lay(box(0, 0, 5000, 3000))
    layout = replace(
        layout, setting_out=replace(layout.setting_out, datum_offset_mm=(158.0, 171.4))
    )
    drawn = compose(result_of([layout]), rules(), EMPTY)
    said = words(drawn)
    assert "158 wall to datum" in said
    assert "171 wall to datum" in said
    dimensions = [m for m in drawn.marks if isinstance(m, Dimension)]
    assert [d.text.text for d in dimensions] == ["158", "171"]
    for d in dimensions:
        assert d.start[0] == pytest.approx(d.end[0])  # in its own direction, across the rows
        assert shapely.Point(d.start).distance(shapely.Point(d.end)) == pytest.approx(
            float(d.text.text), abs=0.5
        )


def test_rip_hatching_keeps_clear_of_text_and_covers_only_ripped_pieces() -> None:
    layout = lay(box(0, 0, 5000, 3000))
    label = box(300, 30, 900, 120)
    lines = [shapely.LineString(s.points) for s in rip_strokes(layout, [label])]
    assert len(lines) > 50
    ripped = shapely.union_all(
        [
            layout.setting_out.frame.to_plan(p.shape)
            for p in layout.pieces
            if any(c.kind.value == "rip" for c in p.cuts)
        ]
    ).buffer(0.01)
    assert all(ripped.contains(line) for line in lines)
    assert min(line.distance(label) for line in lines) >= 14.0


@pytest.mark.parametrize("mirrored", [False, True])
def test_hatching_rises_to_the_right_on_the_sheet(mirrored: bool) -> None:
    layout = lay(box(0, 0, 5000, 3000), mirrored=mirrored)
    for stroke in rip_strokes(layout, []):
        (x0, y0), (x1, y1) = stroke.points
        assert (x1 - x0) * (y1 - y0) > 0


def test_sawn_edges_are_the_ends_that_are_no_factory_ends() -> None:
    layout = rectangle_layout()
    middle = [p for p in layout.pieces if p.row == 3]
    first, whole, last = middle[0], middle[1], middle[-1]
    x0, y0, _, y1 = first.shape.bounds
    (path,) = sawn_paths(first, rules(cut={"kerf": 2}))
    assert {round(x, 6) for x, _ in path[0]} == {round(x0, 6)}
    assert {round(y, 6) for _, y in path[0]} == {round(y0, 6), round(y1, 6)}
    assert list(sawn_paths(whole, rules())) == []
    (path,) = sawn_paths(last, rules())
    assert {round(x, 6) for x, _ in path[0]} == {round(last.shape.bounds[2], 6)}


def test_common_slant_is_said_once_and_the_longer_edge_printed() -> None:
    layout = lay(Polygon([(0, 0), (5000, 0), (4800, 2600), (0, 2600)]))
    lasts = [p for p in layout.pieces if p.role.value == "last"]
    slant = end_slant(lasts)
    assert slant is not None
    assert slant.excess == -14
    near, far = next(c.measures_mm for c in lasts[3].cuts if c.kind.value == "cross")
    assert length_words(lasts[3], slant) == str(round(max(near, far)))
    assert length_words(lasts[3], None) == f"{near:.0f}/{far:.0f}"
    said = words(compose(result_of([layout]), rules(), EMPTY)).replace("\n", " ")
    assert said.count("At the angled end of last pieces") == 1
    assert "the edge away from the start wall is 14 shorter" in said


def test_rip_widths_are_said_with_both_ends_of_a_taper() -> None:
    layout = lay(box(0, 0, 5000, 3000))
    run = runs_seen(layout)[0]
    assert rip_words(run) == "to 150"
    widths = [(150.0, 140.0), (140.0, 130.2), (130.2, 120.0), (120.0, 112.0), (112.0, 110.0)]
    tapered = tuple(
        replace(p, cuts=tuple(replace(c, measures_mm=w) for c in p.cuts if c.kind.value == "rip"))
        for p, w in zip(run.pieces, widths, strict=False)
    )
    assert rip_words(replace(run, pieces=tapered)).startswith("from 150 to 1")


def test_tables_say_areas_planks_breaches_joints_and_rooms_not_laid() -> None:
    result = replace(
        flat_result(),
        unlaid=(UnlaidRoom(room=RoomId("bath"), because="tiled"),),
        findings=(
            Finding(code="IMP-1", severity=Severity.SETTLE, what="No unit.", remedy="Say mm."),
            Finding(code="IMP-2", severity=Severity.NOTE, what="All well.", remedy=""),
        ),
    )
    said = words(compose(result, rules(), EMPTY))
    b1 = result.bays[0]
    for expected in (
        f"{b1.area_mm2 / 1e6:.2f}",
        str(len(b1.planks)),
        "rows.min_width 42, limit 60. Thin.",
        "Threshold. Doorway.",
        "J1 900.",
        "bath (tiled).",
        "No unit. Say mm.",
        "Room 1",
        "rigid vinyl",
        "[-12 to +25, -8 to +10]",
    ):
        assert expected in said.replace("\n", " ")
    assert "All well" not in said


def test_panels_with_nothing_to_say_are_left_out() -> None:
    said = words(compose(result_of([rectangle_layout()]), rules(), EMPTY))
    for heading in ("MOVEMENT JOINTS", "RULES NOT KEPT", "NOT LAID", "TO SETTLE"):
        assert heading not in said


def test_tables_stand_in_free_ground_beside_the_drawing() -> None:
    """Past a second plan that stands where the tables would be."""
    neighbour = box(12_000, 0, 20_000, 5000)
    underlay = walls_of(LIVING, neighbour)
    drawn = compose(flat_result(), rules(), underlay)
    tables = [x.box() for x in letters(drawn.marks) if x.content is Content.TABLE]
    assert all(t.bounds[0] > 20_000 for t in tables)
    assert not any(stroke.intersects(t) for stroke in underlay.strokes for t in tables)


def test_every_piece_is_one_closed_outline_with_data() -> None:
    result = flat_result()
    drawn = compose(result, rules(), EMPTY)
    pieces = [m for m in drawn.marks if isinstance(m, Stroke) and m.kind is Kind.PIECE]
    assert len(pieces) == sum(len(b.pieces) for b in result.bays)
    assert all(p.closed and p.data and p.content is Content.PLANK for p in pieces)


def test_a_bay_without_pieces_is_told_and_drawn_without_fault() -> None:
    layout = replace(rectangle_layout(), pieces=(), planks=())
    said = words(compose(result_of([layout]), rules(), EMPTY))
    assert "Nothing could be laid here." in said


def test_a_plan_without_bays_gets_its_tables() -> None:
    assert "FLOOR SETTING-OUT" in words(compose(result_of([]), rules(), EMPTY))


@pytest.mark.parametrize(
    ("size", "ratio"), [((8000, 5000), 50), ((57_000, 40_000), 50), ((80_000, 40_000), 100)]
)
def test_tables_are_for_the_scale_at_which_the_storey_fits_a_sheet(
    size: Point, ratio: float
) -> None:
    assert table_scale(*size).ratio == ratio


@settings(max_examples=60, deadline=None)
@given(angle=st.floats(-720, 720), text=st.text(min_size=1, max_size=12))
def test_text_read_along_any_direction_covers_the_same_ground_upright(
    angle: float, text: str
) -> None:
    direction = (float(np.cos(np.radians(angle))), float(np.sin(np.radians(angle))))
    letter = read_along(Content.NOTE, text, (1000.0, 2000.0), direction, 125.0)
    assert upright(letter.along)
    plain = Letter(content=Content.NOTE, text=text, at=(1000.0, 2000.0), height=125.0)
    expected = rotate(plain.box(), angle, origin=(1000.0, 2000.0))
    assert letter.box().symmetric_difference(expected).area <= 1e-3 * max(expected.area, 1.0)


def test_text_width_follows_the_published_metrics() -> None:
    """Helvetica: digits 556, capital height 718 thousandths; 6 per cent in hand."""
    assert text_width("0000", 125.0) == pytest.approx(4 * 556 / 718 * 125 * 1.06)
    assert text_width("%%d", 125.0) < text_width("%%%", 125.0) * 1.2
    assert text_width("\u53a8", 125.0) > text_width("0", 125.0)


@given(text=st.text(max_size=300))
def test_names_become_one_line_without_codes(text: str) -> None:
    line = from_drawing(text)
    assert len(line.splitlines()) <= 1
    bare = line.replace("%%%", "")
    assert "%%" not in bare
    assert "\\U+" not in line


@given(st.lists(st.text("abcdefgh", min_size=1, max_size=9), max_size=30))
def test_wrapping_keeps_every_word_in_order(items: list[str]) -> None:
    lines = list(wrapped(" ".join(items), 60.0, 2.5))
    assert " ".join(lines).split() == items
    assert all(text_width(x, 2.5) <= 60.0 for x in lines)


def test_architects_texts_and_lines_are_seen_in_blocks_and_off_layers_left_out() -> None:
    doc = room_drawing()
    block = doc.blocks.new("SIGN")
    block.add_line((0, 0), (500, 0))
    block.add_text("STAIR", height=100).set_placement((0, 100))
    doc.modelspace().add_blockref("SIGN", (1000, 1000), dxfattribs={"rotation": 90})
    doc.layers.add("HIDDEN").off()
    doc.modelspace().add_text("SECRET", height=100, dxfattribs={"layer": "HIDDEN"})
    doc.modelspace().add_mtext("A\\PB", dxfattribs={"char_height": 100, "insert": (50, 900)})
    seen = underlay_of(doc, 1.0)
    assert len(seen.texts) == 3
    stair = next(t for t in seen.texts if t.distance(shapely.Point(900, 1100)) < 1)
    assert stair.bounds[3] - stair.bounds[1] > stair.bounds[2] - stair.bounds[0]
    assert any(s.distance(shapely.Point(1000, 1400)) < 1 for s in seen.strokes)
    mtext = next(t for t in seen.texts if t.distance(shapely.Point(60, 700)) < 30)
    assert mtext.bounds[3] == pytest.approx(900.0)


# --- golden -------------------------------------------------------------------------------------


def as_text(drawn: Composition) -> str:
    """The mark-up as lines of text: content, kind, places to a hundredth of a millimetre, words."""
    return marks_as_text(drawn.marks)


def marks_as_text(marks: Sequence[Mark]) -> str:
    return "\n".join(_line(m) for m in marks) + "\n"


def _line(mark: Mark) -> str:
    if isinstance(mark, Letter):
        at = _places([mark.at])
        return f"{mark.content.value} text {at} {mark.height:g} {mark.angle_deg + 0.0:.2f} {mark.align.name} {mark.text}"
    if isinstance(mark, Dimension):
        at = _places([mark.start, mark.end, mark.line_at, mark.text.at])
        return f"{mark.content.value} dimension {at} {mark.text.text}"
    if isinstance(mark, Lines):
        at = _places([mark.at])
        return f"{mark.content.value} lines {at} {mark.height:g} {mark.pitch:g} {mark.align.name} {' / '.join(mark.lines)}"
    if isinstance(mark, Fill):
        return f"{mark.content.value} fill {_places(mark.points)}"
    kind = f"{mark.kind.value} closed" if mark.closed else mark.kind.value
    return f"{mark.content.value} {kind} {_places(mark.points)} {mark.data}".rstrip()


def _places(points: Sequence[Point]) -> str:
    return " ".join(f"{x + 0.0:.2f},{y + 0.0:.2f}".replace("-0.00", "0.00") for x, y in points)


def test_mark_up_of_a_small_room_is_as_it_was() -> None:
    """After an intended change: look at the drawing, then run with SETOUT_UPDATE_GOLDEN=1."""
    room = Polygon([(0, 0), (2600, 0), (2450, 1500), (0, 1500)])
    text = as_text(compose(result_of([lay(room, mirrored=True)]), rules(), walls_of(room)))
    path = GOLDEN / "dxf_small_room.txt"
    if os.environ.get("SETOUT_UPDATE_GOLDEN"):
        path.write_text(text, encoding="utf-8")
    golden = path.read_text(encoding="utf-8")
    changes = list(difflib.unified_diff(golden.splitlines(), text.splitlines(), "golden", "now"))
    assert not changes, "\n".join(changes[:40])


def test_golden_text_shows_a_shift_of_a_tenth_of_a_millimetre() -> None:
    stroke = Stroke(content=Content.EDGE, points=((0.0, 0.0), (1.0, 0.0)))
    moved = replace(stroke, points=((0.1, 0.0), (1.0, 0.0)))
    assert _line(stroke) != _line(moved)
    assert Align.LEFT.name in _line(Letter(content=Content.NOTE, text="x", at=(0, 0), height=1))
