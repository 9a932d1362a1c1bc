"""Rule sets and a job file that come with the program: package data of the wheel, else beside it."""

from __future__ import annotations

from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Final

DEFAULT_CONFIG: Final = "rigid_vinyl"
"""The one that is used when none is given."""


def config_names() -> tuple[str, ...]:
    """Names of the packaged rule sets, sorted, without their ending."""
    found = (f.name for f in _folder().iterdir())
    return tuple(sorted(n.removesuffix(".yaml") for n in found if n.endswith(".yaml")))


def config_text(name: str) -> str:
    """The packaged rule set as written, comments and all. Raises KeyError for an unknown name."""
    if name not in config_names():
        raise KeyError(name)
    return (_folder() / f"{name}.yaml").read_text(encoding="utf-8")


def job_text() -> str:
    """The packaged job file, comments and all."""
    return (_folder() / "jobs" / "block.yaml").read_text(encoding="utf-8")


def _folder() -> Traversable:
    packaged = files("layout") / "_configs"
    return packaged if packaged.is_dir() else Path(__file__).parent.parent / "configs"
