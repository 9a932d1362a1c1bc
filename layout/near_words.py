"""The nearest of a few known words, for messages that suggest what was meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import SequenceMatcher
from typing import Final

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
