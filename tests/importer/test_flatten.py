"""What is drawn and what is not: layers, paper space, kinds that cannot be read, damage."""

from __future__ import annotations

import math
import struct
from pathlib import Path

import numpy as np
import pytest
from ezdxf.math import Vec3

from importer.dxf.flatten import flatten
from importer.dxf.load import load_dxf
from importer.plan import Severity
from tests.importer.dxf_files import (
    codes,
    document,
    flat,
    flat_file,
    flat_real,
    raw,
    ring_areas,
    room_document,
    saved,
    strokes,
    write,
)

# --- layers


def test_a_layer_that_no_table_knows_is_drawn_and_keeps_its_name(tmp_path: Path) -> None:
    drawing = flat_file(write(tmp_path, raw()))
    assert [s.layer for s in drawing.sources] == ["WALLS"]
    assert len(drawing.segments) == 1


def test_layers_in_different_case_are_one_layer_as_the_table_spells_it() -> None:
    doc = document()
    doc.layers.add("A-Wall")
    for name in ("A-WALL", "a-wall", "A-Wall", "NEW", "new"):
        doc.modelspace().add_line((0, 0), (1, 0), dxfattribs={"layer": name})
    assert [s.layer for s in flat(doc).sources] == ["A-Wall"] * 3 + ["NEW"] * 2


@pytest.mark.parametrize("state", ["frozen", "off"])
def test_frozen_and_off_layers_are_left_out_and_told(state: str) -> None:
    doc = document()
    layer = doc.layers.add("OLD")
    layer.freeze() if state == "frozen" else layer.off()
    doc.layers.add("LOCKED").lock()
    doc.modelspace().add_line((0, 0), (1, 0), dxfattribs={"layer": "old"})
    doc.modelspace().add_line((0, 0), (2, 0), dxfattribs={"layer": "LOCKED"})
    doc.modelspace().add_line((0, 0), (3, 0), dxfattribs={"invisible": 1})
    drawing = flat(doc)
    assert strokes(drawing) == [(0, 0, 2, 0)]
    assert codes(drawing) == ["IMP-117", "IMP-117"]
    assert "OLD" in drawing.findings[0].what


@pytest.mark.parametrize(
    ("layer", "state", "shown"),
    [
        ("REF", "on", {"0", "OWN"}),
        ("REF", "off", {"OWN"}),
        ("REF", "frozen", set()),
        ("OWN", "off", {"0"}),
        ("OWN", "frozen", {"0"}),
        ("0", "off", {"0", "OWN"}),
        ("0", "frozen", {"0", "OWN"}),
    ],
)
def test_layer_state_through_a_reference(layer: str, state: str, shown: set[str]) -> None:
    """The reference lies on REF; inside are a line on layer 0, which takes REF, and one on OWN."""
    doc = document()
    doc.layers.add("REF")
    doc.layers.add("OWN")
    entry = doc.layers.get(layer)
    {"on": entry.on, "off": entry.off, "frozen": entry.freeze}[state]()
    block = doc.blocks.new("B")
    block.add_line((0, 0), (1, 0), dxfattribs={"layer": "0"})
    block.add_line((0, 0), (2, 0), dxfattribs={"layer": "OWN"})
    doc.modelspace().add_blockref("B", (0, 0), {"layer": "REF"})
    names = {1.0: "0", 2.0: "OWN"}
    assert {names[end[2]] for end in strokes(flat(doc))} == shown


def test_paper_space_takes_no_part(tmp_path: Path) -> None:
    doc = room_document()
    doc.layout("Layout1").add_lwpolyline([(0, 0), (420, 0), (420, 297), (0, 297)], close=True)
    assert ring_areas(flat_file(saved(tmp_path, doc))) == pytest.approx([12e6])


# --- kinds


