"""Fonts of this machine, for scripts that the bundled Latin font lacks."""

from __future__ import annotations

import os
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Final

_MOST_FONTS: Final = 400
"""Files looked at; a machine of a print shop may have thousands."""

_PREFERRED: Final = (
    "dejavusans.ttf",
    "notosans-regular.ttf",
    "freesans.ttf",
    "liberationsans-regular.ttf",
    "arial.ttf",
    "arial unicode.ttf",
    "droidsansfallbackfull.ttf",
)
"""Taken first where they are there; then the others by name, plain cuts before bold and slanted ones."""

_FANCY: Final = ("bold", "oblique", "italic", "black", "light", "thin", "mono", "serif", "narrow")


def font_with(char: str) -> Path | None:
    """The first font file that has the character; None where there is none."""
    return next((path for path in _font_files() if _has(path, ord(char))), None)


def _folders() -> Iterator[Path]:
    yield Path("/usr/share/fonts")
    yield Path("/usr/local/share/fonts")
    yield Path("/Library/Fonts")
    yield Path("/System/Library/Fonts")
    windows = os.environ.get("SYSTEMROOT")
    if windows:
        yield Path(windows) / "Fonts"


@lru_cache(maxsize=1)
def _font_files() -> tuple[Path, ...]:
    found = (p for folder in _folders() if folder.is_dir() for p in folder.rglob("*.[tT][tT][fF]"))
    return tuple(sorted(found, key=_rank)[:_MOST_FONTS])


def _rank(path: Path) -> tuple[int, int, str, str]:
    name = path.name.lower()
    place = _PREFERRED.index(name) if name in _PREFERRED else len(_PREFERRED)
    return place, sum(word in name for word in _FANCY), name, str(path)


@lru_cache(maxsize=_MOST_FONTS)
def _codes(path: Path) -> frozenset[int]:
    """The characters of a font; none where the file is no font that can be put into a PDF."""
    from reportlab.pdfbase.ttfonts import TTFError, TTFontFile

    try:
        return frozenset(TTFontFile(str(path), charInfo=1).charToGlyph)
    except (TTFError, OSError):
        return frozenset()


def _has(path: Path, code: int) -> bool:
    return code in _codes(path)
