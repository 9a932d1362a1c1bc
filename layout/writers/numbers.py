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


def whole_range(least: float, most: float, drawn: float) -> tuple[int, int]:
    """A range in whole millimetres that lies in the true one; where none does, what is drawn.

    >>> whole_range(4190.2, 4215.9, 4203.0)
    (4191, 4215)
    """
    low, high = -int(-least // 1), int(most // 1)
    return (low, high) if low <= high else (whole_mm(drawn), whole_mm(drawn))
