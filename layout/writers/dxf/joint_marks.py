"""Movement joints and marks where a rule is not kept. Plan frame, millimetres."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from shapely import Polygon

from importer.plan import Point
from layout.floor import MovementJoint
from layout.writers.dxf.lettering import text_width
from layout.writers.dxf.marks import Align, Group, Letter, Mark, Stroke, lettered, upright
from layout.writers.dxf.placing import Board
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import PLAN
from layout.writers.dxf.sketch import CLEAR, STEP, Sketch

_TRIANGLE = PLAN.paper(5.0)
_ASIDE = ((0, 0), (1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (2, 0), (-2, 0), (0, 2))
"""Where a breach mark goes when its place is taken, in triangle sides along and across."""


def draw_breaches(sketch: Sketch, first_number: int) -> None:
    """A triangle with a number at the place of each breach; the list beside the plan says the rest."""
    for n, breach in enumerate(sketch.layout.breaches, start=first_number):
        tries = (_triangle(sketch.reading, str(n), breach.at, aside) for aside in _ASIDE)
        sketch.keep(sketch.board.place(tries))


def _triangle(along: Point, number: str, at: Point, aside: tuple[int, int]) -> Group:
    (ux, uy), (dx, dy) = along, (aside[0] * _TRIANGLE, aside[1] * _TRIANGLE)
    x, y = at[0] + dx * ux - dy * uy, at[1] + dx * uy + dy * ux
    low, high, half = -0.36 * _TRIANGLE, 0.60 * _TRIANGLE, 0.56 * _TRIANGLE
    corners = tuple(
        (x + a * ux - b * uy, y + a * uy + b * ux)
        for a, b in ((-half, low), (half, low), (0, high))
    )
    letter = Letter(
        content=Content.BREACH,
        text=number,
        at=(x, y),
        height=PLAN.small,
        along=along,
        align=Align.CENTRE,
    )
    outline = Stroke(content=Content.BREACH, points=corners, closed=True)
    return Group(marks=(outline, letter), boxes=(Polygon(corners), letter.box()))


def joint_marks(joints: Sequence[MovementJoint], board: Board) -> Iterator[Mark]:
    """Movement joints as heavy lines, numbered where there is room beside them."""
    for joint in joints:
        yield Stroke(content=Content.MOVE, points=joint.line)
    for n, joint in enumerate(joints, start=1):
        group = _joint_number(f"J{n}", joint, board)
        if group is not None:
            yield from group.marks


def _joint_number(words: str, joint: MovementJoint, board: Board) -> Group | None:
    """Beyond an end of the joint, in the wall, or beside it."""
    (x0, y0), (x1, y1) = joint.line
    length = joint.length_mm
    if length <= 0:
        return None
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    reading = (ux, uy) if upright((ux, uy)) else (-ux, -uy)
    tries = []
    for k in range(1, 8):
        reach = text_width(words, PLAN.small) / 2 + k * STEP
        tries.append(_centred(words, (x1 + ux * reach, y1 + uy * reach), reading))
        tries.append(_centred(words, (x0 - ux * reach, y0 - uy * reach), reading))
        beside = PLAN.small / 2 + k * STEP
        for side in (beside, -beside):
            place = ((x0 + x1) / 2 - uy * side, (y0 + y1) / 2 + ux * side)
            tries.append(_centred(words, place, reading))
    return board.place_outside(tries, most=2) or board.place_clearest(tries)


def _centred(words: str, at: Point, along: Point) -> Group:
    letter = Letter(
        content=Content.NOTE,
        text=words,
        at=at,
        height=PLAN.small,
        along=along,
        align=Align.CENTRE,
    )
    return lettered(letter, margin=CLEAR)
