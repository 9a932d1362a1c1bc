"""The architect's drawing comes back whole, with our marks on layers of their own."""

from __future__ import annotations

import difflib
import io
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import ezdxf
import pytest
from ezdxf import bbox, recover
from ezdxf.document import Drawing
from ezdxf.entities import DXFEntity
from ezdxf.lldxf.encoding import decode_dxf_unicode
from shapely import box

from importer.plan import PlanError, RoomId
from layout.floor import PlanResult
from layout.writers.dxf.census import census, differences, raw_census
from layout.writers.dxf.mark import mark_drawing, marked_dxf
from layout.writers.dxf.scheme import ISO13567, LOOKS, NCS, PLAIN, SCHEMES, Content, LayerScheme
from layout.writers.dxf.tags import RawFile, RawRecord, parse
from layout.writers.dxf.xdata import APPID
from tests.conftest import REPO
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.drawings import R12_RAW, ROOM, load, room_drawing, save, text_of

ALLOWED = {"TABLE", "VPORT", "DICTIONARY"}
"""Records whose content marking must change: counts, view, the entry of our dictionary."""


def room_result(name: str = "Kitchen", to_mm: float = 1.0) -> PlanResult:
    return result_of([lay(ROOM)], names=[name], to_mm=to_mm)


def ours(doc: Drawing) -> list[DXFEntity]:
    return [e for e in doc.modelspace() if e.has_xdata(APPID)]


def assert_records_kept(before: bytes, after: bytes) -> None:
    """Every record of the source stands in the result with the same bytes."""
    source, result = parse(before), parse(after)
    assert source is not None
    assert result is not None
    allowed = {r.handle for r in source.records if r.kind in ALLOWED}
    allowed |= {r.handle for r in source.records if has_no_layout(source, r)}
    kept = {k: v for k, v in raw_census(source).items() if k.split("/")[1] not in allowed}
    assert differences(kept, raw_census(result)) == ()


def has_no_layout(file: RawFile, record: RawRecord) -> bool:
    """The modelspace or paper space of a drawing without a list of layouts, which gains one."""
    tags = {t.code: t.value for t in file.tags_of(record)}
    space = tags.get(2, b"").upper() in {b"*MODEL_SPACE", b"*PAPER_SPACE"}
    return record.kind == "BLOCK_RECORD" and space and not tags.get(340, b"").strip(b"0")


def contents(doc: Drawing) -> dict[str, tuple[str, dict[str, object]]]:
    """Handle to kind and attributes of every entity that is not ours."""
    return {
        e.dxf.handle: (e.dxftype(), {k: v for k, v in e.dxfattribs().items() if k != "owner"})
        for block in doc.blocks
        for e in block
        if not e.has_xdata(APPID)
    }


def drawing_files() -> list[Path]:
    return sorted((REPO / "sample_plans").glob("*.dxf"))


@pytest.mark.parametrize("path", drawing_files(), ids=lambda p: p.stem)
def test_sample_drawings_keep_every_entity(path: Path) -> None:
    """Byte for byte from release 2000 on; by handle and attributes where R12 has to be rewritten."""
    source = ezdxf.readfile(path)
    result = result_of([lay(box(0, 0, 5200, 3900))], file=path.name)
    after = marked_dxf(path, result, rules())
    marked = load(after)
    if source.dxfversion > "AC1009":
        assert_records_kept(path.read_bytes(), after)
    kept = contents(marked)
    assert {h: kept.get(h) for h in contents(source)} == contents(source)
    assert len(ours(marked)) > 50


REAL = (
    "apartmentblock_acad2004",
    "door_wipeout_blocks",
    "house_ceco_wallhighlow",
    "pavilion_qcad_r2013",
    "plot_outline_solvespace",
    "survey_hugecoords",
)
"""Those that `tests.test_main_job` does not lay."""


@pytest.mark.parametrize("name", REAL)
def test_real_drawings_keep_every_record_and_gain_no_fault(real_plans: Path, name: str) -> None:
    path = real_plans / "dxf" / f"{name}.dxf"
    before = path.read_bytes()
    after = marked_dxf(path, result_of([lay(box(0, 0, 4000, 3000))]), rules())
    assert_records_kept(before, after)
    errors = Counter(e.code for e in load(after).audit().errors)
    if errors:  # the source may have had them
        assert errors <= Counter(e.code for e in ezdxf.readfile(path).audit().errors)


