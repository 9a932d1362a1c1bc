"""The rows of a bay in the words of the page: one line a run, in the order of laying.

The page shows a bay as the fitter sees it facing the start wall: rows run across, row 1 at the top, so
the near edge of a plank is its upper edge. Lengths are whole millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from layout.floor import BayId, BayLayout, CutKind, Piece, PieceId, Plank, PlankId, Role
from layout.writers.dxf.runs_seen import (
    TWO_EDGES_MM,
    RunSeen,
    is_cross_cut,
    is_ripped,
    rip_words,
    runs_seen,
)
from layout.writers.names import clean
from layout.writers.numbers import whole_mm
from layout.writers.offcuts import Offcuts
from layout.writers.run_labels import MINUS, labels_of
from layout.writers.tables import piece_lengths, piece_widths

TIMES = "\N{MULTIPLICATION SIGN}"


@dataclass(frozen=True, slots=True, kw_only=True)
class EndTold:
    """The first or last piece of a run: its length (`full` for a plank's own), the length of the other
    edge where that differs, where it comes from and what its offcut is for. Empty text: nothing to say.
    """

    length: str
    is_cut: bool
    other_edge: str
    comes_from: str
    keep_for: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What becomes of what is left of a plank: `of` which pieces; `mark` is what to write on the offcut,
    standing between the words before and after.
    """

    of: str = ""
    before: str = ""
    mark: str = ""
    after: str = ""

    def __str__(self) -> str:
        said = " ".join(w for w in (self.before, self.mark, self.after) if w)
        return f"{self.of}: {said}" if self.of else said


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceTold:
    """One piece. `words` is empty for a whole plank: its size is the rule set's, said once."""

    plank: str
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunLine:
    """One run as a line of the list. `label` is its row, with a letter where the row has several runs.
    `last` is None where the run is a single piece; `full` counts the planks between first and last that
    keep their whole length, `are_whole` tells that none of them is cut at all.
    """

    label: str
    first: EndTold
    full: int
    are_whole: bool
    last: EndTold | None
    cuts: str
    notes: tuple[Note, ...]
    pieces: tuple[PieceTold, ...]
    is_backwards: bool
    seen: RunSeen


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanWords:
    """What the lines of a plan refer to, over all its bays: run labels, offcuts, planks."""

    runs: Mapping[BayId, tuple[RunSeen, ...]]
    labels: Mapping[PieceId, str]
    offcuts: Offcuts
    planks: Mapping[PlankId, Plank]

    def row_of(self, piece: Piece, seen_from: Piece) -> str:
        """`row 7`, or `row 7 of bay B2` from another bay."""
        row = f"row {self.labels[piece.id]}"
        return row if piece.bay == seen_from.bay else f"{row} of bay {piece.bay}"

    def short(self, piece: Piece, seen_from: Piece) -> str:
        """The same for a column: `7`, or `B2/7`."""
        label = self.labels[piece.id]
        return label if piece.bay == seen_from.bay else f"{piece.bay}/{label}"


def plan_words(layouts: Sequence[BayLayout], offcuts: Offcuts) -> PlanWords:
    """Gather them; one walk over the pieces."""
    return PlanWords(
        runs={layout.bay.id: runs_seen(layout) for layout in layouts},
        labels=labels_of(layouts, MINUS),
        offcuts=offcuts,
        planks={p.id: p for layout in layouts for p in layout.planks},
    )


def run_lines(layout: BayLayout, words: PlanWords) -> tuple[RunLine, ...]:
    """The lines of a bay in the order of laying."""
    runs = sorted(words.runs[layout.bay.id], key=lambda r: min(p.order for p in r.pieces))
    return tuple(_line(run, words) for run in runs)


def _line(run: RunSeen, words: PlanWords) -> RunLine:
    first, last = run.pieces[0], run.pieces[-1]
    middle = run.pieces[1:-1]
    return RunLine(
        label=words.labels[first.id],
        first=_end(first, words),
        full=sum(not is_cross_cut(p) for p in middle),
        are_whole=all(p.is_whole for p in middle),
        last=_end(last, words) if last is not first else None,
        cuts="; ".join(_cuts(run)),
        notes=tuple(_notes(run, words)),
        pieces=tuple(_piece(p, words) for p in run.pieces),
        is_backwards=first.is_reversed,
        seen=run,
    )


def _end(piece: Piece, words: PlanWords) -> EndTold:
    near, far = (whole_mm(v) for v in piece_lengths(piece))
    is_cut = is_cross_cut(piece)
    other = ""
    if is_cut and abs(near - far) > TWO_EDGES_MM:
        other = f"lower edge {far}" if near > far else f"upper edge {near}"
    source, use = words.offcuts.source(piece), words.offcuts.use(piece)
    return EndTold(
        length=str(max(near, far)) if is_cut else "full",
        is_cut=is_cut,
        other_edge=other,
        comes_from=words.short(source, piece) if source is not None else "",
        keep_for=words.short(use, piece) if use is not None else "",
    )


# --- cuts and notes of a run --------------------------------------------------------------------


def _cuts(run: RunSeen) -> Iterable[str]:
    """Every cut but the lengths of the two ends, which have columns of their own."""
    ripped = [p for p in run.pieces if is_ripped(p)]
    if len(ripped) == len(run.pieces):
        yield f"rip {'all ' if len(ripped) > 1 else ''}{rip_words(run)}"
    for number, piece in enumerate(run.pieces, start=1):
        is_middle = 1 < number < len(run.pieces)
        told = [
            w
            for kind, w in _cut_words(piece)
            if (kind is CutKind.NOTCH)
            or (kind is CutKind.CROSS and is_middle)
            or (kind is CutKind.RIP and len(ripped) < len(run.pieces))
        ]
        if piece.pushed:
            told.append(f"push in {clean(piece.pushed)}")
        if told:
            yield f"{_place(number, len(run.pieces))}: {', '.join(told)}"


def _place(number: int, count: int) -> str:
    if count == 1:
        return "piece"
    return {1: "first", count: "last"}.get(number, f"piece {number}")


def _cut_words(piece: Piece) -> Iterable[tuple[CutKind, str]]:
    for cut in piece.cuts:
        a, b = whole_mm(cut.measures_mm[0]), whole_mm(cut.measures_mm[1])
        if cut.kind is CutKind.CROSS:
            yield cut.kind, f"cut to {a}" if a == b else f"cut to {a} upper, {b} lower edge"
        elif cut.kind is CutKind.RIP:
            yield cut.kind, f"rip to {a}" if a == b else f"rip {a} to {b}"
        else:
            yield cut.kind, f"notch {a} {TIMES} {b}"


def _notes(run: RunSeen, words: PlanWords) -> Iterable[Note]:
    """What is left of the planks of a run, each fact once, with the pieces it is true of."""
    places: dict[Note, list[str]] = {}
    sawn = [(n, p) for n, p in enumerate(run.pieces, start=1) if p.cuts]
    for number, piece in sawn:
        places.setdefault(_after(piece, words), []).append(_place(number, len(run.pieces)))
    for note, own in places.items():
        named = ", ".join(own)
        of_all = len(own) == len(sawn) > 1
        yield replace(note, of=f"{named[:1].upper()}{named[1:]}" if not of_all else "Each piece")


def _after(piece: Piece, words: PlanWords) -> Note:
    use = words.offcuts.use(piece)
    if use is not None:
        does = {Role.FIRST: "starts", Role.LAST: "ends"}.get(use.role, "goes into")
        return Note(
            before="write",
            mark=words.short(use, piece),
            after=f"on the offcut, it {does} {words.row_of(use, piece)}.",
        )
    left = whole_mm(words.planks[piece.plank].offcut_mm)
    return Note(before=f"an offcut of {left} is left, keep it." if left else "the rest is waste.")


def _piece(piece: Piece, words: PlanWords) -> PieceTold:
    own = f"{piece.bay}/"
    plank = str(piece.plank).removeprefix(own)
    if piece.is_whole:
        return PieceTold(plank=plank, words=())
    near, far = (whole_mm(v) for v in piece_lengths(piece))
    start, end = (whole_mm(v) for v in piece_widths(piece))
    source = words.offcuts.source(piece)
    return PieceTold(
        plank=plank,
        words=(
            f"{_both(near, far)} {TIMES} {_both(start, end)}",
            ", ".join(w for _, w in _cut_words(piece)) or "no cut",
            f"offcut of {words.row_of(source, piece)}" if source is not None else "new plank",
            str(_after(piece, words)).rstrip(".") if piece.cuts else "",
        ),
    )


def _both(a: int, b: int) -> str:
    return str(a) if a == b else f"{a}/{b}"
