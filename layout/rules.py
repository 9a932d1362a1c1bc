"""The rule set: every number a floor is laid by. One YAML file, one `RuleSet`.

This module is the model only; `layout.rules_file` reads it from YAML with file, line and column,
and `layout.rules_checks` holds the rules between fields.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from importer.hints import Hints
from layout.measures import parse_angle, parse_length, parse_share

Length = Annotated[float, BeforeValidator(parse_length)]
"""Millimetres; YAML may give a plain number (mm) or text with a unit: `1.2 m`, `3/8 in`, `48 in`."""
Share = Annotated[float, BeforeValidator(parse_share)]
"""A part of one; YAML gives `3 %` or `0.03`."""


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Hand(StrEnum):
    """At which end a row starts, facing the start wall."""

    LEFT_TO_RIGHT = "left-to-right"
    RIGHT_TO_LEFT = "right-to-left"


class PlankRules(_Section):
    """The plank as sold."""

    length: Length = Field(gt=0)
    width: Length = Field(gt=0)
    thickness: Length = Field(default=5.0, gt=0)
    per_pack: int = Field(default=10, ge=1)
    lay: Hand = Hand.LEFT_TO_RIGHT


class GapRules(_Section):
    """Clear distance to walls, and what the skirting or bead hides."""

    wall: Length = Field(default=8.0, ge=0)
    cover: Length = Field(default=15.0, ge=0)


class EndRules(_Section):
    """`min_length` is kept wherever possible; `never_below` (None: the plank's width) is the graver
    limit that applies when a run leaves no room for the first.
    """

    min_length: Length = Field(default=300.0, ge=0)
    never_below: Length | None = None


class Bond(StrEnum):
    """The pattern of the end joints."""

    OFFCUT_LED = "offcut-led"
    HALF = "half"
    THIRD = "third"


class JointRules(_Section):
    """End joints in touching rows."""

    min_offset: Length = Field(default=300.0, ge=0)
    bond: Bond = Bond.OFFCUT_LED


class RowRules(_Section):
    """Rows: least width of a ripped row and the direction they run in. `along` is one of the words
    below or an angle (degrees counter-clockwise from the drawing's x axis).
    """

    min_width: Length = Field(default=60.0, ge=0)
    along: (
        Literal["longest-wall", "entrance", "across", "fewest-planks"]
        | Annotated[float, BeforeValidator(parse_angle)]
    ) = "longest-wall"


class LimitRules(_Section):
    """The longest continuous floor along and across the rows, measured wall to wall."""

    run: Length = Field(default=15000.0, gt=0)
    across: Length = Field(default=15000.0, gt=0)


class DoorwayRules(_Section):
    """What happens at doorways: `through` joins the rooms, `break` puts a movement joint there.
    `break_at` names kinds of doorway that always break. `leaf_cover`: where the joint lies.
    """

    default: Literal["through", "break"] = "through"
    break_at: tuple[str, ...] = ("flat entrance",)
    leaf_cover: Literal["centre", "leaf"] = "centre"


class CutRules(_Section):
    """Saw kerf, and the shortest offcut worth carrying to another row."""

    kerf: Length = Field(default=0.0, ge=0)
    keep_offcut: Length = Field(default=300.0, ge=0)


class SiteRules(_Section):
    """How far the site may differ from the drawing with the layout still holding."""

    tolerance: Length = Field(default=10.0, ge=0)


class OrderRules(_Section):
    """Spare planks for damage and later repair, as a share of the planks laid."""

    spare: Share = Field(default=0.03, ge=0, le=1)


class RoomRule(_Section):
    """A rule for the rooms whose name or number matches: `bath*|wc`, without regard to case."""

    match: str
    lay: bool = True
    because: str = ""
    finish: str = ""


class LayerHints(_Section):
    """Layer patterns, only where the importer's own reading is wrong."""

    rooms: tuple[str, ...] = ()
    walls: tuple[str, ...] = ()
    doors: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()


class DrawingRules(_Section):
    """Hints about the drawing; a plan is read without any."""

    units: Literal["mm", "cm", "dm", "m", "in", "ft"] | None = None
    layers: LayerHints = LayerHints()

    def hints(self) -> Hints:
        """The same for the importer, which knows nothing of rule sets."""
        return Hints(
            units=self.units,
            room_layers=self.layers.rooms,
            wall_layers=self.layers.walls,
            door_layers=self.layers.doors,
            ignore_layers=self.layers.ignore,
        )


class RuleSet(_Section):
    """Every number a floor is laid by. See `configs/` for commented examples."""

    name: str
    plank: PlankRules
    gap: GapRules = GapRules()
    ends: EndRules = EndRules()
    joints: JointRules = JointRules()
    rows: RowRules = RowRules()
    limits: LimitRules = LimitRules()
    doorways: DoorwayRules = DoorwayRules()
    cut: CutRules = CutRules()
    site: SiteRules = SiteRules()
    order: OrderRules = OrderRules()
    rooms: tuple[RoomRule, ...] = ()
    drawing: DrawingRules = DrawingRules()

    @property
    def never_below_mm(self) -> float:
        """The graver limit for end pieces: as written, else the plank's width (common practice)."""
        given = self.ends.never_below
        return self.plank.width if given is None else given
