"""The job as one workbook (XLSX): order by storey and flat, cuts, bays, findings, accessories.

Numbers are numbers with their unit in the heading; texts are stored as texts, so that no name from a
drawing runs as a formula or becomes a link. Headings stay in view and repeat on every printed page.
The same job gives the same bytes: the creation date is fixed and no host or user is named.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from textwrap import wrap
from typing import TYPE_CHECKING, Any, Final

from layout.floor import JobResult
from layout.rules import RuleSet
from layout.writers.names import clean
from layout.writers.workbook_accessories import accessories_table, bars_table
from layout.writers.workbook_rows import (
    Cell,
    Table,
    bays_table,
    cuts_table,
    findings_table,
    notes_table,
    order_table,
)

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

_CREATED: Final = datetime(2000, 1, 1, tzinfo=UTC)
_A4: Final = 9
_LONGEST_CELL: Final = 32_767
"""What a cell holds at most (limit of the file format)."""
_MOST_ROWS: Final = 1_048_576

_TABLES: Final[tuple[Callable[[JobResult, RuleSet], Table], ...]] = (
    order_table,
    cuts_table,
    bays_table,
    findings_table,
    accessories_table,
    bars_table,
    notes_table,
)


_MOST_POINTS: Final = 405.0
"""A row is no higher than this (limit of the file format: 409)."""
_LINE_POINTS: Final = 15.0
"""Height of a line of the standard lettering."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Formats:
    """Cell formats, made once a workbook: for texts and, by decimals, for numbers; those of the first
    row of a group carry a line above.
    """

    heading: Any
    number_heading: Any
    text: Any
    numbers: tuple[Any, ...]
    first_text: Any
    first_numbers: tuple[Any, ...]


def job_workbook(job: JobResult, rules: RuleSet) -> bytes:
    """The workbook of a job.

    Args:
        job: the job as combined; lengths mm, areas m2 as its types say.
        rules: the rule set it was laid by.

    Returns:
        The bytes of an XLSX file, the same for the same job.
    """
    from xlsxwriter import Workbook as Book

    out = io.BytesIO()
    book = Book(
        out,
        {
            "in_memory": True,
            "strings_to_formulas": False,
            "strings_to_urls": False,
            "strings_to_numbers": False,
        },
    )
    book.set_properties({"title": "Floor setting-out", "author": "setout", "created": _CREATED})
    formats = _formats(book)
    for make in _TABLES:
        _add(book, make(job, rules), formats)
    book.close()
    return out.getvalue()


def _formats(book: Workbook) -> _Formats:
    plain = {"valign": "top"}
    first = {**plain, "top": 1, "top_color": "#8A9299"}
    shapes = ("#,##0", "#,##0.0", "#,##0.00")
    words = {"text_wrap": True, "align": "left", "indent": 1}
    head = {"bold": True, "valign": "bottom", "bottom": 2, "bg_color": "#E6E9EC", **words}
    return _Formats(
        heading=book.add_format(head),
        number_heading=book.add_format({**head, "align": "right", "indent": 0}),
        text=book.add_format({**plain, **words}),
        numbers=tuple(book.add_format({**plain, "num_format": n}) for n in shapes),
        first_text=book.add_format({**first, **words}),
        first_numbers=tuple(book.add_format({**first, "num_format": n}) for n in shapes),
    )


def _add(book: Workbook, table: Table, formats: _Formats) -> None:
    sheet = book.add_worksheet(table.name)
    _set_up_print(sheet, table)
    numbers = {c for row in table.rows for c, v in enumerate(row) if not isinstance(v, str)}
    for column, heading in enumerate(table.headings):
        form = formats.number_heading if column in numbers else formats.heading
        sheet.set_column(column, column, heading.width)
        sheet.write_string(0, column, heading.words, form)
    sheet.set_row(0, _height([h.words for h in table.headings], table, letters=0.85))
    for row, cells in enumerate(table.rows[: _MOST_ROWS - 1], start=1):
        _write_row(sheet, row, cells, table, formats)
    sheet.freeze_panes(1, table.frozen)
    if table.rows:
        sheet.autofilter(0, 0, len(table.rows), len(table.headings) - 1)


def _write_row(
    sheet: Worksheet, row: int, cells: Sequence[Cell], table: Table, formats: _Formats
) -> None:
    first = row - 1 in table.groups
    text = formats.first_text if first else formats.text
    numbers = formats.first_numbers if first else formats.numbers
    height = _height(cells, table, letters=1.1)
    if height > _LINE_POINTS:
        sheet.set_row(row, height)
    for column, cell in enumerate(cells):
        if isinstance(cell, str):
            words = clean(cell, _LONGEST_CELL)
            if words:
                sheet.write_string(row, column, words, text)
            else:
                sheet.write_blank(row, column, None, text)
        else:
            sheet.write_number(row, column, cell, numbers[table.headings[column].decimals])


def _height(cells: Sequence[Cell], table: Table, *, letters: float) -> float:
    """Height of a row in points: not every program finds it from wrapped texts by itself. `letters` is
    how many letters stand in the width of a figure, which is what a column's width counts.
    """
    lines = 1
    for cell, heading in zip(cells, table.headings, strict=True):
        if isinstance(cell, str):
            width = max(1, int((heading.width - 2) * letters))
            wrapped = wrap(cell, width, break_long_words=True)
            lines = max(lines, len(wrapped))
    return min(_MOST_POINTS, lines * _LINE_POINTS)


def _set_up_print(sheet: Worksheet, table: Table) -> None:
    sheet.set_landscape()
    sheet.set_paper(_A4)
    sheet.set_margins(left=0.6, right=0.4, top=0.6, bottom=0.6)
    sheet.repeat_rows(0)
    sheet.fit_to_pages(1, 0)
    sheet.hide_gridlines(1)
    sheet.set_header(f"&L{table.title}")
    sheet.set_footer("&Lsetout&RPage &P of &N")
