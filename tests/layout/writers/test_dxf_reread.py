"""A marked drawing read back gives the floor as it stands in the drawing, whatever was done to it."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.entities import LWPolyline
from ezdxf.math import Matrix44
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from importer.plan import PlanError
from importer.tolerance import GRID_MM
from layout.audit import audit
from layout.floor import BayLayout, Breach, Piece
from layout.writers.dxf.mark import marked_dxf
from layout.writers.dxf.reread import MarkedDrawing, reread
from layout.writers.dxf.xdata import APPID, Kind, read_tags
from tests.layout.laid import rectangle_layout
from tests.layout.laid import rules as laid_rules
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.drawings import ROOM, load, room_drawing, save

SKEWED = Polygon([(0, 0), (4200, 0), (3900, 3000), (0, 3000)]).difference(
    box(2000, 1200, 2300, 1500)
)


def marked(tmp_path: Path, *layouts: BayLayout, scale: float = 1.0) -> Path:
    source = save(room_drawing(scale=scale), tmp_path / "plan.dxf")
    out = tmp_path / "plan-marked.dxf"
    out.write_bytes(marked_dxf(source, result_of(layouts, to_mm=1 / scale), rules()))
    return out


def edit(path: Path, change: Callable[[Drawing], None]) -> MarkedDrawing:
    """Change a marked drawing as a CAD user would, save it, read it back."""
    doc = load(path.read_bytes())
    change(doc)
    doc.saveas(path)
    return reread(path)


def pieces_in(doc: Drawing) -> list[LWPolyline]:
    return [
        e
        for e in doc.modelspace().query("LWPOLYLINE")
        if isinstance(e, LWPolyline)
        and e.has_xdata(APPID)
        and read_tags(e.get_xdata(APPID))[0] is Kind.PIECE
    ]


def assert_same_piece(read: Piece, written: Piece, slack: float = 2 * GRID_MM) -> None:
    assert replace(read, shape=written.shape) == written
    assert shapely.hausdorff_distance(read.shape, written.shape) <= slack


@pytest.mark.parametrize("along_deg", [0.0, 90.0, 180.0, 33.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_what_is_written_is_read_back(tmp_path: Path, along_deg: float, mirrored: bool) -> None:
    layout = lay(SKEWED, along_deg=along_deg, mirrored=mirrored)
    read = reread(marked(tmp_path, layout))
    assert read.findings == ()
    assert read.rules == rules()
    (bay,) = read.bays
    for piece, written in zip(bay.pieces, layout.pieces, strict=True):
        assert_same_piece(piece, written)
    assert bay.planks == layout.planks
    assert (bay.bound, bay.window) == (layout.bound, layout.window)
    frame, own = bay.setting_out.frame, layout.setting_out.frame
    assert frame.mirrored == own.mirrored
    assert (*frame.along, *frame.origin) == pytest.approx((*own.along, *own.origin), abs=0.001)
    for name in ("outline", "floor"):
        shapes = (getattr(bay.bay, name), getattr(layout.bay, name))
        assert shapely.hausdorff_distance(*shapes) <= 0.001
    assert bay.bay.gap_mm == layout.bay.gap_mm


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
    derandomize=True,
)
@given(
    length=st.floats(700, 6000),
    depth=st.floats(500, 4000),
    corner=st.tuples(st.floats(-1e6, 1e9), st.floats(-1e6, 1e9)),
    along=st.floats(0, 359),
    to_mm=st.sampled_from([1.0, 10.0, 25.4, 304.8, 1000.0]),
)
def test_reading_back_is_exact_for_any_rectangle_anywhere_in_any_unit(
    tmp_path: Path,
    length: float,
    depth: float,
    corner: tuple[float, float],
    along: float,
    to_mm: float,
) -> None:
    """Coordinates of a national grid carry a micrometre of float noise at most."""
    x, y = corner
    layout = lay(box(x, y, x + length, y + depth), along_deg=along)
    (bay,) = reread(marked(tmp_path, layout, scale=1 / to_mm)).bays
    assert len(bay.pieces) == len(layout.pieces)
    for piece, written in zip(bay.pieces, layout.pieces, strict=True):
        assert_same_piece(piece, written, slack=0.01)


def test_record_repeats_planks_area_and_breaches_as_written(tmp_path: Path) -> None:
    breach = Breach(
        rule="ends.min_length", where="B1/2.1.1", at=(9.0, 9.0), value=250, limit=300, why="Short."
    )
    layout = lay(ROOM, breaches=[breach])
    read = reread(marked(tmp_path, layout))
    (written,) = read.written
    assert written.planks == len(layout.planks)
    assert written.area_mm2 == pytest.approx(layout.area_mm2, abs=0.1)
    assert written.breaches == (breach,)


def test_several_bays_are_told_apart(tmp_path: Path) -> None:
    names = ("Flat 1/living", "Flat 1/bed, \u4f4f")
    layouts = [lay(ROOM, names[0]), lay(box(5000, 0, 8000, 2000), names[1], along_deg=90)]
    read = reread(marked(tmp_path, *layouts))
    assert [b.bay.id for b in read.bays] == list(names)
    assert [len(b.pieces) for b in read.bays] == [len(x.pieces) for x in layouts]


def test_audit_of_the_drawing_equals_audit_of_the_layout(tmp_path: Path) -> None:
    layout = rectangle_layout()
    assert audit(layout, laid_rules()) == ()
    source = save(room_drawing(), tmp_path / "plan.dxf")
    out = tmp_path / "marked.dxf"
    out.write_bytes(marked_dxf(source, result_of([layout]), laid_rules()))
    read = reread(out)
    assert audit(read.bays[0], read.rules) == ()


@pytest.fixture(scope="module")
def clean_bytes(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A marked drawing whose audit finds nothing."""
    source = save(room_drawing(), tmp_path_factory.mktemp("clean") / "plan.dxf")
    return marked_dxf(source, result_of([rectangle_layout()]), laid_rules())


