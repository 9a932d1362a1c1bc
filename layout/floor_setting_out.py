"""How a bay is set out: direction, datum, row grid, what its edges are left with. Frames and words are
those of `layout.floor`, which hands these on.
"""

from __future__ import annotations

from dataclasses import dataclass

from importer.plan import Point
from layout.frame import Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeStrip:
    """What one edge parallel to the rows is left with: `width_mm` of plank between the edge and the
    nearest row line on the floor side (a full width where they coincide). Bay frame; [x0, x1] is the
    stretch of the edge, [y_low, y_high] its distance range (they differ where it tapers).
    """

    x0: float
    x1: float
    y_low: float
    y_high: float
    floor_above: bool
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """A direction that was considered: its figures for the bay laid alone, so that the choice can be
    judged. `planks` is None where it was not laid; `rows` counts its rows, `slack_mm` is as in
    `SettingOut`.
    """

    along_deg: float
    why: str
    planks: int | None
    bound: int | None
    breaches: int
    chosen: bool = False
    rows: int = 0
    slack_mm: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Taper:
    """A wall out of square with the rows, so that the plank beside it is cut on the taper. `edge` is the
    edge of the floor there, plan frame, in laying direction; `width_mm` what is left of the row beside
    it at the two ends, `row` the row at the narrow end. `crosses` says that the taper runs over a row
    line, so that the next row ends in a tip there and the greater width is more than a plank's.
    `at_start` marks the start wall itself.
    """

    edge: tuple[Point, Point]
    width_mm: tuple[float, float]
    row: int
    crosses: bool = False
    at_start: bool = False

    @property
    def runs_out_mm(self) -> float:
        """By how much the cut tapers over the length of the edge."""
        return abs(self.width_mm[1] - self.width_mm[0])


@dataclass(frozen=True, slots=True, kw_only=True)
class SettingOut:
    """Direction, datum and row grid of a bay. Row lines lie at y = `phase_mm` + k * plank width.

    `reference` is the start wall's stretch and `datum` the line to snap on the subfloor, both in the
    plan frame, both ends in laying direction; the datum lies `datum_offset_mm[0]` and `[1]` from the
    reference wall at its two ends (they differ where the wall is out of square with the rows) and
    is the row line between the starter row and the second.
    `slack_mm` is how far the narrowest strip stays above the least row width with the site tolerance
    in hand (negative: below it).
    """

    frame: Frame
    phase_mm: float
    first_row_mm: float
    last_row_mm: float
    slack_mm: float
    reference: tuple[Point, Point]
    datum: tuple[Point, Point]
    datum_offset_mm: tuple[float, float]
    strips: tuple[EdgeStrip, ...] = ()
    why: str = ""
    tapers: tuple[Taper, ...] = ()
