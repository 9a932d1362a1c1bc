"""Cut list and order as CSV: RFC 4180 (CRLF, doubled quotes), UTF-8 with byte order mark so that
spreadsheets take the names right, text cells that can't run as formulas.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

from layout.cautions import DEFAULT_RULES_NOTE
from layout.floor import CutKind, JobResult, Piece, Plank, PlanResult, Quantities
from layout.rules import RuleSet
from layout.writers.numbers import m2, whole_mm

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
    "rules",
)
ORDER_HEADINGS = ("flat", "item", "quantity", "unit", "remark")


def cuts_csv(result: PlanResult, rules: RuleSet, *, default_rules: bool = False) -> bytes:
    """Every sawn piece of a plan, bay by bay in the order of laying. Whole planks are not listed."""
    names = (
        {r.id: r.name or r.number or str(r.id) for r in result.plan.rooms} if result.plan else {}
    )
    used = f"{rules.name} (packaged default)" if default_rules else rules.name
    rows: list[Sequence[Cell]] = [CUT_HEADINGS]
    for layout in result.bays:
        rooms = ", ".join(names.get(r, str(r)) for r in layout.bay.rooms)
        planks = {p.id: p for p in layout.planks}
        rows.extend(
            (*_cut_row(piece, planks[piece.plank], rooms), used)
            for piece in layout.pieces
            if piece.cuts
        )
    return _csv(rows)


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


def order_csv(job: JobResult, rules: RuleSet) -> bytes:
    """What to order, for the job and for each flat."""
    rows: list[Sequence[Cell]] = [ORDER_HEADINGS]
    rows.extend(_order_rows("whole job", job.totals, rules))
    for name, quantities in job.by_flat.items():
        rows.extend(_order_rows(name, quantities, rules))
    if job.default_rules:
        rows.append(("whole job", "note", "", "", DEFAULT_RULES_NOTE))
    return _csv(rows)


def _order_rows(flat: str, q: Quantities, rules: RuleSet) -> Iterable[Sequence[Cell]]:
    plank = rules.plank
    size = f"{plank.length:g} x {plank.width:g} x {plank.thickness:g} mm"
    packed = f"{plank.per_pack} planks a pack, {m2(plank.length * plank.width * plank.per_pack)} m2"
    yield flat, "planks laid", q.planks, "planks", f"{size}; no layout needs fewer than {q.bound}"
    yield flat, "spare planks", q.spare_planks, "planks", "for damage and later repair"
    yield flat, "packs", q.packs, "packs", packed
    yield flat, "floor laid", round(q.net_area_m2, 2), "m2", f"waste {q.waste_percent:.1f} %"
    yield flat, "underlay", round(q.underlay_m2, 2), "m2", "net; add laps as its maker says"
    remark = "; ".join(str(whole_mm(length)) for length in q.threshold_mm)
    yield (
        flat,
        "threshold and joint profiles",
        len(q.threshold_mm),
        "pieces",
        remark and f"{remark} mm",
    )
    yield flat, "skirting or bead", round(q.skirting_mm / 1000, 2), "m", "net; add for mitres"


def _csv(rows: Iterable[Sequence[Cell]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerows([safe_cell(c) for c in row] for row in rows)
    return text.getvalue().encode("utf-8-sig")


def safe_cell(cell: Cell) -> Cell:
    """Text that a spreadsheet would run or drop gets an apostrophe before it; numbers stay numbers."""
    if isinstance(cell, str) and cell[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        return "'" + cell
    return cell
