"""Pieces that were cut to another measure, on the planks they come from."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from importer.tolerance import LENGTH_MM
from layout.floor import Piece, PieceId, PlankId, Role
from layout.rules import RuleSet


def pushed(pieces: Sequence[Piece], rules: RuleSet) -> tuple[Piece, ...]:
    """Pieces that grew on their planks moved on, away from the near end, as far as the one before them
    and the saw need it; first pieces keep the far end.
    """
    by_plank: dict[PlankId, list[Piece]] = {}
    for piece in pieces:
        by_plank.setdefault(piece.plank, []).append(piece)
    at: dict[PieceId, float] = {}
    for members in by_plank.values():
        done: list[Piece] = []
        for piece in sorted(members, key=lambda p: (p.plank_x_mm, p.order)):
            before = [q.plank_x_mm + q.blank_length_mm for q in done if _in_line(piece, q)]
            x = max([piece.plank_x_mm, *(end + rules.cut.kerf for end in before)])
            at[piece.id] = piece.plank_x_mm if piece.role is Role.FIRST else x
            done.append(replace(piece, plank_x_mm=at[piece.id]))
    return tuple(replace(p, plank_x_mm=at[p.id]) for p in pieces)


def _in_line(a: Piece, b: Piece) -> bool:
    """Whether two pieces share some of their plank's width."""
    low = max(a.plank_y_mm, b.plank_y_mm)
    high = min(a.plank_y_mm + a.blank_width_mm, b.plank_y_mm + b.blank_width_mm)
    return high - low > LENGTH_MM


def crowded(members: Sequence[Piece], rules: RuleSet) -> Iterator[PieceId]:
    """Pieces of a plank that have no place beside the others."""
    spots = [
        (p.id, p.plank_x_mm, p.plank_y_mm, p.plank_x_mm + p.blank_length_mm, p.blank_width_mm)
        for p in pushed(members, rules)
    ]
    kerf = rules.cut.kerf - LENGTH_MM
    for n, (piece, x0, y0, x1, wide) in enumerate(spots):
        if x1 > rules.plank.length + LENGTH_MM:
            yield piece
        for _, u0, v0, u1, high in spots[:n]:
            if max(x0 - u1, u0 - x1, y0 - v0 - high, v0 - y0 - wide) < kerf:
                yield piece
