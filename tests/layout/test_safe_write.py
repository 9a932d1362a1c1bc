"""Outputs appear whole or not at all; inputs survive; what was there before is put back."""

from __future__ import annotations

import errno
import os
import pickle
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout import safe_write
from layout.safe_write import (
    OutputError,
    check_folder,
    safe_names,
    write_all,
    write_file,
)

FILES = {"a.dxf": b"first", "b.csv": b"second", "c.json": b"third"}


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()
    }


def failing_at(call: int, error: BaseException) -> Callable[[int], None]:
    """A stand-in for fsync that fails when it is called for that time."""
    calls = 0

    def fsync(handle: int) -> None:
        nonlocal calls
        calls += 1
        if calls == call:
            raise error

    return fsync


def test_all_files_are_written_and_nothing_else(tmp_path: Path) -> None:
    out = tmp_path / "new" / "job"
    written = write_all(out, FILES)
    assert [p.name for p in written] == list(FILES)
    assert contents(tmp_path) == {f"new/job/{name}": data for name, data in FILES.items()}


def test_earlier_outputs_are_replaced_and_strangers_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.dxf").write_bytes(b"old")
    (tmp_path / "notes.txt").write_bytes(b"mine")
    write_all(tmp_path, FILES)
    assert contents(tmp_path) == {**FILES, "notes.txt": b"mine"}


@pytest.mark.parametrize("call", [1, 2, 3])
@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (OSError(errno.ENOSPC, "No space left on device"), OutputError),
        (KeyboardInterrupt(), KeyboardInterrupt),
        (MemoryError(), MemoryError),
    ],
)
def test_failure_while_staging_leaves_everything_as_it_was(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    call: int,
    error: BaseException,
    expected: type[BaseException],
) -> None:
    before = {"out/b.csv": b"old", "out/notes.txt": b"mine"}
    (tmp_path / "out").mkdir()
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    monkeypatch.setattr(os, "fsync", failing_at(call, error))
    with pytest.raises(expected):
        write_all(tmp_path / "out", FILES)
    monkeypatch.setattr(os, "fsync", failing_at(call, error))
    with pytest.raises(expected):
        write_all(tmp_path / "new" / "deep", FILES)
    assert contents(tmp_path) == before
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "no hard links"])
@pytest.mark.parametrize("call", [1, 2, 3, 4, 5])
def test_failure_while_renaming_puts_the_old_files_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: int, links: bool
) -> None:
    before = {"a.dxf": b"old a", "c.json": b"old c"}
    for name, data in before.items():
        (tmp_path / name).write_bytes(data)
    real, calls = os.replace, 0

    def replace(source: Path, target: Path) -> None:
        nonlocal calls
        calls += 1
        if calls == call:
            raise KeyboardInterrupt
        real(source, target)

    def link(*args: object, **kwargs: object) -> None:
        raise OSError(errno.EPERM, "no hard links here")

    monkeypatch.setattr(os, "replace", replace)
    if not links:
        monkeypatch.setattr(os, "link", link)
    if links and call > 3:  # three renames are all there are
        write_all(tmp_path, FILES)
        assert contents(tmp_path) == FILES
        return
    with pytest.raises(KeyboardInterrupt):
        write_all(tmp_path, FILES)
    assert contents(tmp_path) == before


def test_full_disk_is_told_with_the_file_and_a_remedy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "fsync", failing_at(2, OSError(errno.ENOSPC, "full")))
    with pytest.raises(OutputError, match=r"b\.csv: .*disk is full\. Make room") as caught:
        write_all(tmp_path, FILES)
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


@pytest.mark.parametrize("link", ["same", "symbolic", "hard"])
def test_input_is_never_overwritten_by_whatever_path(tmp_path: Path, link: str) -> None:
    source, out = tmp_path / "plan" / "a.dxf", tmp_path / "out"
    source.parent.mkdir()
    out.mkdir()
    source.write_bytes(b"the architect's")
    if link == "same":
        out = source.parent
    elif link == "symbolic":
        (out / "a.dxf").symlink_to(source)
    else:
        os.link(source, out / "a.dxf")
    with pytest.raises(OutputError, match=r"would overwrite the input .*another folder"):
        write_all(out, FILES, inputs=[source])
    assert source.read_bytes() == b"the architect's"
    assert sorted(p.name for p in out.iterdir()) == ["a.dxf"]


