"""Models in ZIP archives: exactly one in it, wherever; bombs, tricks with names and damage refused."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from importer.ifc import archive
from importer.ifc.archive import MOST_MEMBERS, unpacked
from importer.plan import PlanError
from importer.read import read_plan
from importer.sniff import FileKind, sniff
from tests.importer.ifc.models import read_here, saved, step_text

MODEL = step_text().encode()


def packed(members: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", how) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return stream.getvalue()


def refusal_of(data: bytes) -> str:
    with pytest.raises(PlanError) as caught:
        unpacked(data, "house.ifczip")
    finding = caught.value.finding
    assert finding.code in {"IMP-151", "IMP-152"}
    assert finding.remedy
    return finding.what


@pytest.mark.parametrize("how", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA])
@pytest.mark.parametrize(
    "members",
    [
        {"a.ifc": MODEL},
        {"A.IFC": MODEL},
        {"tmp/x/a.ifc": MODEL},
        {"readme.txt": b"hello", "plan.dxf": b"0", "a.ifc": MODEL},
        {"__MACOSX/._a.ifc": b"no model", "._a.ifc": b"no model", "a.ifc": MODEL},
        {"../../etc/a.ifc": MODEL},
        {"C:\\temp\\a.ifc": MODEL},
    ],
)
def test_the_one_model_is_found_wherever_it_lies(members: dict[str, bytes], how: int) -> None:
    assert unpacked(packed(members, how), "house.ifczip") == MODEL


@pytest.mark.parametrize(
    ("members", "words"),
    [
        ({"a.ifc": MODEL, "b.ifc": MODEL}, ["2 models", "a.ifc", "b.ifc"]),
        ({"x/a.ifc": MODEL, "y/A.IFC": MODEL}, ["2 models", "x/a.ifc", "y/A.IFC"]),
        ({"readme.txt": b"hello"}, ["no .ifc", "readme.txt"]),
        ({"a.ifcxml": b"<ifc/>"}, ["no .ifc", "a.ifcxml"]),
        ({}, ["no .ifc"]),
        ({"evil\x1b[2J\n.txt": b""}, ["evil?[2J?.txt"]),
    ],
)
def test_none_or_several_are_refused_and_listed(
    members: dict[str, bytes], words: list[str]
) -> None:
    what = refusal_of(packed(members))
    assert all(word in what for word in words)
    assert what.isprintable()


def test_archive_that_unpacks_to_more_than_a_model_may_have_is_refused_while_it_unpacks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(archive, "MOST_BYTES", 1_000_000)
    bomb = packed({"a.ifc": MODEL + bytes(50_000_000)})
    assert len(bomb) < 100_000
    assert "more than the 1 MB" in refusal_of(bomb)
    # The size that an archive states of its member is a lie here, in both places where it stands.
    liar = bomb.replace((50_000_000 + len(MODEL)).to_bytes(4, "little"), b"\x10\0\0\0")
    assert liar != bomb
    refusal_of(liar)


def test_archive_of_many_files_is_refused() -> None:
    assert "files" in refusal_of(packed({f"{k}.txt": b"" for k in range(MOST_MEMBERS + 1)}))


def test_locked_archive_is_refused() -> None:
    data = bytearray(packed({"a.ifc": MODEL}))
    data[6] |= 1  # the flag in the member
    data[data.rindex(b"PK\x01\x02") + 8] |= 1  # and in the list
    assert "password" in refusal_of(bytes(data))


@pytest.mark.parametrize("how", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA])
def test_damaged_archive_gives_the_model_or_one_sentence(how: int) -> None:
    whole = packed({"größe/a.ifc": MODEL, "b.txt": b"hello"}, how)
    random = np.random.default_rng(7)
    for _ in range(150):
        data = bytearray(whole)
        for at in random.integers(0, len(data), 3).tolist():
            data[at] = int(random.integers(0, 256))
        cut = int(random.integers(0, len(data))) if random.random() < 0.2 else len(data)
        assert outcome(bytes(data[:cut])) in {"the model", "IMP-151", "IMP-152"}


def outcome(data: bytes) -> str:
    try:
        got = unpacked(data, "house.ifczip")
    except PlanError as refused:
        return refused.finding.code if str(refused).isprintable() else "unprintable"
    # The archive's own checksum guards the bytes: what comes out is what went in.
    return "the model" if got == MODEL else "another model"


def test_zipped_model_is_told_by_its_content_and_read_like_the_model(tmp_path: Path) -> None:
    plain = read_here(saved(tmp_path, MODEL))
    for name in ("t.ifczip", "t.zip"):
        path = saved(tmp_path, packed({"deep/t.ifc": MODEL}), name)
        assert sniff(path) is FileKind.IFC_ZIP
        plan = read_here(path)
        assert [r.shape for r in plan.rooms] == [r.shape for r in plain.rooms]
        assert plan.file == name


def test_drawing_in_an_archive_is_still_to_be_unpacked(tmp_path: Path) -> None:
    path = saved(tmp_path, packed({"plan.dxf": b"0\nSECTION\n"}), "plan.zip")
    with pytest.raises(PlanError, match="ZIP archive"):
        sniff(path)


def test_archive_without_a_model_is_refused_by_its_reader(tmp_path: Path) -> None:
    path = saved(tmp_path, packed({"a.txt": b"ISO"}), "house.ifczip")
    with pytest.raises(PlanError, match=r"no \.ifc"):
        read_plan(path)
    path = saved(tmp_path, packed({"a.ifc": b"hello"}), "house.zip")
    with pytest.raises(PlanError, match="ISO-10303-21"):
        read_plan(path)
