"""Cut list and order as tables, and as CSV: RFC 4180 (CRLF, doubled quotes), UTF-8 with byte order mark
so that spreadsheets take the names right, text cells that can't run as formulas.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence

from importer.plan import RoomId
from layout.cautions import DEFAULT_RULES_NOTE
from layout.floor import CutKind, JobResult, Piece, Plank, PlanResult, Quantities
from layout.rules import RuleSet
from layout.writers.names import clean, flat_name, room_names, storey_name
from layout.writers.numbers import whole_mm
from layout.writers.offcuts import offcuts_of
from layout.writers.order_lines import order_lines
from layout.writers.piece_rooms import piece_rooms

Cell = str | int | float

CUT_HEADINGS = (
    "order",
    "bay",
    "rooms",
    "row",
    "piece",
    "id",
    "role",
    "length near edge (mm)",
    "length far edge (mm)",
    "width at start (mm)",
    "width at end (mm)",
    "cuts",
    "plank",
    "cut from",
    "offcut kept (mm)",
    "offcut goes to",
    "laid",
    "flat",
    "storey",
    "rules",
)
_STARTS_A_FORMULA = frozenset(
    "=+-@\t\r\n\N{FULLWIDTH EQUALS SIGN}\N{FULLWIDTH PLUS SIGN}"
) | frozenset("\N{FULLWIDTH HYPHEN-MINUS}\N{FULLWIDTH COMMERCIAL AT}")
"""First characters that make a spreadsheet take a text for a formula."""

IN_DOORWAY = "doorway"
"""In the place of a room, for pieces that lie in none."""

ORDER_HEADINGS = ("for", "item", "quantity", "unit", "remark")


def cuts_csv(result: PlanResult, rules: RuleSet, *, default_rules: bool = False) -> bytes:
    """Every sawn piece of a plan, bay by bay in the order of laying. Whole planks are not listed."""
    used = f"{rules.name} (packaged default)" if default_rules else rules.name
    return _csv([CUT_HEADINGS, *((*row, used) for row in cut_rows(result))])


def cut_rows(result: PlanResult) -> Iterator[Sequence[Cell]]:
    """A row for every sawn piece, under `CUT_HEADINGS` but the last. Its room is the one that holds the
    greatest part of it.
    """
    names = room_names(result.plan)
    planks = {p.id: p for layout in result.bays for p in layout.planks}
    offcuts = offcuts_of(result.bays)
    for layout in result.bays:
        room_of = piece_rooms(layout, result.plan)
        place = (flat_name(result, layout.bay), storey_name(result, layout.bay))
        for piece in layout.pieces:
            if piece.cuts:
                goes_to = offcuts.use(piece)
                room = room_of[piece.id]
                words = IN_DOORWAY if room is None else rooms_words((room,), names)
                yield (
                    *_cut_row(piece, planks[piece.plank], words),
                    "" if goes_to is None else str(goes_to.id),
                    how_laid(piece),
                    *place,
                )


def rooms_words(rooms: Iterable[RoomId], names: Mapping[RoomId, str]) -> str:
    """The rooms of a bay by name, one after the other."""
    return ", ".join(names.get(r, str(r)) for r in rooms)


def how_laid(piece: Piece) -> str:
    """`forward`, or `in reverse; pushed in under the door frame; stage 2`."""
    words = ["in reverse" if piece.is_reversed else "forward"]
    if piece.pushed:
        words.append(f"pushed in {clean(piece.pushed)}")
    if piece.stage > 1:
        words.append(f"stage {piece.stage}")
    return "; ".join(words)


def _cut_row(piece: Piece, plank: Plank, rooms: str) -> Sequence[Cell]:
    near, far = piece_lengths(piece)
    start, end = piece_widths(piece)
    source = f"offcut of {piece.offcut_of}" if piece.offcut_of else "new plank"
    last_use = plank.pieces[-1] == piece.id
    return (
        piece.order,
        str(piece.bay),
        rooms,
        piece.row,
        piece.number,
        str(piece.id),
        piece.role.value,
        whole_mm(near),
        whole_mm(far),
        whole_mm(start),
        whole_mm(end),
        describe_cuts(piece),
        str(piece.plank),
        source,
        whole_mm(plank.offcut_mm) if last_use else 0,
    )


def piece_lengths(piece: Piece) -> tuple[float, float]:
    """Length along the near and along the far long edge; equal unless the end is cut at an angle."""
    for cut in piece.cuts:
        if cut.kind is CutKind.CROSS:
            return cut.measures_mm
    return piece.blank_length_mm, piece.blank_length_mm


def piece_widths(piece: Piece) -> tuple[float, float]:
    """Width at the start and at the end; equal unless the piece tapers."""
    for cut in piece.cuts:
        if cut.kind is CutKind.RIP:
            return cut.measures_mm
    return piece.blank_width_mm, piece.blank_width_mm


def describe_cuts(piece: Piece) -> str:
    """The cuts of a piece in words with whole millimetres: `cross 472 / 462; rip 158`."""
    return "; ".join(f"{c.kind.value} {_measures(c.kind, c.measures_mm)}" for c in piece.cuts)


def _measures(kind: CutKind, measures: tuple[float, float]) -> str:
    first, second = whole_mm(measures[0]), whole_mm(measures[1])
    if kind is CutKind.NOTCH:
        return f"{first} x {second}"
    return str(first) if first == second else f"{first} / {second}"


def order_csv(job: JobResult, rules: RuleSet) -> bytes:  # noqa: ARG001 - one form for all outputs
    """What to order, for the job, for each storey where there are several, and for each flat."""
    rows: list[Sequence[Cell]] = [ORDER_HEADINGS]
    for name, quantities in job.by_product.items():
        several = len(job.by_product) > 1
        rows.extend(order_rows(f"whole job, {clean(name)}" if several else "whole job", quantities))
    if len(job.by_storey) > 1:
        for name, quantities in job.by_storey.items():
            rows.extend(order_rows(f"storey {clean(name)}", quantities))
    for name, quantities in job.by_flat.items():
        rows.extend(order_rows(clean(name), quantities))
    if job.default_rules:
        rows.append(("whole job", "note", "", "", DEFAULT_RULES_NOTE))
    return _csv(rows)


def order_rows(heading: str, q: Quantities) -> Iterator[Sequence[Cell]]:
    """What one flat, storey or job needs, under `ORDER_HEADINGS`."""
    for line in order_lines(q):
        yield heading, line.item, line.quantity, line.unit, line.remark


def _csv(rows: Iterable[Sequence[Cell]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerows([safe_cell(c) for c in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def safe_cell(cell: Cell) -> Cell:
    """Text that a spreadsheet would run or drop gets an apostrophe before it; numbers stay numbers."""
    if isinstance(cell, str) and cell.lstrip(" ")[:1] in _STARTS_A_FORMULA:
        return "'" + cell
    return cell
