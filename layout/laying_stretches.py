"""The order of laying in words: stretches of pieces laid in one manner, and why each is laid so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby

from importer.tolerance import LENGTH_MM
from layout.floor import Piece, Stretch
from layout.laying_seams import Beside, group_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """The pieces of a bay in the order of laying, what was laid before each, the room of each, and the
    names of the rooms.
    """

    pieces: tuple[Piece, ...]
    beside: tuple[Beside, ...]
    rooms: tuple[int, ...]
    names: tuple[str, ...]

    @property
    def has_rooms(self) -> bool:
        """Whether naming a room tells something."""
        return len(set(self.rooms)) > 1

    @property
    def has_stages(self) -> bool:
        """Whether the work is parted in stages."""
        return len({p.stage for p in self.pieces}) > 1


def stretches_of(laid: Laid) -> tuple[Stretch, ...]:
    """The stretches in the order of laying. One ends where the hand, the room or the stage changes."""
    numbered = list(enumerate(laid.pieces))
    found: list[Stretch] = []
    for _, members in groupby(numbered, key=lambda m: _manner(m[0], m[1], laid)):
        own = [n for n, _ in members]
        first, last = laid.pieces[own[0]], laid.pieces[own[-1]]
        found.append(
            Stretch(
                number=len(found) + 1,
                is_reversed=first.is_reversed,
                rows=tuple(dict.fromkeys(laid.pieces[n].row for n in own)),
                first=first.order,
                last=last.order,
                why=" ".join(_why(own, laid)),
            )
        )
    return tuple(found)


def _manner(number: int, piece: Piece, laid: Laid) -> tuple[int, bool, int]:
    return piece.stage, piece.is_reversed, laid.rooms[number]


def _why(own: Sequence[int], laid: Laid) -> list[str]:
    """Sentences about a stretch: where it goes on from, the manner, rows that hang over."""
    first = laid.pieces[own[0]]
    words: list[str] = []
    if laid.has_stages and (own[0] == 0 or laid.pieces[own[0] - 1].stage != first.stage):
        words.append(f"Stage {first.stage}.")
    link = _link(own, laid)
    if own[0] == 0:
        words.append(
            "Begin here; every row locks into the one before it, away from the start wall."
        )
    elif link is None:
        words.append("Not joined to the rest by any row; begin anew.")
    elif first.is_reversed:
        only = f"nly {_row_words(link, own[0], laid)} leads here"
        is_behind = any(laid.pieces[n].row < 0 for n in own)
        where = f"Behind the first row; o{only}" if is_behind else f"O{only}"
        words.append(f"{where}: laid back from it, tongue and groove swapped.")
    else:
        words.append(f"Goes on from {_row_words(link, own[0], laid)}.")
    words += _loose_words(_loose_rows(own, laid))
    return words


def _loose_words(rows: Sequence[int]) -> list[str]:
    if not rows:
        return []
    begin = "begins" if len(rows) == 1 else "begin"
    beside = f"{_rows(rows)} {begin} beside bare floor"
    return [f"{beside}: join the pieces end to end first, then lock the whole row in."]


def _link(own: Sequence[int], laid: Laid) -> int | None:
    """The piece laid before that the stretch begins from."""
    members = set(own)
    for n in own:
        near = laid.beside[n].above if laid.pieces[n].is_reversed else laid.beside[n].below
        outside = [m for m, _ in near if m not in members]
        if outside:
            return max(outside)
        before = _before_in_run(n, laid)
        if before is not None and before not in members:
            return before
    return None


def _before_in_run(number: int, laid: Laid) -> int | None:
    """The piece before it in the row, if it was laid before."""
    piece = laid.pieces[number]
    x0 = piece.shape.bounds[0]
    for n in range(number - 1, -1, -1):
        other = laid.pieces[n]
        if other.run == piece.run and abs(other.shape.bounds[2] - x0) <= LENGTH_MM:
            return n
    return None


def _row_words(piece: int, seen_from: int, laid: Laid) -> str:
    row = f"row {laid.pieces[piece].row}"
    room = laid.rooms[piece]
    return f"{row} of {laid.names[room]}" if room != laid.rooms[seen_from] else row


def _loose_rows(own: Sequence[int], laid: Laid) -> list[int]:
    """Rows whose first piece lies beside nothing, though the run does further on."""
    rows: list[int] = []
    seen: set[tuple[int, int]] = set()
    locked = {group_of(laid.pieces[n]) for n in own if laid.beside[n].below or laid.beside[n].above}
    for n in own:
        group = group_of(laid.pieces[n])
        first_of_run = group not in seen
        seen.add(group)
        b = laid.beside[n]
        starts_run = first_of_run and _before_in_run(n, laid) is None
        if starts_run and not (b.below or b.above) and group in locked:
            rows.append(laid.pieces[n].row)
    return rows


def _rows(rows: Sequence[int]) -> str:
    """`Row 8`, `Rows 8 to 12`, `Rows 3, 8`."""
    if len(rows) == 1:
        return f"Row {rows[0]}"
    ordered = sorted(rows)
    if ordered == list(range(ordered[0], ordered[-1] + 1)):
        return f"Rows {ordered[0]} to {ordered[-1]}"
    return f"Rows {', '.join(map(str, ordered))}"