@pytest.fixture
def clean(clean_bytes: bytes, tmp_path: Path) -> Path:
    """The same as a file of one's own to edit."""
    out = tmp_path / "marked.dxf"
    out.write_bytes(clean_bytes)
    return out


def found(read: MarkedDrawing) -> dict[str, set[str]]:
    """Breaches of the audit: rule to places."""
    rules_broken: dict[str, set[str]] = {}
    for bay in read.bays:
        for breach in audit(bay, read.rules, pool=[b for b in read.bays if b is not bay]):
            rules_broken.setdefault(breach.rule, set()).add(breach.where)
    return rules_broken


@pytest.mark.parametrize("number", [0, 6, 7, 20])
def test_piece_moved_by_20_mm_is_named(clean: Path, number: int) -> None:
    name = reread(clean).bays[0].pieces[number].id

    def move(doc: Drawing) -> None:
        pieces_in(doc)[number].translate(20, 0, 0)

    broken = found(edit(clean, move))
    assert any(name in places for places in broken.values())
    assert "coverage" in broken


def test_deleted_piece_leaves_bare_floor_and_a_plank_without_it(clean: Path) -> None:
    def delete(doc: Drawing) -> None:
        doc.modelspace().delete_entity(pieces_in(doc)[5])

    broken = found(edit(clean, delete))
    assert {"coverage", "stock"} <= set(broken)


def test_copied_piece_is_there_twice(clean: Path) -> None:
    def copy(doc: Drawing) -> None:
        doc.modelspace().add_entity(pieces_in(doc)[5].copy())

    broken = found(edit(clean, copy))
    assert {"overlap", "stock"} <= set(broken)


def test_redrawn_vertex_is_seen(clean: Path) -> None:
    def pull(doc: Drawing) -> None:
        piece = pieces_in(doc)[4]
        piece[1] = (piece[1][0] - 200, *piece[1][1:])

    assert "coverage" in found(edit(clean, pull))


def test_bulge_counts_as_area(clean: Path) -> None:
    def bow(doc: Drawing) -> None:
        piece = pieces_in(doc)[4]
        x, y, *_ = piece[1]
        piece[1] = (x, y, 0, 0, 0.5)

    read = edit(clean, bow)
    assert "overlap" in found(read)


def test_outline_moved_away_from_its_pieces_is_seen(clean: Path) -> None:
    def shift(doc: Drawing) -> None:
        for entity in doc.modelspace():
            if entity.dxf.layer in ("SETOUT-EDGE", "SETOUT-VIEW"):
                entity.translate(0, 30, 0)  # type: ignore[attr-defined]

    assert found(edit(clean, shift))


