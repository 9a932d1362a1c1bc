"""Where texts may stand: no two of them meet, none covers a name of the architect's.

Texts are offered in the order in which the eye should find them; what finds no place is left to the
tables. Nothing is ever shrunk. Plan frame, millimetres.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from math import floor

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from layout.writers.dxf.marks import Group

_CELL_MM = 1000.0
_FILL_WEIGHT = 5
"""Text on a fill cannot be read at all, over a line only badly."""
_CROSSING_MM = 900.0
"""How much farther off a text may stand for each line that it then keeps clear of (own judgement)."""


class Board:
    """The ground that is taken. Mutable, used for one drawing while it is composed.

    `texts` are boxes of the architect's texts, `strokes` his lines as an array of geometries, `solid`
    filled and hatched areas, `floors` the laid floors of all bays.
    """

    def __init__(
        self,
        *,
        texts: Sequence[Polygon] = (),
        strokes: NDArray[np.object_] | None = None,
        solid: Sequence[Polygon] = (),
        floors: Sequence[Polygon] = (),
    ) -> None:
        self._cells: dict[tuple[int, int], list[Polygon]] = defaultdict(list)
        self._strokes = shapely.STRtree(strokes if strokes is not None else [])
        self._solid = shapely.STRtree(np.asarray(solid, dtype=object))
        self._floors = shapely.STRtree(np.asarray(floors, dtype=object))
        self.take(texts)

    def take(self, boxes: Iterable[Polygon]) -> None:
        """Mark ground as taken."""
        for box in boxes:
            for cell in _cells(box):
                self._cells[cell].append(box)

    def is_free(self, boxes: Iterable[Polygon]) -> bool:
        """True when none of the boxes meets ground that is taken."""
        return not any(
            box.intersects(other)
            for box in boxes
            for cell in _cells(box)
            for other in self._cells.get(cell, ())
        )

    def is_off_floor(self, boxes: Sequence[Polygon]) -> bool:
        """True when none of the boxes stands on a laid floor."""
        return _hits(self._floors, boxes) == 0

    def crossings(self, boxes: Sequence[Polygon]) -> int:
        """How many lines of the architect's the boxes meet; a fill or hatch counts as several."""
        return _hits(self._strokes, boxes) + _FILL_WEIGHT * _hits(self._solid, boxes)

    def place(self, candidates: Iterable[Group]) -> Group | None:
        """Take the first candidate that is free; None when there is none."""
        for group in candidates:
            if self.is_free(group.ground):
                self.take(group.ground)
                return group
        return None

    def place_nearest(self, candidates: Iterable[tuple[float, Group]]) -> Group | None:
        """Take the free candidate that is nearest to where it belongs, a line of the architect's under
        it counted as so much farther off. Candidates come with their distance, mm.
        """
        best: tuple[float, Group] | None = None
        for distance, group in candidates:
            if (best is not None and distance >= best[0]) or not self.is_free(group.ground):
                continue
            crossed = self.crossings(group.boxes) + self.crossings(group.leaders) / 3
            cost = distance + _CROSSING_MM * crossed
            if best is None or cost < best[0]:
                best = cost, group
        if best is None:
            return None
        self.take(best[1].ground)
        return best[1]

    def place_clearest(self, candidates: Iterable[Group]) -> Group | None:
        """Take the free candidate that meets the fewest lines, on a floor or not, the earliest of
        equals; None when there is none.
        """
        free = [g for g in candidates if self.is_free(g.ground)]
        best = min(free, key=lambda g: self.crossings(g.boxes), default=None)
        if best is not None:
            self.take(best.ground)
        return best

    def place_outside(self, candidates: Iterable[Group], most: int = 0) -> Group | None:
        """Take the candidate off all floors that meets the fewest lines, the earliest of equals;
        None when every one meets more than `most`.
        """
        best: tuple[int, Group] | None = None
        for group in candidates:
            if not (self.is_free(group.ground) and self.is_off_floor(group.boxes)):
                continue
            crossed = self.crossings(group.boxes)
            if best is None or crossed < best[0]:
                best = crossed, group
            if crossed == 0:
                break
        if best is None or best[0] > most:
            return None
        self.take(best[1].ground)
        return best[1]


def _hits(tree: shapely.STRtree, boxes: Sequence[Polygon]) -> int:
    if not boxes or not len(tree):
        return 0
    return len(tree.query(np.asarray(boxes, dtype=object), predicate="intersects")[0])


def _cells(box: Polygon) -> list[tuple[int, int]]:
    x0, y0, x1, y1 = (floor(v / _CELL_MM) for v in box.bounds)
    return [(x, y) for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)]