def test_dimensions_leaders_and_notes_give_nothing_but_are_counted() -> None:
    doc = room_document()
    msp = doc.modelspace()
    msp.add_linear_dim(base=(0, -500), p1=(0, 0), p2=(4000, 0)).render()
    msp.add_leader([(0, 0), (500, 500)])
    drawing = flat(doc)
    assert (len(drawing.segments), len(drawing.texts)) == (4, 0)
    assert codes(drawing) == ["IMP-118"]
    assert "1 DIMENSION, 1 LEADER" in drawing.findings[0].what
    assert drawing.findings[0].severity is Severity.NOTE


def test_a_dimension_without_its_picture_does_not_matter(tmp_path: Path) -> None:
    doc = room_document()
    doc.modelspace().add_linear_dim(base=(0, -500), p1=(0, 0), p2=(4000, 0))
    assert ring_areas(flat_file(saved(tmp_path, doc))) == pytest.approx([12e6])


FOREIGN = ("0", "{kind}", "5", "AA{n}", "100", "AcDbEntity", "8", "A-WALL", "100", "AcDb{kind}")


def test_kinds_that_cannot_be_read_are_counted_by_layer(tmp_path: Path) -> None:
    body = ["0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1024", "0", "ENDSEC"]
    body += ["0", "SECTION", "2", "ENTITIES", "0", "LINE", "5", "A1", "100", "AcDbEntity"]
    body += ["8", "X", "100", "AcDbLine", "10", "0", "20", "0", "11", "1", "21", "0"]
    kinds = ["ACAD_PROXY_ENTITY", "AEC_WALL", "AEC_WALL", "REGION", "3DSOLID", "POINT"]
    for n, kind in enumerate(kinds):
        body += [part.format(kind=kind, n=n) for part in FOREIGN]
    body += ["0", "ENDSEC", "0", "EOF"]
    drawing = flat_file(write(tmp_path, raw(body)))
    assert len(drawing.segments) == 1
    told = [f.what for f in drawing.findings if f.code == "IMP-110"]
    assert [what.split(" on ")[0] for what in told] == [
        "1 3DSOLID",
        "1 ACAD_PROXY_ENTITY",
        "2 AEC_WALL",
        "1 REGION",
    ]
    assert all("A-WALL" in what for what in told)
    assert all(f.remedy and f.severity is Severity.SETTLE for f in drawing.findings)


def test_foreign_objects_are_drawn_from_the_picture_they_carry(tmp_path: Path) -> None:
    # One polyline of two points as proxy graphics store it: size, type 6, count, points.
    points = np.array([0.0, 0.0, 0.0, 4000.0, 0.0, 0.0]).tobytes()
    chunk = struct.pack("<III", 12 + len(points), 6, 2) + points
    graphic = struct.pack("<II", 8 + len(chunk), 1) + chunk
    proxy = [part.format(kind="AEC_WALL", n=1) for part in FOREIGN]
    proxy[8:8] = ["160", str(len(graphic)), "310", graphic.hex().upper()]
    head = ("0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1024", "0", "ENDSEC")
    body = (*head, "0", "SECTION", "2", "ENTITIES", *proxy, "0", "ENDSEC", "0", "EOF")
    drawing = flat_file(write(tmp_path, raw(body)))
    assert strokes(drawing) == [(0, 0, 4000, 0)]
    assert [(s.kind, s.layer) for s in drawing.sources] == [("AEC_WALL", "A-WALL")]


def test_meshes_are_told_not_guessed_at() -> None:
    doc = room_document()
    doc.modelspace().add_polyface()
    drawing = flat(doc)
    assert len(drawing.rings) == 1
    assert codes(drawing) == ["IMP-115"]


# --- damage


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 1e300])
def test_coordinates_that_are_none_cost_only_their_entity(bad: float) -> None:
    doc = room_document()
    msp = doc.modelspace()
    msp.add_line((bad, 0), (1, 0))
    msp.add_circle((0, 0), bad)
    msp.add_arc((0, bad), 5, 0, 90)
    msp.add_arc((0, 0), 5, 0, bad)
    msp.add_lwpolyline([(0, 0), (bad, 1), (2, 2)])
    msp.add_text("X").set_placement((bad, 0))
    ellipse = msp.add_ellipse((0, 0), (1, 0), 0.5)
    ellipse.dxf.__dict__["major_axis"] = Vec3(bad, 0)
    doc.blocks.new("B").add_line((0, 0), (1, 0))
    msp.add_blockref("B", (bad, 0))
    drawing = flat(doc)
    assert ring_areas(drawing) == pytest.approx([12e6])
    assert len(drawing.segments) == 4
    assert set(codes(drawing)) == {"IMP-115"}
    assert all(f.where.handle for f in drawing.findings)


