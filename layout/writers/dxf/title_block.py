"""The title block: fields after ISO 7200, one block with attributes for all sheets of a drawing.

What is not known stays empty, to be filled in by hand. Millimetres on paper, lower left corner at 0, 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from layout.writers.dxf.lettering import cut_to
from layout.writers.dxf.marks import Letter, Mark, Stroke
from layout.writers.dxf.paper import TITLE_BLOCK_MM
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import SMALL_MM

CAPTION_MM: Final = 1.8
"""Captions of the fields; nothing else on a sheet is as small."""
_LINE_MM: Final = 8.0
_INDENT_MM: Final = 1.5
_CAPTION_UP_MM: Final = 6.2
_CONTENT_UP_MM: Final = 2.5
"""Middle of a caption and of what stands under it, over the lower edge of a field."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """A field: the tag of its attribute, its caption, its line from the top, and where it lies."""

    tag: str
    caption: str
    line: int
    left: float
    right: float

    @property
    def at(self) -> tuple[float, float]:
        """Where its content begins: left end of the middle line."""
        return self.left + _INDENT_MM, self._low + _CONTENT_UP_MM

    @property
    def _low(self) -> float:
        return TITLE_BLOCK_MM[1] - (self.line + 1) * _LINE_MM

    def marks(self) -> Iterator[Mark]:
        """Its caption, and the line to the right of it."""
        yield Letter(
            content=Content.SHEET,
            text=self.caption,
            at=(self.left + _INDENT_MM, self._low + _CAPTION_UP_MM),
            height=CAPTION_MM,
        )
        if self.right < TITLE_BLOCK_MM[0]:
            ends = ((self.right, self._low), (self.right, self._low + _LINE_MM))
            yield Stroke(content=Content.SHEET, points=ends)


def _line(number: int, *fields: tuple[str, str, float]) -> Iterator[Field]:
    left = 0.0
    for tag, caption, right in fields:
        yield Field(tag=tag, caption=caption, line=number, left=left, right=right)
        left = right


FIELDS: Final = (
    *_line(0, ("JOB", "Job", 62), ("TITLE", "Title", 128), ("SOURCE", "Source drawing", 180)),
    *_line(
        1,
        ("DOCUMENT", "Document type", 62),
        ("PLACE", "Flat, storey", 128),
        ("SCALE", "Scale, sheet size", 151),
        ("REVISION", "Rev.", 163),
        ("SHEET", "Sheet", 180),
    ),
    *_line(
        2,
        ("CREATED", "Created by", 31),
        ("CHECKED", "Checked by", 62),
        ("APPROVED", "Approved by", 95),
        ("DATE", "Date of issue", 128),
        ("RULES", "Rules", 180),
    ),
)


def title_block_marks() -> Iterator[Mark]:
    """Outline, lines and captions."""
    wide, high = TITLE_BLOCK_MM
    corners = ((0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high))
    yield Stroke(content=Content.SHEET, points=corners, closed=True)
    for k in (1, 2):
        ends = ((0.0, k * _LINE_MM), (wide, k * _LINE_MM))
        yield Stroke(content=Content.SHEET, points=ends)
    for field in FIELDS:
        yield from field.marks()


def filled(values: Mapping[str, str]) -> dict[str, str]:
    """The content of every field, cut to its width."""
    return {
        f.tag: cut_to(values.get(f.tag, ""), f.right - f.left - 2 * _INDENT_MM, SMALL_MM)
        for f in FIELDS
    }
