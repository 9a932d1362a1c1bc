"""Which text encoding a DXF is really written in; its header is missing or wrong often enough."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from itertools import islice, pairwise
from typing import Final

from ezdxf.tools.codepage import toencoding

DEFAULT_ENCODING: Final = "cp1252"

_SCRIPTS: Final[Mapping[str, frozenset[str]]] = {
    "cp1251": frozenset({"CYRILLIC"}),
    "cp1253": frozenset({"GREEK"}),
    "cp932": frozenset({"CJK"}),
    "gbk": frozenset({"CJK"}),
    "cp949": frozenset({"HANGUL", "CJK"}),
    "big5": frozenset({"CJK"}),
}
"""Encodings tried, in this order, where the declared code page gives no words, and what their words
are written in. Kana counts as CJK."""

_LATIN: Final = frozenset({"cp1250", "cp1252", "cp1254", "cp1257", "cp1258", "cp850", "cp437"})

_WORD: Final = re.compile(rb"[A-Za-z]*[\x80-\xff](?:[\x80-\xff][\x40-\x7e]?|[A-Za-z])*")
_THREE_HIGH: Final = re.compile(r"[^\x00-\x7f]{3}")
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
    words = [match.group() for match in islice(_WORD.finditer(body), _SAMPLE)]
    if _share_read(words, code_page) < 0.5:
        best = max(_SCRIPTS, key=lambda name: _share_read(words, name))
        if _share_read(words, best) > 0.8:
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


def _share_read(words: Sequence[bytes], encoding: str) -> float:
    """Share of the words that read as words in this encoding."""
    if not words:
        return 1.0
    return sum(1 for word in words if _is_word(word, encoding)) / len(words)


def _is_word(word: bytes, encoding: str) -> bool:
    """Whether bytes decode to one word: letters of one script, no capitals after small letters.

    In western languages three letters beyond ASCII hardly ever follow each other; in the others
    letters of ASCII hardly ever stand inside a word.
    """
    try:
        text = word.decode(encoding)
    except (UnicodeDecodeError, LookupError):
        return False
    scripts = {_script(char) for char in text if not char.isascii()}
    wanted = _SCRIPTS.get(encoding)
    if wanted is not None:
        mixed = any(one.islower() and two.isupper() for one, two in pairwise(text))
        return (
            scripts <= wanted and not mixed and not any(c.isascii() and c.isalpha() for c in text)
        )
    if encoding in _LATIN:
        return scripts == {"LATIN"} and not _THREE_HIGH.search(text)
    return "SYMBOL" not in scripts


def _script(char: str) -> str:
    if not char.isalpha():
        return "SYMBOL"
    first = unicodedata.name(char, "UNKNOWN").split(" ", 1)[0]
    if first in {"HIRAGANA", "KATAKANA", "KATAKANA-HIRAGANA"}:
        return "CJK"
    return first
