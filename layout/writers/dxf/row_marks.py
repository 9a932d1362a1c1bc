"""Row numbers, lengths of sawn ends, and the name of the bay. Bay frame in, plan frame out, mm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from shapely import Point as ShapelyPoint

from layout.floor import Piece
from layout.writers.dxf.lettering import from_drawing, text_width
from layout.writers.dxf.marks import Align, Group, Letter, lettered, read_along
from layout.writers.dxf.piece_ends import clear_band, end_over
from layout.writers.dxf.runs_seen import RunSeen, is_cross_cut, length_words
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import PLAN
from layout.writers.dxf.sketch import (
    CLEAR,
    FARTHEST,
    INSIDE,
    STEP,
    THINNEST_ROW,
    LengthApart,
    Sketch,
)

_STRAIGHT_MM = 50.0
"""Rows whose starts differ by less than this belong to one wall: their numbers form one column."""
_ROOM_APART_MM = 400.0
"""Runs of one row farther apart than this are in different rooms: both get the row's number."""
_TIGHT = PLAN.paper(0.1)
_MOST_TRIES = 60


def draw_row_numbers(sketch: Sketch) -> None:
    """In a column outside the start of the rows; where there is no room, at the start of each row."""
    for column in _columns(_numbered(sketch.runs)):
        if not _column_outside(sketch, column):
            _column_inside(sketch, column)


def _column_outside(sketch: Sketch, column: Sequence[RunSeen]) -> bool:
    """One column beyond the wall, where it meets no floor and hardly a text or line; a number whose own
    place is taken is left out.
    """
    board, step = sketch.board, STEP / 2
    best: tuple[int, float] | None = None
    for k in range(1, int(FARTHEST / step)):
        distance = sketch.layout.bay.gap_mm + k * step
        boxes = [_number(sketch, run, distance).boxes for run in column]
        if board.is_off_floor([b for own in boxes for b in own]):
            taken = sum(not board.is_free(own) for own in boxes)
            crossed = sum(board.crossings(own) for own in boxes)
            found = (2 * taken + crossed, distance)
            best = found if best is None else min(best, found)
            if not best[0]:
                break
    if best is None or best[0] > len(column) // 6:
        return False
    for run in column:
        sketch.keep(board.place([_number(sketch, run, best[1])]))
    _every_fifth(sketch, column, best[1])
    return True


def _number(
    sketch: Sketch,
    run: RunSeen,
    distance: float,
    height: float = PLAN.small,
    content: Content = Content.ROW,
) -> Group:
    at = sketch.at(run.x0 - distance, run.middle)
    return lettered(read_along(content, str(run.row), at, sketch.backward, height), margin=_TIGHT)


def _every_fifth(sketch: Sketch, column: Sequence[RunSeen], distance: float) -> None:
    """Numbers twice the size for a plot at 1:100, in a column of their own farther out."""
    fifth = [run for run in column if run.row == 1 or run.row % 5 == 0]
    beyond = distance + max(text_width(str(run.row), PLAN.small) for run in column)
    for k in range(2, int(FARTHEST / STEP)):
        place = beyond + k * STEP
        groups = [_number(sketch, run, place, 2 * PLAN.small, Content.KEY100) for run in fifth]
        boxes = [b for g in groups for b in g.boxes]
        open_ground = sketch.board.is_off_floor(boxes) and not sketch.board.crossings(boxes)
        if open_ground and sketch.board.is_free(boxes):
            for group in groups:
                sketch.keep(sketch.board.place([group]))
            return


def _column_inside(sketch: Sketch, column: Sequence[RunSeen]) -> None:
    for run in column:
        if run.height < THINNEST_ROW:
            continue
        x = end_over(run.pieces[0], _levels(run.middle), starts=True)
        at = sketch.at(x + INSIDE, run.middle)
        letter = read_along(Content.ROW, str(run.row), at, sketch.forward, PLAN.small)
        if sketch.keep(sketch.board.place([lettered(letter, margin=0.0)])):
            widest = max(letter.width, text_width("00", PLAN.small))
            sketch.inset[run.row, run.x0] = widest + 2 * INSIDE


