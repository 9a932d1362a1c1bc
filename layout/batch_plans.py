"""Which drawings a job is made of: files as they are named, folders as the drawings in them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from importer.plan import Finding, Origin, PlanError, Severity

PLAN_ENDINGS: Final = (".dxf", ".ifc", ".ifczip")
"""What is taken for a plan in a folder; a file named by itself may have any name."""
MARKED_ENDING: Final = "-marked.dxf"
"""How a drawing that came from here is named; in a folder it is no plan."""
COPY_ENDING: Final = "-floors.ifc"
"""How a copy of a model with the floors in it is named; in a folder it is no plan either."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanList:
    """The plans of a job in the order given, and what was left out of it and why."""

    paths: tuple[Path, ...]
    left_out: tuple[str, ...] = ()


def find_plans(given: Sequence[Path]) -> PlanList:
    """Files as they are; folders as the drawings in them, by name. Each file once.

    Raises:
        PlanError: a folder cannot be listed or holds no drawing.
    """
    paths: list[Path] = []
    left_out: list[str] = []
    seen: set[Path] = set()
    for path in given:
        for found in _drawings_in(path, left_out) if path.is_dir() else (path,):
            real = found.resolve()
            if real in seen:
                left_out.append(f"{found}: given more than once, laid once.")
                continue
            seen.add(real)
            paths.append(found)
    return PlanList(paths=tuple(paths), left_out=tuple(left_out))


def _drawings_in(folder: Path, left_out: list[str]) -> Iterator[Path]:
    try:
        names = sorted(folder.iterdir(), key=lambda p: (p.name.casefold(), p.name))
    except OSError as error:
        raise _refused(
            "LAY-102",
            folder,
            f"The folder cannot be listed: {error.strerror}.",
            "Check its permissions.",
        ) from error
    drawings = [p for p in names if p.suffix.lower() in PLAN_ENDINGS and p.is_file()]
    ours = [p for p in drawings if p.name.lower().endswith((MARKED_ENDING, COPY_ENDING))]
    if not drawings or len(drawings) == len(ours):
        raise _refused(
            "LAY-101",
            folder,
            "There is no drawing to lay in this folder.",
            f"Give a folder with {' or '.join(PLAN_ENDINGS)} files in it, or the files themselves.",
        )
    left_out.extend(
        f"{p}: a {'marked drawing' if p.suffix.lower() == '.dxf' else 'model with floors'}, not a plan."
        for p in ours
    )
    yield from (p for p in drawings if p not in ours)


def _refused(code: str, path: Path, what: str, remedy: str) -> PlanError:
    return PlanError(refusal(code, path, what, remedy))


def refusal(code: str, path: Path, what: str, remedy: str) -> Finding:
    """A finding that stands in the place of a plan that came to nothing."""
    return Finding(
        code=code,
        severity=Severity.REFUSED,
        what=what,
        where=Origin(file=str(path)),
        remedy=remedy,
    )
