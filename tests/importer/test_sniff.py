"""Files of other kinds under a DXF name, and files that are not there."""

from __future__ import annotations

import os
import pickle
import zipfile
from pathlib import Path

import pytest

from importer.plan import PlanError, Severity
from importer.read import read_plan
from importer.sniff import FileKind, sniff
from tests.importer.dxf_files import RAW_LINES, raw, room_document, saved, write


def refused(path: Path) -> str:
    with pytest.raises(PlanError) as caught:
        sniff(path)
    finding = caught.value.finding
    assert finding.severity is Severity.REFUSED
    assert finding.remedy
    assert path.name in str(finding.where)
    return finding.what


@pytest.mark.parametrize(
    ("version", "release"),
    [(b"AC1015", "2000"), (b"AC1032", "2018"), (b"AC1009", "release 11/12"), (b"AC1099", "AC1099")],
)
def test_dwg_is_named_with_its_version(version: bytes, release: str, tmp_path: Path) -> None:
    path = write(tmp_path, version + bytes(5) + os.urandom(2048))
    assert "DWG" in (what := refused(path))
    assert release in what


@pytest.mark.parametrize(
    ("head", "word"),
    [
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n", "PDF"),
        (b"\x89PNG\r\n\x1a\n" + bytes(64), "PNG"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00", "JPEG"),
        (b"GIF89a" + bytes(64), "GIF"),
        (b"BM" + bytes(64), "bitmap"),
        (b"PK\x03\x04" + bytes(64), "ZIP"),
        (b"\x1f\x8b\x08" + bytes(64), "GZIP"),
        (b"Rar!\x1a\x07", "RAR"),
        (b"<!DOCTYPE html><html><body>404</body></html>", "web page"),
        (b"\xef\xbb\xbf  <html>", "web page"),
        (b"<?xml version='1.0'?><ifcXML/>", "XML"),
        (b"", "empty"),
        (b"\r\n \n", "nothing but blanks"),
        (bytes(512), "nothing but blanks"),
        (bytes(range(256)) * 8, "binary"),
        (b"Room;Area\r\nKitchen;12,4\r\n" * 20, "text"),
        (b"{\\rtf1\\ansi plan}", "text"),
    ],
)
def test_other_files_get_one_sentence_that_names_them(
    head: bytes, word: str, tmp_path: Path
) -> None:
    what = refused(write(tmp_path, head))
    assert word in what
    assert what.count(". ") == 0


def test_a_real_archive_is_told_from_its_content_not_from_its_name(tmp_path: Path) -> None:
    path = tmp_path / "plan.dxf"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("plan.dxf", raw())
    assert "ZIP" in refused(path)


@pytest.mark.parametrize("name", ["plan.dxf", "plan.ifc", "plan.DWG", "plan"])
def test_the_name_is_no_evidence(name: str, tmp_path: Path) -> None:
    assert sniff(write(tmp_path, raw(), name)) is FileKind.DXF
    step = b"\xef\xbb\xbf\r\nISO-10303-21;\r\nHEADER;"
    assert sniff(write(tmp_path, step, name)) is FileKind.IFC


def test_ifc_under_a_dxf_name_is_refused_by_the_dxf_loader_alone(tmp_path: Path) -> None:
    from importer.dxf.load import load_dxf

    with pytest.raises(PlanError, match="IFC model, not a DXF"):
        load_dxf(write(tmp_path, b"ISO-10303-21;\nHEADER;\n"))


def test_ascii_and_binary_dxf_are_known(tmp_path: Path) -> None:
    doc = room_document()
    assert sniff(saved(tmp_path, doc)) is FileKind.DXF
    assert sniff(saved(tmp_path, doc, "b.dxf", fmt="bin")) is FileKind.DXF_BINARY


@pytest.mark.parametrize(
    "data",
    [
        raw(("999", "made by hand", *RAW_LINES)),
        b"\xef\xbb\xbf" + raw(),
        raw(end="\r"),
        raw(end="\r\r\n"),
        raw().decode().encode("utf-16"),
        b"\n" + raw(),
        b"  0\nSECTION\n  2\nHEADER\n",
        b"junk\n" + raw(),
        raw(RAW_LINES[4:] * 10),
    ],
)
def test_damaged_heads_still_pass_as_dxf(data: bytes, tmp_path: Path) -> None:
    assert sniff(write(tmp_path, data)) is FileKind.DXF


def test_missing_file_and_folder(tmp_path: Path) -> None:
    assert "no such file" in refused(tmp_path / "none.dxf")
    (tmp_path / "folder.dxf").mkdir()
    assert "folder" in refused(tmp_path / "folder.dxf")


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything"
)
def test_unreadable_file(tmp_path: Path) -> None:
    path = write(tmp_path, raw())
    path.chmod(0)
    assert "may not be read" in refused(path)


def test_read_plan_refuses_unknown_units_before_reading(tmp_path: Path) -> None:
    from importer.hints import Hints

    with pytest.raises(PlanError, match="no drawing unit"):
        read_plan(write(tmp_path, raw()), Hints(units="furlong"))


def test_errors_survive_the_way_between_processes(tmp_path: Path) -> None:
    with pytest.raises(PlanError) as caught:
        sniff(tmp_path / "none.dxf")
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.finding == caught.value.finding
