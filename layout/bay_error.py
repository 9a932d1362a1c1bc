"""The one error of the layout: a bay that cannot be laid, told as a finding."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from shapely.errors import GEOSException

from importer.plan import Finding, Origin, Severity


class LayoutError(Exception):
    """A bay that cannot be laid. Takes one frozen record, so that it pickles; it never stops the
    other bays of a plan.
    """

    def __init__(self, finding: Finding) -> None:
        super().__init__(finding)
        self.finding = finding

    def __str__(self) -> str:
        return str(self.finding)


def not_laid(code: str, what: str, where: Origin, remedy: str) -> LayoutError:
    """A `LayoutError` of severity `SETTLE`: the rest of the plan stands, this part is missing."""
    return LayoutError(
        Finding(code=code, severity=Severity.SETTLE, what=what, where=where, remedy=remedy)
    )


@contextmanager
def told_as_finding(name: str, where: Origin) -> Iterator[None]:
    """Geometry that the polygon library refuses (outlines that cross themselves) becomes a
    `LayoutError` that names the room.
    """
    try:
        yield
    except GEOSException as error:
        what = f"The outlines of {name}, its doorways or obstacles cross themselves ({error})."
        remedy = "Redraw them as simple closed lines."
        raise not_laid("LAY-121", what, where, remedy) from error
