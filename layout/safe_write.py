"""Files that appear whole or not at all, and never over an input.

All files of a job are finished bytes before the first is written. They go to temporary names in the
folder they are meant for, are flushed to the disk, and only then take their names, one atomic rename
each. Whatever stops it on the way (a full disk, a locked file, Ctrl-C), what was there before is put
back and nothing new is left behind, folders included.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import stat
import time
import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path, PurePath
from typing import Final, Self

from layout.folder_lock import (
    FolderBusyError,
    lock_folder,
    old_ending,
    put_away,
    release,
)

_LONGEST_NAME: Final = 120
"""Bytes of a file name, ending included; file systems allow 255, archives and synced folders less."""

_TRIES: Final = 5
_PAUSE_S: Final = 0.2
"""On Windows a virus scanner or an open viewer can hold a file for a moment: so often is it tried
again, with pauses that grow by this."""

_IS_WINDOWS: Final = os.name == "nt"

_UNSAFE = re.compile(r'[<>:"/\\|?*]')
_DEVICES = frozenset(
    ("con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10)))
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OutputProblem:
    """Why nothing was written: where, what happened, what to do."""

    where: str
    what: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.where}: [OUT-101] {self.what} {self.remedy}"


class OutputError(Exception):
    """The outputs could not be written; nothing of them is left. Takes one frozen record."""

    def __init__(self, problem: OutputProblem) -> None:
        super().__init__(problem)
        self.problem = problem

    def __str__(self) -> str:
        return str(self.problem)


# --- names --------------------------------------------------------------------------------------


def safe_names(names: Iterable[str]) -> tuple[str, ...]:
    """File names that every file system takes and that differ even where case does not count.

    >>> safe_names(["Flat 1.csv", "flat 1.csv", "a/b: c.csv", "con.csv"])
    ('Flat 1.csv', 'flat 1-2.csv', 'a_b_ c.csv', '_con.csv')
    """
    taken: set[str] = set()
    found = []
    for name in names:
        safe = PurePath(_safe_name(name))
        stem, ending = safe.stem, safe.suffix
        unique, number = stem + ending, 1
        while _same_name(unique) in taken:
            number += 1
            unique = f"{stem}-{number}{ending}"
        taken.add(_same_name(unique))
        found.append(unique)
    return tuple(found)


def _same_name(name: str) -> str:
    """What two names have in common that a file system may take for one."""
    return unicodedata.normalize("NFC", name.casefold())


def _safe_name(name: str) -> str:
    """One name without what a file system, a shell or a listing could trip over."""
    whole = name.encode("utf-8", "replace").decode("utf-8")  # file names can hold broken characters
    clean = "".join(c if c.isprintable() else "_" for c in _UNSAFE.sub("_", whole))
    parts = PurePath(clean.strip(" .") or "_")
    stem, ending = parts.stem, parts.suffix
    room = _LONGEST_NAME - len(ending.encode("utf-8"))
    if room < 1:
        stem, ending, room = stem + ending, "", _LONGEST_NAME
    stem = stem.encode("utf-8")[:room].decode("utf-8", "ignore").rstrip(" .")
    is_unfit = stem.split(".")[0].lower() in _DEVICES or stem.startswith("-") or not stem
    return f"_{stem}{ending}" if is_unfit else stem + ending


# --- writing ------------------------------------------------------------------------------------


def write_all(
    folder: Path, files: Mapping[str, bytes], *, inputs: Sequence[Path] = ()
) -> tuple[Path, ...]:
    """Write all files of a job into a folder, or none; the paths written, in the order given.

    Names are made safe and unique. The folder and its parents are made where they are missing. Files
    of an earlier run are replaced; none of `inputs` ever is, by whatever path it is reached.

    Raises OutputError when anything at all could not be written.
    """
    targets = [folder / name for name in safe_names(files)]
    with _Writing(folder) as writing:
        for target in targets:
            check_target(target, inputs)
        staged = [writing.stage(t, data) for t, data in zip(targets, files.values(), strict=True)]
        for part, target in zip(staged, targets, strict=True):
            writing.put(part, target)
    return tuple(targets)


def write_file(path: Path, data: bytes, *, inputs: Sequence[Path] = ()) -> None:
    """Write one file by the same promises; a device or pipe is written to as it is.

    Raises OutputError.
    """
    if _is_device(path):
        with _told(path), path.open("wb", buffering=0) as device:
            _write_fully(device.fileno(), data)
        return
    with _Writing(path.parent) as writing:
        check_target(path, inputs)
        writing.put(writing.stage(path, data), path)


def check_folder(folder: Path) -> None:
    """Refuse a folder that cannot become one, before any work is spent. Makes nothing.

    Raises OutputError.
    """
    for place in (folder, *folder.parents):
        with _told(place):
            if place.is_dir():
                if not os.access(place, os.W_OK | os.X_OK):
                    raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
                return
            if os.path.lexists(place) and not place.is_dir():  # or made this very moment
                raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))


def check_target(target: Path, inputs: Sequence[Path]) -> None:
    """Refuse a target that is an input, a folder or a device. Raises OutputError."""
    for source in inputs:
        if _is_same(target, source):
            raise _error(
                target,
                f"This would overwrite the input {source}.",
                "Give another folder or file for the output.",
            )
    with _told(target):
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if _is_device(target):
        raise _error(target, "This is not a file.", "Give another folder for the output.")


def _is_same(one: Path, other: Path) -> bool:
    """One file by two names: the same path, a symbolic or a hard link."""
    try:
        return one.samefile(other)
    except (OSError, ValueError):  # one of them is not there
        return False


def _is_device(path: Path) -> bool:
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError):
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


@dataclass(slots=True)
class _Writing:
    """Keeps account of everything on the disk that has to go, or be put back, if it fails."""

    folder: Path
    made_folders: list[Path] = field(default_factory=list)
    parts: list[Path] = field(default_factory=list)
    replaced: list[tuple[Path, Path | None]] = field(default_factory=list)
    """Targets that have their new content, and where the old one is kept (None: there was none)."""
    lock: int | None = None

    def __enter__(self) -> Self:
        try:
            self._make_folder()
            self._take_folder()
        except BaseException:
            self._undo()
            release(self.lock)
            raise
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        try:
            if kind is None:
                for _target, old in self.replaced:
                    if old is not None:
                        _discard(old)
                _flush_folder(self.folder)
            else:
                self._undo()
        finally:
            release(self.lock)

    def _take_folder(self) -> None:
        """One run at a time writes here, so that no set of outputs is made of two."""
        try:
            self.lock = lock_folder(self.folder)
        except FolderBusyError as busy:
            raise _error(
                self.folder,
                "Another run is writing its outputs here and does not come to an end.",
                "End it, or give another folder.",
            ) from busy
        if self.lock is not None:
            # Who was here before may have taken the folder away, had it failed.
            self._make_folder()
            put_away(self.folder)

    def _make_folder(self) -> None:
        check_folder(self.folder)
        missing = [p for p in (self.folder, *self.folder.parents) if not p.exists()]
        for place in reversed(missing):
            with _told(place):
                try:
                    place.mkdir()
                except FileExistsError:  # made by another program meanwhile, or "x/../x"
                    if not place.is_dir():
                        raise
                else:
                    self.made_folders.append(place)

    def stage(self, target: Path, data: bytes) -> Path:
        """Write the data beside its target under a temporary name, down to the disk."""
        part = self._beside("part")
        self.parts.append(part)
        with _told(target):
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY, 0o666)
            try:
                _write_fully(handle, data)
                os.fsync(handle)
            finally:
                os.close(handle)
        return part

    def put(self, part: Path, target: Path) -> None:
        """Give a staged file its name; what bore it before is kept until all is done."""
        with _told(target):
            old = self._beside(old_ending(target)) if os.path.lexists(target) else None
            self.replaced.append((target, old))  # first of all: an interrupt can come at any line
            if old is not None:
                _keep(target, old)
            _replace(part, target)
            self.parts.remove(part)

    def _beside(self, ending: str) -> Path:
        return self.folder / f".setout-{secrets.token_hex(6)}.{ending}"

    def _undo(self) -> None:
        for target, old in reversed(self.replaced):
            if old is None:
                _discard(target)
            elif os.path.lexists(old):
                with suppress(OSError):
                    old.replace(target)
                    _discard(
                        old
                    )  # still there when both names are the old file: nothing was put yet
        for part in self.parts:
            _discard(part)
        for place in reversed(self.made_folders):
            with suppress(OSError):
                place.rmdir()


_BINARY: Final = getattr(os, "O_BINARY", 0)


def _write_fully(handle: int, data: bytes) -> None:
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(handle, rest) :]


def _keep(target: Path, old: Path) -> None:
    """A second name for the file at `target`, which also stays where it is if the system can do that."""
    try:
        os.link(target, old, follow_symlinks=False)
    except (OSError, NotImplementedError):  # a file system without hard links
        _replace(target, old)


def _replace(source: Path, target: Path) -> None:
    for attempt in range(1, _TRIES + 1):
        try:
            source.replace(target)
        except PermissionError:
            if not _IS_WINDOWS or attempt == _TRIES:
                raise
            time.sleep(_PAUSE_S * attempt)
        else:
            return


def _discard(path: Path) -> None:
    with suppress(OSError):
        path.unlink()


def _flush_folder(folder: Path) -> None:
    """Bring the new names to the disk too, where folders can be opened."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# --- what went wrong ----------------------------------------------------------------------------

