"""Runs and joints -> pieces, and the planks they are cut from.

A piece is its run between two stops. What it must keep of its plank follows from what it meets: a
joint needs a factory end, a seam with the next row a factory edge; wall ends and wall edges are free.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import shapely
from shapely import Polygon

from importer.plan import Origin
from importer.tolerance import AREA_MM2, LENGTH_MM, SAME_POINT_MM
from layout.bay_chords import chords_of
from layout.bay_error import not_laid
from layout.demand import Blank, JointPlan, Placed, PlankCut
from layout.floor import (
    BayId,
    Cut,
    Piece,
    PieceId,
    Plank,
    PlankId,
    Role,
    Run,
    StageBorder,
    Touch,
)
from layout.piece_cuts import Box, box_cuts, cuts_of
from layout.rules import RuleSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A piece before it has a plank. `key` counts the pieces of the bay, `number` those of the row, in
    laying direction. `role` is what it is in its run, `is_long` whether it is a plank's full length
    (it then takes a whole plank's length, whatever its end looks like).
    """

    key: int
    run: Run
    number: int
    role: Role
    shape: Polygon
    is_rectangle: bool
    box: Box
    keeps_near_edge: bool
    keeps_far_edge: bool
    stage: int = 1

    @property
    def is_long(self) -> bool:
        """As long as a plank."""
        return not self.box.is_shortened

    @property
    def blank_width_mm(self) -> float:
        """Width that the blank takes: a piece that keeps both edges takes the whole plank's."""
        both = self.keeps_near_edge and self.keeps_far_edge
        return self.box.plank_width if both else min(self.box.width, self.box.plank_width)

    @property
    def blank_length_mm(self) -> float:
        """Length that the blank takes."""
        return min(self.box.length, self.box.plank_length)

    @property
    def blank(self) -> Blank:
        """The piece as the stock sees it."""
        return Blank(
            key=self.key,
            role=Role.FULL if self.is_long else self.role,
            length_mm=self.blank_length_mm,
            width_mm=self.blank_width_mm,
            keeps_near_edge=self.keeps_near_edge,
            keeps_far_edge=self.keeps_far_edge,
        )

    @property
    def cuts(self) -> tuple[Cut, ...]:
        """What is sawn."""
        return box_cuts(self.box) if self.is_rectangle else cuts_of(self.shape, self.box)

    @property
    def end_length_mm(self) -> float:
        """Area / widest height: what the piece is worth as an end."""
        if self.is_rectangle:
            return self.box.length
        return self.shape.area / chords_of(self.shape).widest


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A stretch of a run between two stops; `left` and `right` say which of them are joints."""

    shape: Polygon
    bounds: tuple[float, float, float, float]
    is_rectangle: bool
    left: bool
    right: bool

    @property
    def role(self) -> Role:
        """What it keeps of its plank's ends."""
        if self.left and self.right:
            return Role.FULL
        if self.left:
            return Role.LAST
        return Role.FIRST if self.right else Role.ONLY


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seams:
    """Stretches along which a run is locked to the rows below and above it."""

    below: tuple[Touch, ...]
    above: tuple[Touch, ...]


def cut_pieces(
    runs: Sequence[Run], touches: Sequence[Touch], plan: JointPlan, rules: RuleSet
) -> tuple[Draft, ...]:
    """Cut every run at its joints, in run order.

    Where a cut parts a run beside a wall end that reaches into the row, each part is a piece of its
    own, so that every piece can be sawn from one blank.

    Raises:
        LayoutError: a piece is longer than a plank: the joints do not belong to these runs.
    """
    seams = _seams(runs, touches)
    drafts: list[Draft] = []
    row, number = 0, 0
    for run in runs:
        if run.row != row:
            row, number = run.row, 0
        for part in _parts(run, plan.joints[run.index]):
            number += 1
            drafts.append(_draft(part, run, seams[run.index], (len(drafts), number), rules))
    return tuple(drafts)