@pytest.mark.parametrize(
    "matrix",
    [
        Matrix44.translate(12_345.6, -987.6, 0),
        Matrix44.z_rotate(0.7),
        Matrix44.z_rotate(0.5) @ Matrix44.translate(5e6, 4e6, 0),
        Matrix44.scale(-1, 1, 1),
    ],
    ids=["moved", "turned", "both", "mirrored"],
)
def test_floor_moved_as_a_whole_still_passes(clean: Path, matrix: Matrix44) -> None:
    """The frame lies in group codes that go with the entity."""

    def transform(doc: Drawing) -> None:
        for entity in doc.modelspace():
            entity.transform(matrix)  # type: ignore[attr-defined]

    read = edit(clean, transform)
    assert found(read) == {}
    assert len(read.bays[0].pieces) == len(rectangle_layout().pieces)


def test_pieces_on_another_layer_are_still_pieces(clean: Path) -> None:
    def relayer(doc: Drawing) -> None:
        for entity in pieces_in(doc):
            entity.dxf.layer = "0"

    assert found(edit(clean, relayer)) == {}


def test_hole_in_a_piece_is_read_back(tmp_path: Path) -> None:
    pipe = ROOM.difference(box(1500, 1490, 1560, 1530))
    layout = lay(pipe)
    assert any(p.shape.interiors for p in layout.pieces)
    (bay,) = reread(marked(tmp_path, layout)).bays
    for piece, written in zip(bay.pieces, layout.pieces, strict=True):
        assert_same_piece(piece, written)


def set_text(entity: LWPolyline, text: str) -> None:
    tags = [(1000, Kind.PIECE.value)]
    tags += [(1000, text[k : k + 250]) for k in range(0, len(text), 250)]
    entity.set_xdata(APPID, tags)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "not json",
        "[]",
        "{}",
        '{"id": 7}',
        '{"id":"x","bay":"B1","row":"many"}',
        '{"id":"' + "x" * 9000 + '"}',
        "[" * 15_000,
        '{"blank":[1e999,2]}',
        '{"id": "\\ud800"}',
    ],
    ids=["empty", "words", "list", "object", "types", "word", "long", "deep", "infinite", "half"],
)
def test_damaged_data_of_a_piece_is_a_finding_that_names_it(clean: Path, text: str) -> None:
    handles = []

    def damage(doc: Drawing) -> None:
        piece = pieces_in(doc)[3]
        handles.append(piece.dxf.handle)
        set_text(piece, text)

    read = edit(clean, damage)
    (finding,) = read.findings
    assert finding.code == "OUT-121"
    assert finding.where.handle == handles[0]
    assert finding.remedy
    assert len(read.bays[0].pieces) == len(rectangle_layout().pieces) - 1
    assert "coverage" in found(read)


def test_data_of_an_unknown_kind_is_a_finding(clean: Path) -> None:
    def damage(doc: Drawing) -> None:
        pieces_in(doc)[3].set_xdata(APPID, [(1000, "sofa"), (1040, 1.0)])

    (finding,) = edit(clean, damage).findings
    assert "not understood" in finding.what


def test_open_outline_is_taken_as_closed_and_said(clean: Path) -> None:
    def reopen(doc: Drawing) -> None:
        pieces_in(doc)[3].closed = False

    read = edit(clean, reopen)
    (finding,) = read.findings
    assert "open" in finding.what
    assert found(read) == {}


def test_outline_that_crosses_itself_is_said_and_audited(clean: Path) -> None:
    def cross(doc: Drawing) -> None:
        piece = pieces_in(doc)[3]
        first, second, third, fourth = piece.get_points()
        piece.set_points([first, third, second, fourth])

    read = edit(clean, cross)
    assert any("crosses itself" in f.what for f in read.findings)
    assert "coverage" in found(read)


def test_spike_without_area_is_no_fault(clean: Path) -> None:
    def spike(doc: Drawing) -> None:
        piece = pieces_in(doc)[3]
        corners = piece.get_points("xy")
        (x0, y0), (x1, y1) = corners[0], corners[1]
        beyond = (x0 + 2 * (x1 - x0), y0 + 2 * (y1 - y0))
        piece.set_points([corners[0], beyond, *corners[1:]], format="xy")

    read = edit(clean, spike)
    assert read.findings == ()
    assert found(read) == {}


def test_outline_of_two_points_or_another_kind_is_a_finding(clean: Path) -> None:
    def spoil(doc: Drawing) -> None:
        first, second = pieces_in(doc)[3:5]
        first.set_points([(0, 0), (1, 0)])
        tags = second.get_xdata(APPID)
        doc.modelspace().delete_entity(second)
        circle = doc.modelspace().add_circle((0, 0), 100)
        circle.set_xdata(APPID, [(t.code, t.value) for t in tags if t.code != 1001])

    read = edit(clean, spoil)
    assert [f.code for f in read.findings] == ["OUT-121", "OUT-121"]
    assert {"coverage", "stock"} <= set(found(read))


