"""One writer at a time in a folder of outputs, and what a killed one left there put away.

The lock lies on the folder itself, so that no file of it stays and the system ends it with the process.
Where folders cannot be locked (Windows, some network drives) the work goes on without.
"""

from __future__ import annotations

import os
import re
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

_WAIT_S: Final = 30.0
"""The files of a large block are on the disk in a few seconds; one that takes longer hangs."""
_PAUSE_S: Final = 0.05

_LEFT = re.compile(r"\.setout-[0-9a-f]{12}\.(?:part|(?P<target>.+)\.old)", re.DOTALL)
_LONGEST: Final = 200
"""Bytes of a name that can stand inside another one; file systems allow 255."""


class FolderBusyError(Exception):
    """Another process has been writing here for too long."""


def lock_folder(folder: Path) -> int | None:
    """A handle that holds the folder until it is closed; None where folders cannot be locked.

    Raises:
        FolderBusyError: another process holds it and does not let go.
    """
    if fcntl is None:
        return None
    handle = -1
    try:
        handle = os.open(folder, os.O_RDONLY)
        _wait_for(handle)
    except OSError:
        release(handle if handle >= 0 else None)
        return None
    except BaseException:
        release(handle if handle >= 0 else None)
        raise
    return handle


def _wait_for(handle: int) -> None:
    until = time.monotonic() + _WAIT_S
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as busy:
            if time.monotonic() > until:
                raise FolderBusyError from busy
            time.sleep(_PAUSE_S)
        else:
            return


def release(handle: int | None) -> None:
    """Let go of a folder."""
    if handle is not None:
        with suppress(OSError):
            os.close(handle)


def old_ending(target: Path) -> str:
    """Ending of the name under which the old file of a target is kept, from which it is found again."""
    return f"{target.name}.old" if len(os.fsencode(target.name)) <= _LONGEST else "old"


def put_away(folder: Path) -> None:
    """Remove what a killed writer left; an old file whose place is empty goes back there. Only for who
    holds the folder.
    """
    with suppress(OSError):
        for path in sorted(folder.iterdir()):
            found = _LEFT.fullmatch(path.name)
            if found is None:
                continue
            target = found["target"]
            with suppress(OSError):
                if target is not None and not os.path.lexists(folder / target):
                    path.replace(folder / target)
                else:
                    path.unlink()
