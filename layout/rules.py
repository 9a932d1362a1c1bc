"""The rule set: every number a floor is laid by. One YAML file, one `RuleSet`.

This module is the model only; `layout.rules_file` reads it from YAML with file, line and column,
`layout.rules_checks` holds the rules between fields, `layout.rules_schema` prints it for editors.
Defaults are common practice without a published source unless `configs/` names one: the product's own
instructions and local codes come first, which is why each of them is a setting.
"""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, Field

from importer.hints import Allowed, Hints
from layout.measures import ANGLE_PATTERN, nearest, parse_angle, show
from layout.rules_laying import LayingRules, StageRules
from layout.rules_order import (
    FrameRules,
    MembraneRules,
    OrderRules,
    PipeRules,
    ProfileRules,
    SkirtingRules,
    UnderlayRules,
)
from layout.rules_values import AlsoText, Count, Length, Section, YesNo

ALONG_WORDS: Final = ("longest-wall", "entrance", "across", "fewest-planks")
Along = Literal["longest-wall", "entrance", "across", "fewest-planks"]


def _parse_along(value: object) -> object:
    """A direction word or an angle in degrees; the message names both, and the nearest word."""
    if isinstance(value, str) and value in ALONG_WORDS:
        return value
    try:
        return parse_angle(value)
    except ValueError:
        words = f"{', '.join(ALONG_WORDS)} or an angle such as '30 deg'"
        near = nearest(value, ALONG_WORDS) if isinstance(value, str) else None
        meant = f"did you mean {near}? Write one of {words}" if near else f"write {words}"
        msg = f"{show(value)} is not a direction; {meant}"
        raise ValueError(msg) from None


class Hand(StrEnum):
    """At which end a row starts, facing the start wall."""

    LEFT_TO_RIGHT = "left-to-right"
    RIGHT_TO_LEFT = "right-to-left"


class PlankRules(Section):
    """The plank as sold."""

    length: Length = Field(gt=0, description="Length of a plank, without its tongue.")
    width: Length = Field(gt=0, description="Width of a plank that shows, without its tongue.")
    thickness: Length = Field(
        default=5.0, gt=0, description="Thickness of a plank, without underlay."
    )
    per_pack: Count = Field(default=10, ge=1, description="Planks in a pack.")
    lay: Hand = Field(
        default=Hand.LEFT_TO_RIGHT,
        description="At which end a row starts, facing the start wall: decided by the side that the "
        "lock is on.",
    )


class GapRules(Section):
    """Clear distance to walls, and what the skirting or bead hides."""

    wall: Length = Field(
        default=8.0, ge=0, description="Clear distance to walls, frames, pipes and columns."
    )
    cover: Length = Field(
        default=15.0, ge=0, description="Width that the skirting or bead hides; not below the gap."
    )


class EndRules(Section):
    """`min_length` is kept wherever possible; `never_below` (None: the plank's width) is the graver
    limit that applies when a run leaves no room for the first.
    """

    min_length: Length = Field(
        default=300.0,
        ge=0,
        description="Shortest end piece wherever the room allows it; at most half a plank.",
    )
    never_below: Length | None = Field(
        default=None,
        ge=0,
        description="Shortest end piece at all, where a run leaves no room for min_length; left out: "
        "the width of the plank.",
    )


class Bond(StrEnum):
    """The pattern of the end joints."""

    OFFCUT_LED = "offcut-led"
    HALF = "half"
    THIRD = "third"


class JointRules(Section):
    """End joints in touching rows."""

    min_offset: Length = Field(
        default=300.0,
        ge=0,
        description="Least distance between end joints in touching rows; at most half a plank.",
    )
    bond: Bond = Field(
        default=Bond.OFFCUT_LED,
        description="offcut-led: what one row leaves starts another; half and third: joints step by "
        "that part of a plank.",
    )


class RowRules(Section):
    """Rows: least width of a ripped row and the direction they run in. `along` is one of the words
    below or an angle (degrees counter-clockwise from the drawing's x axis).
    """

    min_width: Length = Field(
        default=60.0,
        ge=0,
        description="Least width of a ripped row at a wall or doorway; at most half a plank's width.",
    )
    along: Annotated[Along | float, BeforeValidator(_parse_along), AlsoText(ANGLE_PATTERN)] = Field(
        default="longest-wall",
        description="Direction of the rows: along the longest wall, from the entrance inwards, "
        "across that, whichever needs fewest planks, or an angle from the drawing's x axis.",
    )


