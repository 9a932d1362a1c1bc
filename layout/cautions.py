"""Cautions that go on every output a person works from. They defer to local codes and trades."""

from __future__ import annotations

from typing import Final

CAUTIONS: Final[tuple[str, ...]] = (
    "Local codes, the product's own instructions and licensed trades come before this sheet.",
    "Old floors may hold asbestos: have them surveyed before lifting, sanding or breaking them.",
    "Sawing makes dust: saw outside or with extraction, wear a mask and eye protection.",
    "Knives and saws: cut away from the body, guards on, residual-current device on the supply.",
    "Heated floors: locate pipes and cables before fixing anything; keep to the product's limits.",
    "Fire doors are never planed or cut to clear a floor: ask the person responsible for them.",
    "Check moisture, flatness and temperature of the subfloor before laying.",
)

DEFAULT_RULES_NOTE: Final = (
    "No rule set was given: the packaged default (common practice) was used. Check it against the "
    "product's own instructions."
)
"""Printed on every output of a job that was laid by the packaged default."""