def test_a_circle_without_a_radius_is_told() -> None:
    doc = room_document()
    doc.modelspace().add_circle((0, 0), 0)
    assert codes(flat(doc)) == ["IMP-115"]


def test_strokes_of_no_length_are_left_out() -> None:
    doc = room_document()
    doc.modelspace().add_line((5, 5), (5, 5))
    assert len(flat(doc).segments) == 4


# --- the record as a whole


def test_a_drawing_of_texts_only_is_a_drawing() -> None:
    doc = document()
    doc.modelspace().add_text("NOTES", height=5).set_placement((3e6, 3e6))
    drawing = flat(doc)
    assert len(drawing.segments) == 0
    assert drawing.origin == pytest.approx((3e6, 3e6), abs=50)


def test_levels_tell_storeys_that_lie_over_each_other() -> None:
    doc = document()
    doc.modelspace().add_line((0, 0, 0), (1, 0, 0))
    doc.modelspace().add_lwpolyline([(0, 0), (1, 0)], dxfattribs={"elevation": 2800})
    doc.blocks.new("B").add_line((0, 0, 100), (1, 0, 100))
    doc.modelspace().add_blockref("B", (0, 0, 5600))
    drawing = flat(doc)
    assert drawing.levels is not None
    heights = [float(drawing.levels[i]) for i in drawing.segments.source]
    assert sorted(heights) == [0, 2800, 5700]
    assert flat(room_document()).levels is None


def test_flattening_changes_nothing_in_the_document(tmp_path: Path) -> None:
    doc = room_document()
    block = doc.blocks.new("B")
    block.add_lwpolyline([(0, 0, 1), (9, 0, 0)], format="xyb", close=True)
    doc.modelspace().add_blockref("B", (0, 0), {"xscale": 2})
    loaded = load_dxf(saved(tmp_path, doc))

    def census() -> list[str]:
        return [
            f"{e} {sorted(map(str, e.dxfattribs().items()))}"
            for e in loaded.document.entitydb.values()
        ]

    before = census()
    flatten(loaded, "t.dxf")
    assert census() == before


def test_the_same_drawing_gives_the_same_record_twice(real_plans: Path) -> None:
    path = real_plans / "dxf" / "house_imperial_xref.dxf"
    one, two = flat_real(path), flat_file(path)
    assert np.array_equal(one.segments.ends, two.segments.ends)
    assert one.sources == two.sources
    assert one.texts == two.texts
    assert one.inserts == two.inserts
    assert one.findings == two.findings


@pytest.mark.parametrize(
    ("name", "strokes_at_least", "texts"),
    [
        ("apartment_librecad", 60, 14),
        ("apartmentblock_acad2004", 100_000, 300),
        ("house_ceco_wallhighlow", 7_000, 12),
        ("house_imperial_xref", 5_000, 98),
        ("pavilion_freecad_r12", 3_500, 0),
        ("survey_hugecoords", 10_000, 1_400),
    ],
)
def test_real_drawings_are_flattened_whole(
    name: str, strokes_at_least: int, texts: int, real_plans: Path
) -> None:
    drawing = flat_real(real_plans / "dxf" / f"{name}.dxf")
    assert len(drawing.segments) >= strokes_at_least
    assert len(drawing.texts) >= texts
    assert np.isfinite(drawing.segments.ends).all()
    assert not any(f.code == "IMP-115" for f in drawing.findings)
    counts = [len(drawing.sources), len(drawing.inserts)]
    assert drawing.segments.source.max() < counts[0]
    assert all(source.insert < counts[1] for source in drawing.sources)
