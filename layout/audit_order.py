"""The order of laying checked from the finished geometry alone: every piece can be put in when its turn
comes, and no stage is begun before the one before it is complete.

A piece is put in from one side: it locks into what lies on that side. With laid pieces along both of its
long edges, or at both of its ends, it can only be pushed in flat, and must say so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from layout.audit_geometry import Contact
from layout.audit_stock import MakeBreach
from layout.floor import Breach, Piece


def order_breaches(
    pieces: Sequence[Piece],
    joints: Sequence[Contact],
    seams: Sequence[Contact],
    breach: MakeBreach,
) -> list[Breach]:
    """Breaches of the order of laying; none where pieces say nothing of it (all of them 0)."""
    turns = [p.order for p in pieces]
    if not any(turns):
        return []
    return [
        *_twice(pieces, breach),
        *_closed_in(pieces, seams, "long sides", breach),
        *_closed_in(pieces, joints, "ends", breach),
        *_stages(pieces, breach),
    ]


def _twice(pieces: Sequence[Piece], breach: MakeBreach) -> Iterable[Breach]:
    """Every piece has a turn of its own."""
    seen: dict[int, int] = {}
    for i, piece in enumerate(pieces):
        first = seen.setdefault(piece.order, i)
        if pieces[first].id != piece.id:
            why = f"Laid at the same place in the order as {pieces[first].id}."
            yield breach("order", i, value=piece.order, limit=0.0, why=why)


def _closed_in(
    pieces: Sequence[Piece], contacts: Sequence[Contact], sides: str, breach: MakeBreach
) -> Iterable[Breach]:
    before: dict[int, dict[int, int]] = {}
    for c in contacts:
        low, high = pieces[c.low].order, pieces[c.high].order
        if low < high:
            before.setdefault(c.high, {})[-1] = c.low
        elif high < low:
            before.setdefault(c.low, {})[1] = c.high
    for i, own in sorted(before.items()):
        if len(own) == 2 and not pieces[i].pushed:
            names = f"{pieces[own[-1]].id} and {pieces[own[1]].id}"
            why = f"Closed in at both {sides} by {names}, laid before it: it cannot be locked in."
            yield breach("order", i, value=2, limit=1, why=why)


def _stages(pieces: Sequence[Piece], breach: MakeBreach) -> Iterable[Breach]:
    """In the order of laying the stage never goes back."""
    reached = 0
    for i in sorted(range(len(pieces)), key=lambda i: (pieces[i].order, i)):
        stage = pieces[i].stage
        if stage < reached:
            why = f"Belongs to stage {stage}, but comes after pieces of stage {reached}."
            yield breach("stages", i, value=stage, limit=reached, why=why)
        reached = max(reached, stage)
