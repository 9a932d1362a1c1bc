"""How the floor is laid: damaged planks, what hangs low over the floor.

The defaults are common practice without a published source.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from layout.rules_values import Length, Section

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
