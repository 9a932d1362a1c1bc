"""What the stretches of a row are called, the same in every output: `7`, and `7a`, `7b` where the row
has several, counted from its start.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from layout.floor import BayLayout, Piece, PieceId

MINUS: Final = "\N{MINUS SIGN}"


def labels_of(layouts: Iterable[BayLayout], minus: str = "-") -> Mapping[PieceId, str]:
    """The label of the run that each piece lies in, over several bays."""
    return {
        piece.id: label
        for layout in layouts
        for pieces, label in _labelled(layout, minus)
        for piece in pieces
    }


def _labelled(layout: BayLayout, minus: str) -> Iterator[tuple[list[Piece], str]]:
    rows: dict[int, dict[int, list[Piece]]] = defaultdict(lambda: defaultdict(list))
    for piece in layout.pieces:
        rows[piece.row][piece.run].append(piece)
    for row, runs in rows.items():
        number = str(row) if row > 0 else f"{minus}{-row}"
        ordered = sorted(runs.values(), key=lambda own: min(p.shape.bounds[0] for p in own))
        for n, own in enumerate(ordered):
            yield own, number if len(ordered) == 1 else number + _letters(n)


def _letters(n: int) -> str:
    """0: a, 25: z, 26: aa.

    >>> [_letters(n) for n in (0, 25, 26, 27)]
    ['a', 'z', 'aa', 'ab']
    """
    head = _letters(n // 26 - 1) if n >= 26 else ""
    return head + chr(ord("a") + n % 26)
