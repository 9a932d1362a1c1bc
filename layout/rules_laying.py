"""How the floor is laid: damaged planks, what hangs low over the floor, rooms that stay furnished.

The defaults are common practice without a published source.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from layout.rules_values import Length, Section, Share

Side = Literal["left", "right", "top", "bottom"]
"""A side of a room as the drawing lies on the sheet."""


class LowRule(Section):
    """Something that hangs so low over the floor along a wall that no plank can be tilted under it: the
    planks there are pushed in flat.
    """

    room: str = Field(
        description="Names or numbers of rooms; * stands for anything, | separates alternatives."
    )
    side: Side = Field(description="Side of the room, as the drawing lies on the sheet.")
    what: str = Field(
        default="radiator", max_length=60, description="What it is, as the sheets should say it."
    )
    begin: Length = Field(
        default=0.0,
        ge=0,
        description="Where it begins, from the left end of that side (from the bottom for left and "
        "right).",
    )
    end: Length | None = Field(
        default=None, gt=0, description="Where it ends, likewise; left out: the whole side."
    )
    depth: Length = Field(
        default=200.0, gt=0, description="How far it stands out from the wall over the floor."
    )


class LayingRules(Section):
    """How planks are laid that come damaged, or that cannot be tilted in."""

    damaged_end: Length = Field(
        default=100.0,
        gt=0,
        description="Damage at the end of a plank, as far as planks with such an end are still laid: "
        "where that much of that end is cut away all the same.",
    )
    low: tuple[LowRule, ...] = Field(
        default=(),
        description="What hangs low over the floor along a wall: planks under it are pushed in flat.",
    )


class StageLine(Section):
    """A line that parts the work in a room: across it by `side` and `at` or `share`, or anywhere by
    `points`.
    """

    room: str = Field(
        description="Names or numbers of rooms; * stands for anything, | separates alternatives."
    )
    side: Side | None = Field(
        default=None, description="Side of the room that the line runs along, as drawn."
    )
    at: Length | None = Field(
        default=None, gt=0, description="Distance of the line from that side."
    )
    share: Share | None = Field(
        default=None, gt=0, lt=1, description="The same as a share of the room: '40 %'."
    )
    points: tuple[float, ...] = Field(
        default=(),
        description="Instead of a side: x, y of two points of the line, in the drawing's own units.",
    )


class StageRules(Section):
    """Where the work stops until the furniture has moved: what lies before a line is complete first."""

    layer: str = Field(
        default="", description="Layer of the drawing whose lines part the work; none if empty."
    )
    lines: tuple[StageLine, ...] = Field(
        default=(), description="Lines that part the work, in the order of the stages."
    )
