"""The stock part of the audit: can these pieces really be sawn from these planks?

Which edges and ends a piece must keep is taken from the joints and seams that the audit found in the
geometry, not from what the layout says of itself.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from typing import Protocol

from importer.tolerance import LENGTH_MM
from layout.audit_geometry import Contact
from layout.floor import Breach, Piece, Plank
from layout.rules import RuleSet


class MakeBreach(Protocol):
    """Makes a breach at the piece with that index."""

    def __call__(self, rule: str, piece: int, *, value: float, limit: float, why: str) -> Breach:
        """The breach of `rule` by the piece at index `piece`."""
        ...


def stock_breaches(
    pieces: Sequence[Piece],
    planks: Sequence[Plank],
    joints: Sequence[Contact],
    seams: Sequence[Contact],
    rules: RuleSet,
    breach: MakeBreach,
) -> list[Breach]:
    """Every piece from exactly one plank, inside it, at the factory ends and edges it needs, a kerf
    away from the others.
    """
    return [
        *_membership(pieces, planks, breach),
        *_blanks(pieces, rules, breach),
        *_hands(pieces, joints, seams, rules, breach),
        *_clearances(pieces, rules, breach),
    ]


def _membership(
    pieces: Sequence[Piece], planks: Sequence[Plank], breach: MakeBreach
) -> Iterable[Breach]:
    listed = Counter(p for plank in planks for p in plank.pieces)
    plank_of = {p: plank.id for plank in planks for p in plank.pieces}
    ids = Counter(p.id for p in pieces)
    for i, piece in enumerate(pieces):
        if ids[piece.id] > 1:
            yield breach("stock", i, value=ids[piece.id], limit=1, why="The piece is there twice.")
        if listed[piece.id] != 1 or plank_of.get(piece.id) != piece.plank:
            why = f"Not listed once on its plank {piece.plank}."
            yield breach("stock", i, value=listed[piece.id], limit=1, why=why)
    if pieces:
        for missing in sorted(set(listed) - set(ids)):
            why = f"Plank {plank_of[missing]} lists piece {missing}, which is not on the floor."
            yield breach("stock", 0, value=0, limit=1, why=why)


def _blanks(pieces: Sequence[Piece], rules: RuleSet, breach: MakeBreach) -> Iterable[Breach]:
    long, wide = rules.plank.length, rules.plank.width
    for i, piece in enumerate(pieces):
        x0, y0, x1, y1 = piece.shape.bounds
        short_by = max(
            x1 - x0 - piece.blank_length_mm,
            y1 - y0 - piece.blank_width_mm,
        )
        if short_by > LENGTH_MM:
            why = f"The blank is {short_by:.1f} mm smaller than the piece."
            yield breach("stock", i, value=-short_by, limit=0, why=why)
        beyond = max(
            -piece.plank_x_mm,
            -piece.plank_y_mm,
            piece.plank_x_mm + piece.blank_length_mm - long,
            piece.plank_y_mm + piece.blank_width_mm - wide,
        )
        if beyond > LENGTH_MM:
            why = f"The blank sticks out of the plank by {beyond:.1f} mm."
            yield breach("stock", i, value=beyond, limit=0, why=why)


def _hands(
    pieces: Sequence[Piece],
    joints: Sequence[Contact],
    seams: Sequence[Contact],
    rules: RuleSet,
    breach: MakeBreach,
) -> Iterable[Breach]:
    """A joint or seam needs the factory end or edge on that side: the blank must reach it."""
    long, wide = rules.plank.length, rules.plank.width
    near_end = {c.high for c in joints}
    far_end = {c.low for c in joints}
    near_edge = {c.high for c in seams}
    far_edge = {c.low for c in seams}
    for i, p in enumerate(pieces):
        misses = (
            (i in near_end, p.plank_x_mm, "near end"),
            (i in far_end, long - p.plank_x_mm - p.blank_length_mm, "far end"),
            (i in near_edge, p.plank_y_mm, "near edge"),
            (i in far_edge, wide - p.plank_y_mm - p.blank_width_mm, "far edge"),
        )
        for needed, distance, name in misses:
            if needed and abs(distance) > LENGTH_MM:
                why = f"Locks into a neighbour at the plank's {name}, but was not cut from there."
                yield breach("stock.hand", i, value=distance, limit=0, why=why)


def _clearances(pieces: Sequence[Piece], rules: RuleSet, breach: MakeBreach) -> Iterable[Breach]:
    by_plank: dict[str, list[int]] = defaultdict(list)
    for i, piece in enumerate(pieces):
        by_plank[piece.plank].append(i)
    for plank in sorted(by_plank):
        members = by_plank[plank]
        for n, i in enumerate(members):
            for j in members[n + 1 :]:
                room = _apart(pieces[i], pieces[j])
                if room < rules.cut.kerf - LENGTH_MM:
                    why = f"Cut {room:.1f} mm from {pieces[j].id} on plank {plank}; the saw takes more."
                    yield breach("cut.kerf", i, value=room, limit=rules.cut.kerf, why=why)


def _apart(a: Piece, b: Piece) -> float:
    """Clear distance of two blanks on one plank along its better axis; negative when they overlap."""
    along = max(
        b.plank_x_mm - a.plank_x_mm - a.blank_length_mm,
        a.plank_x_mm - b.plank_x_mm - b.blank_length_mm,
    )
    across = max(
        b.plank_y_mm - a.plank_y_mm - a.blank_width_mm,
        a.plank_y_mm - b.plank_y_mm - b.blank_width_mm,
    )
    return max(along, across)
