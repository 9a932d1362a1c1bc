"""How a laid floor is to be laid: stretches of the order of laying, damaged planks. Part of the model of
the result; frames and words are those of `layout.floor`, which hands these on.
"""

from __future__ import annotations

from dataclasses import dataclass

from importer.plan import Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Runs laid one after the other in one manner: forward, or in reverse. Stretches are numbered from 1
    in the order of laying; pieces `first` to `last` of `Piece.order` belong to it. `rows` are in the
    order of laying. `why` is a sentence: where the stretch lies and why it is laid so.
    """

    number: int
    is_reversed: bool
    rows: tuple[int, ...]
    first: int
    last: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DamagedPlanks:
    """How many planks of a bay may come with one end damaged by up to `up_to_mm` and still be laid, with
    no plank more: at most `near` of them at the near end, `far` at the far end and `in_all` together;
    any such numbers have places (a plank left whole in the middle serves either end, so that the two
    may sum to more than all).
    """

    up_to_mm: float
    near: int
    far: int
    in_all: int


@dataclass(frozen=True, slots=True, kw_only=True)
class StageBorder:
    """Where a stage ends. `asked` is the line of rule set or drawing, `path` the line of row and end
    joints that was chosen (empty where the line parts nothing, and `stage` 0), both in the plan frame;
    `why` says in words what was chosen.
    """

    stage: int
    asked: tuple[Point, Point]
    path: tuple[Point, ...]
    why: str


NO_DAMAGE = DamagedPlanks(up_to_mm=0.0, near=0, far=0, in_all=0)
"""No plank may be damaged."""
