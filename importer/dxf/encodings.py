"""Which text encoding a DXF is really written in; its header is missing or wrong often enough."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

from ezdxf.tools.codepage import toencoding

DEFAULT_ENCODING: Final = "cp1252"

_CANDIDATES: Final = ("cp1251", "cp1253", "cp932", "gbk", "cp949", "big5")
"""Tried, in this order, where the declared code page gives no words."""

_HIGH_RUN: Final = re.compile(rb"[\x80-\xff][\x40-\xff]{2,}")
_SAMPLE: Final = 2000


def choose_encoding(
    body: bytes, declared: str | None, *, utf8_expected: bool
) -> tuple[str, str | None]:
    """Python name of the encoding, and a sentence for the user when it is not the declared one.

    UTF-8 has a structure that no other encoding meets by chance, so bytes that are valid UTF-8 are
    taken as that whatever the header says. Other than that the declared code page decides, unless
    it turns words into strings of symbols.
    """
    if body.isascii():
        return "utf-8", None
    code_page = toencoding(declared) if declared else DEFAULT_ENCODING
    if _is_valid(body, "utf-8"):
        if utf8_expected or code_page == "utf-8":
            return "utf-8", None
        return "utf-8", "texts are stored as UTF-8 although the header does not say so."
    runs = [match.group() for match in _HIGH_RUN.finditer(body)][:_SAMPLE]
    if _share_of_words(runs, code_page) < 0.5:
        best = max(_CANDIDATES, key=lambda name: _share_of_words(runs, name))
        if _share_of_words(runs, best) > 0.8:
            stated = declared or "none"
            note = f"the code page of the texts is {best}, by the look of them (header: {stated})."
            return best, note
    if utf8_expected:
        return code_page, f"texts are not UTF-8 as this version of DXF asks; read as {code_page}."
    return code_page, None


def _is_valid(body: bytes, encoding: str) -> bool:
    try:
        body.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _share_of_words(runs: list[bytes], encoding: str) -> float:
    """Share of byte runs that decode to letters of one script, 1 when there are no runs.

    In a western text three accented letters hardly ever follow each other, so that a run decoded
    as Latin letters counts as no word.
    """
    if not runs:
        return 1.0
    good = sum(1 for run in runs if _is_word(run, encoding))
    return good / len(runs)


def _is_word(run: bytes, encoding: str) -> bool:
    try:
        text = run.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        return False
    scripts = {_script(char) for char in text if not char.isascii()}
    return len(scripts) == 1 and scripts <= {"CYRILLIC", "GREEK", "CJK", "HANGUL", "KANA"}


def _script(char: str) -> str:
    if not char.isalpha():
        return "SYMBOL"
    first = unicodedata.name(char, "UNKNOWN").split(" ", 1)[0]
    if first in {"HIRAGANA", "KATAKANA", "KATAKANA-HIRAGANA"}:
        return "CJK"
    return first
