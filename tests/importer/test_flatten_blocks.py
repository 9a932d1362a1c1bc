"""Blocks: nested, turned, mirrored, stretched, arrayed, cropped, cyclic, missing, too many."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from ezdxf.document import Drawing as Document
from ezdxf.entities.insert import Insert
from ezdxf.math import Matrix44, Vec3
from ezdxf.xclip import XClip
from hypothesis import given, settings
from hypothesis import strategies as st

from importer.dxf import blocks as walker
from importer.dxf.drawing import Drawing
from importer.plan import Severity
from tests.importer.dxf_files import (
    ROOM,
    codes,
    document,
    flat,
    flat_file,
    ring_areas,
    room_document,
    saved,
    strokes,
)


def with_block(name: str = "B") -> Document:
    """A document with a block of every common kind of entity."""
    doc = document()
    block = doc.blocks.new(name)
    block.add_line((0, 0), (900, 0), dxfattribs={"layer": "LEAF"})
    block.add_arc((0, 0), 900, 0, 90, dxfattribs={"layer": "0"})
    block.add_lwpolyline([(0, 0, 1), (10, 0, 0), (10, 50, 0)], format="xyb", close=True)
    block.add_text("D1", height=50).set_placement((100, 100))
    return doc


# --- against the library's own matrices


def distance_to_strokes(drawing: Drawing, point: tuple[float, float]) -> float:
    ends = drawing.segments.ends.reshape(-1, 2) + np.array(drawing.origin)
    return float(np.hypot(*(ends - np.array(point)).T).min())


REFERENCE = st.fixed_dictionaries(
    {
        "xscale": st.sampled_from([1.0, -1.0, 2.0, 0.5, 25.4]),
        "yscale": st.sampled_from([1.0, -1.0, 2.0, 0.5, 25.4]),
        "rotation": st.sampled_from([0.0, 30.0, 90.0, -135.0, 271.5]),
        "extrusion": st.sampled_from([(0, 0, 1), (0, 0, -1)]),
    }
)


@given(outer=REFERENCE, inner=REFERENCE, base=st.sampled_from([(0, 0), (450, -20)]))
@settings(max_examples=40, deadline=None)
def test_nested_references_land_where_the_library_puts_them(
    outer: dict[str, object], inner: dict[str, object], base: tuple[float, float]
) -> None:
    doc = with_block()
    doc.blocks.get("B").block.dxf.base_point = (*base, 0)  # type: ignore[union-attr]
    first = doc.blocks.new("OUTER").add_blockref("B", (1000, 500), inner)
    second = doc.modelspace().add_blockref("OUTER", (7000, -3000), outer)
    matrix = first.matrix44() @ second.matrix44()
    drawing = flat(doc)
    # Ends of the line and of the arc, corners of the polyline.
    for corner in ((0, 0), (900, 0), (0, 900), (10, 0), (10, 50)):
        at = matrix.transform(Vec3(corner))
        assert distance_to_strokes(drawing, (at.x, at.y)) < 1e-6


# --- the same geometry, however it is wrapped


def room_with_bay(
    doc_points: Sequence[tuple[float, float, float]] = (
        (0, 0, 0),
        (4000, 0, 0.5),
        (4000, 3000, 0),
        (0, 3000, -0.2),
    ),
) -> Document:
    doc = document()
    doc.modelspace().add_lwpolyline(doc_points, format="xyb", close=True)
    doc.modelspace().add_arc((500, 500), 900, 10, 100)
    doc.modelspace().add_line((-500, 1), (777, 2222))
    return doc


PLAIN = strokes(flat(room_with_bay()), digits=2)


@given(
    x=st.integers(-10_000, 10_000),
    y=st.integers(-10_000, 10_000),
    turn=st.floats(0, 360),
    depth=st.integers(1, 4),
    mirror=st.booleans(),
    scale=st.sampled_from([1.0, 0.1, 25.4]),
)
@settings(max_examples=40, deadline=None)
def test_wrapping_in_blocks_and_undoing_the_move_changes_nothing(
    x: int, y: int, turn: float, depth: int, mirror: bool, scale: float
) -> None:
    """Moved, turned, mirrored and scaled in the block, and back again by the reference."""
    doc = room_with_bay()
    content = list(doc.modelspace())
    block = doc.blocks.new("L0")
    flip = -1.0 if mirror else 1.0
    move = (
        Matrix44.scale(flip / scale, 1 / scale, 1 / scale)
        @ Matrix44.z_rotate(math.radians(turn))
        @ Matrix44.translate(x, y, 0)
    )
    for entity in content:
        doc.modelspace().unlink_entity(entity)
        block.add_entity(entity)
        entity.transform(move)
    for level in range(1, depth):
        doc.blocks.new(f"L{level}").add_blockref(f"L{level - 1}", (100, -50))
    shift = np.array((100.0, -50.0)) * (depth - 1) + (x, y)
    # The inverse as a reference: turn back, then scale along the drawing's own axes.
    angle = -turn * flip
    across, along = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    sx, sy = scale * flip, scale
    at = (
        -(across * sx * shift[0] - along * sy * shift[1]),
        -(along * sx * shift[0] + across * sy * shift[1]),
    )
    doc.modelspace().add_blockref(
        f"L{depth - 1}", at, {"rotation": angle, "xscale": sx, "yscale": sy}
    )
    assert_same_strokes(flat(doc), PLAIN, 0.02)


def assert_same_strokes(drawing: Drawing, expected: list[tuple[float, ...]], slack: float) -> None:
    ends = drawing.segments.ends + np.array((*drawing.origin, *drawing.origin))
    wanted = np.array(expected)
    assert len(ends) == len(wanted)
    both = np.vstack((wanted, wanted[:, [2, 3, 0, 1]]))
    nearest = np.abs(ends[:, None, :] - both[None, :, :]).max(axis=2).min(axis=1)
    assert nearest.max() < slack


@pytest.mark.parametrize("shift", [(0, 0), (408_201_584.8, 4_080_928_016.6), (-3.2e6, 5.4e5)])
def test_far_away_the_room_is_the_same(shift: tuple[float, float]) -> None:
    doc = document()
    corners = [(x + shift[0], y + shift[1]) for x, y in ROOM]
    doc.modelspace().add_lwpolyline(corners, close=True)
    drawing = flat(doc)
    assert ring_areas(drawing) == pytest.approx([12e6], abs=5)
    assert np.abs(drawing.segments.ends).max() < 1e5
    assert all(float(value).is_integer() for value in drawing.origin)
    back = drawing.rings[0].points + np.array(drawing.origin)
    assert back == pytest.approx(np.array(corners), abs=1e-6)


def test_one_stray_far_away_does_not_move_the_origin() -> None:
    doc = document()
    for i in range(20):
        doc.modelspace().add_line((3e6 + i, 5e5), (3e6 + i, 5e5 + 100))
    doc.modelspace().add_line((9e9, 9e9), (9e9, 9.1e9))
    doc.modelspace().add_line((1e14, 0), (0, 1e14))
    drawing = flat(doc)
    assert drawing.origin == pytest.approx((3e6, 5e5), abs=1000)
    assert len(drawing.segments) == 21
    assert codes(drawing) == ["IMP-115"]


# --- kinds of reference


def test_stretched_block_keeps_its_pieces_joined_and_gives_up_exact_arcs() -> None:
    doc = with_block()
    values = {"xscale": 1, "yscale": 0.5, "rotation": 30}
    doc.modelspace().add_blockref("B", (100, 200), values)
    drawing = flat(doc)
    assert drawing.arcs == ()
    # The arc starts at the far end of the line, in the block at (900, 0).
    turn = math.radians(30)
    meet = (100 + 900 * math.cos(turn), 200 + 900 * math.sin(turn))
    ends = drawing.segments.ends
    near = np.hypot(*(ends.reshape(-1, 2) - np.array(meet)).T) < 1e-6
    assert near.sum() == 2
    assert drawing.segments.curved.any()


@pytest.mark.parametrize(
    ("values", "start", "sweep", "radius"),
    [
        ({}, 0, 90, 900),
        ({"xscale": -1}, 90, 90, 900),
        ({"yscale": -1}, 270, 90, 900),
        ({"xscale": -1, "yscale": -1}, 180, 90, 900),
        ({"xscale": 2, "yscale": 2, "rotation": 45}, 45, 90, 1800),
        ({"extrusion": (0, 0, -1)}, 90, 90, 900),
        ({"xscale": -1, "extrusion": (0, 0, -1)}, 0, 90, 900),
        ({"xscale": 36 / 900, "yscale": -36 / 900}, 270, 90, 36),
    ],
)
def test_arcs_stay_exact_under_turning_and_mirroring(
    values: dict[str, object], start: float, sweep: float, radius: float
) -> None:
    doc = document()
    doc.blocks.new("B").add_arc((0, 0), 900, 0, 90)
    doc.modelspace().add_blockref("B", (0, 0), values)
    (arc,) = flat(doc).arcs
    assert (arc.start_deg, arc.sweep_deg, arc.radius) == pytest.approx((start, sweep, radius))


@pytest.mark.parametrize(("rows", "columns", "count"), [(2, 3, 6), (0, 3, 3), (2, 0, 2), (0, 0, 1)])
def test_arrays_are_expanded_and_a_count_of_0_means_1(rows: int, columns: int, count: int) -> None:
    doc = document()
    doc.blocks.new("B").add_lwpolyline([(0, 0), (1000, 0), (1000, 1000), (0, 1000)], close=True)
    values = {
        "row_count": rows,
        "column_count": columns,
        "row_spacing": 2000,
        "column_spacing": 1500,
        "rotation": 90,
        "xscale": 1.1,
    }
    doc.modelspace().add_blockref("B", (0, 0), values)
    drawing = flat(doc)
    assert len(drawing.rings) == len(drawing.inserts) == count
    if count == 6:
        # Spacing is turned with the reference but not scaled.
        places = sorted(insert.at for insert in drawing.inserts)
        assert places[-1] == pytest.approx((0, 3000))
        assert places[0] == pytest.approx((-2000, 0))


def test_too_large_an_array_is_cut_and_told() -> None:
    doc = document()
    doc.blocks.new("B").add_line((0, 0), (1, 0))
    values = {"row_count": 1000, "column_count": 1000, "row_spacing": 1, "column_spacing": 1}
    doc.modelspace().add_blockref("B", (0, 0), values)
    drawing = flat(doc)
    assert len(drawing.segments) == walker.MAX_COPIES
    assert codes(drawing) == ["IMP-114"]


def test_block_units_never_rescale_a_reference() -> None:
    for units in (0, 1, 6):
        doc = document()
        block = doc.blocks.new("D")
        block.block_record.dxf.units = units
        block.add_line((0, 0), (900, 0))
        doc.modelspace().add_blockref("D", (0, 0))
        assert strokes(flat(doc)) == [(0, 0, 900, 0)]


def test_a_block_of_scale_zero_is_told() -> None:
    doc = with_block()
    doc.modelspace().add_line((0, 0), (1, 0))
    reference = doc.modelspace().add_blockref("B", (0, 0))
    reference.dxf.__dict__["xscale"] = 0.0
    drawing = flat(doc)
    assert len(drawing.segments) == 1
    assert codes(drawing) == ["IMP-115"]


def test_a_tilted_reference_is_seen_from_above() -> None:
    doc = document()
    doc.blocks.new("B").add_circle((0, 0), 100)
    tilt = (math.sin(math.pi / 3), 0, math.cos(math.pi / 3))
    doc.modelspace().add_blockref("B", (0, 0), {"extrusion": tilt})
    drawing = flat(doc)
    assert drawing.arcs == ()
    assert ring_areas(drawing)[0] == pytest.approx(math.pi * 100**2 / 2, rel=2e-3)


# --- what the records say


def test_sources_name_blocks_layer_and_the_entity_a_user_can_find() -> None:
    doc = with_block("DOOR")
    doc.blocks.new("UNIT").add_blockref("DOOR", (0, 0), {"layer": "A-DOOR", "color": 3})
    outer = doc.modelspace().add_blockref("UNIT", (5000, 0), {"layer": "FLAT"})
    drawing = flat(doc)
    leaf = drawing.sources[drawing.segments.source[0]]
    assert (leaf.kind, leaf.layer, leaf.blocks) == ("LINE", "LEAF", ("UNIT", "DOOR"))
    assert leaf.handle == outer.dxf.handle
    arc = drawing.sources[drawing.arcs[0].source]
    assert arc.layer == "A-DOOR"
    assert [(i.block, i.depth) for i in drawing.inserts] == [("UNIT", 0), ("DOOR", 1)]
    assert drawing.inserts[leaf.insert].block == "DOOR"
    assert drawing.sources[drawing.inserts[1].source].insert == 0
    assert drawing.inserts[1].at == (5000, 0)


def test_layer_0_and_byblock_take_after_every_reference_in_turn() -> None:
    doc = document()
    inner = doc.blocks.new("INNER")
    inner.add_line((0, 0), (1, 0), dxfattribs={"layer": "0", "color": 0})
    inner.add_line((0, 1), (1, 1), dxfattribs={"layer": "OWN", "color": 5})
    inner.add_line((0, 2), (1, 2), dxfattribs={"layer": "0"})
    doc.blocks.new("OUTER").add_blockref("INNER", (0, 0), {"layer": "0", "color": 0})
    doc.modelspace().add_blockref("OUTER", (0, 0), {"layer": "A-WALL", "color": 2})
    drawing = flat(doc)
    found = [(s.layer, s.colour) for s in drawing.sources if s.kind == "LINE"]
    assert found == [("A-WALL", 2), ("OWN", 5), ("A-WALL", 256)]


def test_matrix_and_box_of_a_reference() -> None:
    doc = with_block()
    doc.blocks.new("EMPTY")
    values = {"rotation": 90, "xscale": 2, "yscale": -2}
    doc.modelspace().add_blockref("B", (1000, 2000), values)
    doc.modelspace().add_blockref("EMPTY", (1, 1))
    drawing = flat(doc)
    first, second = drawing.inserts
    a, b, _, _, tx, ty = first.matrix
    assert (a * 900 + tx, b * 900 + ty) == pytest.approx((1000, 3800))
    assert first.box == pytest.approx((990, 2000, 2800, 3800), abs=0.1)
    assert second.box is None


def test_box_holds_what_is_nested_in_it() -> None:
    doc = document()
    doc.blocks.new("INNER").add_line((0, 0), (100, 100))
    doc.blocks.new("OUTER").add_blockref("INNER", (1000, 0))
    doc.modelspace().add_blockref("OUTER", (0, 0))
    assert [i.box for i in flat(doc).inserts] == [(1000, 0, 1100, 100)] * 2


def test_dynamic_blocks_go_by_their_true_name_without_invisible_parts() -> None:
    doc = document()
    true = doc.blocks.new("DOOR_DYN")
    copy = doc.blocks.new("*U7")
    copy.add_line((0, 0), (900, 0))
    copy.add_line((0, 0), (0, 700), dxfattribs={"invisible": 1})
    doc.appids.new("AcDbBlockRepBTag")
    copy.block_record.set_xdata(
        "AcDbBlockRepBTag", [(1070, 1), (1005, true.block_record.dxf.handle)]
    )
    doc.modelspace().add_blockref("*U7", (0, 0))
    drawing = flat(doc)
    assert [i.block for i in drawing.inserts] == ["DOOR_DYN"]
    assert drawing.sources[drawing.segments.source[0]].blocks == ("DOOR_DYN",)
    assert strokes(drawing) == [(0, 0, 900, 0)]
    assert codes(drawing) == ["IMP-117"]


# --- missing, cyclic, too many


def test_a_missing_definition_and_a_missing_reference_drawing_cost_nothing_else(
    tmp_path: Path,
) -> None:
    doc = room_document()
    doc.add_xref_def("arch/plan_walls.dxf", "XR")
    msp = doc.modelspace()
    msp.add_blockref("XR", (0, 0))
    msp.add_blockref("NOPE", (0, 0))
    msp.add_blockref("NOPE", (9, 9))
    msp.add_lwpolyline(ROOM, close=True)
    for drawing in (flat(doc), flat_file(saved(tmp_path, doc))):
        assert ring_areas(drawing) == pytest.approx([12e6, 12e6])
        found = {f.code: f for f in drawing.findings}
        assert set(found) == {"IMP-111", "IMP-112"}
        assert "plan_walls.dxf" in found["IMP-111"].what
        assert "NOPE is placed 2x" in found["IMP-112"].what
        assert {f.severity for f in drawing.findings} == {Severity.SETTLE}


@pytest.mark.parametrize("ring", [["A"], ["A", "B"], ["A", "B", "C"], ["*Model_Space"]])
def test_blocks_that_contain_themselves_end(ring: list[str]) -> None:
    doc = document()
    for name in ring:
        block = doc.blocks.get(name) if name.startswith("*") else doc.blocks.new(name)
        block.add_line((0, 0), (1, 0))
    for name, inner in zip(ring, ring[1:] + ring[:1], strict=True):
        doc.blocks.get(name).add_blockref(inner, (10, 0))
    doc.modelspace().add_blockref(ring[0], (0, 0))
    drawing = flat(doc)
    assert 1 <= len(drawing.segments) <= len(ring) + 1
    assert codes(drawing) == ["IMP-113"]


def test_exponential_nesting_is_bounded_in_size_and_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(walker, "MAX_WEIGHT", 5_000)
    doc = document()
    doc.blocks.new("N0").add_line((0, 0), (1, 0))
    for level in range(1, 30):
        block = doc.blocks.new(f"N{level}")
        for copy in range(10):
            block.add_blockref(f"N{level - 1}", (copy, level))
    doc.modelspace().add_blockref("N29", (0, 0))
    doc.modelspace().add_line((0, 0), (5, 5))
    drawing = flat(doc)
    assert 1 <= len(drawing.segments) < 5_000
    assert "IMP-114" in codes(drawing)


def test_very_deep_nesting_ends() -> None:
    doc = document()
    doc.blocks.new("N0").add_line((0, 0), (1, 0))
    for level in range(1, 400):
        doc.blocks.new(f"N{level}").add_blockref(f"N{level - 1}", (0, 0))
    doc.modelspace().add_blockref("N399", (0, 0))
    doc.modelspace().add_line((0, 0), (5, 5))
    drawing = flat(doc)
    assert len(drawing.segments) == 1
    assert codes(drawing) == ["IMP-114"]


# --- cropped references


def clipped(window: Sequence[tuple[float, float]]) -> tuple[Document, Insert]:
    doc = document()
    block = doc.blocks.new("PLAN")
    block.add_line((0, 0), (100, 0))
    block.add_lwpolyline([(1, 1), (4, 1), (4, 4), (1, 4)], close=True)
    block.add_lwpolyline([(50, 1), (60, 1), (60, 4), (50, 4)], close=True)
    block.add_circle((30, 30), 1)
    block.add_text("IN", height=1).set_placement((2, 2))
    block.add_text("OUT", height=1).set_placement((80, 2))
    hatch = block.add_hatch()
    hatch.paths.add_polyline_path([(5, 0), (15, 0), (15, 10), (5, 10)])
    reference = doc.modelspace().add_blockref("PLAN", (1000, 1000), {"rotation": 90})
    XClip(reference).set_block_clipping_path(window)
    return doc, reference


@pytest.mark.parametrize("window", [[(0, -5), (10, 20)], [(0, -5), (10, -5), (10, 20), (0, 20)]])
def test_a_cropped_reference_shows_what_lies_in_its_window(
    window: list[tuple[float, float]],
) -> None:
    doc, _ = clipped(window)
    drawing = flat(doc)
    assert drawing.segments.ends[:, [1, 3]].max() == pytest.approx(1010)
    assert [t.text for t in drawing.texts] == ["IN"]
    assert ring_areas(drawing) == pytest.approx([9, 50])
    assert drawing.arcs == ()
    assert drawing.findings == ()
    assert drawing.inserts[0].box == pytest.approx((990, 1000, 1000, 1010))


def test_a_crop_that_is_switched_off_does_nothing() -> None:
    doc, reference = clipped([(0, -5), (10, 20)])
    XClip(reference).disable_clipping()
    assert len(flat(doc).texts) == 2


def test_an_inverted_crop_is_told_and_everything_used() -> None:
    doc, reference = clipped([(0, -5), (10, 20)])
    XClip(reference).invert_clipping_path([(-9, -9), (99, 99)], ignore_acad_compatibility=True)
    drawing = flat(doc)
    assert len(drawing.texts) == 2
    assert codes(drawing) == ["IMP-116"]