@pytest.mark.parametrize("name", ["elevation_r12_exploded", "pavilion_freecad_r12"])
def test_real_drawings_of_old_releases_come_back_as_release_2000(
    real_plans: Path, name: str
) -> None:
    path = real_plans / "dxf" / f"{name}.dxf"
    marked = mark_drawing(path, result_of([lay(box(0, 0, 4000, 3000))]), rules())
    assert any("release 2000" in remark for remark in marked.remarks)
    doc = load(marked.data)
    assert doc.dxfversion == "AC1015"
    source = load(path.read_bytes()) if "freecad" in name else recover.readfile(path)[0]
    kinds = Counter((e.dxftype(), e.dxf.layer) for e in source.modelspace())
    kept = Counter((e.dxftype(), e.dxf.layer) for e in doc.modelspace() if not e.has_xdata(APPID))
    assert kept == kinds


def test_only_named_parts_of_the_file_are_changed(tmp_path: Path) -> None:
    """Against the source, lines are only added, but for counts, seed, extents and view."""
    path = save(room_drawing(), tmp_path / "plan.dxf")
    before = path.read_bytes().decode().splitlines()
    after = marked_dxf(path, room_result(), rules()).decode().splitlines()
    changes = [line for line in difflib.unified_diff(before, after, n=0) if line.startswith("-")]
    assert 10 < len(changes) < 40


def test_same_input_gives_same_bytes(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    assert marked_dxf(path, room_result(), rules()) == marked_dxf(path, room_result(), rules())


def test_bytes_do_not_depend_on_hash_seed_or_clock(tmp_path: Path) -> None:
    """For a file that is added to and for one that is written anew."""
    paths = [save(room_drawing(v), tmp_path / f"{v}.dxf") for v in ("R2010", "R12")]
    program = (
        "import sys, hashlib; from pathlib import Path;"
        "from layout.writers.dxf.mark import marked_dxf;"
        "from tests.layout.writers.test_dxf_mark import room_result, rules;"
        "[print(hashlib.sha256(marked_dxf(Path(p), room_result(), rules())).hexdigest())"
        " for p in sys.argv[1:]]"
    )
    digests = {
        subprocess.run(
            [sys.executable, "-W", "ignore", "-c", program, *map(str, paths)],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(REPO), "PATH": ""},
            cwd=REPO,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    (both,) = digests
    assert len(set(both.split())) == 2


@pytest.mark.parametrize("version", ["R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
def test_release_is_kept_from_2000_on(tmp_path: Path, version: str) -> None:
    path = save(room_drawing(version), tmp_path / "plan.dxf")
    marked = mark_drawing(path, room_result(), rules())
    assert marked.remarks == ()
    doc = load(marked.data)
    assert doc.acad_release == version
    assert doc.audit().errors == []


@pytest.mark.parametrize("source", [R12_RAW, text_of(room_drawing("R12"))], ids=["raw", "full"])
def test_r12_is_returned_as_release_2000_and_says_so(tmp_path: Path, source: str) -> None:
    path = tmp_path / "old.dxf"
    path.write_text(source)
    marked = mark_drawing(path, room_result(), rules())
    assert "R12" in " ".join(marked.remarks)
    doc = load(marked.data)
    assert doc.acad_release == "R2000"
    assert doc.audit().errors == []
    texts = " ".join(e.dxf.text for e in doc.modelspace().query("TEXT"))
    assert "release R12" in texts


def test_binary_drawing_comes_back_as_text(tmp_path: Path) -> None:
    path = tmp_path / "plan.dxf"
    room_drawing().saveas(path, fmt="bin")
    doc = load(marked_dxf(path, room_result(), rules()))
    assert doc.audit().errors == []
    assert [e.dxf.text for e in doc.modelspace() if e.dxf.layer == "A-TEXT"] == ["KITCHEN"]


@pytest.mark.parametrize("to_mm", [1.0, 10.0, 25.4, 1000.0])
def test_marks_are_scaled_to_the_drawing_unit(tmp_path: Path, to_mm: float) -> None:
    path = save(room_drawing(scale=1 / to_mm), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(to_mm=to_mm), rules()))
    edge = next(e for e in doc.modelspace().query("LWPOLYLINE") if e.dxf.layer == "SETOUT-EDGE")
    xs = sorted({x * to_mm for x, *_ in edge.get_points()})
    assert xs == pytest.approx([8.0, 3992.0], abs=0.002)
    length = next(e for e in doc.modelspace().query("TEXT") if e.dxf.layer == "SETOUT-LENGTH")
    assert length.dxf.height * to_mm == pytest.approx(125.0)


def test_dimensions_measure_millimetres_in_any_unit(tmp_path: Path) -> None:
    path = save(room_drawing(scale=1 / 25.4), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(to_mm=25.4), rules()))
    dimensions = list(doc.modelspace().query("DIMENSION"))
    assert len(dimensions) == 2
    for dimension in dimensions:
        block = doc.blocks.get(dimension.dxf.geometry)
        shown = [
            e.text if e.dxftype() == "MTEXT" else e.dxf.text for e in block.query("MTEXT TEXT")
        ]
        assert shown == ["158"]
        assert dimension.dxf.defpoint2.distance(dimension.dxf.defpoint3) * 25.4 == pytest.approx(
            158.0, abs=0.01
        )


def test_marks_sit_on_national_grid_coordinates(tmp_path: Path) -> None:
    dx, dy = 408_201_584.8, 4_080_928_016.6
    shape = box(dx, dy, dx + 4000, dy + 3000)
    path = save(room_drawing(shape=shape), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, result_of([lay(shape)]), rules()))
    edge = next(e for e in doc.modelspace().query("LWPOLYLINE") if e.dxf.layer == "SETOUT-EDGE")
    corners = sorted((x - dx, y - dy) for x, y, *_ in edge.get_points())
    assert corners[0] == pytest.approx((8.0, 8.0), abs=0.002)
    assert corners[-1] == pytest.approx((3992.0, 2992.0), abs=0.002)


@pytest.mark.parametrize("version", ["R2010", "R12"])
def test_extents_and_view_hold_the_drawing_and_the_marks(tmp_path: Path, version: str) -> None:
    """A drawing that opens far away looks empty."""
    path = save(room_drawing(version), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(), rules()))
    low, high = doc.header["$EXTMIN"], doc.header["$EXTMAX"]
    drawn = bbox.extents(doc.modelspace(), fast=True)
    assert low[0] <= drawn.extmin.x + 200
    assert low[1] <= drawn.extmin.y + 200
    assert drawn.extmax.x - 200 <= high[0] < 60_000
    assert drawn.extmax.y - 200 <= high[1] < 60_000
    view = doc.viewports.get("*Active")[0]
    half_height, half_width = view.dxf.height / 2, view.dxf.height * view.dxf.aspect_ratio / 2
    assert view.dxf.center[0] - half_width <= 0
    assert view.dxf.center[0] + half_width >= 4000
    assert view.dxf.center[1] - half_height <= 0
    assert view.dxf.center[1] + half_height >= 3000


