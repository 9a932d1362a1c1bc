"""What is written on each entity so that the drawing can be audited with no other file.

Every entity of the mark-up carries XDATA of the application `SETOUT`: a word for its kind, then, for
pieces and outlines, one JSON text cut into strings that every CAD program accepts. An outline of a bay
also carries its frame as a point and two directions with the group codes that CAD programs move and
turn together with the entity, so a floor may be moved as a whole.

Lengths are millimetres. Nothing read back is believed before it has been checked against its model.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from enum import Enum
from typing import Final, Literal

from ezdxf.lldxf.types import DXFTag
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from importer.plan import Point
from layout.floor import (
    BayLayout,
    Cut,
    CutKind,
    Piece,
    PieceId,
    Plank,
    PlankId,
    Role,
)

APPID: Final = "SETOUT"
CHUNK: Final = 250
"""Characters of one XDATA or XRECORD string; 255 bytes is the format's limit."""
MOST_XDATA_BYTES: Final = 16_000
"""The format allows 16 kB on one entity, of all applications together."""
_OVERHEAD_BYTES: Final = 2_000
"""Room for group codes, the frame, and another application's data."""


class Kind(Enum):
    """What an entity of ours is."""

    MARK = "mark"
    PIECE = "piece"
    PIECE_HOLE = "piece hole"
    BAY = "bay"
    BAY_HOLE = "bay hole"
    FLOOR = "floor"
    FLOOR_HOLE = "floor hole"


