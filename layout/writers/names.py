"""Names from drawings as one clean line: data, never commands. For every output but the DXF, which has
codes of its own.
"""

from __future__ import annotations

import unicodedata
from typing import Final

from importer.plan import Plan, RoomId
from layout.floor import Bay, PlanResult

LONGEST: Final = 120
"""Characters of a name that are printed; the rest is cut off and an ellipsis says so."""

_UNSHOWN: Final = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
"""Unicode categories that show nothing, or turn the direction of what follows."""
_JOINERS: Final = "\u200c\u200d"
"""Format characters that belong to the spelling of some scripts."""


def clean(text: str, longest: int = LONGEST) -> str:
    r"""One line of text that shows what the drawing shows: control characters and marks that turn the
    writing direction become blanks, runs of blanks one, what is too long is cut off.

    >>> clean("Bad\x00\n\u202egnivil  room")
    'Bad gnivil room'
    >>> clean("Corridor", 5)
    'Corr…'
    """
    shown = "".join(" " if _is_unshown(c) else c for c in text)
    line = " ".join(shown.split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def _is_unshown(char: str) -> bool:
    return unicodedata.category(char) in _UNSHOWN and char not in _JOINERS


def room_names(plan: Plan | None) -> dict[RoomId, str]:
    """What each room is called: its number and name where it has them, else its id."""
    rooms = plan.rooms if plan is not None else ()
    return {r.id: clean(r.name or r.number or str(r.id)) or str(r.id) for r in rooms}


def storey_name(result: PlanResult, bay: Bay) -> str:
    """The name of the storey a bay lies on."""
    storeys = result.plan.storeys if result.plan is not None else ()
    return next((clean(s.name) for s in storeys if s.id == bay.storey), str(bay.storey))


def flat_name(result: PlanResult, bay: Bay) -> str:
    """The name of the flat a bay belongs to; empty for none."""
    if bay.flat is None:
        return ""
    flats = result.plan.flats if result.plan is not None else ()
    return next((clean(f.name) for f in flats if f.id == bay.flat), str(bay.flat))