def _seams(runs: Sequence[Run], touches: Sequence[Touch]) -> Mapping[int, _Seams]:
    below: dict[int, list[Touch]] = {r.index: [] for r in runs}
    above: dict[int, list[Touch]] = {r.index: [] for r in runs}
    for touch in touches:
        above[touch.below].append(touch)
        below[touch.above].append(touch)
    return {i: _Seams(below=tuple(below[i]), above=tuple(above[i])) for i in below}


def _parts(run: Run, joints: Sequence[float]) -> Iterator[_Part]:
    """The run between its stops, from left to right."""
    whole = is_box(run.shape)
    stops = [run.x0, *joints, run.x1]
    for n, (a, b) in enumerate(pairwise(stops)):
        left, right = n > 0, n < len(joints)
        if whole:
            box = (a, run.y0, b, run.y1)
            yield _Part(
                shape=shapely.box(*box), bounds=box, is_rectangle=True, left=left, right=right
            )
            continue
        clipped = shapely.clip_by_rect(run.shape, a, run.y0 - 1.0, b, run.y1 + 1.0)
        for shape in _polygons(clipped):
            x0, y0, x1, y1 = shape.bounds
            yield _Part(
                shape=shape,
                bounds=(x0, y0, x1, y1),
                is_rectangle=is_box(shape),
                left=left and x0 <= a + SAME_POINT_MM,
                right=right and x1 >= b - SAME_POINT_MM,
            )


def is_box(shape: Polygon) -> bool:
    """Whether a shape is its bounding box, to where no corner cut off could be measured."""
    x0, y0, x1, y1 = shape.bounds
    return bool((x1 - x0) * (y1 - y0) - shape.area <= LENGTH_MM**2)


def _polygons(clipped: shapely.Geometry) -> list[Polygon]:
    parts = [p for p in shapely.get_parts(clipped) if isinstance(p, Polygon)]
    seen = [p for p in parts if p.area > AREA_MM2]
    return sorted(seen or parts, key=lambda p: (p.bounds[0], p.bounds[1]))


def _draft(part: _Part, run: Run, seams: _Seams, place: tuple[int, int], rules: RuleSet) -> Draft:
    x0, y0, x1, y1 = part.bounds
    long, wide = rules.plank.length, rules.plank.width
    if x1 - x0 > long + LENGTH_MM:
        what = f"A piece of row {run.row} came out {x1 - x0:.1f} mm long, longer than a plank."
        raise not_laid("LAY-129", what, Origin(), "Please report this drawing and rule set.")
    is_long = x1 - x0 >= long - LENGTH_MM
    square = part.is_rectangle or part.role is Role.FULL
    return Draft(
        key=place[0],
        run=run,
        number=place[1],
        role=Role.FULL if is_long and square else part.role,
        shape=part.shape,
        is_rectangle=part.is_rectangle,
        box=Box(x0=x0, y0=y0, x1=x1, y1=y1, plank_length=long, plank_width=wide),
        keeps_near_edge=y0 <= run.y0 + SAME_POINT_MM and _locks(seams.below, x0, x1),
        keeps_far_edge=y1 >= run.y1 - SAME_POINT_MM and _locks(seams.above, x0, x1),
    )


def _locks(seams: Sequence[Touch], x0: float, x1: float) -> bool:
    """Whether any seam runs along [x0, x1]."""
    return any(min(t.x1, x1) - max(t.x0, x0) > LENGTH_MM for t in seams)


