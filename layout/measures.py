"""Lengths, shares and angles as people write them, turned into numbers once, at the edge.

Inside, a length is a float in millimetres. Conversion factors are exact (inch 25.4 mm, foot 304.8 mm:
the international inch of 1959).
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from typing import Final

_TO_MM: Final[dict[str, Fraction]] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    '"': Fraction(254, 10),
    "ft": Fraction(3048, 10),
    "'": Fraction(3048, 10),
}
_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:\.\d+)?|\.\d+)"
_TERM = re.compile(rf"\s*({_NUMBER})\s*(mm|cm|m|in|ft|\"|')\s*")
_SIGNED_PLAIN = re.compile(r"\s*[-+]?(\d+(\.\d*)?|\.\d+)\s*")


def parse_length(value: object) -> float:
    """Millimetres from a number (mm already) or a text with units: `1.2 m`, `3/8 in`, `6 ft 2 1/2 in`.

    >>> parse_length("3/8 in"), parse_length(8), parse_length("1.2 m")
    (9.525, 8.0, 1200.0)

    Raises ValueError for booleans, bare text without a unit, unknown units, non-finite numbers.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        msg = f"{value!r} is not a length; write a number of millimetres or text such as '48 in'"
        raise ValueError(msg)
    if isinstance(value, (int, float)):
        if not math.isfinite(value):
            msg = f"{value!r} is not a length"
            raise ValueError(msg)
        return float(value)
    total, place = Fraction(0), 0
    while place < len(value):
        term = _TERM.match(value, place)
        if term is None:
            msg = f"{value!r} is not a length; write it as '8', '8 mm', '1.2 m', '3/8 in' or '6 ft 2 in'"
            raise ValueError(msg)
        total += _number(term[1]) * _TO_MM[term[2]]
        place = term.end()
    if not value.strip():
        msg = "an empty text is not a length"
        raise ValueError(msg)
    return float(total)


def _number(text: str) -> Fraction:
    whole, _, rest = text.rpartition(" ")
    if "/" in rest and rest.endswith("/0"):
        msg = f"{text!r} divides by zero"
        raise ValueError(msg)
    return (Fraction(whole.strip()) if whole.strip() else Fraction(0)) + Fraction(rest)


def parse_share(value: object) -> float:
    """A part of one from `0.03` or `3 %`.

    >>> parse_share("3 %"), parse_share(0.03)
    (0.03, 0.03)
    """
    if isinstance(value, str):
        text = value.strip()
        if text.endswith("%") and _SIGNED_PLAIN.fullmatch(text[:-1]):
            return float(text[:-1]) / 100.0
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        return float(value)
    msg = f"{value!r} is not a share; write it as '3 %' or 0.03"
    raise ValueError(msg)


def parse_angle(value: object) -> float:
    """Degrees from a number or `30 deg`.

    >>> parse_angle("30 deg"), parse_angle(12.5)
    (30.0, 12.5)
    """
    if isinstance(value, str):
        text = value.strip().removesuffix("deg").removesuffix("\N{DEGREE SIGN}").strip()
        if text != value.strip() and _SIGNED_PLAIN.fullmatch(text):
            return float(text)
    elif isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value):
        return float(value)
    msg = f"{value!r} is not an angle; write it as '30 deg'"
    raise ValueError(msg)
