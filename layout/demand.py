"""The joint and stock problem of a bay, freed from its polygons: what the solver is asked.

A run of bounding length L > P (plank length) is fixed by its first piece s: then n whole planks and
a last piece e = L - s - n P. A run that fits one plank is an `only` piece. A first piece must be
`void_start` longer than the least length (a slanted or stepped end is worth less than its blank),
likewise the last.
"""

from __future__ import annotations

from dataclasses import dataclass

from layout.floor import Role, Touch
from layout.rules import Bond


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Breadth:
    """A stretch of a run from `x0` to `x1` (bay frame) along which its floor reaches from `low_mm` to
    `high_mm` at least, measured from the near edge of the run, and locks into the row before or behind.
    """

    x0: float
    x1: float
    low_mm: float
    high_mm: float
    keeps_near: bool
    keeps_far: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RunDemand:
    """One run to be filled: from `x0` to `x1` (bay frame), blanks `width_mm` wide.

    `keeps_near` and `keeps_far`: its pieces need that factory long edge (a neighbouring row locks
    into it); a run that needs both has blanks of full plank width, however narrow it is. Where some of
    its pieces need less, `breadths` says what each stretch needs.
    """

    index: int
    row: int
    x0: float
    x1: float
    void_start_mm: float = 0.0
    void_end_mm: float = 0.0
    width_mm: float = 0.0
    keeps_near: bool = True
    keeps_far: bool = True
    breadths: tuple[Breadth, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class StockRules:
    """The numbers that cutting planks needs, mm."""

    plank_length: float
    plank_width: float
    kerf: float
    keep_offcut: float
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BayDemand:
    """Everything that decides where the joints of a bay go, mm."""

    runs: tuple[RunDemand, ...]
    touches: tuple[Touch, ...]
    stock: StockRules
    min_length: float
    never_below: float
    min_offset: float
    bond: Bond


@dataclass(frozen=True, slots=True, kw_only=True)
class JointPlan:
    """Per run (by index) the joints between its pieces, ascending x in the bay frame; empty for an
    `only` piece. `planks` is the number the stock needed when it was planned.
    """

    joints: tuple[tuple[float, ...], ...]
    planks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """A piece as the stock sees it: `key` is the caller's; edges as in `floor.Piece`.

    `role` is FULL when both ends are factory ends (a whole plank's length), wherever in its run.
    `bay` numbers the bay it is for: of equally good ways the stock takes one that carries fewer offcuts
    from bay to bay.
    """

    key: int
    role: Role
    length_mm: float
    width_mm: float
    keeps_near_edge: bool
    keeps_far_edge: bool
    bay: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """A blank on a plank: lower left corner from the plank's near end and near edge."""

    key: int
    x_mm: float
    y_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlankCut:
    """One plank and what is cut from it, in the order of cutting. `offcut_mm` is the longest left
    over stretch of full width, 0 when it is below the length worth keeping.
    """

    placed: tuple[Placed, ...]
    offcut_mm: float
