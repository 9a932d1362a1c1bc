"""Pages as a PDF: vector, fonts embedded, the same bytes for the same pages."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from layout.writers.sheets.letters import CAPITAL, NARROW, runs_of
from layout.writers.sheets.marks import Group, Hatching, Lines, Mark, Page, Text
from layout.writers.sheets.style import BLACK, Colour

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas
    from reportlab.pdfgen.pathobject import PDFPathObject

MM: Final = 72.0 / 25.4
"""Points in a millimetre."""
_GROUND: Final = 0.35
"""How far the ground of a text reaches beyond it."""


def pdf_of(pages: Sequence[Page], *, title: str) -> bytes:
    """The pages as one PDF document."""
    from reportlab.pdfgen.canvas import Canvas as Document

    out = io.BytesIO()
    # Not the default font of the library, which is not embedded.
    first = next(runs_of("x"))[0]
    options: dict[str, Any] = {"invariant": 1, "pageCompression": 1, "initialFontName": first}
    canvas = Document(out, lang="en", **options)
    canvas.setTitle(title)
    canvas.setCreator("setout")
    canvas.setAuthor("setout")
    for number, page in enumerate(pages):
        canvas.setPageSize((page.paper.width * MM, page.paper.height * MM))
        canvas.bookmarkPage(f"p{number}")
        canvas.addOutlineEntry(page.name, f"p{number}", level=0)
        canvas.scale(MM, MM)
        canvas.setLineJoin(0)
        for mark in page.marks:
            _draw(canvas, mark)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _draw(canvas: Canvas, mark: Mark) -> None:
    if isinstance(mark, Text):
        _write(canvas, mark)
    elif isinstance(mark, Lines):
        _line(canvas, mark)
    elif isinstance(mark, Hatching):
        _hatch(canvas, mark)
    else:
        _clip(canvas, mark)


def _clip(canvas: Canvas, group: Group) -> None:
    x0, y0, x1, y1 = group.clip
    canvas.saveState()
    window = _path(canvas, [((x0, y0), (x1, y0), (x1, y1), (x0, y1))], closed=True)
    canvas.clipPath(window, stroke=0, fill=0)
    for mark in group.marks:
        _draw(canvas, mark)
    canvas.restoreState()


def _write(canvas: Canvas, text: Text) -> None:
    x0, y0, x1, y1 = text.box
    if text.ground is not None:
        _ink(canvas, fill=text.ground)
        width, height = x1 - x0 + 2 * _GROUND, y1 - y0 + 2 * _GROUND
        canvas.rect(x0 - _GROUND, y0 - _GROUND, width, height, stroke=0, fill=1)
    line = canvas.beginText(x0, y0)
    line.setHorizScale(100 * NARROW)
    line.setFillColorRGB(*text.colour)
    for font, letters in runs_of(text.words, bold=text.bold):
        line.setFont(font, text.height / CAPITAL)
        line.textOut(letters)
    canvas.drawText(line)


def _line(canvas: Canvas, lines: Lines) -> None:
    path = _path(canvas, lines.chains, closed=lines.closed)
    _ink(canvas, stroke=lines.colour, fill=lines.fill)
    if lines.pen is not None:
        canvas.setLineWidth(lines.pen)
        canvas.setDash(list(lines.dash))
    fill = int(lines.fill is not None)
    canvas.drawPath(path, stroke=int(lines.pen is not None), fill=fill, fillMode=0)


def _hatch(canvas: Canvas, hatching: Hatching) -> None:
    x0, y0, x1, y1 = hatching.box
    rise = y1 - y0
    canvas.saveState()
    outline = _path(canvas, hatching.chains, closed=True)
    canvas.clipPath(outline, stroke=0, fill=0, fillMode=0)
    _ink(canvas, stroke=BLACK)
    canvas.setLineWidth(hatching.pen)
    canvas.setDash([])
    # Lines lie on a grid of the paper, so that neighbouring areas go on in each other.
    step = hatching.step * 2**0.5
    first, last = int((x0 - y1) // step), int((x1 - y0) // step) + 1
    chains = [((k * step + y0, y0), (k * step + y0 + rise, y1)) for k in range(first, last + 1)]
    canvas.drawPath(_path(canvas, chains, closed=False), stroke=1, fill=0)
    canvas.restoreState()


def _path(
    canvas: Canvas, chains: Sequence[Sequence[tuple[float, float]]], *, closed: bool
) -> PDFPathObject:
    path = canvas.beginPath()
    for chain in chains:
        path.moveTo(*chain[0])
        for point in chain[1:]:
            path.lineTo(*point)
        if closed:
            path.close()
    return path


def _ink(canvas: Canvas, *, stroke: Colour | None = None, fill: Colour | None = None) -> None:
    if stroke is not None:
        canvas.setStrokeColorRGB(*stroke)
    if fill is not None:
        canvas.setFillColorRGB(*fill)
