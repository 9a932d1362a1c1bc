"""The lettering: which font holds a character, how wide a text is, where it has to be broken.

Latin is set in the sans-serif that comes with ReportLab, narrowed to nine tenths (its figures are all of
one width). Characters that it lacks are taken from the first font of this machine that has them; where
there is none a lozenge stands in their place, and `unprintable` tells.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from layout.writers.sheets.fonts_found import font_with
from layout.writers.sheets.script import in_writing_order

if TYPE_CHECKING:
    from reportlab.pdfbase.ttfonts import TTFont

NARROW: Final = 0.9
"""Width of the letters against that of the font as it is."""
CAPITAL: Final = 0.729
"""Height of capitals in the Latin font, parts of its size (read from the font)."""
REPLACEMENT: Final = "\N{LOZENGE}"
ELLIPSIS: Final = "\N{HORIZONTAL ELLIPSIS}"

_LATIN: Final = {False: ("SetoutLatin", "Vera.ttf"), True: ("SetoutLatinBold", "VeraBd.ttf")}
_TAIL: Final = 3
"""Letters that are cut off at a time where a text is too long."""


@lru_cache(maxsize=64)
def loaded(name: str, file: str) -> TTFont:
    """A font ready to be written into a document. `file` is a path, or a file that ReportLab knows."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont as Font

    font = Font(name, file)
    pdfmetrics.registerFont(font)
    return font


def _latin(bold: bool) -> TTFont:
    return loaded(*_LATIN[bold])


@lru_cache(maxsize=4096)
def _font_of(char: str, bold: bool) -> TTFont | None:
    latin = _latin(bold)
    if ord(char) in latin.face.charToGlyph:
        return latin
    path = font_with(char)
    return None if path is None else loaded(f"Setout-{path.stem}", str(path))


def runs_of(words: str, *, bold: bool = False) -> Iterator[tuple[str, str]]:
    """The text as it is drawn from left to right, in pieces of one font: (name of the font, letters)."""
    font_name, part = "", ""
    for char in in_writing_order(words):
        font = _font_of(char, bold)
        name, shown = (font.fontName, char) if font else (_latin(bold).fontName, REPLACEMENT)
        if name != font_name and part:
            yield font_name, part
            part = ""
        font_name, part = name, part + shown
    if part:
        yield font_name, part


@lru_cache(maxsize=65536)
def text_width(words: str, height: float, *, bold: bool = False) -> float:
    """Width of a line of text whose capitals are `height` high, in the unit of `height`."""
    return sum(_advance(c, bold) for c in in_writing_order(words)) * height


@lru_cache(maxsize=4096)
def _advance(char: str, bold: bool) -> float:
    """Advance of a character for capitals of height 1."""
    font = _font_of(char, bold)
    code = ord(char) if font else ord(REPLACEMENT)
    face = (font or _latin(bold)).face
    width: float = face.charWidths.get(code, face.defaultWidth)
    return width / 1000.0 * NARROW / CAPITAL


def unprintable(words: Iterable[str]) -> tuple[str, ...]:
    """The characters of these texts that no font at hand has, in order of code."""
    return tuple(sorted({c for c in set().union(*words) if _font_of(c, False) is None}))


def fitted(words: str, width: float, height: float, *, bold: bool = False) -> str:
    """The text, its end cut off with an ellipsis where it is wider than `width`."""
    if text_width(words, height, bold=bold) <= width:
        return words
    kept = words
    while kept and text_width(kept + ELLIPSIS, height, bold=bold) > width:
        kept = kept[: -max(1, len(kept) // 40 * _TAIL)]
    return kept.rstrip() + ELLIPSIS


def wrapped(words: str, width: float, height: float, *, bold: bool = False) -> tuple[str, ...]:
    """Lines no wider than `width`, broken at blanks, and inside a word that is wider alone."""
    lines: list[str] = []
    line = ""
    for word in _short_words(words.split(), width, height, bold):
        longer = f"{line} {word}" if line else word
        if line and text_width(longer, height, bold=bold) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    return (*lines, line) if line else tuple(lines)


def _short_words(words: Iterable[str], width: float, height: float, bold: bool) -> Iterator[str]:
    for word in words:
        part = ""
        for char in word if text_width(word, height, bold=bold) > width else ():
            if part and text_width(part + char, height, bold=bold) > width:
                yield part
                part = ""
            part += char
        yield part or word
