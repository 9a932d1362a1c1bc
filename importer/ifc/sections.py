"""The lines of an architect's plan for every storey, cut from the model at the usual height.

Walls and columns are cut through at `CUT_MM` above the floor, their openings taken out in the plan,
which is faster and sounder than in space. Doors get leaf and swing, windows their panes, stairs their
treads. What stands lower than the cut is seen from above.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from importer.ifc.model import Entity, IfcModel, guid_of
from importer.ifc.section_bodies import Bodies, Body, Role
from importer.ifc.section_cut import cut_at, polygons_of, seen_from_above, together
from importer.ifc.section_doors import door_lines, lintel_lines, operation_of, window_lines
from importer.ifc.section_levels import FLOOR_MM, Level, floor_of
from importer.ifc.section_openings import Gap, Opening, clipped, less_openings
from importer.ifc.section_stairs import Tread, all_treads, stair_lines
from importer.outlines import reading_order
from importer.plan import Drawn, DrawnKind, Origin

CUT_MM: Final = 1100.0
"""Height of the section above the floor: above sills and worktops, below lintels."""
UNDER_MM: Final = 300.0
"""A thing whose foot is no further below the floor than this still stands on it."""
SMOOTH_MM: Final = 0.5
"""Corners nearer the line of their neighbours are none: facets of a curve."""
LEAST_EDGE_MM: Final = 200.0
"""Shorter pieces of a slab's edge between walls are left out."""
AT_WALL_MM: Final = 5.0
"""A line this near a wall's face is the wall's own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Linework:
    """What the plans of all storeys show; `walls` are those of all storeys."""

    walls: tuple[Polygon, ...]
    drawn: tuple[Drawn, ...]


def storey_linework(
    model: IfcModel, levels: Sequence[Level], bodies: Bodies, openings: Sequence[Opening]
) -> Linework:
    """Draw the plan of every storey.

    Args:
        model: the opened model, for the names of things.
        levels: the storeys in plan order.
        bodies: everything meshed (`find_bodies`).
        openings: everything in walls (`find_openings`).

    Returns:
        Wall bodies and lines, mm, by storey, then from the top of the sheet down.
    """
    things = _Things(
        bodies=bodies,
        openings=tuple(openings),
        treads=all_treads(b.mesh for b in bodies.of(Role.STAIR)),
    )
    drawn: list[Drawn] = []
    for level in levels:
        mine = list(_Sheet(model, level, things).lines())
        drawn += sorted(mine, key=lambda d: (_ORDER[d.kind], *reading_order(d.shape)))
    walls = tuple(
        d.shape for d in drawn if d.kind is DrawnKind.WALL and isinstance(d.shape, Polygon)
    )
    return Linework(walls=walls, drawn=tuple(drawn))


_ORDER: Final = {kind: place for place, kind in enumerate(DrawnKind)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Things:
    """What all storeys are drawn from."""

    bodies: Bodies
    openings: tuple[Opening, ...]
    treads: tuple[Tread, ...]


class _Sheet:
    """The plan of one storey while it is drawn."""

    def __init__(self, model: IfcModel, level: Level, things: _Things) -> None:
        bodies = things.bodies
        self._model = model
        self._level = level
        self._plane = level.floor + CUT_MM
        self._bodies = bodies
        self._treads = things.treads
        sections: dict[int, BaseGeometry] = {}
        for body in bodies.of(Role.WALL):
            if body.low < self._plane < body.high:
                cut = cut_at(body.mesh, self._plane)
                sections[body.whole] = sections.get(body.whole, Polygon()).union(cut)
        self._openings = [
            clipped(o, sections) for o in things.openings if o.gap.low < self._plane < o.gap.high
        ]
        gaps: dict[int | None, list[Gap]] = {}
        for opening in self._openings:
            gaps.setdefault(opening.host, []).append(opening.gap)
        self._floor = floor_of(bodies, level.floor)
        self._walls = together([less_openings(s, gaps.get(k, ())) for k, s in sections.items()])

    def lines(self) -> Iterator[Drawn]:
        """Everything on the sheet."""
        for shape in self._tidy(self._walls):
            yield self._drawn(DrawnKind.WALL, shape)
        yield from self._cut(Role.COLUMN, DrawnKind.COLUMN)
        yield from self._cut(Role.CURTAIN, DrawnKind.WINDOW)
        for opening in self._openings:
            yield from self._opening(opening)
        yield from self._low_things()
        yield from self._stairs()

    def _drawn(
        self, kind: DrawnKind, shape: Polygon | LineString, product: Entity | None = None
    ) -> Drawn:
        guid = None if product is None else guid_of(product)
        where = Origin(file=self._model.name, guid=guid)
        return Drawn(kind=kind, storey=self._level.storey, shape=shape, source=where)

    def _tidy(self, shape: BaseGeometry) -> list[Polygon]:
        return polygons_of(shapely.simplify(shape, SMOOTH_MM))

    def _cut(self, role: Role, kind: DrawnKind) -> Iterator[Drawn]:
        for body in self._bodies.of(role):
            if body.low < self._plane < body.high:
                for shape in self._tidy(cut_at(body.mesh, self._plane)):
                    yield self._drawn(kind, shape, body.product)

    def _opening(self, opening: Opening) -> Iterator[Drawn]:
        filling = opening.filling
        if filling is None:
            lines = (
                lintel_lines(opening.gap)
                if self._is_passage(opening)
                else window_lines(opening.gap)
            )
        elif filling.is_a("IfcDoor"):
            lines = door_lines(opening.gap, operation_of(filling))
        else:
            lines = window_lines(opening.gap)
        for kind, shape in lines:
            yield self._drawn(kind, shape, filling or opening.entity)

    def _is_passage(self, opening: Opening) -> bool:
        return opening.gap.low < self._level.floor + FLOOR_MM

    def _stands_here(self, body: Body) -> bool:
        """On this floor and no higher than the plane."""
        return self._level.floor - UNDER_MM <= body.low < self._plane

    def _low_things(self) -> Iterator[Drawn]:
        """Parapets and railings, furniture, and the edges of the floor."""
        for body in self._bodies.of(Role.WALL, Role.RAILING, Role.FURNITURE):
            low = body.role is not Role.WALL or body.high <= self._plane
            if not low or not self._stands_here(body) or body.high < self._level.floor:
                continue
            kind = DrawnKind.OTHER if body.role is Role.FURNITURE else DrawnKind.RAILING
            for shape in self._tidy(seen_from_above(body.mesh)):
                yield self._drawn(kind, shape, body.product)
        covered = shapely.buffer(self._walls, AT_WALL_MM)
        edges = shapely.line_merge(shapely.difference(self._floor.boundary, covered))
        for line in shapely.get_parts(edges).tolist():
            if isinstance(line, LineString) and line.length > LEAST_EDGE_MM:
                yield self._drawn(DrawnKind.OTHER, shapely.simplify(line, SMOOTH_MM))

    def _stairs(self) -> Iterator[Drawn]:
        for kind, shape in stair_lines(self._treads, self._floor, self._level.floor, self._plane):
            yield self._drawn(kind, shape)
