"""A scene as PDF or PNG through PyMuPDF (extra `picture`)."""

from __future__ import annotations

from math import cos, radians, sin
from typing import Any, Final

from importer.picture_scene import Anchor, Area, Disc, Mark, Point, Scene, Strokes, Words
from importer.picture_svg import DASH, baseline
from importer.picture_text import CAP_SHARE

_PT: Final = 72.0 / 25.4
"""Points in a millimetre."""
_DPI: Final = 150
_LONGEST_PX: Final = 6000
"""Longest side of a PNG; a bigger sheet is drawn coarser, so that any viewer opens it."""


def pdf_bytes(scene: Scene) -> bytes:
    """One page of the scene's size, drawn true to scale, fonts embedded.

    Raises ModuleNotFoundError when PyMuPDF is not installed.
    """
    import pymupdf

    with _drawn(scene, pymupdf) as doc:
        doc.set_metadata({"title": scene.title})
        data: bytes = doc.tobytes(garbage=4, deflate=True, no_new_id=True)
    return data


def png_bytes(scene: Scene) -> bytes:
    """The page at 150 dots per inch, coarser when it is large.

    Raises ModuleNotFoundError when PyMuPDF is not installed.
    """
    import pymupdf

    longest = max(scene.width, scene.height) / 25.4
    dpi = min(_DPI, int(_LONGEST_PX / longest))
    with _drawn(scene, pymupdf) as doc:
        data: bytes = doc[0].get_pixmap(dpi=dpi, alpha=False).tobytes("png")
    return data


def _drawn(scene: Scene, pymupdf: Any) -> Any:
    doc = pymupdf.open()
    page = doc.new_page(width=scene.width * _PT, height=scene.height * _PT)
    pen = _Pen(page, pymupdf)
    for mark in scene.marks:
        pen.draw(mark)
    pen.finish()
    if pen.used_fallback:
        # The fallback font holds every East Asian character; only those used are kept.
        doc.subset_fonts()
    return doc


class _Pen:
    """Draws marks on one page in their order; what follows on each other is put down together."""

    def __init__(self, page: Any, pymupdf: Any) -> None:
        self._page = page
        self._mupdf = pymupdf
        self._shape = page.new_shape()
        self._words: list[Words] = []
        self._fonts = {False: pymupdf.Font("helv"), True: pymupdf.Font("hebo")}
        self._fallback: Any = None

    @property
    def used_fallback(self) -> bool:
        """Whether the font with all scripts was needed."""
        return self._fallback is not None

    def draw(self, mark: Mark) -> None:
        """Draw one mark over what is there."""
        if isinstance(mark, Words):
            self._put_shapes()
            self._words.append(mark)
            return
        self._put_words()
        if isinstance(mark, Area):
            self._area(mark)
        elif isinstance(mark, Strokes):
            self._strokes(mark)
        else:
            self._disc(mark)

    def finish(self) -> None:
        """Put what is pending on the page."""
        self._put_shapes()
        self._put_words()

    def _put_shapes(self) -> None:
        if self._shape.totalcont:
            self._shape.commit()
            self._shape = self._page.new_shape()

    def _area(self, area: Area) -> None:
        for ring in area.rings:
            self._shape.draw_polyline([_at(p) for p in (*ring, ring[0])])
        self._shape.finish(
            fill=_rgb(area.fill) if area.fill else None,
            color=_rgb(area.stroke) if area.stroke else None,
            width=area.width * _PT,
            even_odd=True,
            closePath=True,
        )

    def _strokes(self, strokes: Strokes) -> None:
        for line in strokes.lines:
            self._shape.draw_polyline([_at(p) for p in line])
        dash = f"[{DASH[0] * _PT:.2f} {DASH[1] * _PT:.2f}] 0" if strokes.dashed else None
        self._shape.finish(
            color=_rgb(strokes.stroke), width=strokes.width * _PT, dashes=dash, closePath=False
        )

    def _disc(self, disc: Disc) -> None:
        self._shape.draw_circle(_at(disc.centre), disc.radius * _PT)
        self._shape.finish(fill=_rgb(disc.fill), color=_rgb(disc.stroke), width=disc.width * _PT)

    def _put_words(self) -> None:
        """Words of one colour and direction in one go: each go is slow, whatever is in it."""
        kinds = dict.fromkeys((w.colour, w.turn_deg) for w in self._words)
        for colour, turn in kinds:
            writer = self._mupdf.TextWriter(self._page.rect)
            for words in self._words:
                if (words.colour, words.turn_deg) == (colour, turn):
                    self._append(writer, words)
            angle = radians(turn)
            matrix = self._mupdf.Matrix(cos(angle), sin(angle), -sin(angle), cos(angle), 0, 0)
            morph = (self._mupdf.Point(0, 0), matrix) if turn else None
            writer.write_text(self._page, color=_rgb(colour), morph=morph)
        self._words.clear()

    def _append(self, writer: Any, words: Words) -> None:
        """Add words where they must stand before the writer's text is turned about the origin."""
        size = words.cap / CAP_SHARE * _PT
        parts = self._by_font(words)
        width = sum(font.text_length(text, size) for font, text in parts)
        share = {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[words.anchor]
        x, y = _at(baseline(words))
        c, s = cos(radians(words.turn_deg)), sin(radians(words.turn_deg))
        place = self._mupdf.Point(x * c - y * s - share * width, x * s + y * c)
        for font, text in parts:
            _, place = writer.append(place, text, font=font, fontsize=size)

    def _by_font(self, words: Words) -> list[tuple[Any, str]]:
        """The text in stretches of one font; what no font has becomes a question mark."""
        plain = self._fonts[words.bold]
        parts: list[tuple[Any, str]] = []
        for char in words.text:
            font = plain
            if not plain.has_glyph(ord(char)):
                self._fallback = self._fallback or self._mupdf.Font("cjk")
                font = self._fallback
                if not font.has_glyph(ord(char)):
                    font, char = plain, "?"  # noqa: PLW2901  # the visible replacement
            if parts and parts[-1][0] is font:
                parts[-1] = (font, parts[-1][1] + char)
            else:
                parts.append((font, char))
        return parts


def _at(p: Point) -> Point:
    return p[0] * _PT, p[1] * _PT


def _rgb(colour: str) -> tuple[float, float, float]:
    red, green, blue = (int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
    return red, green, blue
