"""What is ordered beside the planks laid: spares, sheets under the floor, profiles, skirting, collars.

The defaults are common practice without a published source; what the makers of plank and sheet write
comes first.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from layout.rules_values import Count, Length, Section, Share, YesNo

StockLengths = Annotated[tuple[Length, ...], Field(min_length=1, max_length=12)]
"""Lengths that a bar is sold in."""


class OrderRules(Section):
    """Spare planks for damage and later repair, as a share of the planks laid."""

    spare: Share = Field(
        default=0.03, ge=0, le=1, description="Planks ordered beyond those laid, as '3 %' or 0.03."
    )


class UnderlayRules(Section):
    """The sheet that the planks lie on, off a roll."""

    lay: YesNo = Field(default=True, description="no: none is ordered, or the plank has its own.")
    roll_width: Length = Field(default=1000.0, gt=0, description="Width of a roll.")
    roll_length: Length = Field(default=10000.0, gt=0, description="Length of a roll.")
    lap: Length = Field(
        default=0.0, ge=0, description="How far strips lie over each other; 0: edge to edge."
    )


class MembraneRules(Section):
    """The sheet against moisture from below, off a roll, turned up at the walls."""

    lay: YesNo = Field(default=False, description="yes: it is ordered.")
    roll_width: Length = Field(default=2000.0, gt=0, description="Width of a roll.")
    roll_length: Length = Field(default=25000.0, gt=0, description="Length of a roll.")
    lap: Length = Field(default=150.0, ge=0, description="How far strips lie over each other.")
    upturn: Length = Field(default=50.0, ge=0, description="How far it is turned up at walls.")


class ProfileRules(Section):
    """Threshold and movement-joint profiles, cut from bars."""

    stock: StockLengths = Field(
        default=(900.0, 1800.0, 2700.0), description="Lengths that a bar is sold in."
    )
    kerf: Length = Field(default=2.0, ge=0, description="What a cut of a bar takes away.")


class SkirtingRules(Section):
    """Skirting or bead along the walls, cut from bars."""

    lay: YesNo = Field(default=True, description="no: what hides the gap is there already.")
    stock: StockLengths = Field(default=(2400.0,), description="Lengths that a bar is sold in.")
    kerf: Length = Field(default=3.0, ge=0, description="What a cut of a bar takes away.")
    mitre: Length = Field(
        default=20.0,
        ge=0,
        description="What a mitred end takes beyond the wall, at outside corners and where two bars "
        "meet along a wall.",
    )
    least_piece: Length = Field(
        default=300.0, ge=0, description="Shortest piece where a wall takes more than one bar."
    )


class PipesInRooms(Section):
    """Pipes that the drawing does not show."""

    match: str = Field(
        description="Names or numbers of rooms; * stands for anything, | separates alternatives."
    )
    count: Count = Field(ge=0, le=100, description="Pipes through the floor of each such room.")


class PipeRules(Section):
    """Pipes through the floor, each with a collar over its gap."""

    up_to: Length = Field(
        default=120.0,
        ge=0,
        description="Columns no larger than this, either way, are pipes and get a collar; 0: none.",
    )
    in_rooms: tuple[PipesInRooms, ...] = Field(
        default=(), description="Pipes that the drawing does not show, by room."
    )


class FrameRules(Section):
    """Door frames that the floor runs under."""

    undercut: YesNo = Field(
        default=True,
        description="yes: frames of doors between rooms are cut so that planks run under them.",
    )
