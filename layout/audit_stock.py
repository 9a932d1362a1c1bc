"""The stock part of the audit: can these pieces really be sawn from these planks?

Which edges and ends a piece must keep is taken from the joints and seams that the audit found in the
geometry, not from what the layout says of itself.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from importer.tolerance import LENGTH_MM
from layout.audit_geometry import Contact
from layout.floor import Bay, BayLayout, Breach, Piece
from layout.rules import RuleSet


class MakeBreach(Protocol):
    """Makes a breach at the piece with that index."""

    def __call__(self, rule: str, piece: int, *, value: float, limit: float, why: str) -> Breach:
        """The breach of `rule` by the piece at index `piece`."""
        ...


def stock_breaches(
    layout: BayLayout,
    pool: Sequence[BayLayout],
    contacts: tuple[Sequence[Contact], Sequence[Contact]],
    rules: RuleSet,
    breach: MakeBreach,
) -> list[Breach]:
    """Every piece from exactly one plank, inside it, at the factory ends and edges it needs, a kerf
    away from the others, whichever bay these lie in. `contacts`: the joints and the seams of the bay.
    """
    pieces = layout.pieces
    on_plank: dict[str, list[_Member]] = defaultdict(list)
    for bay in (layout, *pool):
        for piece in bay.pieces:
            on_plank[piece.plank].append(_Member(piece=piece, bay=bay))
    return [
        *_membership(layout, pool, breach),
        *_carried(layout, on_plank, rules, breach),
        *_blanks(pieces, rules, breach),
        *_hands(pieces, *contacts, rules, breach),
        *_clearances(pieces, on_plank, rules, breach),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Member:
    """A piece on a plank, and the layout it belongs to."""

    piece: Piece
    bay: BayLayout


def _membership(
    layout: BayLayout, pool: Sequence[BayLayout], breach: MakeBreach
) -> Iterable[Breach]:
    """Listed once, on the plank it names; every plank of the bay lists pieces that are there."""
    bays = (layout, *pool)
    listed = Counter(p for bay in bays for plank in bay.planks for p in plank.pieces)
    plank_of = {p: plank.id for bay in bays for plank in bay.planks for p in plank.pieces}
    ids = Counter(p.id for bay in bays for p in bay.pieces)
    for i, piece in enumerate(layout.pieces):
        if ids[piece.id] > 1:
            yield breach("stock", i, value=ids[piece.id], limit=1, why="The piece is there twice.")
        if listed[piece.id] != 1 or plank_of.get(piece.id) != piece.plank:
            why = f"Not listed once on its plank {piece.plank}."
            yield breach("stock", i, value=listed[piece.id], limit=1, why=why)
    if layout.pieces:
        own = {p for plank in layout.planks for p in plank.pieces}
        for missing in sorted(own - set(ids)):
            why = f"Plank {plank_of[missing]} lists piece {missing}, which is not on the floor."
            yield breach("stock", 0, value=0, limit=1, why=why)


def _carried(
    layout: BayLayout,
    on_plank: Mapping[str, Sequence[_Member]],
    rules: RuleSet,
    breach: MakeBreach,
) -> Iterable[Breach]:
    """Pieces of one plank lie no further apart than offcuts are carried."""
    for i, piece in enumerate(layout.pieces):
        for other in on_plank[piece.plank]:
            if _reaches(layout.bay, other.bay.bay, rules):
                continue
            why = (
                f"Cut from plank {piece.plank} as {other.piece.id}, which is not of the same pool."
            )
            yield breach("cut.pool", i, value=1, limit=0, why=why)
            break


def _reaches(a: Bay, b: Bay, rules: RuleSet) -> bool:
    """Whether an offcut of one bay may serve the other."""
    if a.id == b.id:
        return True
    same_storey = a.storey == b.storey
    return same_storey and (
        rules.cut.pool == "storey" or (rules.cut.pool == "flat" and a.flat == b.flat)
    )


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


def _clearances(
    pieces: Sequence[Piece],
    on_plank: Mapping[str, Sequence[_Member]],
    rules: RuleSet,
    breach: MakeBreach,
) -> Iterable[Breach]:
    """Blanks of one plank lie a kerf apart; two of the same bay are told once."""
    number = {id(piece): i for i, piece in enumerate(pieces)}
    for i, piece in enumerate(pieces):
        for other in on_plank[piece.plank]:
            if number.get(id(other.piece), i + 1) <= i:
                continue
            room = _apart(piece, other.piece)
            if room < rules.cut.kerf - LENGTH_MM:
                why = (
                    f"Cut {room:.1f} mm from {other.piece.id} on plank {piece.plank}; "
                    "the saw takes more."
                )
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
