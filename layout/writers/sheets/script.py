"""Text of scripts written from right to left, put into the order in which it is drawn.

A small part of the Unicode bidirectional algorithm (UAX 9), enough for names: runs of right-to-left
letters are turned round, numbers and Latin inside them keep their own order, Arabic letters take the
form that they have between their neighbours (from the compatibility decompositions of Unicode).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from functools import lru_cache
from itertools import groupby
from typing import Final

_MIRRORED: Final = {"(": ")", ")": "(", "[": "]", "]": "[", "<": ">", ">": "<", "{": "}", "}": "{"}
_FORMS: Final = ("isolated", "final", "initial", "medial")
_ARABIC_FORMS: Final = range(0xFE70, 0xFEFD)


@lru_cache(maxsize=4096)
def in_writing_order(words: str) -> str:
    """The text as its letters stand from left to right.

    >>> in_writing_order("Hall 2")
    'Hall 2'
    >>> in_writing_order("\u05d7\u05d3\u05e8 12 A") == "12 A \u05e8\u05d3\u05d7"
    True
    >>> in_writing_order("\u05d7\u05d3\u05e8 12") == "12 \u05e8\u05d3\u05d7"
    True
    """
    if words.isascii() or not any(_is_rtl(c) for c in words):
        return words
    shaped = _joined(words)
    base_rtl = next((_is_rtl(c) for c in shaped if _is_strong(c)), False)
    levels = _levels(shaped, base_rtl)
    parts = [
        "".join(c for c, _ in group)
        for _, group in groupby(zip(shaped, levels, strict=True), lambda p: p[1])
    ]
    kinds = [key for key, _ in groupby(levels)]
    drawn = [_turned(p) if rtl else p for p, rtl in zip(parts, kinds, strict=True)]
    return "".join(reversed(drawn) if base_rtl else drawn)


def _is_rtl(char: str) -> bool:
    return unicodedata.bidirectional(char) in {"R", "AL"}


def _is_strong(char: str) -> bool:
    return unicodedata.bidirectional(char) in {"L", "R", "AL"}


def _levels(words: str, base_rtl: bool) -> list[bool]:
    """Per character whether it is written from right to left. Figures never are; what is neutral goes
    with its neighbours where they agree, else with the text as a whole.
    """
    known = [_direction(c) for c in words]
    before: list[bool | None] = []
    last: bool | None = base_rtl
    for way in known:
        last = last if way is None else way
        before.append(last)
    after: list[bool | None] = []
    last = base_rtl
    for way in reversed(known):
        last = last if way is None else way
        after.append(last)
    after.reverse()
    return [
        way if way is not None else bool(b) if b == a else base_rtl
        for way, b, a in zip(known, before, after, strict=True)
    ]


def _direction(char: str) -> bool | None:
    kind = unicodedata.bidirectional(char)
    if kind in {"R", "AL"}:
        return True
    return False if kind in {"L", "EN", "AN"} else None


def _turned(part: str) -> str:
    """Reversed letter by letter, marks kept after the letter that carries them."""
    letters: list[str] = []
    for char in part:
        if letters and unicodedata.combining(char):
            letters[-1] += char
        else:
            letters.append(_MIRRORED.get(char, char))
    return "".join(reversed(letters))


# --- Arabic letters joined ----------------------------------------------------------------------


@lru_cache(maxsize=1)
def _arabic_forms() -> Mapping[str, Mapping[str, str]]:
    """Per letter its forms: those of single letters, out of the presentation forms block."""
    forms: dict[str, dict[str, str]] = {}
    for code in _ARABIC_FORMS:
        kind, *letters = unicodedata.decomposition(chr(code)).split() or ("",)
        if kind.strip("<>") in _FORMS and len(letters) == 1:
            forms.setdefault(chr(int(letters[0], 16)), {})[kind.strip("<>")] = chr(code)
    return forms


def _joined(words: str) -> str:
    forms = _arabic_forms()
    letters = [(n, c) for n, c in enumerate(words) if not unicodedata.combining(c)]
    shaped = list(words)
    for place, (n, char) in enumerate(letters):
        own = forms.get(char)
        if own is None:
            continue
        before = forms.get(letters[place - 1][1], {}) if place else {}
        after = forms.get(letters[place + 1][1], {}) if place + 1 < len(letters) else {}
        joins_before = "initial" in before and "final" in own
        joins_after = "initial" in own and "final" in after
        form = _FORMS[joins_before + 2 * joins_after]
        shaped[n] = own.get(form, char)
    return "".join(shaped)