def test_link_to_another_file_is_replaced_not_written_through(tmp_path: Path) -> None:
    other = tmp_path / "other.dxf"
    other.write_bytes(b"keep")
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.dxf").symlink_to(other)
    write_all(out, FILES)
    assert other.read_bytes() == b"keep"
    assert contents(out) == FILES


def test_file_in_place_of_the_folder_is_refused_and_kept(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"a file")
    for folder in (tmp_path / "out", tmp_path / "out" / "deeper"):
        with pytest.raises(OutputError, match="A file stands where a folder is wanted"):
            check_folder(folder)
        with pytest.raises(OutputError, match="A file stands where a folder is wanted"):
            write_all(folder, FILES)
    assert contents(tmp_path) == {"out": b"a file"}


def test_folder_in_place_of_a_file_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    (tmp_path / "out" / "c.json").mkdir(parents=True)
    with pytest.raises(OutputError, match=r"c\.json: .*A folder stands where the file should go"):
        write_all(tmp_path / "out", FILES)
    assert contents(tmp_path) == {}


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="needs a Linux /proc")
def test_folder_that_the_system_does_not_let_be_made_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"/proc/setout-out: .*cannot be written"):
        write_all(Path("/proc/setout-out/deeper"), FILES)


@pytest.mark.parametrize("name", ["\0", "x" * 300], ids=["NUL", "too long"])
def test_impossible_folder_name_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(OutputError):
        write_all(tmp_path / name, FILES)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_device_is_written_to_and_never_replaced() -> None:
    before = Path("/dev/full").stat().st_rdev
    with pytest.raises(OutputError, match=r"/dev/full: .*disk is full"):
        write_file(Path("/dev/full"), b"x")
    write_file(Path("/dev/null"), b"x")
    assert Path("/dev/full").stat().st_rdev == before
    assert Path("/dev/null").is_char_device()


def test_pipe_is_written_to(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_file(pipe, b"through")
        assert os.read(reader, 100) == b"through"
    finally:
        os.close(reader)
    assert pipe.is_fifo()


def test_single_file_keeps_the_old_one_when_it_fails(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "plan.json"
    write_file(target, b"old")
    monkeypatch.setattr(os, "fsync", failing_at(1, OSError(errno.ENOSPC, "full")))
    with pytest.raises(OutputError):
        write_file(target, b"new")
    assert contents(tmp_path) == {"plan.json": b"old"}


def test_windows_lock_is_waited_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A viewer that holds the file for a moment does not fail the job, one that keeps it does."""
    real, left = os.replace, [2]

    def held(source: Path, target: Path) -> None:
        if left[0]:
            left[0] -= 1
            raise PermissionError(errno.EACCES, "in use")
        real(source, target)

    source, target = tmp_path / "part", tmp_path / "a.dxf"
    source.write_bytes(b"x")
    monkeypatch.setattr(safe_write, "_PAUSE_S", 0.0)
    monkeypatch.setattr(os, "replace", held)
    monkeypatch.setattr(safe_write, "_IS_WINDOWS", True)
    safe_write._replace(source, target)
    assert target.read_bytes() == b"x"
    left[0] = 99
    with pytest.raises(PermissionError):
        safe_write._replace(target, source)


@given(st.lists(st.text(max_size=200), max_size=8))
def test_safe_names_are_distinct_safe_and_stay_as_they_are(names: list[str]) -> None:
    found = safe_names(names)
    assert len({n.casefold() for n in found}) == len(names)
    assert safe_names(found) == found
    for name in found:
        assert 0 < len(name.encode()) <= 130
        assert not set(name) & set('<>:"/\\|?*\0\n')
        assert name not in {".", ".."}
        assert not name.startswith("-")
        assert not name.endswith((" ", "."))


def test_name_from_a_broken_file_system_is_made_printable() -> None:
    assert safe_names([os.fsdecode(b"pl\xe9n.dxf")]) == ("pl?n.dxf".replace("?", "_"),)
