"""The cut list of a bay as lines, one a run, in the order of laying: what the tables print. No geometry
of paper here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely

from layout.floor import CutKind, Piece, Role
from layout.writers.dxf.runs_seen import RunSeen, is_cross_cut, is_ripped, length_words, rip_words
from layout.writers.names import clean
from layout.writers.numbers import whole_mm
from layout.writers.sheets.scene import Scene

FULL = "full"
IN_DOORWAY = "doorway"
TIMES = "\N{MULTIPLICATION SIGN}"


@dataclass(frozen=True, slots=True, kw_only=True)
class CutLine:
    """One run as the fitter reads it. `first` and `last` are lengths, `full` for a whole plank, empty
    for none; `came` and `last_came` are the rows whose offcuts they are, `keep` the row that the offcut
    of the last piece goes to; `full` counts the planks of full length between them. `room` is where the
    run lies, empty for a bay of one room, `label` what the run is called.
    """

    row: int
    label: str
    room: str
    run: RunSeen
    first: str
    came: str
    full: int
    last: str
    last_came: str
    keep: str
    cuts: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Lines laid one after the other in one manner, under one heading. `number` is None where the bay
    has only one.
    """

    number: int | None
    heading: str
    is_reversed: bool
    lines: tuple[CutLine, ...]


def stages_of(scene: Scene) -> tuple[Stage, ...]:
    """The whole cut list: the stretches of the order of laying, each its lines."""
    runs = sorted(scene.runs, key=_order)
    lines = [(run, _line(run, scene)) for run in runs]
    stretches = scene.layout.stretches
    if len(stretches) < 2:
        reverse = bool(stretches) and stretches[0].is_reversed
        own = tuple(line for _, line in lines)
        return (
            (Stage(number=None, heading="Cut list", is_reversed=reverse, lines=own),) if own else ()
        )
    stages = []
    for stretch in stretches:
        own = tuple(line for run, line in lines if stretch.first <= _order(run) <= stretch.last)
        if own:
            stages.append(
                Stage(
                    number=stretch.number,
                    heading=_heading(own, is_reversed=stretch.is_reversed),
                    is_reversed=stretch.is_reversed,
                    lines=own,
                )
            )
    return tuple(stages)


def _order(run: RunSeen) -> int:
    return min(p.order for p in run.pieces)


def _heading(lines: Sequence[CutLine], *, is_reversed: bool) -> str:
    first, last = lines[0].row, lines[-1].row
    rows = f"row {first}" if first == last else f"rows {first} to {last}"
    rooms = ", ".join(
        dict.fromkeys(line.room for line in lines if line.room not in ("", IN_DOORWAY))
    )
    stage = lines[0].run.pieces[0].stage
    way = f"stage {stage}, " if stage > 1 else ""
    way += "in reverse, " if is_reversed else ""
    return f"{rooms}: {way}{rows}" if rooms else f"{way}{rows}"


def _room_of(run: RunSeen, scene: Scene) -> str:
    """The room in which a run lies for its greater part; none for a bay of one room."""
    if len(scene.rooms) < 2:
        return ""
    box = shapely.box(run.x0, run.y0, run.x1, run.y1)
    areas = shapely.area(shapely.intersection([room for _, room in scene.rooms], box))
    best = int(areas.argmax())
    return scene.rooms[best][0] if areas[best] > 0 else IN_DOORWAY


def _line(run: RunSeen, scene: Scene) -> CutLine:
    first, last = run.pieces[0], run.pieces[-1]
    alone = len(run.pieces) == 1
    use = scene.offcuts.use(last) or (None if alone else scene.offcuts.use(first))
    middle = run.pieces[1:-1] if not alone else ()
    return CutLine(
        row=run.row,
        label=scene.offcuts.labels[first.id],
        room=_room_of(run, scene),
        run=run,
        first=_length(first, scene),
        came=_source(first, scene),
        full=len(middle),
        last="" if alone else _length(last, scene),
        last_came="" if alone else _source(last, scene),
        keep="" if use is None else scene.offcuts.place(use, last),
        cuts="; ".join(_cuts(run, scene)),
    )


def _length(piece: Piece, scene: Scene) -> str:
    if not is_cross_cut(piece):
        return FULL
    slant = {Role.FIRST: scene.first_slant, Role.LAST: scene.last_slant}.get(piece.role)
    return length_words(piece, slant)


def _cuts(run: RunSeen, scene: Scene) -> Iterator[str]:
    """What is cut besides the two ends: rips and notches, and offcuts put to use inside the run."""
    ripped = [p for p in run.pieces if is_ripped(p)]
    if ripped:
        part = "" if len(ripped) == len(run.pieces) else f"no. {_numbers(ripped, run)} "
        yield f"{part}rip {rip_words(run).removeprefix('to ').removeprefix('from ')}"
    for words, pieces in _notches(run).items():
        yield f"no. {_numbers(pieces, run)} notch {words}"
    for piece in run.pieces[1:-1]:
        source = _source(piece, scene)
        if source:
            yield f"no. {_numbers([piece], run)} from {source}"
    for words, pieces in _pushed(run).items():
        yield f"no. {_numbers(pieces, run)} pushed in {words}"


def _source(piece: Piece, scene: Scene) -> str:
    source = scene.offcuts.source(piece)
    return "" if source is None else scene.offcuts.place(source, piece)


def _pushed(run: RunSeen) -> dict[str, list[Piece]]:
    found: dict[str, list[Piece]] = defaultdict(list)
    for piece in run.pieces:
        if piece.pushed:
            found[clean(piece.pushed)].append(piece)
    return found


def _notches(run: RunSeen) -> dict[str, list[Piece]]:
    found: dict[str, list[Piece]] = defaultdict(list)
    for piece in run.pieces:
        notches = [c.measures_mm for c in piece.cuts if c.kind is CutKind.NOTCH]
        if notches:
            words = ", ".join(f"{whole_mm(a)} {TIMES} {whole_mm(b)}" for a, b in notches)
            found[words].append(piece)
    return found


def _numbers(pieces: Sequence[Piece], run: RunSeen) -> str:
    """Places of pieces in their run, counted from its start: `1, 3 to 5`."""
    places = sorted(run.pieces.index(p) + 1 for p in pieces)
    parts: list[list[int]] = []
    for place in places:
        if parts and place == parts[-1][-1] + 1:
            parts[-1].append(place)
        else:
            parts.append([place])
    return ", ".join(str(p[0]) if len(p) == 1 else f"{p[0]} to {p[-1]}" for p in parts)
