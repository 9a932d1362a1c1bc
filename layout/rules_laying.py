"""How planks are laid that come damaged. The defaults are common practice without a published source."""

from __future__ import annotations

from pydantic import Field

from layout.rules_values import Length, Section


class LayingRules(Section):
    """How the floor is laid: what is done with planks that come with a damaged end."""

    damaged_end: Length = Field(
        default=100.0,
        gt=0,
        description="Damage at the end of a plank, as far as planks with such an end are still laid: "
        "where that much of that end is cut away all the same.",
    )
