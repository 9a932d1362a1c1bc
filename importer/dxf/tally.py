"""What a modelspace holds beside linework, counted while it is flattened, told as findings."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

from importer.plan import Finding, Origin, Severity

ANNOTATION: Final = frozenset(
    [
        *("DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MULTILEADER"),
        *("MLEADER", "TOLERANCE", "ATTDEF", "ACAD_TABLE"),
    ]
)
"""Drawn about the plan, not part of it."""

SILENT: Final = frozenset(
    [
        *("POINT", "VIEWPORT", "XLINE", "RAY", "WIPEOUT", "SHAPE", "LIGHT", "SUN", "CAMERA"),
        *("OLEFRAME", "OLE2FRAME", "SEQEND", "VERTEX", "GEOPOSITIONMARKER", "POSITIONMARKER"),
    ]
)
"""Marks, masks and construction lines without end: nothing that a wall could be drawn with."""

PICTURES: Final = frozenset(
    ["IMAGE", "PDFUNDERLAY", "DGNUNDERLAY", "DWFUNDERLAY", "PDFREFERENCE", "COORDINATION MODEL"]
)


@dataclass(slots=True)
class Tally:
    """Counters of one flattening. Keys are (kind, layer) where not said otherwise."""

    unsupported: Counter[tuple[str, str]] = field(default_factory=Counter)
    annotation: Counter[str] = field(default_factory=Counter)
    hidden: Counter[str] = field(default_factory=Counter)
    invisible: int = 0
    damaged: dict[str, tuple[str, str, str]] = field(default_factory=dict)
    xrefs: dict[str, str] = field(default_factory=dict)
    undefined: Counter[str] = field(default_factory=Counter)
    cycles: Counter[str] = field(default_factory=Counter)
    clipped: Counter[str] = field(default_factory=Counter)
    curtailed: dict[str, str] = field(default_factory=dict)

    def leave_out(self, kind: str, layer: str) -> None:
        """Count an entity that gives no linework."""
        if kind in ANNOTATION:
            self.annotation[kind] += 1
        elif kind not in SILENT:
            self.unsupported[kind, layer] += 1

    def findings(self, file: str) -> tuple[Finding, ...]:
        """Everything counted, in a fixed order."""
        teller = _Teller(file)
        teller.tell_missing(self)
        teller.tell_unsupported(self)
        teller.tell_limits(self)
        teller.tell_left_out(self)
        return tuple(teller.out)


class _Teller:
    def __init__(self, file: str) -> None:
        self.file = file
        self.out: list[Finding] = []

    def _add(
        self,
        code: str,
        what: str,
        remedy: str = "",
        *,
        severity: Severity = Severity.NOTE,
        layer: str | None = None,
        handle: str | None = None,
    ) -> None:
        where = Origin(file=self.file, layer=layer, handle=handle)
        finding = Finding(code=code, severity=severity, what=what, where=where, remedy=remedy)
        self.out.append(finding)

    def tell_missing(self, tally: Tally) -> None:
        for name, path in sorted(tally.xrefs.items()):
            self._add(
                "IMP-111",
                f"the reference drawing {name} ({path or 'no path'}) is not part of this file.",
                "If walls or doors are in it, have it bound into the drawing before saving.",
                severity=Severity.SETTLE,
            )
        for name, count in sorted(tally.undefined.items()):
            self._add(
                "IMP-112",
                f"block {name} is placed {count}x but its definition is missing.",
                "What it shows is left out; have the drawing saved as DXF once more.",
                severity=Severity.SETTLE,
            )

    def tell_unsupported(self, tally: Tally) -> None:
        groups: dict[str, list[tuple[str, int]]] = defaultdict(list)
        for (kind, layer), count in sorted(tally.unsupported.items()):
            groups[kind].append((layer, count))
        for kind, layers in sorted(groups.items()):
            total = sum(count for _, count in layers)
            places = ", ".join(f"{layer} ({count})" for layer, count in layers[:5])
            more = f" and {len(layers) - 5} more" if len(layers) > 5 else ""
            what = f"{total} {kind} on layer {places}{more} cannot be read as linework."
            self._add("IMP-110", what, _remedy_for(kind), severity=_weight_of(kind))

    def tell_limits(self, tally: Tally) -> None:
        for name, count in sorted(tally.cycles.items()):
            self._add(
                "IMP-113",
                f"block {name} contains itself; {count} such reference(s) left out.",
                "Have the drawing checked (audit) in the CAD program and saved again.",
                severity=Severity.SETTLE,
            )
        for name, what in sorted(tally.curtailed.items()):
            self._add(
                "IMP-114",
                f"block {name}: {what}",
                "Have repeated decoration taken out of the drawing, or the storeys saved apart.",
                severity=Severity.SETTLE,
            )
        for name, count in sorted(tally.clipped.items()):
            self._add(
                "IMP-116",
                f"block {name} is cropped {count}x in a way that is not understood; all of it is used.",
                "Check the picture of the plan for parts that the drawing does not show.",
                severity=Severity.SETTLE,
            )

    def tell_left_out(self, tally: Tally) -> None:
        self._tell_damaged(tally)
        if tally.hidden:
            total = sum(tally.hidden.values())
            names = _some(sorted(tally.hidden))
            what = f"left out, as on frozen or switched-off layers: {total} entities ({names})."
            self._add("IMP-117", what, "Switch the layers on in the drawing if they matter.")
        if tally.invisible:
            what = f"left out, as marked invisible: {tally.invisible} entities."
            self._add("IMP-117", what)
        if tally.annotation:
            kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(tally.annotation.items()))
            self._add("IMP-118", f"dimensions and notes take no part in the linework: {kinds}.")

    def _tell_damaged(self, tally: Tally) -> None:
        reasons: dict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
        for handle, (kind, layer, reason) in sorted(tally.damaged.items()):
            reasons[kind, reason].append((handle, layer))
        for (kind, reason), places in sorted(reasons.items()):
            handle, layer = places[0]
            handles = _some([place[0] for place in places])
            what = f"{len(places)} {kind} left out, {reason} (handle {handles})."
            remedy = "Draw it again if it matters, or have the drawing audited in its CAD program."
            self._add("IMP-115", what, remedy, severity=Severity.SETTLE, layer=layer, handle=handle)


def _some(names: Iterable[str], limit: int = 5) -> str:
    every = list(names)
    more = f" and {len(every) - limit} more" if len(every) > limit else ""
    return ", ".join(every[:limit]) + more


def _weight_of(kind: str) -> Severity:
    """Pictures and solids may hold the walls; a table or a note cannot."""
    return Severity.NOTE if kind in {"MESH", "SURFACE"} else Severity.SETTLE


def _remedy_for(kind: str) -> str:
    if kind in PICTURES:
        return "A picture has no lines; if it shows the plan, ask for the drawing behind it."
    if kind in {"3DSOLID", "REGION", "BODY", "SURFACE", "MESH"} or kind.endswith("SURFACE"):
        return "If it is part of the walls, have the plan view flattened to lines before saving."
    return (
        "If it is a wall or a door, have the drawing exported with such objects exploded to "
        "lines (or with their proxy graphics)."
    )
