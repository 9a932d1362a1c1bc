"""Rooms and openings recovered from wall linework: the steps in their order.

Strokes of the wall layers pair up as faces; pairs that can be walls are strips; strips, strokes and
filled outlines make the body of the walls. Free wall ends look across gaps, gaps are judged by what
is drawn in them and joined with the door symbols; closed, they part the free space into rooms.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely.errors import GEOSException

from importer.dxf.closing import Closed, body_polygons, close_openings
from importer.dxf.drawing import Drawing
from importer.dxf.enclosed import room_spaces
from importer.dxf.found import DoorSymbol, Opening, OpeningKind, Recovered, RoomShape
from importer.dxf.loose_lines import closed_with_loose_lines
from importer.dxf.wall_groups import (
    Groups,
    WallChoice,
    group_scores,
    groups_of,
    named_choices,
    shaped_groups,
)
from importer.dxf.wall_linework import wall_linework
from importer.dxf.wall_reading import read_walls
from importer.hints import Hints
from importer.plan import Finding, Severity

SHUT_SHARE: Final = 0.3
"""More rooms than this without an opening: they are the insides of furniture, or the like."""

SPARED_SHARE: Final = 0.99
"""Strokes added to the walls that bring no new room leave at least so much of the floor."""


def recover_rooms(drawing_mm: Drawing, symbols: Sequence[DoorSymbol], hints: Hints) -> Recovered:
    """Rooms and openings told from the wall linework of a drawing.

    Args:
        drawing_mm: the drawing in millimetres about its origin.
        symbols: the door symbols found in it.
        hints: layers given by the user.

    Returns:
        Rooms with outlines on the drawn wall faces, in reading order, the openings between them, the
        wall bodies, and findings for what was closed without anything being drawn there. Empty when
        the drawing shows no walls around rooms.
    """
    # GEOS divides by nought on the way to right results; numpy would pass that on as warnings.
    with np.errstate(invalid="ignore", divide="ignore"):
        try:
            return _recover(drawing_mm, symbols, hints)
        except GEOSException as fault:
            return Recovered(findings=(_unresolved(drawing_mm, fault),))


def _recover(drawing_mm: Drawing, symbols: Sequence[DoorSymbol], hints: Hints) -> Recovered:
    groups = groups_of(drawing_mm)
    scores = group_scores(drawing_mm, groups)
    attempt = _Attempt(drawing=drawing_mm, symbols=tuple(symbols), hints=hints)
    for choice in named_choices(drawing_mm, groups, scores, hints):
        found = _plain_or_mixed(attempt, choice)
        if found is not None and found.rooms:
            return _recovered(drawing_mm, found)
    if hints.wall_layers:
        return Recovered()
    best = _by_shape(attempt, groups, shaped_groups(groups, scores, hints))
    return _recovered(drawing_mm, best) if best is not None else Recovered()


# ---------------------------------------------------------------- trying choices of linework


@dataclass(frozen=True, slots=True, kw_only=True)
class _Attempt:
    drawing: Drawing
    symbols: tuple[DoorSymbol, ...]
    hints: Hints

    def read(self, choice: WallChoice, *, mixed: bool, told: bool = True) -> _Found | None:
        """Rooms of one choice of linework. Where nothing but the way the strokes lie speaks for it
        (`told` False) openings must do, and there is no reading without.
        """
        linework = wall_linework(self.drawing, choice.sources, self.symbols, mixed=mixed)
        reading = read_walls(self.drawing, self.symbols, self.hints, linework)
        if not told and not reading.shows_openings:
            return None
        found = _found(close_openings(reading.body, reading.candidates), choice.why)
        if mixed and len(reading.loose):
            lined = closed_with_loose_lines(reading.body, reading.candidates, reading.loose)
            found = _better(found, _found(lined, choice.why)) or found
        return found if told or found.is_plan else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """Rooms of one reading and how well founded it is.

    `doors` counts drawn doors, `passages` plain gaps as wide as doors with a wall end on either side
    that part two rooms; `shut` counts rooms that nothing leads into.
    """

    closed: Closed
    rooms: tuple[RoomShape, ...]
    doors: int
    passages: int
    shut: int

    @property
    def is_plan(self) -> bool:
        """Whether this is a plan of rooms at all: one can walk into most of them."""
        return (self.doors >= 1 or self.passages >= 2) and self.merit > 0

    @property
    def floor_mm2(self) -> float:
        """Area of all rooms."""
        return float(sum(room.shape.area for room in self.rooms))

    @property
    def merit(self) -> float:
        """The more doors lead somewhere the better; rooms that nothing leads into are furniture."""
        return self.doors + self.passages / 2 - self.shut / 2


def _found(closed: Closed, why: str) -> _Found:
    entered = {s for pair in closed.beside for s in pair if s is not None}
    numbers = room_spaces(closed)
    doors = passages = 0
    for candidate, (one, two) in zip(closed.candidates, closed.beside, strict=True):
        if one == two or not {one, two} & set(numbers):
            continue
        doors += candidate.opening.kind is OpeningKind.DOOR
        passages += candidate.is_passage and {one, two} <= set(numbers)
    return _Found(
        closed=closed,
        rooms=tuple(
            RoomShape(
                shape=closed.spaces[k].shape,
                why=why if k in entered else f"{why}; no opening leads into it",
            )
            for k in numbers
        ),
        doors=doors,
        passages=passages,
        shut=len(set(numbers) - entered),
    )


def _plain_or_mixed(attempt: _Attempt, choice: WallChoice) -> _Found | None:
    """The choice read as walls only; where that shuts many rooms in, as a mixture if that is better."""
    plain = attempt.read(choice, mixed=False)
    if plain is None or plain.shut <= SHUT_SHARE * len(plain.rooms):
        return plain
    mixed = attempt.read(choice, mixed=True)
    return _better(plain, mixed) if mixed is not None and mixed.is_plan else plain


def _by_shape(attempt: _Attempt, groups: Groups, sets: Sequence[tuple[int, ...]]) -> _Found | None:
    """The best founded reading of groups of strokes whose names tell nothing: the best group alone,
    then what others add to it, and all together where that fails.
    """
    *alone, everything = sets
    best: _Found | None = None
    picked: tuple[int, ...] = ()
    for candidate in alone:
        found = _mixture(attempt, groups, candidate)
        if found is not None and _better(best, found) is found:
            best, picked = found, candidate
    for candidate in alone if best is not None else ():
        if candidate[0] not in picked:
            found = _mixture(attempt, groups, (*picked, *candidate))
            if found is not None and _better(best, found) is found and _spares(best, found):
                best, picked = found, (*picked, *candidate)
    if best is None and everything:
        best = attempt.read(_shaped(groups, everything), mixed=True, told=False)
    return best


def _shaped(groups: Groups, picked: tuple[int, ...]) -> WallChoice:
    why = "strokes that lie in pairs as the faces of walls"
    return WallChoice(sources=groups.sources(picked), why=why)


def _mixture(attempt: _Attempt, groups: Groups, picked: tuple[int, ...]) -> _Found | None:
    """Groups read with other things among the walls, and as walls only; the better of the two."""
    choice = _shaped(groups, picked)
    mixed = attempt.read(choice, mixed=True, told=False)
    return _better(mixed, attempt.read(choice, mixed=False, told=False))


def _better(one: _Found | None, two: _Found | None) -> _Found | None:
    """The better founded of two readings, then the one with more rooms; the first where equal."""
    if one is None or two is None:
        return one or two
    return two if (two.merit, len(two.rooms)) > (one.merit, len(one.rooms)) else one


def _spares(best: _Found | None, found: _Found) -> bool:
    """Whether more strokes leave the floor as it was, or part it into more rooms: walls do, lines that
    run along them (footings, eaves, skirtings) only take floor away.
    """
    if best is None or len(found.rooms) > len(best.rooms):
        return True
    return found.floor_mm2 >= SPARED_SHARE * best.floor_mm2


# ---------------------------------------------------------------- what the spaces are


def _recovered(drawing: Drawing, found: _Found) -> Recovered:
    openings = tuple(c.opening for c in found.closed.candidates)
    return Recovered(
        rooms=found.rooms,
        openings=openings,
        walls=body_polygons(found.closed.body),
        findings=_gap_findings(drawing, openings),
    )


def _unresolved(drawing: Drawing, fault: GEOSException) -> Finding:
    return Finding(
        code="IMP-321",
        severity=Severity.REFUSED,
        what=f"the wall linework could not be resolved into rooms ({fault}).",
        where=drawing.where(),
        remedy="Draw the rooms as closed outlines and name their layer in drawing.layers.rooms, or "
        "name the layers of the walls in drawing.layers.walls.",
    )


def _gap_findings(drawing: Drawing, openings: Sequence[Opening]) -> tuple[Finding, ...]:
    findings = []
    for opening in openings:
        if opening.kind is not OpeningKind.GAP:
            continue
        point = opening.shape.centroid
        findings.append(
            Finding(
                code="IMP-320",
                severity=Severity.NOTE,
                what=f"gap of {opening.width_mm:.0f} mm in a wall, nothing drawn in it: taken as an "
                "opening between two rooms",
                where=drawing.where((point.x, point.y)),
                remedy="If it is a wall, draw it through; if the rooms are one, widen the gap.",
            )
        )
    return tuple(findings)
