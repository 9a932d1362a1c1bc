"""Lengths in a rule set that cannot be meant: nearly always a number in another unit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from layout.rules_clash import (
    ACROSS,
    COVER,
    KEEP_OFFCUT,
    KERF,
    LENGTH,
    MIN_LENGTH,
    MIN_OFFSET,
    MIN_WIDTH,
    NEVER_BELOW,
    RUN,
    THICKNESS,
    TOLERANCE,
    WALL_GAP,
    WIDTH,
    Clash,
    Key,
    Say,
    length_at,
)
from layout.rules_yaml import dotted

_PLAUSIBLE_MM: Final[Mapping[Key, tuple[float, float]]] = {
    LENGTH: (200.0, 6000.0),
    WIDTH: (20.0, 1500.0),
    THICKNESS: (1.0, 60.0),
    WALL_GAP: (1.0, 100.0),
    COVER: (1.0, 200.0),
    MIN_LENGTH: (10.0, 3000.0),
    NEVER_BELOW: (10.0, 3000.0),
    MIN_OFFSET: (10.0, 3000.0),
    MIN_WIDTH: (5.0, 1000.0),
    RUN: (1000.0, 500_000.0),
    ACROSS: (1000.0, 500_000.0),
    KERF: (0.1, 10.0),
    KEEP_OFFCUT: (10.0, 6000.0),
    TOLERANCE: (0.5, 200.0),
    ("laying", "damaged_end"): (1.0, 3000.0),
    ("underlay", "roll_width"): (200.0, 6000.0),
    ("underlay", "roll_length"): (500.0, 500_000.0),
    ("underlay", "lap"): (5.0, 1000.0),
    ("membrane", "roll_width"): (200.0, 12_000.0),
    ("membrane", "roll_length"): (500.0, 500_000.0),
    ("membrane", "lap"): (5.0, 1000.0),
    ("membrane", "upturn"): (5.0, 500.0),
    ("profiles", "kerf"): (0.1, 10.0),
    ("skirting", "kerf"): (0.1, 10.0),
    ("skirting", "mitre"): (1.0, 200.0),
    ("skirting", "least_piece"): (20.0, 3000.0),
    ("pipes", "up_to"): (5.0, 500.0),
}
"""What each length can be on a floor of planks, millimetres: far wider than any product, and narrow
enough to catch a number in another unit. 0 stands for none and is always allowed where it is a value."""

_SMALL_UNITS: Final = (("m", 1000.0), ("cm", 10.0), ("in", 25.4))
_LARGE_UNITS: Final = (("m", 1000.0), ("ft", 304.8))


_LARGE: Final = frozenset({RUN, ACROSS, ("underlay", "roll_length"), ("membrane", "roll_length")})


def implausible(say: Say) -> Iterator[Clash]:
    """Every length that is out of all proportion, with the units that would make sense of it."""
    for key, (low, high) in _PLAUSIBLE_MM.items():
        if key == NEVER_BELOW and say.rules.ends.never_below is None:
            continue
        value = length_at(say.rules, key)
        if value == 0.0 or low <= value <= high:
            continue
        units = _LARGE_UNITS if key in _LARGE else _SMALL_UNITS
        meant = [f"'{value:g} {u}'" for u, size in units if low <= value * size <= high]
        between = f"between {say.mm(low)} and {say.mm(high)}"
        yield Clash(
            code="RUL-301",
            keys=(key,),
            what=f"{dotted(key)} is {say.mm(value)}, which no floor of planks has ({between}).",
            why="A number without a unit is millimetres." if meant else "",
            remedy=f"Write {' or '.join(meant)} if that is meant."
            if meant
            else f"Write a length {between}.",
        )