def test_stray_entity_far_away_does_not_move_tables_or_view(tmp_path: Path) -> None:
    doc = room_drawing()
    doc.modelspace().add_line((9e8, 9e8), (9e8 + 1, 9e8))
    path = save(doc, tmp_path / "plan.dxf")
    marked = load(marked_dxf(path, room_result(), rules()))
    tables = [e.dxf.align_point.x for e in marked.modelspace().query("TEXT") if has_ours(e, "NOTE")]
    assert max(tables) < 60_000
    assert marked.viewports.get("*Active")[0].dxf.height < 60_000
    assert marked.header["$EXTMAX"][0] > 8e8


def has_ours(entity: DXFEntity, word: str) -> bool:
    return bool(entity.dxf.layer == f"SETOUT-{word}")


def test_foreign_file_without_our_styles_gets_them_and_audits_clean(tmp_path: Path) -> None:
    doc = room_drawing()
    for name in [s.dxf.name for s in doc.styles if s.dxf.name.upper() != "STANDARD"]:
        doc.styles.remove(name)
    marked = load(marked_dxf(save(doc, tmp_path / "plan.dxf"), room_result(), rules()))
    assert marked.audit().errors == []
    for entity in ours(marked):
        assert entity.dxf.layer in marked.layers
        if entity.dxftype() == "TEXT":
            assert entity.dxf.style in marked.styles
        if entity.dxftype() == "DIMENSION":
            style = marked.dimstyles.get(entity.dxf.dimstyle)
            assert style.dxf.dimtxsty in marked.styles
            assert len(marked.blocks.get(entity.dxf.geometry)) > 3


