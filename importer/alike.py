"""Findings of one kind told together: the first in full, the others by their number and first places.

A drawing that has one habit has it everywhere, and forty equal lines hide the one that differs. Records
keep every finding; only what is read by people is shortened.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from importer.plan import Finding

FEW: Final = 3
"""So many findings of a kind are still told one by one."""
PLACES: Final = 3
"""Further places that are named."""
_FIGURES: Final = re.compile(r"[-+]?\d+(?:[.,]\d+)*")
_NAMES: Final = re.compile(r"'[^']*'|\"[^\"]*\"")


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """Findings that say the same of several places, in their order; one alone where it has no like."""

    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        """The one that is told in full."""
        return self.findings[0]

    @property
    def others(self) -> str:
        """Words for the rest, "" where there is none: how many, and where the first of them are."""
        rest = self.findings[1:]
        if not rest:
            return ""
        places = list(dict.fromkeys(p for p in (_place(self.first, f) for f in rest) if p))
        named = ", ".join(places[:PLACES])
        more = len(places) - PLACES
        tail = f": {named}" + (f" and {more} more" if more > 0 else "") if named else ""
        return f"The same {len(rest)} times more{tail}."

    def __str__(self) -> str:
        return " ".join(words for words in (str(self.first), self.others) if words)


def told_together(findings: Sequence[Finding]) -> tuple[Alike, ...]:
    """Findings by kind, each kind at the place of its first: equal in code, severity, remedy and in
    what they say but for figures and quoted names.

    >>> from importer.plan import Origin, Severity
    >>> gaps = [
    ...     Finding(code="IMP-320", severity=Severity.NOTE, what=f"gap of {w} mm",
    ...             where=Origin(file="a.dxf", at=(w, 0.0)))
    ...     for w in (700, 710, 720, 730)
    ... ]
    >>> [str(kind) for kind in told_together(gaps)]
    ['a.dxf, at (700, 0): [IMP-320] gap of 700 mm The same 3 times more: (710, 0), (720, 0), (730, 0).']
    """
    kinds: dict[tuple[str, ...], list[Finding]] = {}
    for finding in findings:
        kinds.setdefault(_kind(finding), []).append(finding)
    found: list[Alike] = []
    for alike in kinds.values():
        if len(alike) <= FEW:
            found += [Alike(findings=(finding,)) for finding in alike]
        else:
            found.append(Alike(findings=tuple(alike)))
    return tuple(found)


def _kind(finding: Finding) -> tuple[str, ...]:
    said = _FIGURES.sub("#", _NAMES.sub("''", finding.what))
    return finding.code, finding.severity.value, finding.where.file, said, finding.remedy


def _place(first: Finding, other: Finding) -> str:
    """Where another one is, without what it shares with the first."""
    where = other.where
    if where.at is not None:
        return f"({where.at[0]:.6g}, {where.at[1]:.6g})"
    if where.handle is not None:
        return f"handle {where.handle}"
    if where.guid is not None:
        return f"GUID {where.guid}"
    if where.layer is not None and where.layer != first.where.layer:
        return f"layer {where.layer}"
    return ""
