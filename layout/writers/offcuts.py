"""Which piece comes out of which plank, and where its offcut goes next, over all bays of a plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from layout.floor import BayLayout, Piece, PieceId
from layout.writers.run_labels import labels_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Offcuts:
    """Pieces by their id, for each piece the one that is cut from the same plank after it, and what the
    run is called that it lies in.
    """

    pieces: Mapping[PieceId, Piece] = field(default_factory=dict)
    after: Mapping[PieceId, Piece] = field(default_factory=dict)
    labels: Mapping[PieceId, str] = field(default_factory=dict)

    def source(self, piece: Piece) -> Piece | None:
        """The piece whose offcut this one is; None where it opens a plank."""
        return None if piece.offcut_of is None else self.pieces.get(piece.offcut_of)

    def use(self, piece: Piece) -> Piece | None:
        """The piece that what is left of the plank after this one is used for; None for none."""
        return self.after.get(piece.id)

    def place(self, piece: Piece, seen_from: Piece) -> str:
        """Where a piece lies as the fitter reads it: `7` or `7b`, with the bay before it where that is
        another one.
        """
        label = self.labels[piece.id]
        return label if piece.bay == seen_from.bay else f"{piece.bay}/{label}"


def offcuts_of(layouts: Iterable[BayLayout]) -> Offcuts:
    """All of it in one walk over the pieces."""
    own = list(layouts)
    pieces = {p.id: p for layout in own for p in layout.pieces}
    after = {
        p.offcut_of: p
        for layout in own
        for p in layout.pieces
        if p.offcut_of is not None and p.offcut_of in pieces
    }
    return Offcuts(pieces=pieces, after=after, labels=labels_of(own))