def test_names_that_the_architect_uses_already_are_left_to_him(tmp_path: Path) -> None:
    doc = room_drawing()
    doc.layers.add("SETOUT-PLANK", color=1)
    doc.styles.add("SETOUT", font="txt")
    doc.modelspace().add_line((0, 0), (1, 1), dxfattribs={"layer": "SETOUT-PLANK"})
    marked = load(marked_dxf(save(doc, tmp_path / "plan.dxf"), room_result(), rules()))
    assert marked.layers.get("SETOUT-PLANK").color == 1
    assert marked.styles.get("SETOUT").dxf.font == "txt"
    pieces = [e for e in ours(marked) if e.dxf.layer == "SETOUT-PLANK-2"]
    assert len(pieces) > 20


def test_architects_hatches_are_untouched_and_ours_are_lines(tmp_path: Path) -> None:
    doc = room_drawing()
    hatch = doc.modelspace().add_hatch(color=4)
    hatch.paths.add_polyline_path([(0, 0), (4000, 0), (4000, 3000), (0, 3000)], is_closed=True)
    hatch.paths.add_polyline_path([(900, 900), (1200, 900), (1200, 1200)], is_closed=True, flags=16)
    path = save(doc, tmp_path / "plan.dxf")
    marked = load(marked_dxf(path, room_result(), rules()))
    hatches = list(marked.modelspace().query("HATCH"))
    assert len(hatches) == 1
    assert (
        census(marked)[hatches[0].dxf.handle] == census(ezdxf.readfile(path))[hatches[0].dxf.handle]
    )
    assert marked.audit().errors == []


@pytest.mark.parametrize("version", ["R2000", "R2004", "R2007", "R2018", "R12"])
def test_names_of_any_alphabet_survive_in_any_release(tmp_path: Path, version: str) -> None:
    name = "Küche 厨房 Łazienka"
    path = save(room_drawing(version), tmp_path / "plan.dxf")
    data = marked_dxf(path, room_result(name), rules())
    rows = re.findall(rb"(?i)K(?:\\U\+00fc|\xc3\xbc|\xfc)che [^\r\n]*", data)
    assert rows
    assert all(b"?" not in row for row in rows)
    if version in {"R2000", "R2004"}:
        assert b"K\\U+00FCche \\U+53A8\\U+623F \\U+0141azienka" in data
    path.write_bytes(data)
    drawn = ezdxf.readfile(path).modelspace().query("TEXT")
    texts = [decode_dxf_unicode(e.plain_text()) for e in drawn]
    assert any(name in text for text in texts)


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("Bad 100%%c", "Bad 100%%c"),
        ("Bath\n\tWC\x0b", "Bath WC"),
        ("A^JB", "A^JB"),
        ("=1+1", "=1+1"),
        ("{\\fArial;x}", "{\\fArial;x}"),
        ("-", "-"),
    ],
)
def test_names_are_data_and_show_as_they_are(tmp_path: Path, name: str, shown: str) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(name), rules()))
    assert doc.audit().errors == []
    texts = [e.plain_text() for e in doc.modelspace().query("TEXT")]
    assert any(text == shown for text in texts)


def test_long_name_is_cut_in_the_table(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result("x" * 5000), rules()))
    assert max(len(e.dxf.text) for e in doc.modelspace().query("TEXT")) <= 250


def test_duplicate_and_zero_handles_are_replaced_and_reported(tmp_path: Path) -> None:
    doc = room_drawing()
    lines = [doc.modelspace().add_line((k, 0), (k, 9)) for k in range(3)]
    handles = [line.dxf.handle for line in lines]
    text = text_of(doc)
    text = text.replace(f"LINE\n  5\n{handles[1]}\n", f"LINE\n  5\n{handles[0]}\n")
    text = text.replace(f"LINE\n  5\n{handles[2]}\n", "LINE\n  5\n0\n")
    path = tmp_path / "plan.dxf"
    path.write_text(text, encoding="utf-8")
    marked = mark_drawing(path, room_result(), rules())
    assert any("2 handles" in remark for remark in marked.remarks)
    raw = parse(marked.data)
    assert raw is not None
    assert max(raw.handles.values()) == 1
    assert "0" not in raw.handles
    kept = [e for e in load(marked.data).modelspace().query("LINE") if not e.has_xdata(APPID)]
    assert sorted(e.dxf.start.x for e in kept) == [0.0, 1.0, 2.0]


