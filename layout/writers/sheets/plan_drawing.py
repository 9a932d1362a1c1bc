"""One window of a bay while it is drawn, and what all parts of the drawing ask of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from importer.plan import Point
from layout.rules import RuleSet
from layout.writers.dxf.runs_seen import RunSeen
from layout.writers.sheets.ground import Ground
from layout.writers.sheets.marks import Box, Sketch
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import (
    SMALL,
)
from layout.writers.sheets.turned import Turned

INSIDE: Final = 0.8
"""Distance of a length from the end of its piece."""
SIDE: Final = 9.0
"""Beside the window, for row numbers."""
ABOVE: Final = 12.0
"""Over the window, for the start and the datum."""


@dataclass(slots=True)
class PlanDrawing:
    """One window of a bay while it is drawn."""

    scene: Scene
    turned: Turned
    rules: RuleSet
    lengths: bool
    sketch: Sketch = field(default_factory=Sketch)
    ground: Ground = field(default_factory=Ground)

    @property
    def pitch(self) -> float:
        """A row on paper."""
        return self.rules.plank.width / self.turned.ratio


def numbered_rows(drawing: PlanDrawing) -> Iterator[tuple[int, float, float, float]]:
    """Rows that carry a number: number, middle on paper, left and right end of what is laid of it."""
    x0, y0, x1, y1 = drawing.turned.window
    rows: dict[int, list[RunSeen]] = {}
    for run in drawing.scene.runs:
        if run.x1 > x0 and run.x0 < x1 and y0 <= run.middle <= y1:
            rows.setdefault(run.row, []).append(run)
    every = 1 if drawing.pitch >= SMALL + 0.4 else 5
    for row, runs in sorted(rows.items()):
        if row % every:
            continue
        tallest = max(runs, key=lambda r: r.height)
        box = drawing.turned.box((min(r.x0 for r in runs), 0, max(r.x1 for r in runs), 1))
        yield row, drawing.turned.at(0, tallest.middle)[1], box[0], box[2]


def inside(point: Point, window: Sequence[float]) -> bool:
    """Whether a point of the bay lies in a window, its edge counted in."""
    x0, y0, x1, y1 = window
    return x0 - 0.5 <= point[0] <= x1 + 0.5 and y0 - 0.5 <= point[1] <= y1 + 0.5


def sorted_box(x0: float, y0: float, x1: float, y1: float) -> Box:
    """A box from any two opposite corners."""
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)