class LimitRules(Section):
    """The longest continuous floor along and across the rows, measured wall to wall."""

    run: Length = Field(
        default=15000.0, gt=0, description="Longest floor along the rows without a movement joint."
    )
    across: Length = Field(
        default=15000.0, gt=0, description="Widest floor across the rows without a movement joint."
    )


BREAK_WORDS: Final = (
    "flat entrance",
    "hinged",
    "double",
    "sliding",
    "folding",
    "opening",
)
"""What `doorways.break_at` may name: the door between a flat and what is outside it, and the kinds of
doorway that a plan tells apart (`importer.plan.DoorwayKind`)."""


ROOM_TO_ROOM: Final = "->"
"""Stands between the two rooms of a doorway, whichever comes first: `hall -> bath*`."""


class DoorwayRules(Section):
    """What happens at doorways: `through` joins the rooms, `break` puts a movement joint there.
    `break_at` names kinds of doorway that always break; `break_doors` and `through_doors` name single
    doorways and come before kind and default. `misfit`: whether strips that one row grid would leave
    are avoided by a joint. `leaf_cover`: where the joint lies.
    """

    default: Literal["through", "break"] = Field(
        default="through",
        description="through: one floor runs through doorways; break: a movement joint in each.",
    )
    break_at: tuple[str, ...] = Field(
        default=("flat entrance",),
        description="Kinds of doorway that always get a movement joint.",
        json_schema_extra={"items": {"type": "string", "enum": list(BREAK_WORDS)}},
    )
    break_doors: tuple[str, ...] = Field(
        default=(),
        description="Doorways that get a movement joint: an id such as D7, or two rooms such as "
        "'hall -> bath*'.",
    )
    through_doors: tuple[str, ...] = Field(
        default=(),
        description="Doorways that the floor runs on through, written like break_doors. Entrances of "
        "flats and changes of finish break it all the same.",
    )
    misfit: Literal["break", "through"] = Field(
        default="break",
        description="Where no first row suits all rooms of a joined floor: break puts a joint under a "
        "door wherever that saves strips below rows.min_width; through keeps the floor one.",
    )
    leaf_cover: Literal["centre", "leaf"] = Field(
        default="centre",
        description="Where the joint lies: in the middle of the wall, or under the closed leaf.",
    )


class CutRules(Section):
    """Saw kerf, the shortest offcut worth carrying to another row, and how far it is carried."""

    kerf: Length = Field(
        default=0.0, ge=0, description="What a cut takes away: 0 for a knife, the blade for a saw."
    )
    keep_offcut: Length = Field(
        default=300.0, ge=0, description="Shortest offcut worth carrying to another row."
    )
    pool: Literal["bay", "flat", "storey"] = Field(
        default="flat",
        description="How far an offcut is carried: within its bay, its flat or its storey.",
    )


class SiteRules(Section):
    """How far the site may differ from the drawing with the layout still holding."""

    tolerance: Length = Field(
        default=10.0,
        ge=0,
        description="The room may differ from the drawing by this and the layout still holds.",
    )


class RoomRule(Section):
    """A rule for the rooms whose name or number matches: `bath*|wc`, without regard to case."""

    match: str = Field(
        description="Names or numbers of rooms; * stands for anything, | separates alternatives. A "
        "room without either is named by what the outputs call it, such as R12."
    )
    lay: YesNo = Field(default=True, description="no: these rooms get no planks.")
    because: str = Field(default="", description="Why, as the record and the sheets should say it.")
    finish: str = Field(
        default="", description="Name of the floor finish; where it changes the floor is broken."
    )


class LayerHints(Section):
    """Layer patterns, only where the importer's own reading is wrong."""

    rooms: tuple[str, ...] = Field(default=(), description="Layers of room outlines.")
    walls: tuple[str, ...] = Field(default=(), description="Layers of walls.")
    doors: tuple[str, ...] = Field(default=(), description="Layers of doors.")
    ignore: tuple[str, ...] = Field(default=(), description="Layers to leave out.")


class DrawingRules(Section):
    """Hints about the drawing; a plan is read without any."""

    units: Literal["mm", "cm", "dm", "m", "in", "ft"] | None = Field(
        default=None, description="Unit the drawing was drawn in, where the drawing misleads."
    )
    layers: LayerHints = Field(
        default=LayerHints(), description="Layer patterns such as A-WALL*, case does not matter."
    )

    def hints(self) -> Hints:
        """The same for the importer, which knows nothing of rule sets."""
        return Hints(
            units=self.units,
            room_layers=self.layers.rooms,
            wall_layers=self.layers.walls,
            door_layers=self.layers.doors,
            ignore_layers=self.layers.ignore,
        )