def test_empty_owner_reference_is_taken(tmp_path: Path) -> None:
    text = text_of(room_drawing())
    text = re.sub(r"(LWPOLYLINE\n  5\n\w+\n330\n)\w+\n", r"\g<1>\n", text)
    path = tmp_path / "plan.dxf"
    path.write_text(text, encoding="utf-8")
    assert load(marked_dxf(path, room_result(), rules())).audit().errors == []


@pytest.mark.parametrize("version", ["R2000", "R2018", "R12"])
def test_handles_are_unique_and_the_seed_is_above_them(tmp_path: Path, version: str) -> None:
    path = save(room_drawing(version), tmp_path / "plan.dxf")
    data = marked_dxf(path, room_result(), rules())
    raw = parse(data)
    assert raw is not None
    assert max(raw.handles.values()) == 1
    seed = int(str(load(data).header["$HANDSEED"]), 16)
    assert max(int(h, 16) for h in raw.handles) < seed


@pytest.mark.parametrize("scheme", SCHEMES.values(), ids=SCHEMES)
def test_everything_of_ours_is_by_layer_on_layers_of_the_scheme(
    tmp_path: Path, scheme: LayerScheme
) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(), rules(), scheme=scheme))
    names = set(scheme.names.values())
    for entity in ours(doc):
        assert entity.dxf.layer in names
        assert not any(entity.dxf.hasattr(a) for a in ("color", "linetype", "lineweight"))
    for content, name in scheme.names.items():
        layer = doc.layers.get(name)
        assert (layer.color, layer.dxf.lineweight) == (
            LOOKS[content].aci,
            LOOKS[content].lineweight,
        )
        assert bool(layer.dxf.plot) is LOOKS[content].plots


def test_layer_schemes_name_every_content_once_and_legally() -> None:
    for scheme in (PLAIN, ISO13567, NCS):
        assert set(scheme.names) == set(Content)
        assert len(set(scheme.names.values())) == len(Content)
        assert all(re.fullmatch(r"[A-Z0-9-]{4,31}", name) for name in scheme.names.values())


def test_iso_names_have_the_fields_of_the_standard() -> None:
    """Agent 2, element 6, presentation 2 characters, then our word."""
    for name in ISO13567.names.values():
        assert re.fullmatch(r"X-43----[ETDHVU]-[A-Z0-9]+", name)


def test_text_stands_only_on_continuous_layers(tmp_path: Path) -> None:
    """Some programs draw the letters of a dash-dotted layer dashed."""
    path = save(room_drawing(), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(), rules()))
    for text in doc.modelspace().query("TEXT DIMENSION"):
        assert doc.layers.get(text.dxf.layer).dxf.linetype.lower() in ("continuous", "bylayer")
    assert doc.layers.get("SETOUT-DATUM").dxf.linetype == "SETOUT-DASHDOT"


def test_our_own_words_are_ascii(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, room_result(), rules()))
    assert all(e.dxf.text.isascii() for e in doc.modelspace().query("TEXT") if e.has_xdata(APPID))


def test_xdata_strings_and_sizes_keep_the_formats_limits(tmp_path: Path) -> None:
    layout = lay(ROOM, "a very long bay name " * 20)
    path = save(room_drawing(), tmp_path / "plan.dxf")
    doc = load(marked_dxf(path, result_of([layout]), rules()))
    for entity in ours(doc):
        values = [str(t.value) for t in entity.get_xdata(APPID)]
        assert max(map(len, values)) <= 250
        assert sum(map(len, values)) < 16_000


def test_a_bay_of_very_many_rooms_still_fits_on_its_entity(tmp_path: Path) -> None:
    layout = lay(ROOM)
    rooms = tuple(RoomId(f"a room with a rather long id {n}") for n in range(900))
    path = save(room_drawing(), tmp_path / "plan.dxf")
    result = result_of([layout])
    result = replace(result, bays=(replace(layout, bay=replace(layout.bay, rooms=rooms)),))
    doc = load(marked_dxf(path, result, rules()))
    for entity in ours(doc):
        assert sum(len(str(t.value)) + 5 for t in entity.get_xdata(APPID)) < 16_000


