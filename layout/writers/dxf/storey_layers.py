"""Layers of a plan that is drawn from a model: what each carries, how it looks, what it is called.

Line widths are from the ISO 128 series: bodies cut through 0.5, what is seen 0.25, fittings 0.13.
Colours are greys that can be told apart on white and on a dark screen; the colours proper are left to
the setting-out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final

from importer.plan import DrawnKind


class Part(Enum):
    """What a layer of the plan carries. The value is its word in the plain scheme."""

    WALL = "WALL"
    WALL_FILL = "WALL-FILL"
    COLUMN = "COLUMN"
    COLUMN_FILL = "COLUMN-FILL"
    WINDOW = "WINDOW"
    DOOR = "DOOR"
    SWING = "DOOR-SWING"
    STAIR = "STAIR"
    OVERHEAD = "OVERHEAD"
    RAILING = "RAILING"
    FITTING = "FITTING"
    AREA = "AREA"
    ROOM = "ROOM"
    NOTE = "NOTE"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """Colour index, line width in 1/100 mm, dashed or not, plotted or not."""

    aci: int
    lineweight: int
    dashed: bool = False
    plots: bool = True


_INK, _GREY, _LIGHT = 7, 8, 9

LOOKS: Final[Mapping[Part, Look]] = {
    Part.WALL: Look(aci=_INK, lineweight=50),
    Part.WALL_FILL: Look(aci=_LIGHT, lineweight=13),
    Part.COLUMN: Look(aci=_INK, lineweight=50),
    Part.COLUMN_FILL: Look(aci=_GREY, lineweight=13),
    Part.WINDOW: Look(aci=_INK, lineweight=18),
    Part.DOOR: Look(aci=_INK, lineweight=25),
    Part.SWING: Look(aci=_GREY, lineweight=13),
    Part.STAIR: Look(aci=_GREY, lineweight=25),
    Part.OVERHEAD: Look(aci=_GREY, lineweight=18, dashed=True),
    Part.RAILING: Look(aci=_GREY, lineweight=18),
    Part.FITTING: Look(aci=_GREY, lineweight=13),
    Part.AREA: Look(aci=_GREY, lineweight=13, plots=False),
    Part.ROOM: Look(aci=_INK, lineweight=25),
    Part.NOTE: Look(aci=_INK, lineweight=25),
}

PART_OF: Final[Mapping[DrawnKind, Part]] = {
    DrawnKind.WALL: Part.WALL,
    DrawnKind.COLUMN: Part.COLUMN,
    DrawnKind.STAIR: Part.STAIR,
    DrawnKind.OVERHEAD: Part.OVERHEAD,
    DrawnKind.WINDOW: Part.WINDOW,
    DrawnKind.DOOR_LEAF: Part.DOOR,
    DrawnKind.DOOR_SWING: Part.SWING,
    DrawnKind.RAILING: Part.RAILING,
    DrawnKind.OTHER: Part.FITTING,
}

FILL_OF: Final[Mapping[Part, Part]] = {
    Part.WALL: Part.WALL_FILL,
    Part.COLUMN: Part.COLUMN_FILL,
}
"""Bodies that are cut through are filled."""

_NCS: Final[Mapping[Part, str]] = {
    Part.WALL: "A-WALL",
    Part.WALL_FILL: "A-WALL-PATT",
    Part.COLUMN: "A-COLS",
    Part.COLUMN_FILL: "A-COLS-PATT",
    Part.WINDOW: "A-GLAZ",
    Part.DOOR: "A-DOOR",
    Part.SWING: "A-DOOR-SWNG",
    Part.STAIR: "A-FLOR-STRS",
    Part.OVERHEAD: "A-FLOR-OVHD",
    Part.RAILING: "A-FLOR-HRAL",
    Part.FITTING: "A-FURN",
    Part.AREA: "A-AREA",
    Part.ROOM: "A-AREA-IDEN",
    Part.NOTE: "A-ANNO-NOTE",
}

_ISO: Final[Mapping[Part, str]] = {
    Part.WALL: "A-2-----E-WALL",
    Part.WALL_FILL: "A-2-----H-WALL",
    Part.COLUMN: "A-28----E-COLUMN",
    Part.COLUMN_FILL: "A-28----H-COLUMN",
    Part.WINDOW: "A-31----E-WINDOW",
    Part.DOOR: "A-32----E-DOOR",
    Part.SWING: "A-32----E-SWING",
    Part.STAIR: "A-24----E-STAIR",
    Part.OVERHEAD: "A-------E-OVERHEAD",
    Part.RAILING: "A-34----E-RAILING",
    Part.FITTING: "A-7-----E-FITTING",
    Part.AREA: "A-------U-AREA",
    Part.ROOM: "A-------T-ROOM",
    Part.NOTE: "A-------T-NOTE",
}
"""ISO 13567: agent A- (architect), element of the same table as the setting-out's 43, presentation."""

NAMES: Final[Mapping[str, Mapping[Part, str]]] = {
    "plain": {part: f"PLAN-{part.value}" for part in Part},
    "ncs": _NCS,
    "iso13567": _ISO,
}
"""Names of the layers by the word of the layer scheme."""