# --- planks -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Sawn:
    """All pieces of a bay, in laying order, and its planks in the order in which they are opened."""

    pieces: tuple[Piece, ...]
    planks: tuple[Plank, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drafted:
    """The drafts of a bay in laying order, and where its stages end."""

    bay: BayId
    drafts: tuple[Draft, ...]
    borders: tuple[StageBorder, ...] = ()

    def name(self, draft: Draft) -> PieceId:
        """Id of the piece."""
        return PieceId(f"{self.bay}/{draft.run.row}.{draft.number}")


def blanks_together(bays: Sequence[Drafted]) -> tuple[Blank, ...]:
    """What the stock is asked for by bays that share their offcuts: bay after bay in laying order,
    numbered from 0.
    """
    blanks = [(n, d.blank) for n, bay in enumerate(bays) for d in bay.drafts]
    return tuple(replace(blank, key=key, bay=n) for key, (n, blank) in enumerate(blanks))


def on_planks(
    bays: Sequence[Drafted], cuts: Sequence[PlankCut], rules: RuleSet
) -> tuple[Sawn, ...]:
    """Give every piece its place on its plank.

    Args:
        bays: Bays in laying order.
        cuts: The planks for `blanks_together(bays)` in the order in which they are opened, the pieces
            of each in laying order.
        rules: The plank.

    Returns:
        Per bay its pieces, and the planks opened for it; a plank may give pieces to later bays.
    """
    drafts = [(n, d) for n, bay in enumerate(bays) for d in bay.drafts]
    names = [bays[n].name(d) for n, d in drafts]
    order = [k for bay in bays for k in range(1, len(bay.drafts) + 1)]
    pieces: dict[int, Piece] = {}
    planks: list[list[Plank]] = [[] for _ in bays]
    for cut in cuts:
        opener = drafts[cut.placed[0].key][0]
        plank = PlankId(f"{bays[opener].bay}/P{len(planks[opener]) + 1}")
        before: PieceId | None = None
        for placed in cut.placed:
            n, draft = drafts[placed.key]
            given = _Given(id=names[placed.key], bay=bays[n].bay, order=order[placed.key])
            pieces[placed.key] = _piece(draft, given, plank, placed, before)
            before = given.id
        members = [(names[p.key], drafts[p.key][1]) for p in cut.placed]
        planks[opener].append(_plank(plank, cut, members, rules))
    return tuple(
        Sawn(
            pieces=tuple(pieces[k] for k, (bay, _) in enumerate(drafts) if bay == n),
            planks=tuple(planks[n]),
        )
        for n in range(len(bays))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Given:
    """What a piece is called, where it lies and when it is laid."""

    id: PieceId
    bay: BayId
    order: int


def cut_to(piece: Piece, draft: Draft) -> Piece:
    """A piece in the measures of a draft: shape, blank, what it keeps of its plank and what is sawn."""
    cuts = draft.cuts
    return replace(
        piece,
        run=draft.run.index,
        role=draft.role,
        shape=draft.shape,
        blank_length_mm=draft.blank_length_mm,
        blank_width_mm=draft.blank_width_mm,
        end_length_mm=draft.end_length_mm,
        keeps_near_edge=draft.keeps_near_edge,
        keeps_far_edge=draft.keeps_far_edge,
        cuts=cuts,
        is_whole=not cuts,
    )


def _piece(
    draft: Draft, given: _Given, plank: PlankId, placed: Placed, before: PieceId | None
) -> Piece:
    sawn = draft.cuts
    return Piece(
        id=given.id,
        bay=given.bay,
        row=draft.run.row,
        run=draft.run.index,
        number=draft.number,
        role=draft.role,
        shape=draft.shape,
        blank_length_mm=draft.blank_length_mm,
        blank_width_mm=draft.blank_width_mm,
        end_length_mm=draft.end_length_mm,
        keeps_near_edge=draft.keeps_near_edge,
        keeps_far_edge=draft.keeps_far_edge,
        cuts=sawn,
        plank=plank,
        plank_x_mm=placed.x_mm,
        plank_y_mm=placed.y_mm,
        offcut_of=before,
        order=given.order,
        is_whole=not sawn,
        stage=draft.stage,
    )


def _plank(
    plank: PlankId, cut: PlankCut, members: Sequence[tuple[PieceId, Draft]], rules: RuleSet
) -> Plank:
    laid = sum(d.shape.area for _, d in members)
    kept = cut.offcut_mm * rules.plank.width
    return Plank(
        id=plank,
        pieces=tuple(name for name, _ in members),
        offcut_mm=cut.offcut_mm,
        waste_mm2=max(0.0, rules.plank.length * rules.plank.width - laid - kept),
    )