_REASONS: Final[Mapping[int, tuple[str, str]]] = {
    errno.ENOSPC: ("The disk is full.", "Make room, or give another folder."),
    errno.EDQUOT: ("The disk quota is used up.", "Make room, or give another folder."),
    errno.EROFS: ("The disk is read-only.", "Give another folder."),
    errno.EACCES: ("Writing is not allowed here.", "Check permissions, or give another folder."),
    errno.EPERM: ("Writing is not allowed here.", "Check permissions, or give another folder."),
    errno.ENOTDIR: ("A file stands where a folder is wanted.", "Give another folder."),
    errno.EEXIST: ("A file stands where a folder is wanted.", "Give another folder."),
    errno.EISDIR: (
        "A folder stands where the file should go.",
        "Move it away, or give another name.",
    ),
    errno.ENAMETOOLONG: ("The name is too long for the file system.", "Give a shorter one."),
    errno.ELOOP: ("The path runs in a circle of links.", "Give another folder."),
}


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system says into words about `path`."""
    try:
        yield
    except OSError as error:
        what, remedy = _REASONS.get(
            error.errno or 0,
            (f"It cannot be written: {error.strerror or error}.", "Give another folder or file."),
        )
        if _IS_WINDOWS and isinstance(error, PermissionError):
            remedy = "Close it in other programs, check permissions, or give another folder."
        raise _error(path, what, remedy) from error
    except ValueError as error:  # a NUL character in a path
        raise _error(path, f"It cannot be written: {error}.", "Give another folder.") from error


def _error(where: Path, what: str, remedy: str) -> OutputError:
    return OutputError(
        OutputProblem(where=os.fspath(where).replace("\0", "\\0"), what=what, remedy=remedy)
    )
