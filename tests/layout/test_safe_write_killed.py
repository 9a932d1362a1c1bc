"""A writer killed or interrupted at any call to the system, and two writers in one folder at once."""

from __future__ import annotations

import errno
import os
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from layout import folder_lock
from layout.safe_write import OutputError, write_all, write_file

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork and locks of folders")

NEW = {"a.dxf": b"new a", "b.csv": b"new b", "c.json": b"new c"}
OLD = {"a.dxf": b"old a", "c.json": b"old c"}
CALLS = ("open", "write", "fsync", "close", "link", "replace", "unlink", "mkdir")


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def act_at_call(number: int, act: Callable[[], None]) -> None:
    """From now on in this process: before the how-manieth call to the system, act."""
    left = [number]

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **kwargs: Any) -> Any:
            left[0] -= 1
            if left[0] == 0:
                act()
            return real(*args, **kwargs)

        return call

    for name in CALLS:
        setattr(os, name, counted(getattr(os, name)))


def no_links(*_: object, **__: object) -> None:
    raise OSError(errno.EPERM, "no hard links here")


def kill() -> None:
    os._exit(9)


def interrupt() -> None:
    raise KeyboardInterrupt


def stopped(number: int, act: Callable[[], None], out: Path, *, links: bool = True) -> bool:
    """Write in a process that is stopped before that call; False where it was done before."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            if not links:
                os.link = no_links
            act_at_call(number, act)
            write_all(out, NEW)
            code = 0
        except KeyboardInterrupt:
            code = 9
        finally:
            os._exit(code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code in {0, 9}
    return code == 9


@pytest.mark.parametrize("links", [True, False], ids=["hard links", "no hard links"])
def test_killed_at_any_call_every_file_is_whole_and_the_next_run_puts_all_right(
    tmp_path: Path, links: bool
) -> None:
    number, dies = 0, True
    while dies:
        number += 1
        out = tmp_path / str(number)
        write_all(out, {**OLD, "notes.txt": b"mine"})
        dies = stopped(number, kill, out, links=links)
        for name, data in contents(out).items():
            if not name.startswith(".setout-"):
                assert data in {OLD.get(name), NEW.get(name), b"mine"}
        write_file(out / "other.txt", b"of another command")
        kept = contents(out)
        assert {*OLD, "notes.txt", "other.txt"} <= set(kept) <= {*NEW, "notes.txt", "other.txt"}
        write_all(out, NEW)
        assert contents(out) == {**NEW, "notes.txt": b"mine", "other.txt": b"of another command"}
    assert number > 15


def test_interrupted_at_any_call_all_is_as_it_was_or_all_is_new(tmp_path: Path) -> None:
    number, stops = 0, True
    while stops:
        number += 1
        out = tmp_path / str(number)
        write_all(out, OLD)
        stops = stopped(number, interrupt, out)
        seen = {n: d for n, d in contents(out).items() if not n.startswith(".setout-")}
        assert seen in (OLD, NEW)
        write_all(out, NEW)
        assert contents(out) == NEW
    assert number > 15


def test_two_runs_at_once_leave_the_files_of_one_of_them(tmp_path: Path) -> None:
    sets = [{f"{n}.txt": bytes([65 + who]) * 9 for n in range(6)} for who in range(3)]
    for turn in range(6):
        out = tmp_path / str(turn) / "new"
        writers = [threading.Thread(target=write_all, args=(out, files)) for files in sets]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        assert contents(out) in sets


def test_run_that_does_not_end_is_told_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder_lock, "_WAIT_S", 0.0)
    held = folder_lock.lock_folder(tmp_path)
    with pytest.raises(OutputError, match=r"Another run is writing .*give another folder"):
        write_all(tmp_path, NEW)
    assert contents(tmp_path) == {}
    folder_lock.release(held)
    write_all(tmp_path, NEW)
    assert contents(tmp_path) == NEW


def test_read_only_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.open

    def refuse(path: Any, flags: int, *rest: Any, **more: Any) -> int:
        if flags & os.O_CREAT:
            raise OSError(errno.EROFS, "Read-only file system")
        return real(path, flags, *rest, **more)

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(OutputError, match=r"a\.dxf: .*read-only"):
        write_all(tmp_path / "out", NEW)
    assert list(tmp_path.iterdir()) == []
