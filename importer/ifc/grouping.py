"""One finding for many alike: how many there are, and where they are found."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from importer.ifc.model import Entity, IfcModel
from importer.plan import Finding, Severity

MOST_LISTED: Final = 8
"""Places named in one finding; who mends the first eight finds the rest in the same way."""


class Case(NamedTuple):
    """One of several alike: the entity it is about, and what is said of it."""

    about: Entity | None
    said: str


class Kind(NamedTuple):
    """What alike findings share. `one` and `many` are sentences with `{it}` for what is said of the
    case or cases, `many` with `{n}` for their number.
    """

    code: str
    severity: Severity
    one: str
    many: str
    remedy: str = ""


def grouped(model: IfcModel, kind: Kind, cases: Sequence[Case]) -> list[Finding]:
    """The finding for all cases of a kind; none where there are none. It points at the first."""
    if not cases:
        return []
    sentence = kind.one if len(cases) == 1 else kind.many
    what = sentence.format(it=listed([c.said for c in cases]), n=len(cases))
    return [model.finding(kind.code, kind.severity, what, about=cases[0].about, remedy=kind.remedy)]


def listed(places: Sequence[str], most: int = MOST_LISTED) -> str:
    """The first few, and how many more.

    >>> listed(["a", "b"]), listed(["a", "b", "c", "d"], most=3)
    ('a; b', 'a; b; c and 1 more')
    """
    more = f" and {len(places) - most} more" if len(places) > most else ""
    return "; ".join(places[:most]) + more
