"""How wide words are, without a font at hand, and where to break them.

Widths are the Adobe core font metrics of Helvetica and Helvetica-Bold (Arial, Liberation Sans and
Nimbus Sans are made to the same), in thousandths of the type size.
"""

from __future__ import annotations

import unicodedata
from typing import Final

CAP_SHARE: Final = 0.718
"""Height of Helvetica's capitals as a share of the type size (core font metrics, CapHeight 718)."""

_FIRST: Final = 32
_REGULAR: Final = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)  # fmt: skip
_BOLD: Final = (
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611, 975, 722, 722, 722, 722, 667,
    611, 778, 722, 278, 556, 722, 611, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 333, 278, 333, 584, 556, 333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556,
    278, 889, 611, 611, 611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
)  # fmt: skip
_WIDE: Final = 1000
_UNKNOWN: Final = 722
"""For letters outside the table: Cyrillic and Greek run up to about this on average."""

ELLIPSIS: Final = "..."


def text_width(text: str, cap: float, *, bold: bool = False) -> float:
    """Width of a line whose capitals are `cap` high, in the same unit.

    >>> round(text_width("Hall", 2.5), 2)
    6.0
    """
    return sum(_advance(c, bold=bold) for c in text) * cap / CAP_SHARE / 1000.0


def is_measured(text: str) -> bool:
    """Whether every character's width is known, not estimated."""
    return all(_place(c) is not None for c in text)


def _place(char: str) -> int | None:
    """Index into the width tables, by the letter under an accent."""
    base = unicodedata.normalize("NFKD", char)[0]
    index = ord(base) - _FIRST
    return index if 0 <= index < len(_REGULAR) else None


def _advance(char: str, *, bold: bool) -> int:
    index = _place(char)
    if index is not None:
        return (_BOLD if bold else _REGULAR)[index]
    return _WIDE if unicodedata.east_asian_width(char) in "WF" else _UNKNOWN


def wrap(text: str, width: float, cap: float, *, bold: bool = False) -> tuple[str, ...]:
    """The text in lines no wider than `width`; words that are wider alone are broken."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if text_width(longer, cap, bold=bold) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        *whole, line = _broken(word, width, cap, bold=bold)
        lines += whole
    return (*lines, line) if line else tuple(lines)


def _broken(word: str, width: float, cap: float, *, bold: bool) -> list[str]:
    parts, part = [], ""
    for char in word:
        if part and text_width(part + char, cap, bold=bold) > width:
            parts.append(part)
            part = ""
        part += char
    return [*parts, part]


def shorten(text: str, width: float, cap: float, *, bold: bool = False) -> str:
    """The text, cut and ended by dots where it is wider than `width`."""
    if text_width(text, cap, bold=bold) <= width:
        return text
    kept = text
    while kept and text_width(kept.rstrip() + ELLIPSIS, cap, bold=bold) > width:
        kept = kept[:-1]
    return kept.rstrip() + ELLIPSIS
