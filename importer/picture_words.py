"""Words about a plan that its table and its picture share: names, areas, lengths, finding numbers.

Names come from drawings and are data: `clean` makes them one line of printable characters.
"""

from __future__ import annotations

import unicodedata
from collections import Counter
from typing import Final

from importer.plan import Finding, Plan, Room, RoomId, Severity

_ORDER: Final = (Severity.REFUSED, Severity.SETTLE, Severity.NOTE)
_IMPERIAL: Final = frozenset({"in", "ft"})
_MM2_PER_SQ_FT: Final = 304.8**2
_MM_PER_INCH: Final = 25.4


def clean(text: str) -> str:
    r"""One line, no control, direction or unassigned characters, single spaces.

    >>> clean("Living\n room\x1b[31m\u202e")
    'Living room [31m'
    """
    kept = [" " if unicodedata.category(c)[0] in "CZ" else c for c in text]
    return " ".join("".join(kept).split())


def room_title(room: Room) -> str:
    """What a person calls the room: its name, else its number, else its id."""
    return clean(room.name or "") or clean(room.number or "") or str(room.id)


def room_titles(plan: Plan) -> dict[RoomId, str]:
    """Title of each room, with its number or flat where several rooms share a name."""
    plain = {r.id: room_title(r) for r in plan.rooms}
    flats = {f.id: clean(f.name) for f in plan.flats}
    uses = Counter(plain.values())
    return {
        r.id: _told_apart(r, flats.get(r.flat, "") if r.flat else "")
        if uses[plain[r.id]] > 1
        else plain[r.id]
        for r in plan.rooms
    }


def _told_apart(room: Room, flat: str) -> str:
    title = room_title(room)
    number = clean(room.number or "")
    more = [w for w in (number if number != title else "", flat) if w]
    return f"{title} ({more[0]})" if more else f"{title} ({room.id})"


def is_imperial(plan: Plan) -> bool:
    """Whether the drawing was made in inches or feet."""
    return plan.units.name in _IMPERIAL


def area_text(area_mm2: float, *, imperial: bool, square: str = "m\N{SUPERSCRIPT TWO}") -> str:
    """`18.42 m2`, or `198.3 sq ft` for a drawing in inches or feet."""
    if imperial:
        return f"{area_mm2 / _MM2_PER_SQ_FT:.1f} sq ft"
    return f"{area_mm2 / 1e6:.2f} {square}"


def length_text(length_mm: float, *, imperial: bool) -> str:
    """Whole millimetres, or inches to a quarter: `910`, `32 1/2 in`.

    >>> length_text(825.5, imperial=True), length_text(909.6, imperial=False)
    ('32 1/2 in', '910')
    """
    if not imperial:
        return f"{length_mm:.0f}"
    whole, quarters = divmod(round(length_mm / _MM_PER_INCH * 4), 4)
    part = ("", " 1/4", " 1/2", " 3/4")[quarters]
    return f"{whole}{part} in"


def numbered_findings(plan: Plan) -> tuple[tuple[int, Finding], ...]:
    """Findings with the numbers they bear in table and picture: gravest first, those of one kind
    together, else in plan order.
    """
    first: dict[str, int] = {}
    for place, finding in enumerate(plan.findings):
        first.setdefault(finding.code, place)
    ordered = sorted(plan.findings, key=lambda f: (_ORDER.index(f.severity), first[f.code]))
    return tuple(enumerate(ordered, 1))


def severity_word(severity: Severity) -> str:
    """How a finding's weight is told to a person."""
    return {
        Severity.REFUSED: "not used",
        Severity.SETTLE: "please check",
        Severity.NOTE: "note",
    }[severity]
