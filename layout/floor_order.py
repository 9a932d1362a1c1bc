"""What is ordered beside the planks, and where each thing goes. Lengths in mm, areas in m2.

`where` in these records is built of names from the drawing as they stand there: writers make them safe.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from importer.plan import DoorwayId, Point


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """The plank that quantities are counted in, as sold, and the rule set that says so."""

    rules: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    per_pack: int
    spare: float


# --- of one plan, thing by thing ----------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class BayStrips:
    """A bay covered with strips off a roll, along the longer side of the box about it in the direction
    of its rows. `length_mm` is that of all strips, upturns included.
    """

    bay: str
    strips: int
    length_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfilePlace:
    """A threshold or movement-joint profile. `bay` is the one it is ordered with, `note` a caution."""

    joint: str
    bay: str
    doorway: DoorwayId | None
    length_mm: float
    where: str
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WallStretch:
    """Skirting along a wall from corner to corner, or to a doorway or fixed unit. `pieces_mm` are sawn
    for it, mitres included; together they may be longer than `length_mm`, the wall.
    """

    bay: str
    where: str
    length_mm: float
    pieces_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Collars:
    """Pipes through the floor: one that is drawn, at its place (plan frame), or a number by rule."""

    bay: str
    where: str
    count: int
    at: Point | None = None
    across_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameCut:
    """A door frame whose jambs are cut so that planks run under it; no jambs where it must not be."""

    bay: str
    doorway: DoorwayId
    where: str
    jambs: int
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Accessories:
    """Everything beside planks that the bays of a plan take, in the order of its bays."""

    underlay: tuple[BayStrips, ...] = ()
    membrane: tuple[BayStrips, ...] = ()
    profiles: tuple[ProfilePlace, ...] = ()
    skirting: tuple[WallStretch, ...] = ()
    collars: tuple[Collars, ...] = ()
    frames: tuple[FrameCut, ...] = ()


# --- of a flat, storey or job, to order ---------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOrder:
    """A sheet off rolls: `rolled_mm` are all strips one after the other; where a roll ends the next goes
    on with a lap.
    """

    net_m2: float
    strips: int
    rolled_mm: float
    rolls: int
    roll_mm: tuple[float, float]
    """Width and length of a roll."""
    lap_mm: float

    @property
    def rolled_m2(self) -> float:
        """Area of all strips."""
        return self.rolled_mm * self.roll_mm[0] / 1e6


@dataclass(frozen=True, slots=True, kw_only=True)
class BarPiece:
    """One piece sawn from a bar, and where it goes."""

    length_mm: float
    where: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CutBar:
    """One bar as bought, its pieces longest first, and what is left of it."""

    length_mm: float
    pieces: tuple[BarPiece, ...]
    offcut_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BarOrder:
    """Bars and how they are sawn. No way to saw the pieces takes less than `least_mm` of bars."""

    bars: tuple[CutBar, ...] = ()
    least_mm: float = 0.0

    @property
    def bought_mm(self) -> float:
        """Length of all bars."""
        return sum(b.length_mm for b in self.bars)

    @property
    def counts(self) -> Mapping[float, int]:
        """How many bars of each length, longest first."""
        return dict(sorted(Counter(b.length_mm for b in self.bars).items(), reverse=True))