def draw_lengths(sketch: Sketch) -> Iterator[LengthApart]:
    """The length of every sawn end, flush to its wall; yields those that find no place."""
    for run in sketch.runs:
        first, last = run.pieces[0], run.pieces[-1]
        if is_cross_cut(first):
            words = length_words(first, sketch.first_slant)
            inset = sketch.inset.get((run.row, run.x0), 0.0)
            if not _length(sketch, run, first, words, inset=inset, starts=True):
                yield LengthApart(row=run.row, piece=first, words=words)
        if last is not first and is_cross_cut(last):
            words = length_words(last, sketch.last_slant)
            if not _length(sketch, run, last, words, inset=0.0, starts=False):
                yield LengthApart(row=run.row, piece=last, words=words)


def _length(
    sketch: Sketch, run: RunSeen, piece: Piece, words: str, *, inset: float, starts: bool
) -> bool:
    wide = text_width(words, PLAN.small)
    if inset + wide + 2 * INSIDE > run.x1 - run.x0:
        return False  # it would stand on the wall
    near = (piece.shape.bounds[0] if starts else piece.shape.bounds[2]) + (inset if starts else 0.0)
    band = clear_band(piece, (near, near + wide) if starts else (near - wide, near))
    if band is None or band[1] - band[0] < THINNEST_ROW:
        return False
    middle = (band[0] + band[1]) / 2
    x = end_over(piece, _levels(middle), starts=starts)
    at = sketch.at(x + inset + INSIDE if starts else x - INSIDE, middle)
    toward = sketch.forward if starts else sketch.backward
    letter = read_along(Content.LENGTH, words, at, toward, PLAN.small)
    return sketch.keep(sketch.board.place([lettered(letter, margin=0.0)]))


def _levels(middle: float) -> tuple[float, float]:
    """Foot and top of lettering."""
    return middle - PLAN.small / 2, middle + PLAN.small / 2


def draw_title(sketch: Sketch) -> None:
    """The bay's name inside one whole plank, the nearest to the middle of the floor."""
    words = from_drawing(f"BAY {sketch.layout.bay.id}")
    frame = sketch.layout.setting_out.frame
    middle = ShapelyPoint(frame.to_bay(sketch.layout.bay.floor.representative_point()))
    wide = text_width(words, PLAN.small) + 2 * INSIDE
    holders = [p for p in sketch.layout.pieces if _holds(p, wide)]
    nearest = sorted(holders, key=lambda p: (p.shape.centroid.distance(middle), p.id))
    tries = (
        lettered(
            Letter(
                content=Content.NOTE,
                text=words,
                at=sketch.at(p.shape.centroid.x, p.shape.centroid.y),
                height=PLAN.small,
                along=sketch.reading,
                align=Align.CENTRE,
            ),
            margin=CLEAR,
        )
        for p in nearest[:_MOST_TRIES]
    )
    sketch.keep(sketch.board.place(tries))


def _holds(piece: Piece, width: float) -> bool:
    x0, y0, x1, y1 = piece.shape.bounds
    is_box = len(piece.shape.exterior.coords) == 5 and not piece.shape.interiors
    return is_box and x1 - x0 >= width and y1 - y0 >= THINNEST_ROW


def _numbered(runs: Sequence[RunSeen]) -> list[RunSeen]:
    """Runs that get their row's number: the first of a row, and every one in another room."""
    chosen: list[RunSeen] = []
    reach = 0.0
    for run in runs:
        new_row = not chosen or chosen[-1].row != run.row
        if new_row or run.x0 - reach > _ROOM_APART_MM:
            chosen.append(run)
        reach = run.x1 if new_row else max(reach, run.x1)
    return chosen


def _columns(runs: Sequence[RunSeen]) -> list[list[RunSeen]]:
    """Runs of consecutive rows that start at one wall."""
    columns: list[list[RunSeen]] = []
    by_row: dict[int, list[list[RunSeen]]] = {}
    for run in runs:
        before = by_row.get(run.row - 1, []) if run.row != 1 else by_row.get(-1, [])
        column = next((c for c in before if abs(run.x0 - c[-1].x0) <= _STRAIGHT_MM), None)
        if column is None:
            column = []
            columns.append(column)
        column.append(run)
        by_row.setdefault(run.row, []).append(column)
    return columns
