"""The rows of a bay as a list: what is cut for each, where it comes from and where the rest goes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from layout.floor import CutKind, Piece
from layout.writers.dxf.flow import Ledger
from layout.writers.dxf.lettering import for_sheet
from layout.writers.dxf.marks import Align
from layout.writers.dxf.runs_seen import (
    EndSlant,
    RunSeen,
    is_cross_cut,
    is_ripped,
    length_words,
    rip_words,
)
from layout.writers.dxf.tables import Told
from layout.writers.numbers import whole_mm
from layout.writers.offcuts import Offcuts

_HEADINGS = ("row", "first", "from", "full", "last", "keep", "cuts")
_RIGHT, _LEFT = Align.RIGHT, Align.LEFT
_ALIGNS = (_RIGHT, _RIGHT, _RIGHT, _RIGHT, _RIGHT, _RIGHT, _LEFT)

_HOW_TO_READ = (
    "first, last: length of the piece at the start and the end of the row; between: full lengths.",
    "from 7: the first piece is an offcut of row 7. keep 9: write 9 on the offcut, row 9 needs it.",
)
_STRETCHES = "7a, 7b: the first and second stretch of row 7, counted from its start."


def how_to_read(told: Told, offcuts: Offcuts) -> tuple[str, ...]:
    """What has to be known to read the list of this bay."""
    parted = any(offcuts.labels[p.id].endswith("b") for p in told.layout.pieces)
    return (*_HOW_TO_READ, *((_STRETCHES,) if parted else ()))


def row_list(told: Told, offcuts: Offcuts) -> Ledger:
    """A line for each run, in the order of laying."""
    runs = sorted(told.sketch.runs, key=lambda r: (min(p.order for p in r.pieces), r.row, r.x0))
    rows = tuple(_row(run, told, offcuts) for run in runs)
    used = [k for k in range(len(_HEADINGS)) if k == 0 or any(row[k] for row in rows)]
    return Ledger(
        headings=tuple(_HEADINGS[k] for k in used),
        aligns=tuple(_ALIGNS[k] for k in used),
        rows=tuple(tuple(row[k] for k in used) for row in rows),
    )


def _row(run: RunSeen, told: Told, offcuts: Offcuts) -> tuple[str, ...]:
    first, last = run.pieces[0], run.pieces[-1]
    between = len(run.pieces) - 2 if len(run.pieces) > 2 else 0
    cuts = list(_cuts(run))
    source = _source(first, offcuts)
    for piece in run.pieces[1:]:
        came_from = _source(piece, offcuts)
        if came_from:
            cuts.append(f"{'last' if piece is last else piece.number} from {came_from}")
    return (
        offcuts.labels[first.id],
        _length(first, told.sketch.first_slant),
        source,
        str(between) if between else "",
        _length(last, told.sketch.last_slant) if last is not first else "",
        ", ".join(_unique(_uses(run.pieces, offcuts))),
        "; ".join(cuts),
    )


def _length(piece: Piece, slant: EndSlant | None) -> str:
    return length_words(piece, slant) if is_cross_cut(piece) else "full"


def _source(piece: Piece, offcuts: Offcuts) -> str:
    source = offcuts.source(piece)
    return "" if source is None else for_sheet(offcuts.place(source, piece))


def _uses(pieces: Sequence[Piece], offcuts: Offcuts) -> Iterator[str]:
    for piece in pieces:
        use = offcuts.use(piece)
        if use is not None:
            yield for_sheet(offcuts.place(use, piece))


def _unique(words: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(words))


def _cuts(run: RunSeen) -> Iterator[str]:
    if any(is_ripped(p) for p in run.pieces):
        yield f"rip {rip_words(run)}"
    notches = [
        f"{whole_mm(c.measures_mm[0])} x {whole_mm(c.measures_mm[1])}"
        for p in run.pieces
        for c in p.cuts
        if c.kind is CutKind.NOTCH
    ]
    if notches:
        yield f"notch {', '.join(_unique(notches))}"
