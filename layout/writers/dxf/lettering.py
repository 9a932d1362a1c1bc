"""How wide a text is, and how text from a drawing becomes safe to write into one.

Widths are those of the common sans-serif (Helvetica and its metric twins), from the font's published
metrics, in thousandths of an em. They are a table and not measured from an installed font, so that
every machine places every text alike.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator
from functools import lru_cache
from typing import Final

_CAPITAL: Final = 718.0
"""Height of capitals; the height of a DXF text is that of its capitals."""
_SAFETY: Final = 1.06
"""Programs without that font substitute a slightly wider one."""
_OTHER: Final = 667
_WIDE: Final = 1000

_WIDTHS: Final = {
    **dict.fromkeys("0123456789abdeghnopqu$#_?L", 556),
    **dict.fromkeys(" !,./:;ft[]\\I", 278),
    **dict.fromkeys("(){}-r`", 333),
    **dict.fromkeys("cksvxyzJ", 500),
    **dict.fromkeys("ABEKPSVXY&", 667),
    **dict.fromkeys("CDHNRUw", 722),
    **dict.fromkeys("FTZ", 611),
    **dict.fromkeys("GOQ", 778),
    **dict.fromkeys("+<=>~", 584),
    **dict.fromkeys("ijl", 222),
    **dict.fromkeys("mM", 833),
    "%": 889,
    "@": 1015,
    "*": 389,
    "W": 944,
    "'": 191,
    '"': 355,
    "|": 260,
    "^": 469,
}

LONGEST: Final = 120
"""Characters of a name that are printed; the rest is cut off with three dots."""
LONGEST_SENTENCE: Final = 600


@lru_cache(maxsize=4096)
def text_width(text: str, height: float) -> float:
    """Estimated width of a line of text of that capital height, in the unit of `height`."""
    return sum(_advance(c) for c in shown(text)) * height / _CAPITAL * _SAFETY


def _advance(char: str) -> int:
    if unicodedata.east_asian_width(char) in "WF":
        return _WIDE
    return 0 if unicodedata.combining(char) else _WIDTHS.get(char, _OTHER)


def shown(text: str) -> str:
    """The text as a CAD program shows it: our own codes replaced by the characters they stand for."""
    return text.replace("%%%", "%").replace("%%d", "\N{DEGREE SIGN}")


def from_drawing(name: str, longest: int = LONGEST) -> str:
    r"""A name out of a drawing as one line of TEXT that shows exactly that name.

    Control characters become blanks; `%%`, carets and `\U+`, which CAD programs would interpret, are
    kept from being read as codes.

    >>> from_drawing("Bad\n100%%c")
    'Bad 100%%%%%%c'
    """
    line = "".join(" " if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") else c for c in name)
    line = " ".join(line.split())
    if len(line) > longest:
        line = line[: longest - 3].rstrip() + "..."
    line = line.replace("%%", "%%%%%%").replace("^", "^ ")
    return line.replace("\\U+", "\\ U+").replace("\\M+", "\\ M+")


def for_sheet(name: str, longest: int = LONGEST) -> str:
    r"""A name out of a drawing as one line of MTEXT or of an attribute in a title block, where nothing
    keeps `%%` from being read as a code: the two are parted.

    >>> for_sheet("Bad\n100%%c")
    'Bad 100% %c'
    """
    return from_drawing(name, longest).replace("%%%%%%", "% %")


def cut_to(text: str, width: float, height: float) -> str:
    """The text, or as much of it as fits into a width, and three dots."""
    if text_width(text, height) <= width:
        return text
    while text and text_width(text + "...", height) > width:
        text = text[:-1].rstrip()
    return f"{text}..."


def wrapped(text: str, width: float, height: float) -> Iterator[str]:
    """Lines of at most `width`, broken at blanks; a word longer than a line stands alone."""
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, height) > width:
            yield line
            line = word
        else:
            line = longer
    if line:
        yield line