def test_bay_outline_deleted_is_a_finding_and_no_crash(clean: Path) -> None:
    def delete(doc: Drawing) -> None:
        for entity in list(doc.modelspace()):
            if entity.dxf.layer == "SETOUT-VIEW":
                doc.modelspace().delete_entity(entity)

    read = edit(clean, delete)
    assert read.bays == ()
    assert any(f.code == "OUT-124" and "B1" in f.what for f in read.findings)


def test_laid_edge_deleted_falls_back_to_outline_less_gap(clean: Path) -> None:
    def delete(doc: Drawing) -> None:
        for entity in list(doc.modelspace()):
            if entity.dxf.layer == "SETOUT-EDGE":
                doc.modelspace().delete_entity(entity)

    read = edit(clean, delete)
    assert [f.code for f in read.findings] == ["OUT-125"]
    assert found(read) == {}


def test_bay_frame_lost_is_a_finding(clean: Path) -> None:
    def strip(doc: Drawing) -> None:
        for entity in doc.modelspace():
            if entity.dxf.layer == "SETOUT-VIEW":
                tags = entity.get_xdata(APPID)
                entity.set_xdata(APPID, [(t.code, t.value) for t in tags if t.code == 1000])

    read = edit(clean, strip)
    assert read.bays == ()
    assert any("frame" in f.what for f in read.findings)


def test_bay_copied_is_a_finding_and_the_first_counts(clean: Path) -> None:
    def copy(doc: Drawing) -> None:
        for entity in list(doc.modelspace()):
            if entity.dxf.layer == "SETOUT-VIEW":
                doc.modelspace().add_entity(entity.copy())

    read = edit(clean, copy)
    assert len(read.bays) == 1
    assert [f.code for f in read.findings] == ["OUT-122"]


def test_drawing_that_was_never_marked_is_refused(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    with pytest.raises(PlanError, match="not a drawing marked by setout") as caught:
        reread(path)
    assert "setout lay" in caught.value.finding.remedy


def test_saving_as_r12_loses_the_record_and_the_message_says_so(clean: Path) -> None:
    doc = load(clean.read_bytes())
    doc.dxfversion = "R12"
    doc.saveas(clean)
    with pytest.raises(PlanError, match="R12"):
        reread(clean)


@pytest.mark.parametrize("key", ["RULES", "RECORD"])
@pytest.mark.parametrize("text", ["", "{", '{"version": 2}', "null"])
def test_damaged_record_is_one_clear_message(clean: Path, key: str, text: str) -> None:
    doc = load(clean.read_bytes())
    doc.rootdict[APPID][key].reset([(1, text)])
    doc.saveas(clean)
    with pytest.raises(PlanError, match=f"record {key} in the drawing is damaged"):
        reread(clean)


@pytest.mark.parametrize("seed", range(16))
def test_a_file_damaged_anywhere_is_read_or_refused_in_words(clean: Path, seed: int) -> None:
    """Lines deleted, doubled, swapped or overwritten: never a traceback."""
    rng = random.Random(seed)
    lines = clean.read_bytes().split(b"\n")
    for _ in range(rng.choice((1, 1, 2, 5))):
        k, j = rng.randrange(len(lines)), rng.randrange(len(lines))
        change = rng.randrange(4)
        if change == 0:
            del lines[k : k + rng.choice((1, 2, 4, 40))]
        elif change == 1:
            lines[k] = rng.choice((b"", b"-1", b"abc", b"1e400", b"nan", b"{", b"330", b"\xff"))
        elif change == 2:
            lines[k], lines[j] = lines[j], lines[k]
        else:
            lines[k:k] = lines[k : k + 4]
    clean.write_bytes(b"\n".join(lines))
    read, refusal = None, None
    try:
        read = reread(clean)
    except PlanError as refused:
        refusal = refused.finding
    if read is None:
        assert refusal is not None
        assert refusal.what
        assert refusal.remedy
        return
    for bay in read.bays:
        audit(bay, read.rules)


def test_missing_file_is_one_clear_message(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"nothing\.dxf"):
        reread(tmp_path / "nothing.dxf")


def test_pieces_keep_the_order_of_laying(tmp_path: Path) -> None:
    (bay,) = reread(marked(tmp_path, lay(SKEWED))).bays
    orders = [p.order for p in bay.pieces]
    assert orders == sorted(orders)
    assert np.unique(orders).size == len(orders)
