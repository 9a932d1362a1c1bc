"""Lengths, shares, angles and words as people write them, turned into values once, at the edge.

Inside, a length is a float in millimetres. Conversion factors are exact (inch 25.4 mm, foot 304.8 mm:
the international inch of 1959). Every refusal says what was found and what to write instead.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from difflib import SequenceMatcher
from fractions import Fraction
from typing import Final

_TO_MM: Final[dict[str, Fraction]] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "dm": Fraction(100),
    "m": Fraction(1000),
    "in": Fraction(254, 10),
    "ft": Fraction(3048, 10),
}
_SAME_UNIT: Final[dict[str, str]] = {
    '"': "in",
    "\N{DOUBLE PRIME}": "in",
    "\N{RIGHT DOUBLE QUOTATION MARK}": "in",
    "inch": "in",
    "inches": "in",
    "'": "ft",
    "\N{PRIME}": "ft",
    "\N{RIGHT SINGLE QUOTATION MARK}": "ft",
    "foot": "ft",
    "feet": "ft",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
}
UNIT_WORDS: Final[tuple[str, ...]] = (*_TO_MM, *_SAME_UNIT)
"""Every unit that a length may be written with, in any case of letters."""

# A number as it is read in a length: `8`, `1.2`, `.5`, `3/8`, `2 1/2` or `2-1/2`.
_NUMBER = r"(?:\d+[ \t-]+\d+/\d+|\d+/\d+|\d+(?:\.\d+)?|\.\d+)"
# Longest unit first, so that `mm` is not read as `m`; letters in either case, written out because
# JSON Schema's regular expressions know no flags.
_UNIT = "|".join(
    "".join(f"[{c}{c.upper()}]" if c.isalpha() else c for c in unit)
    for unit in sorted(UNIT_WORDS, key=len, reverse=True)
)
_TERM = re.compile(rf"\s*({_NUMBER})\s*({_UNIT})(?![A-Za-z])\s*")
LENGTH_PATTERN: Final = rf"^(?:\s*{_NUMBER}\s*(?:{_UNIT})(?![A-Za-z]))+\s*$"
SHARE_PATTERN: Final = r"^\s*[-+]?(?:\d+(?:\.\d*)?|\.\d+)\s*%\s*$"
ANGLE_PATTERN: Final = r"^\s*[-+]?(?:\d+(?:\.\d*)?|\.\d+)\s*(?:deg|\u00b0)\s*$"
"""What the three look like as text, for the JSON Schema: regular expressions that both Python and
ECMAScript read."""
_PLAIN = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?")
_SIGNED = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)")
_DECIMAL_COMMA = re.compile(r"(\d+),(\d+)(\s*[a-z\"']+)", re.IGNORECASE)
_MIXED = re.compile(r"(\d+)[\s-]+(\d+/\d+)")

_MOST_MM: Final = 1e9
"""A thousand kilometres: beyond it a number is a slip, and float sums would lose their last digits."""
_MOST_TEXT: Final = 60
"""Longest text read as a length; a few feet, inches and a fraction take less than half of it."""
_AS_LENGTH: Final = "write it as 8, '8 mm', '1.2 m', '3/8 in' or '6 ft 2 1/2 in'"


def parse_length(value: object) -> float:
    """Millimetres from a number (mm already) or a text with units: `1.2 m`, `3/8 in`, `6 ft 2 1/2 in`.

    Several terms add up and go from the larger unit to the smaller.

    >>> parse_length("3/8 in"), parse_length(8), parse_length("1.2 m"), parse_length("6 ft 2-1/2 in")
    (9.525, 8.0, 1200.0, 1892.3)

    Raises ValueError for booleans, text without a unit, unknown units, numbers that are not finite.
    """
    if isinstance(value, str):
        return _text_length(value)
    # `not <=` catches nan too, and the comparison bears a whole number too large for a float.
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not abs(value) <= _MOST_MM:
        msg = f"{show(value)} is not a length; {_AS_LENGTH}"
        raise ValueError(msg)
    return float(value)


def _text_length(text: str) -> float:
    if not text.strip() or len(text) > _MOST_TEXT:
        msg = f"{show(text)} is not a length; {_AS_LENGTH}"
        raise ValueError(msg)
    total, last = Fraction(0), None
    for number, unit in _terms(text):
        if last is not None and unit >= last:
            msg = f"{show(text)} is not one length, its units must go from large to small; {_AS_LENGTH}"
            raise ValueError(msg)
        total, last = total + number * unit, unit
    if total > _MOST_MM:
        msg = f"{show(text)} is not a length; {_AS_LENGTH}"
        raise ValueError(msg)
    return float(total)


def is_feet_or_inches(text: str) -> bool:
    """Whether a text is a length with a foot or an inch in it.

    >>> is_feet_or_inches("3/8 in"), is_feet_or_inches("8 mm"), is_feet_or_inches("living room")
    (True, False, False)
    """
    try:
        return any(unit in {_TO_MM["in"], _TO_MM["ft"]} for _, unit in _terms(text))
    except ValueError:
        return False


def _terms(text: str) -> Iterator[tuple[Fraction, Fraction]]:
    """The numbers of a length and their units, each unit as its size in millimetres."""
    place = 0
    while place < len(text):
        term = _TERM.match(text, place)
        if term is None:
            msg = f"{show(text)} is not a length; {_length_remedy(text)}"
            raise ValueError(msg)
        unit = term[2].lower()
        yield _number(term[1]), _TO_MM[_SAME_UNIT.get(unit, unit)]
        place = term.end()


def _length_remedy(text: str) -> str:
    """What to write instead of a text that is no length, as close to the text as can be told."""
    bare = text.strip()
    if _PLAIN.fullmatch(bare):
        return f"it has no unit: write '{bare.lstrip('+-')} mm', or the bare number for millimetres"
    comma = _DECIMAL_COMMA.fullmatch(bare)
    if comma:
        point = f"'{comma[1]}.{comma[2]}{comma[3]}'"
        if len(comma[2]) == 3:  # 1,220 can be either
            return (
                f"write '{comma[1]}{comma[2]}{comma[3]}' if the comma parts thousands, else {point}"
            )
        return f"write the decimal sign as a point: {point}"
    if bare.startswith("-"):
        return f"a length has no sign: write '{bare.lstrip('-').strip()}'"
    return _AS_LENGTH


def _number(text: str) -> Fraction:
    mixed = _MIXED.fullmatch(text)
    whole, part = (mixed[1], mixed[2]) if mixed else ("0", text)
    try:
        return Fraction(whole) + Fraction(part)
    except ZeroDivisionError:
        msg = f"{show(text)} divides by zero; {_AS_LENGTH}"
        raise ValueError(msg) from None


def parse_share(value: object) -> float:
    """A part of one from `0.03` or `3 %`.

    >>> parse_share("3 %"), parse_share(0.03)
    (0.03, 0.03)

    Raises ValueError for anything else. Whether the share is a sensible one is the caller's to judge.
    """
    if isinstance(value, str):
        text = value.strip()
        number = text[:-1].strip()
        if text.endswith("%") and len(text) <= _MOST_TEXT and _SIGNED.fullmatch(number):
            return float(Fraction(number) / 100)
    elif isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= _MOST_MM:
        return float(value)
    msg = f"{show(value)} is not a share; write it as '3 %' or 0.03"
    raise ValueError(msg)


def parse_angle(value: object) -> float:
    """Degrees from a number or `30 deg`.

    >>> parse_angle("30 deg"), parse_angle(12.5), parse_angle("-45\N{DEGREE SIGN}")
    (30.0, 12.5, -45.0)

    Raises ValueError for anything else and beyond a full turn either way.
    """
    angle = math.nan
    if isinstance(value, str):
        text = value.strip()
        bare = text.removesuffix("deg").removesuffix("\N{DEGREE SIGN}").strip()
        if bare != text and len(text) <= _MOST_TEXT and _SIGNED.fullmatch(bare):
            angle = float(bare)
    elif isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= _MOST_MM:
        angle = float(value)
    if not abs(angle) <= 360.0:
        msg = f"{show(value)} is not an angle; write it as '30 deg'"
        raise ValueError(msg)
    return angle


def parse_count(value: object) -> int:
    """A whole number; `10.0` is one, `10.5`, `yes` and text are not.

    >>> parse_count(10)
    10
    """
    if (
        isinstance(value, (int, float))
        and not isinstance(value, bool)
        and abs(value) <= _MOST_MM
        and value == int(value)
    ):
        return int(value)
    msg = f"{show(value)} is not a whole number; write it as 10"
    raise ValueError(msg)


_YES_NO: Final[dict[str, bool]] = {
    "yes": True,
    "true": True,
    "on": True,
    "no": False,
    "false": False,
    "off": False,
}
YES_NO_PATTERN: Final = "^(?:{})$".format(
    "|".join(f"{w}|{w.capitalize()}|{w.upper()}" for w in _YES_NO)
)
"""The words that mean yes or no, for the JSON Schema."""


def parse_yes_no(value: object) -> bool:
    """Yes or no, as YAML reads it or as a word.

    YAML 1.1 takes a bare `no` for a boolean and YAML 1.2 for text: both mean no.

    >>> parse_yes_no("no"), parse_yes_no(True)
    (False, True)
    """
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and re.fullmatch(YES_NO_PATTERN, value):
        return _YES_NO[value.lower()]
    msg = f"{show(value)} is neither yes nor no; write yes or no"
    raise ValueError(msg)


def show(value: object) -> str:
    """A value as a message shows it: as YAML writes it, short, never longer than a line.

    >>> show("8 mn"), show(True), show(1220.0), show(None)
    ("'8 mn'", 'yes/true', '1220', 'nothing')
    """
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes/true" if value else "no/false"
    if isinstance(value, (int, float)) and abs(value) <= _MOST_MM:
        return f"{value:.10g}"
    text = repr(value) if isinstance(value, (str, float)) else f"a {type(value).__name__}"
    return text if len(text) <= _MOST_TEXT else text[: _MOST_TEXT - 4] + "...'"


_LIKE_ENOUGH: Final = 0.6
"""Likeness (0 to 1) below which a suggestion would puzzle more than it helps."""
_LONGEST: Final = 60
"""Words longer than this are no slip of the pen, and comparing them costs the square of their length."""


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` is most likely a slip of; None when none is near.

    Case, `-`, `_` and spaces make no difference. Ties go to the first known word.

    >>> nearest("min_lenght", ["min_offset", "min_length"]), nearest("colour", ["plank", "gap"])
    ('min_length', None)
    """
    if len(word) > _LONGEST:
        return None
    plain = _plain(word)
    likeness = [(SequenceMatcher(None, plain, _plain(k)).ratio(), k) for k in known]
    best = max(likeness, key=lambda pair: pair[0], default=(0.0, ""))
    return best[1] if best[0] >= _LIKE_ENOUGH else None


def _plain(word: str) -> str:
    return word.casefold().replace("-", "").replace("_", "").replace(" ", "")
