"""One bay while it is lettered: what is known of it, what has been drawn, what is left to the tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from importer.plan import Point
from layout.floor import BayLayout, Piece, Role
from layout.writers.dxf.lettering import text_width
from layout.writers.dxf.marks import Group, Mark, upright
from layout.writers.dxf.piece_ends import band_over
from layout.writers.dxf.placing import Board
from layout.writers.dxf.runs_seen import EndSlant, RunSeen, end_slant, runs_seen
from layout.writers.dxf.sizes import PLAN, THINNEST_ROW_MM

INSIDE: Final = PLAN.paper(0.8)
"""Lettering starts this far inside the piece it belongs to."""
CLEAR: Final = PLAN.paper(0.4)
"""Ground kept free around words outside the planks."""
STEP: Final = PLAN.paper(1.2)
"""How far a text is moved on when its place is taken."""
FARTHEST: Final = PLAN.paper(14.0)
"""Row numbers and words stand at most this far outside the floor."""
THINNEST_ROW: Final = PLAN.paper(THINNEST_ROW_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class LengthApart:
    """A length that found no place on the plan and is given in the table."""

    row: int
    piece: Piece
    words: str


@dataclass(slots=True, kw_only=True)
class Sketch:
    """The bay, the ground it is drawn on, and the marks so far."""

    layout: BayLayout
    board: Board
    runs: tuple[RunSeen, ...]
    first_slant: EndSlant | None
    last_slant: EndSlant | None
    marks: list[Mark] = field(default_factory=list)
    inset: dict[tuple[int, float], float] = field(default_factory=dict)
    """By row and start of a run: how far its first length is pushed in by the row's number."""

    def at(self, x: float, y: float) -> Point:
        """A place of the bay in the plan frame."""
        return self.layout.setting_out.frame.point_to_plan((x, y))

    @property
    def forward(self) -> Point:
        """Direction of laying in the plan frame."""
        return self.layout.setting_out.frame.along

    @property
    def backward(self) -> Point:
        """Against the direction of laying."""
        return (-self.forward[0], -self.forward[1])

    @property
    def reading(self) -> Point:
        """Direction in which text along the rows reads."""
        return self.forward if upright(self.forward) else self.backward

    def keep(self, group: Group | None) -> bool:
        """Draw a group that found a place; False when it found none."""
        if group is not None:
            self.marks.extend(group.marks)
        return group is not None

    def strips(self, length: float) -> Iterator[Point]:
        """Places inside the bay, rows 2 to 7, that hold a text of that length between the lengths at
        the two ends of the run: where the text starts, on its middle line. Bay frame.
        """
        ends = 2 * text_width("0000", PLAN.small) + 3 * INSIDE
        for run in self.runs:
            if 2 <= run.row <= 7 and run.height >= THINNEST_ROW:
                x = run.x0 + ends
                while x + length + ends / 2 <= run.x1:
                    band = band_over(run.pieces, (x, x + length))
                    if band is not None and band[1] - band[0] >= THINNEST_ROW:
                        yield x, (band[0] + band[1]) / 2
                    x += 5 * STEP


def sketch_of(layout: BayLayout, board: Board) -> Sketch:
    """An empty sketch of a bay."""
    return Sketch(
        layout=layout,
        board=board,
        runs=runs_seen(layout),
        first_slant=end_slant(_in_role(layout.pieces, Role.FIRST)),
        last_slant=end_slant(_in_role(layout.pieces, Role.LAST)),
    )


def _in_role(pieces: Sequence[Piece], role: Role) -> list[Piece]:
    return [p for p in pieces if p.role is role]
