"""The picture of a plan: complete, legible, safe, the same bytes every time, whole or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.geometry import box

from importer.picture import PictureError, draw_plan, picture_bytes, scene_of
from importer.picture_labels import INK, SECOND
from importer.picture_panels import sheet_of
from importer.picture_scene import Anchor, Area, Disc, Scene, Strokes, Words
from importer.picture_signs import BACKDROP, COMMUNAL, DOOR, JOINERY, TINTS, tints
from importer.picture_text import text_width
from importer.plan import (
    Drawn,
    DrawnKind,
    Finding,
    Origin,
    Plan,
    PlanError,
    Room,
    RoomId,
    Severity,
    Storey,
    StoreyId,
)
from tests.importer.plans import STOREY, read_bytes, sample_plan, tiny_plan

Floats = NDArray[np.float64]
SAMPLES = ("flat.dxf", "block_storey.dxf", "flat_inches.dxf", "flat_messy.dxf")
SVG = "{http://www.w3.org/2000/svg}"


def words_of(scene: Scene) -> list[Words]:
    return [m for m in scene.marks if isinstance(m, Words)]


def ink_box(words: Words) -> Polygon:
    """The rectangle that a line of text covers."""
    width = text_width(words.text, words.cap, bold=words.bold)
    start = {Anchor.START: 0.0, Anchor.MIDDLE: -width / 2, Anchor.END: -width}[words.anchor]
    x, y = words.at
    level = box(x + start, y - words.cap / 2, x + start + width, y + words.cap / 2)
    turned: Polygon = shapely.affinity.rotate(level, -words.turn_deg, origin=words.at)
    return turned


def texts_in(svg: bytes) -> list[str]:
    return [t.text or "" for t in ET.fromstring(svg.decode()).iter(f"{SVG}text")]


# --- what is shown ---------------------------------------------------------------------------


@pytest.mark.parametrize("file", SAMPLES)
def test_every_room_is_named_with_its_area_on_the_plan(file: str) -> None:
    plan = sample_plan(file)
    shown = texts_in(picture_bytes(plan, ".svg"))
    for room in plan.rooms:
        area = room.shape.area
        figure = (
            f"{area / 304.8**2:.1f} sq ft" if file == "flat_inches.dxf" else f"{area / 1e6:.2f} m²"
        )
        assert figure in shown
        assert any(room.name in text for text in shown if room.name)
    for flat in plan.flats:
        assert flat.name in shown
    assert plan.file in shown


@pytest.mark.parametrize("file", SAMPLES)
def test_every_doorway_bears_its_width(file: str) -> None:
    plan = sample_plan(file)
    widths = [w.text for w in words_of(scene_of(plan)) if w.colour == DOOR]
    unit = 25.4 if file == "flat_inches.dxf" else 1.0
    said = [f"{d.width_mm / unit:.0f}" + (" in" if unit > 1 else "") for d in plan.doorways]
    assert widths == said


@pytest.mark.parametrize("file", SAMPLES)
def test_words_neither_meet_each_other_nor_leave_the_sheet(file: str) -> None:
    scene = scene_of(sample_plan(file))
    boxes = [(w.text, ink_box(w)) for w in words_of(scene)]
    sheet = box(0, 0, scene.width, scene.height)
    for text, shape in boxes:
        assert sheet.contains(shape), text
    for (a, first), (b, second) in combinations(boxes, 2):
        assert not first.intersects(second), f"{a!r} meets {b!r}"


@pytest.mark.parametrize("file", SAMPLES)
def test_names_stand_inside_their_rooms_and_off_walls_and_columns(file: str) -> None:
    plan = sample_plan(file)
    panel = sheet_of(plan).panels[0]
    shapes = {r.id: panel.shape_to_paper(r.shape) for r in plan.rooms}
    columns = [panel.shape_to_paper(o.shape) for o in plan.obstacles]
    walls = shapely.union_all([panel.shape_to_paper(w) for w in plan.walls])
    words = words_of(scene_of(plan))
    for room in plan.rooms:
        names = [w for w in words if w.text == room.name and w.bold]
        inside = [w for w in names if shapes[room.id].contains(ink_box(w))]
        assert len(inside) == 1, room.name
        assert not any(c.intersects(ink_box(inside[0])) for c in columns)
    assert [w.text for w in words if walls.intersects(ink_box(w))] == []


def test_neighbouring_flats_differ_in_tint_and_communal_space_is_grey() -> None:
    plan = sample_plan("block_storey.dxf")
    tint = tints(plan)
    by_flat = {r.flat: tint[r.id] for r in plan.rooms if r.flat}
    assert len(set(by_flat.values())) == 4
    assert {tint[r.id] for r in plan.rooms if r.communal} == {COMMUNAL}
    filled = {m.fill for m in scene_of(plan).marks if isinstance(m, Area)}
    assert set(by_flat.values()) <= filled


def linear(colour: str) -> Floats:
    """Linear red, green, blue of an sRGB colour (IEC 61966-2-1)."""
    parts = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    light: Floats = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return light


def luminance(colour: str) -> float:
    """Relative luminance after WCAG 2.1."""
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour))


VISIONS = {
    "normal": np.eye(3),
    # Full dichromacy: Machado, Oliveira, Fernandes, IEEE TVCG 15 (2009) 1291, severity 1.0;
    # figures from memory.
    "protan": [
        [0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}  # fmt: skip


def lab(light: Floats) -> Floats:
    """CIE L*a*b* under D65 from linear sRGB."""
    to_xyz = np.array(
        [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    )
    xyz = to_xyz @ np.clip(light, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > 0.008856, np.cbrt(xyz), 7.787 * xyz + 16 / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("vision", sorted(VISIONS))
def test_tints_differ_for_every_colour_vision(vision: str) -> None:
    """At least 6 apart (CIE 1976); about 2.3 is just noticeable."""
    seen = [lab(np.array(VISIONS[vision]) @ linear(t)) for t in (*TINTS, COMMUNAL)]
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(seen, 2)) >= 6.0


@pytest.mark.parametrize("tint", [*TINTS, COMMUNAL])
def test_lettering_is_readable_on_every_tint(tint: str) -> None:
    """Contrast of at least 7 to 1 for names and widths (WCAG 2.1, level AAA)."""
    for ink in (INK, SECOND, DOOR):
        assert (luminance(tint) + 0.05) / (luminance(ink) + 0.05) >= 7.0


def test_findings_are_numbered_on_the_plan_and_listed_beside_it() -> None:
    plan = sample_plan("block_storey.dxf")
    scene = scene_of(plan)
    panel = sheet_of(plan).panels[0]
    spot = panel.to_paper((2600.0, 1200.0))
    numbers = [w for w in words_of(scene) if w.text == "1" and w.bold]
    assert any(w.at == pytest.approx(spot, abs=1e-6) for w in numbers), "sign at its place"
    assert any(w.at[0] > panel.to_paper((panel.box[2], 0.0))[0] for w in numbers), (
        "sign in the list"
    )
    listed = " ".join(w.text for w in words_of(scene))
    assert "A door leaf is drawn here, but the wall has no opening." in listed
    assert "please check" in listed


def test_findings_at_one_place_get_signs_apart_with_leaders() -> None:
    where = Origin(at=(1500.0, 2600.0))
    findings = tuple(
        Finding(code=f"IMP-30{i}", severity=Severity.SETTLE, what="open", where=where)
        for i in range(4)
    )
    scene = scene_of(tiny_plan(findings=findings))
    signs = [w for w in words_of(scene) if re.fullmatch("[1-4]", w.text) and w.bold]
    assert len({w.at for w in signs}) == 8
    dots = [m for m in scene.marks if isinstance(m, Disc) and m.radius == 0.5]
    assert len(dots) == 3


def test_many_like_findings_share_one_entry() -> None:
    findings = tuple(
        Finding(
            code="IMP-320",
            severity=Severity.NOTE,
            what=f"gap of {i} mm",
            where=Origin(at=(100.0 * i, 100.0)),
            remedy="Draw it through.",
        )
        for i in range(60)
    )
    listed = " ".join(w.text for w in words_of(scene_of(tiny_plan(findings=findings))))
    assert "The like at 2 to 60." in listed
    assert listed.count("Draw it through.") == 1


def test_list_that_does_not_fit_says_how_many_are_missing() -> None:
    findings = tuple(
        Finding(code=f"IMP-{300 + i}", severity=Severity.NOTE, what="a gap " * 20)
        for i in range(90)
    )
    scene = scene_of(tiny_plan(findings=findings))
    (left,) = [w.text for w in words_of(scene) if "more, see the table" in w.text]
    shown = sum(bool(re.fullmatch(r"IMP-\d{3}  note", w.text)) for w in words_of(scene))
    assert left == f"and {90 - shown} more, see the table"
    assert all(ink_box(w).bounds[3] < scene.height for w in words_of(scene))


def test_small_room_bears_a_key_that_the_list_explains() -> None:
    small = Room(
        id=RoomId("room-2"), shape=box(3100, 0, 3700, 300), storey=STOREY, name="Meter cupboard"
    )
    plan = tiny_plan()
    scene = scene_of(replace(plan, rooms=(*plan.rooms, small)))
    panel = sheet_of(plan).panels[0]
    keys = [w for w in words_of(scene) if w.text == "a"]
    room = panel.shape_to_paper(small.shape)
    assert sum(room.contains(ink_box(w)) for w in keys) == 1
    assert any(w.text == "Meter cupboard, 0.18 m²" for w in words_of(scene))


def test_obstacle_is_hatched_within_its_outline() -> None:
    plan = sample_plan("block_storey.dxf")
    panel = sheet_of(plan).panels[0]
    columns = shapely.union_all([panel.shape_to_paper(o.shape) for o in plan.obstacles])
    hatch = [m for m in scene_of(plan).marks if isinstance(m, Strokes) and m.stroke == "#6b6b6b"]
    on_plan = [m for m in hatch if m.lines and columns.distance(LineString(m.lines[0])) < 0.01]
    assert len(on_plan) == 2
    for mark in on_plan:
        assert all(columns.buffer(0.01).covers(LineString(line)) for line in mark.lines)


def test_scale_bar_measures_true() -> None:
    plan = sample_plan("flat.dxf")
    scene = scene_of(plan)
    bars = [m for m in scene.marks if isinstance(m, Area) and m.width == 0.18]
    xs = [x for bar in bars for x, _ in bar.rings[0]]
    (end,) = [w for w in words_of(scene) if re.fullmatch(r"\d+ m", w.text)]
    assert max(xs) - min(xs) == pytest.approx(float(end.text[:-2]) * 1000 / sheet_of(plan).scale)


def test_storeys_over_each_other_are_drawn_apart_with_their_names() -> None:
    storeys = tuple(Storey(id=StoreyId(f"s{i}"), name=f"Level {i}") for i in range(3))
    rooms = tuple(
        Room(id=RoomId(f"r{i}"), shape=box(0, 0, 4000, 3000), storey=s.id)
        for i, s in enumerate(storeys)
    )
    plan = tiny_plan(storeys=storeys, rooms=rooms, walls=(box(-300, -300, 0, 3000),))
    sheet = sheet_of(plan)
    assert [p.caption for p in sheet.panels] == ["Level 0", "Level 1", "Level 2"]
    placed = [p.shape_to_paper(r.shape) for p, r in zip(sheet.panels, rooms, strict=True)]
    assert not any(a.intersects(b) for a, b in combinations(placed, 2))
    assert {"Level 0", "Level 1", "Level 2"} <= {w.text for w in words_of(scene_of(plan))}


def test_doors_of_a_model_are_drawn_upon_the_floors_and_its_furniture_under_them() -> None:
    storey = Storey(id=StoreyId("s"), name="Level")
    room = Room(id=RoomId("r"), shape=box(0, 0, 4000, 3000), storey=storey.id)
    shapes = {
        DrawnKind.DOOR_LEAF: box(100, 0, 140, 800),
        DrawnKind.OTHER: box(2000, 1000, 3000, 2000),
        DrawnKind.WALL: box(0, -200, 4000, 0),
    }
    drawn = tuple(Drawn(kind=k, storey=storey.id, shape=s) for k, s in shapes.items())
    plan = tiny_plan(storeys=(storey,), rooms=(room,), drawn=drawn)
    marks = scene_of(plan).marks
    (floor,) = [n for n, m in enumerate(marks) if isinstance(m, Area) and m.fill == TINTS[0]][:1]
    door, other = (
        next(n for n, m in enumerate(marks) if isinstance(m, Strokes) and m.stroke == stroke)
        for stroke in (JOINERY, BACKDROP)
    )
    assert other < floor < door


def test_detail_drawn_far_away_does_not_shrink_the_plan() -> None:
    plan = sample_plan("flat.dxf")
    far = box(900_000, 0, 901_000, 1_000)
    assert sheet_of(replace(plan, walls=(*plan.walls, far))).scale == sheet_of(plan).scale


def test_national_grid_coordinates_give_the_same_picture() -> None:
    plan = tiny_plan(walls=(box(-200, -200, 0, 3000),))
    shift = (4_512_000_000.0, 5_411_000_000.0)
    moved = replace(
        plan,
        rooms=tuple(
            replace(r, shape=shapely.affinity.translate(r.shape, *shift)) for r in plan.rooms
        ),
        walls=tuple(shapely.affinity.translate(w, *shift) for w in plan.walls),
    )
    assert picture_bytes(moved, ".svg") == picture_bytes(plan, ".svg")


@pytest.mark.parametrize("ending", [".svg", ".png", ".pdf"])
@pytest.mark.parametrize("walls", [(), (box(0, 0, 3000, 200),)])
def test_plan_without_rooms_still_shows_what_there_is(
    ending: str, walls: tuple[Polygon, ...]
) -> None:
    finding = Finding(code="IMP-300", severity=Severity.REFUSED, what="No room was found.")
    plan = tiny_plan(rooms=(), walls=walls, findings=(finding,))
    assert picture_bytes(plan, ending)
    assert "No room was found." in texts_in(picture_bytes(plan, ".svg"))


# --- safe, repeatable, whole -----------------------------------------------------------------


NASTY = (
    "<script>alert(1)</script>",
    "A & B ]]> \" '",
    "line\nbreak\ttab\x00\x1b[31m",
    "\u202eesrever",
    "\ud800",
    "浴室 Ванная Ω",
    "x" * 400,
    "",
)


@pytest.mark.parametrize("name", NASTY)
def test_any_name_gives_a_valid_picture(name: str) -> None:
    plan = tiny_plan()
    room = replace(plan.rooms[0], name=name)
    finding = Finding(code="IMP-500", severity=Severity.NOTE, what=name, remedy=name)
    plan = replace(plan, rooms=(room,), findings=(finding,), file=name)
    tree = ET.fromstring(picture_bytes(plan, ".svg").decode("utf-8"))
    assert {e.tag.removeprefix(SVG) for e in tree.iter()} <= {
        "svg", "title", "rect", "path", "circle", "text",
    }  # fmt: skip
    assert picture_bytes(plan, ".png").startswith(b"\x89PNG")
    assert picture_bytes(plan, ".pdf").startswith(b"%PDF")


def opened(pdf: bytes) -> Any:
    import pymupdf

    open_document: Any = pymupdf.open
    return open_document(stream=pdf, filetype="pdf")


def test_pdf_is_true_to_scale_searchable_and_embeds_its_fonts() -> None:
    plan = sample_plan("flat_messy.dxf")
    scene = scene_of(plan)
    with opened(picture_bytes(plan, ".pdf")) as doc:
        page = doc[0]
        assert page.rect.width == pytest.approx(scene.width * 72 / 25.4, abs=0.01)
        assert "Küche" in page.get_text()
        assert all(font[1] not in {"n/a", ""} for font in page.get_fonts())


def test_turned_words_stand_in_the_pdf_where_the_scene_has_them() -> None:
    plan = sample_plan("flat.dxf")
    turned = [w for w in words_of(scene_of(plan)) if w.turn_deg]
    assert turned
    with opened(picture_bytes(plan, ".pdf")) as doc:
        for words in turned:
            found = [box(*(v * 25.4 / 72 for v in rect)) for rect in doc[0].search_for(words.text)]
            hits = [f for f in found if f.contains(shapely.Point(words.at))]
            assert hits, words
            assert hits[0].bounds[3] - hits[0].bounds[1] > hits[0].bounds[2] - hits[0].bounds[0]


def test_same_plan_gives_the_same_bytes_in_another_process() -> None:
    code = (
        "from tests.importer.plans import sample_plan; from importer.picture import picture_bytes;"
        "from hashlib import sha256; plan = sample_plan('block_storey.dxf');"
        "print([sha256(picture_bytes(plan, e)).hexdigest() for e in ('.svg', '.png', '.pdf')])"
    )
    env = {**os.environ, "PYTHONHASHSEED": "5"}
    run = subprocess.run(
        [sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True
    )
    plan = sample_plan("block_storey.dxf")
    here = [hashlib.sha256(picture_bytes(plan, e)).hexdigest() for e in (".svg", ".png", ".pdf")]
    assert run.stdout.strip() == str(here)


@pytest.mark.parametrize("name", ["plan.svg", "plan.PNG", "plan.pdf"])
def test_picture_is_written_beside_nothing_else(name: str, tmp_path: Path) -> None:
    draw_plan(tiny_plan(), tmp_path / name)
    assert list(read_bytes(tmp_path)) == [name]


def test_unknown_ending_is_refused_with_a_remedy(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match=r"OUT-131.*'\.bmp'.*\.svg, \.png or \.pdf"):
        draw_plan(tiny_plan(), tmp_path / "plan.bmp")
    assert read_bytes(tmp_path) == {}


def test_missing_library_is_named_and_svg_still_works(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "pymupdf", None)
    for name in ("plan.png", "plan.pdf"):
        with pytest.raises(PlanError, match=r"pip install 'setout\[picture\]'"):
            draw_plan(tiny_plan(), tmp_path / name)
    assert read_bytes(tmp_path) == {}
    draw_plan(tiny_plan(), tmp_path / "plan.svg")
    assert list(read_bytes(tmp_path)) == ["plan.svg"]


def test_folder_that_is_missing_is_told_and_nothing_is_left(tmp_path: Path) -> None:
    with pytest.raises(PictureError, match=r"OUT-133.*could not be written"):
        draw_plan(tiny_plan(), tmp_path / "no" / "plan.svg")
    assert read_bytes(tmp_path) == {}


def test_failed_rename_leaves_the_old_picture_and_no_rest(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    target = tmp_path / "plan.svg"
    target.write_bytes(b"old")

    def fail(self: Path, target: Path) -> Path:
        raise PermissionError(13, "Permission denied", str(target))

    monkeypatch.setattr(Path, "replace", fail)
    with pytest.raises(PictureError, match="Permission denied"):
        draw_plan(tiny_plan(), target)
    assert read_bytes(tmp_path) == {"plan.svg": b"old"}


def test_svg_needs_no_drawing_library() -> None:
    code = (
        "import sys; from tests.importer.plans import tiny_plan; from importer.picture import picture_bytes;"
        "picture_bytes(tiny_plan(), '.svg'); print('pymupdf' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "False"


# --- a law -----------------------------------------------------------------------------------


@st.composite
def strips(draw: st.DrawFn) -> Plan:
    """Rooms of any size side by side, L-shaped or not, with names of any length."""
    rooms, x = [], 0.0
    for i in range(draw(st.integers(1, 6))):
        w, h = (draw(st.floats(300.0, 9000.0)) for _ in range(2))
        shape = Polygon(
            [(x, 0), (x + w, 0), (x + w, h / 2), (x + w / 2, h / 2), (x + w / 2, h), (x, h)]
        )
        rooms.append(
            Room(
                id=RoomId(f"R{i}"),
                shape=shape if draw(st.booleans()) else box(x, 0, x + w, h),
                storey=STOREY,
                name=draw(st.text(st.characters(codec="latin-1"), max_size=40)),
            )
        )
        x += w + 150.0
    return tiny_plan(rooms=tuple(rooms))


@settings(max_examples=25, deadline=None)
@given(plan=strips())
def test_words_of_large_rooms_never_meet(plan: Plan) -> None:
    """Every name is either in its room or in the list; nothing is lost, nothing overlaps."""
    scene = scene_of(plan)
    panel = sheet_of(plan).panels[0]
    words = words_of(scene)
    areas = [w for w in words if w.text.endswith(" m²")]
    listed = [w for w in areas if ", " in w.text]
    for room in plan.rooms:
        figure = f"{room.shape.area / 1e6:.2f} m²"
        place = panel.shape_to_paper(room.shape)
        inside = [w for w in areas if w.text == figure and place.covers(ink_box(w))]
        assert inside or any(w.text.endswith(figure) for w in listed)
    placed = [ink_box(w) for w in words if w.bold or w in areas]
    for a, b in combinations(placed, 2):
        assert not a.buffer(-0.05).intersects(b.buffer(-0.05))