class JobRules(Section):
    """What title blocks say of the job; all of it as the user writes it, nothing from a clock. What is
    said to `setout lay` comes before it.
    """

    name: str = Field(
        default="", max_length=120, description="Name of the job, for the title blocks."
    )
    date: str = Field(
        default="", max_length=40, description="Date of issue as it is to be printed: 2026-11-24."
    )
    revision: str = Field(
        default="", max_length=20, description="Revision of the setting-out, such as A or 2."
    )


class LayerNames(StrEnum):
    """How the layers of the marked drawing are named."""

    PLAIN = "plain"
    ISO13567 = "iso13567"
    NCS = "ncs"


class OutputRules(Section):
    """How the outputs are made."""

    layers: LayerNames = Field(
        default=LayerNames.PLAIN,
        description="Names of the layers in the marked drawing: plain, iso13567 or ncs (US National "
        "CAD Standard).",
    )
    sheets: YesNo = Field(
        default=True,
        description="no: the marked drawing gets no paper-space sheets, only the marks in the plan.",
    )
    model: YesNo = Field(
        default=False,
        description="yes: a plan read from a model (IFC) comes back as a copy of it too, with the "
        "laid floors in it as floor coverings.",
    )


class PerPlanRules(Section):
    """What one plan may take before it is given up, so that a bad drawing cannot hold up a whole job.
    What is said to `setout lay` comes before it. Nothing of it shows in what is laid.
    """

    minutes: float = Field(
        default=30.0, gt=0, le=10_000, description="Minutes that one plan may take."
    )
    memory_mb: Count = Field(
        default=4000,
        ge=200,
        le=10_000_000,
        description="Megabytes of memory that one plan may take.",
    )
    entities: Count = Field(
        default=5_000_000,
        ge=1000,
        le=1_000_000_000,
        description="Entities that one drawing, or one model, may hold.",
    )

    def allowed(self) -> Allowed:
        """The same for the importer."""
        return Allowed(
            entities=self.entities,
            seconds=60.0 * self.minutes,
            memory_bytes=self.memory_mb * 1_000_000,
        )


class RuleSet(Section):
    """Every number a floor is laid by. See `configs/` for commented examples."""

    name: str = Field(description="What this rule set is for; printed on every output.")
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
    underlay: UnderlayRules = UnderlayRules()
    membrane: MembraneRules = MembraneRules()
    profiles: ProfileRules = ProfileRules()
    skirting: SkirtingRules = SkirtingRules()
    pipes: PipeRules = PipeRules()
    frames: FrameRules = FrameRules()
    laying: LayingRules = LayingRules()
    stages: StageRules = StageRules()
    rooms: tuple[RoomRule, ...] = Field(
        default=(), description="Rooms that are not laid, or have another finish."
    )
    drawing: DrawingRules = DrawingRules()
    job: JobRules = JobRules()
    outputs: OutputRules = OutputRules()
    per_plan: PerPlanRules = PerPlanRules()

    def told(
        self,
        *,
        job: str | None = None,
        date: str | None = None,
        layers: LayerNames | None = None,
        model: bool | None = None,
    ) -> RuleSet:
        """The same rules with what was said on the command line in place of what is written.

        Raises:
            ValidationError: a text is longer than a title block holds.
        """
        said = {"name": job, "date": date}
        own = self.job.model_dump() | {k: v for k, v in said.items() if v is not None}
        asked = {"layers": layers, "model": model}
        outputs = self.outputs.model_copy(update={k: v for k, v in asked.items() if v is not None})
        return self.model_copy(update={"job": JobRules.model_validate(own), "outputs": outputs})

    def hints(self) -> Hints:
        """What the importer is told: `drawing`, and the layer of the lines that part the work, which is
        no part of the building.
        """
        hints = self.drawing.hints()
        layer = self.stages.layer.strip()
        if not layer:
            return hints
        return replace(hints, stage_layers=(layer,), ignore_layers=(*hints.ignore_layers, layer))

    @property
    def never_below_mm(self) -> float:
        """The graver limit for end pieces: as written, else the plank's width (common practice)."""
        given = self.ends.never_below
        return self.plank.width if given is None else given
