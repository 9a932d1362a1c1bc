"""A scene as SVG: our own few elements, no library. Text is escaped, never markup."""

from __future__ import annotations

from math import cos, radians, sin
from typing import Final
from xml.sax.saxutils import escape, quoteattr

from importer.picture_scene import Area, Disc, Mark, Point, Ring, Scene, Strokes, Words
from importer.picture_text import CAP_SHARE, is_measured, text_width

_FAMILY: Final = "Helvetica, Arial, 'Liberation Sans', 'Nimbus Sans', 'DejaVu Sans', sans-serif"
DASH: Final = (1.2, 0.8)


def svg_text(scene: Scene) -> str:
    """The scene as an SVG document in UTF-8, one unit a millimetre on paper."""
    w, h = _n(scene.width), _n(scene.height)
    view = f'viewBox="0 0 {w} {h}" role="img" font-family="{_FAMILY}"'
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w}mm" height="{h}mm" {view}>',
        f"<title>{escape(scene.title)}</title>",
        f'<rect width="{w}" height="{h}" fill="#ffffff"/>',
        *(_mark(m) for m in scene.marks),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _mark(mark: Mark) -> str:
    if isinstance(mark, Area):
        return _area(mark)
    if isinstance(mark, Strokes):
        return _strokes(mark)
    if isinstance(mark, Disc):
        return _disc(mark)
    return _words(mark)


def _area(area: Area) -> str:
    path = "".join(_path(r) + "Z" for r in area.rings)
    pen = f' stroke="{area.stroke}" stroke-width="{_n(area.width)}"' if area.stroke else ""
    return f'<path d="{path}" fill="{area.fill or "none"}" fill-rule="evenodd"{pen}/>'


def _strokes(strokes: Strokes) -> str:
    path = "".join(_path(line) for line in strokes.lines)
    dash = f' stroke-dasharray="{DASH[0]} {DASH[1]}"' if strokes.dashed else ""
    return (
        f'<path d="{path}" fill="none" stroke="{strokes.stroke}"'
        f' stroke-width="{_n(strokes.width)}"{dash}/>'
    )


def _disc(disc: Disc) -> str:
    x, y = disc.centre
    return (
        f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(disc.radius)}" fill="{disc.fill}"'
        f' stroke="{disc.stroke}" stroke-width="{_n(disc.width)}"/>'
    )


def _words(words: Words) -> str:
    x, y = baseline(words)
    turn = f' transform="rotate({_n(-words.turn_deg)} {_n(x)} {_n(y)})"' if words.turn_deg else ""
    weight = ' font-weight="bold"' if words.bold else ""
    # Another font than the one measured is squeezed into the room that was kept for the words.
    width = text_width(words.text, words.cap, bold=words.bold)
    fit = f' textLength="{_n(width)}" lengthAdjust="spacingAndGlyphs"'
    return (
        f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(words.cap / CAP_SHARE)}"{weight}'
        f' fill={quoteattr(words.colour)} text-anchor="{words.anchor.value}"'
        f"{fit if is_measured(words.text) else ''}{turn}>{escape(words.text)}</text>"
    )


def baseline(words: Words) -> Point:
    """The anchor on the base line: half the capitals' height below `at`, turned with the words."""
    angle = radians(words.turn_deg)
    half = words.cap / 2
    return words.at[0] + half * sin(angle), words.at[1] + half * cos(angle)


def _path(points: Ring) -> str:
    start, *rest = points
    return f"M{_n(start[0])} {_n(start[1])}" + "".join(f"L{_n(x)} {_n(y)}" for x, y in rest)


def _n(value: float) -> str:
    """A hundredth of a millimetre on paper is finer than any printer."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
