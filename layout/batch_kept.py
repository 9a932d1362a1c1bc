"""Results kept beside the outputs, so that a stopped job goes on where it was.

An entry is one laid plan under the hash of everything that decides it: the bytes of the drawing, the
task as it prints (name, rules and whatever else a task holds), this program's own source and the
versions of the libraries. It appears whole or not at all and carries its own hash: what is damaged is
made anew.

The folder may have come from anywhere, so entries are not simply unpickled: only records of this project
and plain geometry are let through (`pickle` documentation, "Restricting Globals").
"""

from __future__ import annotations

import hashlib
import io
import os
import pickle
import secrets
import zlib
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any, Final

from layout.batch_outputs import LaidPlan, Task
from layout.floor import PlanStatus
from layout.rules import PerPlanRules

FOLDER: Final = ".setout-cache"
"""Name of the folder in the folder of the outputs. It may be removed at any time."""
_MARK: Final = b"setout kept result 1\n"
_ENDING: Final = ".kept"
_FAST: Final = 1
_LIBRARIES: Final = ("ezdxf", "ifcopenshell", "numpy", "scipy", "shapely")
_SOURCE_ENDINGS: Final = frozenset({".py", ".json", ".html", ".css", ".js", ".yaml"})

_RECORDS: Final = ("importer.plan", "layout.floor", "layout.frame", "layout.batch_outputs")
"""Modules whose classes an entry may hold; `layout.floor` stands for `layout.floor_*` too."""
_PLAIN: Final = frozenset(
    {
        ("shapely.io", "from_wkb"),
        ("shapely.io", "from_wkt"),
        ("builtins", "frozenset"),
        ("builtins", "set"),
        ("collections", "OrderedDict"),
        ("numpy", "dtype"),
        ("numpy._core.multiarray", "scalar"),
        ("numpy.core.multiarray", "scalar"),
        ("types", "MappingProxyType"),
    }
)


_UNREADABLE: Final = (
    zlib.error,
    pickle.UnpicklingError,
    EOFError,
    ImportError,
    AttributeError,
    LookupError,
    TypeError,
    ValueError,
)
"""What reading an entry can fail with that was not written by this version."""


@dataclass(slots=True, kw_only=True)
class KeptResults:
    """The entries of one folder of outputs. `damaged` counts what had to be made anew, `trouble` is why
    nothing could be kept ("" while all is well).
    """

    out: Path
    damaged: int = 0
    trouble: str = ""
    _used: set[str] = field(default_factory=set)

    @property
    def folder(self) -> Path:
        """Where the entries lie."""
        return self.out / FOLDER

    def key(self, task: Task) -> str | None:
        """What a task's result is kept under; None where its drawing cannot be read now, or is no file
        with bytes of its own (a pipe may never answer: only a process that can be ended opens it).
        """
        try:
            if not task.path.is_file():
                return None
            with task.path.open("rb") as drawing:
                content = hashlib.file_digest(drawing, "sha256").hexdigest()
        except (OSError, ValueError):  # reading it will tell why
            return None
        # Limits decide whether a plan is laid, not how.
        rules = task.rules.model_copy(update={"per_plan": PerPlanRules()})
        whole = f"{program()}\n{content}\n{replace(task, rules=rules)!r}"
        return hashlib.sha256(whole.encode(errors="replace")).hexdigest()

    def load(self, key: str) -> LaidPlan | None:
        """The result kept under a key; None where there is none, or it is damaged."""
        self._used.add(key)
        try:
            data = (self.folder / (key + _ENDING)).read_bytes()
        except OSError:
            return None
        found = _unpacked(data)
        if found is None:
            self.damaged += 1
        return found

    def store(self, key: str, laid: LaidPlan) -> None:
        """Keep a result. A plan that came to nothing is not kept: it is tried again."""
        if self.trouble or laid.result.status is PlanStatus.FAILED:
            return
        part = self.folder / f"{secrets.token_hex(8)}.part"
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            part.write_bytes(_packed(laid))
            part.replace(self.folder / (key + _ENDING))
        except OSError as error:
            self.trouble = f"{self.folder}: {error.strerror or error}"
            with suppress(OSError):
                part.unlink()

    def forget(self, keys: Iterable[str] | None = None) -> None:
        """Remove these entries; without `keys` all that this job has not used, and unfinished ones."""
        if keys is not None:
            going = [self.folder / (key + _ENDING) for key in keys]
        elif self.folder.is_dir():
            going = [p for p in self.folder.iterdir() if self._is_stale(p)]
        else:
            going = []
        for path in sorted(going):
            with suppress(OSError):
                path.unlink()

    def _is_stale(self, path: Path) -> bool:
        return path.suffix in {_ENDING, ".part"} and path.stem not in self._used


# --- entries ------------------------------------------------------------------------------------


def _packed(laid: LaidPlan) -> bytes:
    body = zlib.compress(pickle.dumps(laid, protocol=pickle.HIGHEST_PROTOCOL), _FAST)
    return _MARK + hashlib.sha256(body).digest() + body


def _unpacked(data: bytes) -> LaidPlan | None:
    head = len(_MARK) + hashlib.sha256().digest_size
    body = data[head:]
    if data[:head] != _MARK + hashlib.sha256(body).digest():
        return None
    try:
        found = _Guarded(io.BytesIO(zlib.decompress(body))).load()
    except _UNREADABLE:
        return None
    return found if isinstance(found, LaidPlan) else None


class _Guarded(pickle.Unpickler):
    """Lets only records and plain geometry through."""

    def find_class(self, module: str, name: str) -> Any:
        is_record = "." not in name and any(
            module == own or module.startswith(f"{own}_") for own in _RECORDS
        )
        if (module, name) in _PLAIN:
            return super().find_class(module, name)
        found = super().find_class(module, name) if is_record else None
        if isinstance(found, type) and found.__module__ == module:
            return found
        raise pickle.UnpicklingError(f"{module}.{name} has no place in a kept result")


@cache
def program() -> str:
    """A hash of this program's source and of the libraries that shape its results."""
    found = hashlib.sha256()
    for name in _LIBRARIES:
        with suppress(metadata.PackageNotFoundError):
            found.update(f"{name} {metadata.version(name)}\n".encode())
    top = Path(__file__).resolve().parent.parent
    for package in ("importer", "layout"):
        for path in sorted((top / package).rglob("*")):
            if path.suffix in _SOURCE_ENDINGS:
                found.update(os.fsencode(path.relative_to(top)))
                found.update(path.read_bytes())
    return found.hexdigest()
