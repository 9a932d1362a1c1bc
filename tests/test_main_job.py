"""The main job end to end, as a user runs it: read, lay, check, on samples and on real drawings."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import shapely
from ezdxf.document import Drawing
from ezdxf.filemanagement import readfile

from layout.cli import main

REAL = ("apartment_librecad", "house_librecad_wrongunit", "house_imperial_xref")
SAMPLES = ("flat", "block_storey", "flat_inches", "flat_messy")
CLEAN_OR_TO_SETTLE = {0, 1}


def record_in(out: Path) -> dict[str, Any]:
    """The record that laying left."""
    record: dict[str, Any] = json.loads((out / "record.json").read_text(encoding="utf-8"))
    return record


def contents(doc: Drawing) -> dict[str, str]:
    """Digest of every entity's tags by handle, in all layouts and blocks."""
    from ezdxf.lldxf.tagwriter import TagCollector

    found = {}
    for entity in doc.entitydb.values():
        if entity.dxftype() in {
            "LINE",
            "LWPOLYLINE",
            "ARC",
            "TEXT",
            "MTEXT",
            "INSERT",
            "HATCH",
            "CIRCLE",
        }:
            tags = TagCollector.dxftags(entity, dxfversion="AC1027")
            text = "\n".join(f"{t.code} {t.value}" for t in tags)
            found[entity.dxf.handle] = hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()
    return found


def drawing_of(name: str, sample_plans: Path, request: pytest.FixtureRequest) -> Path:
    if name in SAMPLES:
        return sample_plans / f"{name}.dxf"
    folder: Path = request.getfixturevalue("real_plans")
    return folder / "dxf" / f"{name}.dxf"


@pytest.fixture(params=[*SAMPLES, *REAL])
def laid(
    request: pytest.FixtureRequest, sample_plans: Path, laid_once: Callable[[Path], Path]
) -> tuple[Path, Path, dict[str, Any]]:
    """(drawing, marked drawing, record) of every sample and some real drawings."""
    drawing = drawing_of(request.param, sample_plans, request)
    out = laid_once(drawing)
    record = record_in(out)
    assert record["plans"][0]["status"] in {"clean", "to settle"}
    return drawing, out / f"{request.param}-marked.dxf", record


def test_laid_drawing_keeps_every_original_entity_and_checks_as_recorded(
    laid: tuple[Path, Path, dict[str, Any]], capsys: pytest.CaptureFixture[str]
) -> None:
    drawing, marked, record = laid
    before, after = readfile(drawing), readfile(marked)
    original, kept = contents(before), contents(after)
    assert original.items() <= kept.items()
    assert len(after.audit().errors) <= len(before.audit().errors)

    capsys.readouterr()
    main(["check", str(marked), "--json", "-"])
    checked = json.loads(capsys.readouterr().out)
    recorded = record["plans"][0]["bays"]
    assert [b["id"] for b in checked["bays"]] == [b["id"] for b in recorded]
    for seen, said in zip(checked["bays"], recorded, strict=True):
        assert seen["planks"] == said["planks"]
        assert seen["area_mm2"] == pytest.approx(said["area_mm2"], rel=1e-6)
        assert [(b["rule"], b["where"]) for b in seen["breaches"]] == [
            (b["rule"], b["where"]) for b in said["breaches"]
        ]


def test_every_room_of_a_real_drawing_is_found_named_and_laid(
    real_plans: Path, tmp_path: Path, laid_once: Callable[[Path], Path]
) -> None:
    truth = json.loads((real_plans / "truth.json").read_text(encoding="utf-8"))
    for name in REAL:
        drawing = real_plans / "dxf" / f"{name}.dxf"
        record = record_in(laid_once(drawing))
        found = tmp_path / f"{name}.json"
        main(["read", str(drawing), "--json", str(found)])
        plan = json.loads(found.read_text(encoding="utf-8"))
        assert plan["plan"]["units"]["to_mm"] == pytest.approx(truth[name]["unit_to_mm"])
        laid_rooms = {r for b in record["plans"][0]["bays"] for r in b["rooms"]}
        for room in truth[name]["rooms"]:
            if (
                not room["enclosed"]
                or room.get("ambiguous")
                or room["kind"] not in {"room", "wet", "corridor"}
            ):
                continue
            match = room_at(plan, room["point"], truth[name]["unit_to_mm"])
            label = f"{name} {room['id']} {room['name']}"
            assert match is not None, f"{label}: no room there"
            assert match["area_m2"] == pytest.approx(room["area_m2"], rel=room["tolerance"]), label
            assert match["id"] in laid_rooms, f"{label}: not laid"
            if room["name"]:
                assert match["name"], f"{label}: has no name"


def room_at(plan: dict[str, Any], point: list[float], to_mm: float) -> dict[str, Any] | None:
    place = shapely.Point(point[0] * to_mm, point[1] * to_mm)
    for room in plan["rooms"]:
        if shapely.Polygon(room["outline_mm"], room["holes_mm"]).contains(place):
            found: dict[str, Any] = room
            return found
    return None


def test_piece_moved_by_20_mm_is_named_by_check(
    sample_plans: Path,
    tmp_path: Path,
    laid_once: Callable[[Path], Path],
    capsys: pytest.CaptureFixture[str],
) -> None:
    sound = laid_once(sample_plans / "flat.dxf") / "flat-marked.dxf"
    assert main(["check", str(sound)]) in CLEAN_OR_TO_SETTLE
    doc, marked = readfile(sound), tmp_path / "flat-marked.dxf"
    pieces = doc.modelspace().query('LWPOLYLINE[layer=="SETOUT-PLANK"]')
    victim = pieces[len(pieces) // 2]
    piece_id = json.loads("".join(str(t.value) for t in victim.get_xdata("SETOUT")[1:]))["id"]
    victim.translate(20.0, 0.0, 0.0)
    doc.saveas(marked)
    capsys.readouterr()
    assert main(["check", str(marked), "--json", "-"]) == 1
    breaches = [b for bay in json.loads(capsys.readouterr().out)["bays"] for b in bay["breaches"]]
    assert any(piece_id in b["where"] or piece_id in b["why"].split() for b in breaches)
