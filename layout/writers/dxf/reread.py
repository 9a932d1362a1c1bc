"""Reading a marked drawing back: the floor as it now stands in the drawing, not as it was computed.

Shapes come from the entities, so a piece that was moved, copied, deleted or redrawn in a CAD program
is seen by the audit. What the entities cannot show (which plank a piece comes from, the rule set) comes
from their data and from our record. Entities are known by their data, whatever layer they lie on.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from shapely import Polygon

from importer.dxf.load import load_dxf
from importer.plan import Finding, FlatId, Origin, Point, RoomId, StoreyId
from layout.floor import (
    Bay,
    BayId,
    BayLayout,
    Breach,
    Frame,
    Piece,
    PieceId,
    PlankId,
    SettingOut,
    Window,
)
from layout.rules import RuleSet
from layout.writers.dxf.read_entities import Outline, note, outlines_in, problem
from layout.writers.dxf.records import read_record
from layout.writers.dxf.xdata import (
    BayNote,
    BayRecord,
    Kind,
    PieceNote,
    RingNote,
    piece_cuts,
    planks_of,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Written:
    """The figures of a bay as they were written when the drawing was marked."""

    bay: BayId
    planks: int
    area_mm2: float
    breaches: tuple[Breach, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedDrawing:
    """A marked drawing read back. `bays` hold what stands in it now and go to the audit as they are;
    `written` what the record says, in the same order as far as the bays are still there.
    """

    file: str
    rules: RuleSet
    bays: tuple[BayLayout, ...]
    written: tuple[Written, ...]
    findings: tuple[Finding, ...] = ()
    default_rules: bool = False


def reread(path: Path) -> MarkedDrawing:
    """Read the marked drawing at `path`.

    Raises:
        PlanError: it cannot be read, carries no layout of ours, or its record is damaged.
    """
    doc = load_dxf(path).document
    rules, record = read_record(doc, str(path))
    found: list[Finding] = []
    seen = _Seen(file=str(path), findings=found)
    for outline in outlines_in(doc, record.to_mm, str(path), found):
        seen.add(outline)
    bays = tuple(_bays(seen, {b.id: b for b in record.bays}))
    return MarkedDrawing(
        file=str(path),
        rules=rules,
        bays=bays,
        written=tuple(_written(b) for b in record.bays),
        findings=tuple(found),
        default_rules=record.default_rules,
    )


def _written(record: BayRecord) -> Written:
    return Written(
        bay=BayId(record.id),
        planks=len(record.planks),
        area_mm2=record.area,
        breaches=tuple(
            Breach(rule=b.rule, where=b.where, at=b.at, value=b.value, limit=b.limit, why=b.why)
            for b in record.breaches
        ),
    )


@dataclass(slots=True, kw_only=True)
class _Seen:
    """Outlines sorted by what they are."""

    file: str
    findings: list[Finding]
    bays: list[tuple[BayNote, Outline]] = field(default_factory=list)
    pieces: list[tuple[PieceNote, Outline]] = field(default_factory=list)
    floors: dict[str, list[Outline]] = field(default_factory=lambda: defaultdict(list))
    holes: dict[tuple[Kind, str], list[Outline]] = field(default_factory=lambda: defaultdict(list))

    def add(self, outline: Outline) -> None:
        """Sort one outline in; one whose data cannot be understood becomes a finding."""
        if outline.kind is Kind.PIECE:
            piece = note(PieceNote, outline, self.findings)
            if piece is not None:
                self.pieces.append((piece, outline))
        elif outline.kind is Kind.BAY:
            bay = note(BayNote, outline, self.findings)
            if bay is not None:
                self.bays.append((bay, outline))
        else:
            ring = note(RingNote, outline, self.findings)
            if ring is not None and outline.kind is Kind.FLOOR:
                self.floors[ring.of].append(outline)
            elif ring is not None:
                self.holes[outline.kind, ring.of].append(outline)

    def shape(self, shell: Outline, holes: Kind, of: str) -> Polygon:
        """The polygon of an outline less the holes that belong to it and lie in it."""
        return less_holes(shell.shape, [h.shape for h in self.holes[holes, of]])


def less_holes(shell: Polygon, holes: Sequence[Polygon]) -> Polygon:
    """The shell without the holes that lie in it: a copy of a piece has holes of its own."""
    inside = [h.exterior for h in holes if shell.contains(h)]
    return Polygon(shell.exterior, [*shell.interiors, *inside]) if inside else shell


def _bays(seen: _Seen, records: Mapping[str, BayRecord]) -> Iterable[BayLayout]:
    by_bay: dict[str, list[tuple[PieceNote, Outline]]] = defaultdict(list)
    for piece, outline in seen.pieces:
        by_bay[piece.bay].append((piece, outline))
    done: set[str] = set()
    for bay, outline in seen.bays:
        if bay.id in done:
            seen.findings.append(
                problem("OUT-122", f"Bay {bay.id} is there twice; the first is used.", outline)
            )
            continue
        done.add(bay.id)
        if bay.id not in records:
            seen.findings.append(
                problem("OUT-123", f"Bay {bay.id} is not in the drawing's record.", outline)
            )
        yield _bay(seen, bay, outline, by_bay.pop(bay.id, []), records.get(bay.id))
    for missing in sorted(set(records) - done):
        where = Origin(file=seen.file)
        what = f"Bay {missing} is in the record, but its outline is not in the drawing."
        seen.findings.append(problem("OUT-124", what, where))
    for lost in sorted(by_bay):
        if lost in done or lost in records:
            continue
        what = f"{len(by_bay[lost])} pieces belong to a bay {lost} that is not in the drawing."
        seen.findings.append(problem("OUT-124", what, by_bay[lost][0][1]))


def _bay(
    seen: _Seen,
    bay: BayNote,
    outline: Outline,
    members: Sequence[tuple[PieceNote, Outline]],
    record: BayRecord | None,
) -> BayLayout:
    frame = _frame(outline)
    space = seen.shape(outline, Kind.BAY_HOLE, bay.id)
    floors = seen.floors.get(bay.id, [])
    if len(floors) != 1:
        what = (
            f"Bay {bay.id} has {len(floors)} laid edges, not one; its outline less the gap is used."
        )
        seen.findings.append(problem("OUT-125", what, outline))
    floor = (
        seen.shape(floors[0], Kind.FLOOR_HOLE, bay.id)
        if len(floors) == 1
        else _set_back(space, bay.gap)
    )
    pieces = tuple(
        sorted(
            (_piece(seen, n, o, frame) for n, o in members),
            key=lambda p: (p.order, p.id, p.shape.bounds),
        )
    )
    return BayLayout(
        bay=_space(bay, space, floor),
        setting_out=_setting_out(bay, frame, space),
        runs=(),
        pieces=pieces,
        planks=planks_of(record) if record is not None else (),
        bound=bay.bound,
        breaches=_written(record).breaches if record is not None else (),
        window=Window(length_mm=bay.window_length, width_mm=bay.window_width),
    )


def _space(bay: BayNote, outline: Polygon, floor: Polygon) -> Bay:
    return Bay(
        id=BayId(bay.id),
        name=bay.name,
        rooms=tuple(RoomId(r) for r in bay.rooms),
        storey=StoreyId(bay.storey),
        flat=FlatId(bay.flat) if bay.flat is not None else None,
        outline=outline,
        floor=floor,
        gap_mm=bay.gap,
        joints=bay.joints,
    )


def _set_back(space: Polygon, gap: float) -> Polygon:
    """The largest part of the space set back by the gap."""
    inner = space.buffer(-gap, join_style="mitre")
    parts = [inner] if isinstance(inner, Polygon) else list(inner.geoms)
    return max(parts, key=lambda p: p.area)


def _frame(outline: Outline) -> Frame:
    """The frame as it has moved with the outline."""
    origin, along, across = outline.frame
    turned_left = along[0] * across[1] - along[1] * across[0] >= 0
    return Frame(origin=origin, along=along, mirrored=not turned_left)


def _setting_out(bay: BayNote, frame: Frame, space: Polygon) -> SettingOut:
    """Datum and reference are drawn from the grid again: only the frame and the phase are facts."""
    x0, _, x1, _ = frame.to_bay(space).bounds
    near, far = bay.datum_offset

    def ends(y0: float, y1: float) -> tuple[Point, Point]:
        return frame.point_to_plan((x0, y0)), frame.point_to_plan((x1, y1))

    return SettingOut(
        frame=frame,
        phase_mm=bay.phase,
        first_row_mm=bay.first_row,
        last_row_mm=bay.last_row,
        slack_mm=bay.slack,
        reference=ends(bay.phase - near, bay.phase - far),
        datum=ends(bay.phase, bay.phase),
        datum_offset_mm=bay.datum_offset,
    )


def _piece(seen: _Seen, piece: PieceNote, outline: Outline, frame: Frame) -> Piece:
    shape = frame.to_bay(seen.shape(outline, Kind.PIECE_HOLE, piece.id))
    return Piece(
        id=PieceId(piece.id),
        bay=BayId(piece.bay),
        row=piece.row,
        run=piece.run,
        number=piece.number,
        role=piece.role,
        shape=shape,
        blank_length_mm=piece.blank[0],
        blank_width_mm=piece.blank[1],
        end_length_mm=piece.end,
        keeps_near_edge=piece.keeps[0],
        keeps_far_edge=piece.keeps[1],
        cuts=piece_cuts(piece),
        plank=PlankId(piece.plank),
        plank_x_mm=piece.at[0],
        plank_y_mm=piece.at[1],
        offcut_of=PieceId(piece.offcut_of) if piece.offcut_of is not None else None,
        order=piece.order,
        is_whole=piece.whole,
        is_reversed=piece.reversed,
        pushed=piece.pushed,
        stage=piece.stage,
    )