def test_drawing_marked_before_is_refused_with_a_remedy(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")
    path.write_bytes(marked_dxf(path, room_result(), rules()))
    with pytest.raises(PlanError, match="marked by setout already") as caught:
        marked_dxf(path, room_result(), rules())
    assert caught.value.finding.code == "OUT-102"
    assert "own drawing" in caught.value.finding.remedy


def test_missing_file_is_one_clear_message(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"none\.dxf"):
        marked_dxf(tmp_path / "none.dxf", room_result(), rules())


@pytest.mark.parametrize(
    "part",
    [
        r"  0\nTABLE\n  2\nAPPID\n.*?  0\nENDTAB\n",
        r"  0\nTABLE\n  2\nDIMSTYLE\n.*?  0\nENDTAB\n",
        r"  0\nSECTION\n  2\nOBJECTS\n.*?  0\nENDSEC\n",
        r"  0\nSECTION\n  2\nBLOCKS\n.*?  0\nENDSEC\n",
    ],
    ids=["no APPID", "no DIMSTYLE", "no OBJECTS", "no BLOCKS"],
)
def test_file_that_lacks_a_part_is_written_whole(tmp_path: Path, part: str) -> None:
    """Ours have to go somewhere; the architect's entities are kept all the same."""
    text = text_of(room_drawing("R2000"))
    assert re.search(part, text, flags=re.DOTALL)
    path = tmp_path / "plan.dxf"
    path.write_text(re.sub(part, "", text, count=1, flags=re.DOTALL), encoding="cp1252")
    doc = load(marked_dxf(path, room_result(), rules()))
    assert doc.audit().errors == []
    assert APPID in doc.appids
    assert len(ours(doc)) > 50
    kept = [e.dxftype() for e in doc.modelspace() if not e.has_xdata(APPID)]
    assert sorted(kept) == ["LWPOLYLINE", "TEXT"]


def test_lower_case_handles_are_the_same_handles(tmp_path: Path) -> None:
    text = text_of(room_drawing("R2010"))
    lowered = re.sub(
        r"(\n(?:  5|105|3[2-6]\d)\n)([0-9A-F]+)(?=\n)", lambda m: m[1] + m[2].lower(), text
    )
    assert lowered != text
    path = tmp_path / "plan.dxf"
    path.write_text(lowered, encoding="utf-8")
    data = marked_dxf(path, room_result(), rules())
    assert load(data).audit().errors == []
    assert_records_kept(path.read_bytes(), data)


def test_line_ends_of_the_source_are_used(tmp_path: Path) -> None:
    path = tmp_path / "plan.dxf"
    path.write_bytes(text_of(room_drawing()).replace("\n", "\r\n").encode())
    data = marked_dxf(path, room_result(), rules())
    assert data.count(b"\n") == data.count(b"\r\n")
    assert_records_kept(path.read_bytes(), data)


def test_default_rules_are_said_on_the_drawing(tmp_path: Path) -> None:
    path = save(room_drawing(), tmp_path / "plan.dxf")

    def words(*, default: bool) -> str:
        data = mark_drawing(path, room_result(), rules(), default_rules=default).data
        return " ".join(e.dxf.text for e in load(data).modelspace().query("TEXT"))

    assert "packaged default" in words(default=True)
    assert "packaged default" not in words(default=False)
    assert "rigid vinyl" in words(default=False)
    assert "asbestos" in words(default=False)


def test_census_sees_a_moved_entity_a_lost_one_and_a_changed_layer() -> None:
    doc = room_drawing()
    before = census(doc)
    line = doc.modelspace().query("LWPOLYLINE")[0]
    assert differences(before, census(doc)) == ()
    line.translate(0.001, 0, 0)
    doc.layers.get("A-TEXT").color = 5
    text = doc.modelspace().query("TEXT")[0]
    handles = {line.dxf.handle, doc.layers.get("A-TEXT").dxf.handle, text.dxf.handle}
    doc.modelspace().delete_entity(text)
    assert set(differences(before, census(doc))) == handles


def test_raw_census_sees_one_changed_digit() -> None:
    data = text_of(room_drawing()).encode()
    before, after = parse(data), parse(data.replace(b"KITCHEN", b"KITCHEM"))
    assert before is not None
    assert after is not None
    assert len(differences(raw_census(before), raw_census(after))) == 1


@pytest.mark.parametrize("data", [b"", b"hello", b"0\nSECTION\n", b"0\r0\nSECTION\n", b"x\ny\n"])
def test_files_that_are_not_pairs_are_not_spliced(data: bytes) -> None:
    assert parse(data) is None


def test_marked_file_reads_as_stream(tmp_path: Path) -> None:
    """Nothing needs repair: the strict reader takes it."""
    path = save(room_drawing(), tmp_path / "plan.dxf")
    data = marked_dxf(path, room_result(), rules())
    Drawing.read(io.StringIO(data.decode()))