class _Note(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class CutNote(_Note):
    """A cut of a piece."""

    kind: CutKind
    measures: tuple[float, float]


class PieceNote(_Note):
    """A piece, all but its shape, which is the entity's own."""

    id: str = Field(min_length=1, max_length=1000)
    bay: str = Field(min_length=1, max_length=1000)
    row: int
    run: int
    number: int
    role: Role
    blank: tuple[float, float]
    end: float
    keeps: tuple[bool, bool]
    cuts: tuple[CutNote, ...]
    plank: str = Field(min_length=1, max_length=1000)
    at: tuple[float, float]
    offcut_of: str | None = None
    order: int = 0
    whole: bool = False
    reversed: bool = False
    pushed: str = ""
    stage: int = 1


class RingNote(_Note):
    """Which bay or piece an outline or a hole belongs to."""

    of: str = Field(min_length=1, max_length=1000)


class BayNote(_Note):
    """A bay, all but its outline, which is the entity's own."""

    id: str = Field(min_length=1, max_length=1000)
    name: str
    rooms: tuple[str, ...]
    storey: str
    flat: str | None = None
    gap: float = Field(ge=0)
    joints: tuple[str, ...] = ()
    phase: float
    first_row: float
    last_row: float
    slack: float
    datum_offset: tuple[float, float]
    bound: int
    window_length: tuple[float, float]
    window_width: tuple[float, float]


def piece_note(piece: Piece) -> str:
    """JSON of a piece."""
    note = PieceNote(
        id=piece.id,
        bay=piece.bay,
        row=piece.row,
        run=piece.run,
        number=piece.number,
        role=piece.role,
        blank=(piece.blank_length_mm, piece.blank_width_mm),
        end=piece.end_length_mm,
        keeps=(piece.keeps_near_edge, piece.keeps_far_edge),
        cuts=tuple(CutNote(kind=c.kind, measures=c.measures_mm) for c in piece.cuts),
        plank=piece.plank,
        at=(piece.plank_x_mm, piece.plank_y_mm),
        offcut_of=piece.offcut_of,
        order=piece.order,
        whole=piece.is_whole,
        reversed=piece.is_reversed,
        pushed=piece.pushed,
        stage=piece.stage,
    )
    return ascii_json(note)


def piece_cuts(note: PieceNote) -> tuple[Cut, ...]:
    """The cuts of a piece read back."""
    return tuple(Cut(kind=c.kind, measures_mm=c.measures) for c in note.cuts)


def bay_note(layout: BayLayout) -> str:
    """JSON of a bay and its setting out. Lists of rooms and joints that would not fit on one entity are
    left out: no rule is checked by them.
    """
    bay, setting_out = layout.bay, layout.setting_out
    note = BayNote(
        id=bay.id,
        name=bay.name,
        rooms=bay.rooms,
        storey=bay.storey,
        flat=bay.flat,
        gap=bay.gap_mm,
        joints=bay.joints,
        phase=setting_out.phase_mm,
        first_row=setting_out.first_row_mm,
        last_row=setting_out.last_row_mm,
        slack=setting_out.slack_mm,
        datum_offset=setting_out.datum_offset_mm,
        bound=layout.bound,
        window_length=layout.window.length_mm,
        window_width=layout.window.width_mm,
    )
    text = ascii_json(note)
    if len(text) <= MOST_XDATA_BYTES - _OVERHEAD_BYTES:
        return text
    return ascii_json(note.model_copy(update={"name": bay.id, "rooms": (), "joints": ()}))


class BreachNote(_Note):
    """A breach as it was written."""

    rule: str
    where: str
    at: tuple[float, float]
    value: float
    limit: float
    why: str


class PlankNote(_Note):
    """A plank and what is cut from it."""

    id: str
    pieces: tuple[str, ...]
    offcut: float
    waste: float
    damage: tuple[float, float] = (0.0, 0.0)
    """Absent from drawings of earlier versions."""


class BayRecord(_Note):
    """The figures of a bay as they were written."""

    id: str
    area: float
    planks: tuple[PlankNote, ...]
    breaches: tuple[BreachNote, ...]


class Record(_Note):
    """What the drawing says of itself. `version` rises when an older reader could misread it."""

    version: Literal[1] = 1
    file: str
    to_mm: float = Field(gt=0)
    layers: str
    default_rules: bool = False
    bays: tuple[BayRecord, ...]


def bay_record(layout: BayLayout) -> BayRecord:
    """The figures of a bay."""
    return BayRecord(
        id=layout.bay.id,
        area=round(layout.area_mm2, 1),
        planks=tuple(
            PlankNote(
                id=p.id,
                pieces=p.pieces,
                offcut=p.offcut_mm,
                waste=p.waste_mm2,
                damage=p.damage_mm,
            )
            for p in layout.planks
        ),
        breaches=tuple(
            BreachNote(rule=b.rule, where=b.where, at=b.at, value=b.value, limit=b.limit, why=b.why)
            for b in layout.breaches
        ),
    )


def planks_of(record: BayRecord) -> tuple[Plank, ...]:
    """The planks of a bay read back."""
    return tuple(
        Plank(
            id=PlankId(p.id),
            pieces=tuple(PieceId(i) for i in p.pieces),
            offcut_mm=p.offcut,
            damage_mm=p.damage,
            waste_mm2=p.waste,
        )
        for p in record.planks
    )


def ascii_json(note: BaseModel) -> str:
    """Compact JSON that no CAD program reads as anything else: ASCII, with backslashes and carets, which
    DXF gives a meaning of its own, written as JSON escapes.
    """
    data = note.model_dump(mode="json", exclude_defaults=True)
    text = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("\\\\", "\\u005c").replace("^", "\\u005e")


def chunks(text: str) -> tuple[str, ...]:
    """The text in pieces short enough for one group; none ends or starts in a blank, which some
    programs strip.
    """
    parts, start = [], 0
    while start < len(text):
        end = min(start + CHUNK, len(text))
        while start < end < len(text) and " " in text[end - 1 : end + 1]:
            end -= 1
        if end == start:  # nothing but blanks
            end = min(start + CHUNK, len(text))
        parts.append(text[start:end])
        start = end
    return tuple(parts)


def entity_tags(
    kind: Kind, text: str = "", frame: tuple[Point, Point, Point] | None = None
) -> list[tuple[int, object]]:
    """XDATA of an entity. `frame` is origin, direction of x and of y, in drawing coordinates."""
    tags: list[tuple[int, object]] = [(1000, kind.value)]
    if frame is not None:
        origin, along, across = frame
        tags += [(1011, (*origin, 0.0)), (1013, (*along, 0.0)), (1013, (*across, 0.0))]
    return tags + [(1000, part) for part in chunks(text)]


def read_tags(tags: Sequence[DXFTag]) -> tuple[Kind | None, str]:
    """Kind and JSON text from XDATA; no kind when it is none of ours."""
    strings = [str(tag.value) for tag in tags if tag.code == 1000]
    if not strings:
        return None, ""
    try:
        kind = Kind(strings[0])
    except ValueError:
        return None, ""
    return kind, "".join(strings[1:])


def fault_words(fault: ValidationError) -> str:
    """The first thing that is wrong, in one line."""
    first = fault.errors(include_url=False)[0]
    place = ".".join(str(p) for p in first["loc"])
    return f"{place}: {first['msg']}" if place else first["msg"]
