"""Which pieces lock into which along their long edges, and from which side each is laid. Bay frame."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from importer.tolerance import LENGTH_MM, SLIVER_WIDTH_MM
from layout.floor import Piece, Touch

Group = tuple[int, int]
"""Run and stage: pieces that are laid one after the other along one row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seam:
    """Piece `low` lies below piece `high` (numbers of pieces), along a common edge [x0, x1]."""

    low: int
    high: int
    x0: float
    x1: float

    @property
    def length_mm(self) -> float:
        """Length of the common edge."""
        return self.x1 - self.x0


def seams_of(pieces: Sequence[Piece], touches: Sequence[Touch]) -> tuple[Seam, ...]:
    """The seams between pieces of touching runs. Where a cut beside a wall end left two pieces above
    each other in a run, only those that keep the edge lock there.
    """
    of_run: dict[int, list[tuple[float, float, int]]] = defaultdict(list)
    for n, piece in enumerate(pieces):
        x0, _, x1, _ = piece.shape.bounds
        of_run[piece.run].append((x0, x1, n))
    for own in of_run.values():
        own.sort()
    found: list[Seam] = []
    for touch in touches:
        low = [m for m in of_run[touch.below] if pieces[m[2]].keeps_far_edge]
        high = [m for m in of_run[touch.above] if pieces[m[2]].keeps_near_edge]
        found.extend(_between(low, high, touch))
    return tuple(found)


def _between(
    low: Sequence[tuple[float, float, int]],
    high: Sequence[tuple[float, float, int]],
    touch: Touch,
) -> Iterator[Seam]:
    """Pairs that share more than a sliver of the touch; both lists from left to right."""
    i = j = 0
    while i < len(low) and j < len(high):
        x0 = max(low[i][0], high[j][0], touch.x0)
        x1 = min(low[i][1], high[j][1], touch.x1)
        if x1 - x0 > SLIVER_WIDTH_MM:
            yield Seam(low=low[i][2], high=high[j][2], x0=x0, x1=x1)
        if low[i][1] <= high[j][1] + LENGTH_MM:
            i += 1
        else:
            j += 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What was laid before a piece: numbers of the pieces below and above it, and the seams' lengths."""

    below: tuple[tuple[int, float], ...]
    above: tuple[tuple[int, float], ...]

    @property
    def is_closed_in(self) -> bool:
        """Both long sides were laid before: it cannot be tilted in."""
        return bool(self.below and self.above)


def laid_before(pieces: Sequence[Piece], seams: Sequence[Seam]) -> tuple[Beside, ...]:
    """Per piece its neighbours that come before it in the order of laying."""
    below: list[list[tuple[int, float]]] = [[] for _ in pieces]
    above: list[list[tuple[int, float]]] = [[] for _ in pieces]
    for s in seams:
        if pieces[s.low].order < pieces[s.high].order:
            below[s.high].append((s.low, s.length_mm))
        else:
            above[s.low].append((s.high, s.length_mm))
    return tuple(Beside(below=tuple(b), above=tuple(a)) for b, a in zip(below, above, strict=True))


def group_of(piece: Piece) -> Group:
    """The pieces it is laid with."""
    return piece.run, piece.stage


def reversed_groups(pieces: Sequence[Piece], beside: Sequence[Beside]) -> frozenset[Group]:
    """Groups that lock into the row above them: most of what was laid before them lies there."""
    lean: dict[Group, float] = defaultdict(float)
    for piece, b in zip(pieces, beside, strict=True):
        lean[group_of(piece)] += sum(n for _, n in b.below) - sum(n for _, n in b.above)
    return frozenset(group for group, length in lean.items() if length < 0.0)
