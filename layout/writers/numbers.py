"""One way to round for people and for other programs, so that no two outputs disagree."""

from __future__ import annotations


def mm(value: float) -> float:
    """A length or coordinate for a file: 0.001 mm, and no negative zero."""
    return round(value, 3) + 0.0


def whole_mm(value: float) -> int:
    """A length for a person with a rule in his hand: whole millimetres, halves up."""
    return int(value + 0.5) if value >= 0 else -int(-value + 0.5)


def m2(area_mm2: float) -> float:
    """Square metres to the square centimetre."""
    return round(area_mm2 / 1e6, 4) + 0.0
