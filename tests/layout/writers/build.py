"""Floors laid by the simplest method, of any shape, for tests of what draws them.

Rows are strips of plank width, each run starts with a fixed length in turn, every piece has a plank of
its own. Not good floors: just true to their own geometry.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from math import cos, floor, radians, sin

import shapely
from shapely import Polygon, box

from importer.plan import Plan, Room, RoomId, Storey, StoreyId, UnitReading
from layout.floor import (
    Bay,
    BayId,
    BayLayout,
    Breach,
    Cut,
    CutKind,
    Frame,
    MovementJoint,
    Piece,
    PieceId,
    Plank,
    PlankId,
    PlanResult,
    PlanStatus,
    Role,
    SettingOut,
    Window,
)
from layout.rules import RuleSet

GAP = 8.0
FIRSTS = (860.0, 480.0, 1040.0, 354.0, 902.0, 560.0)
STOREY = StoreyId("S1")


def rules(**sections: object) -> RuleSet:
    """A plain rule set; sections replace the defaults."""
    plain: dict[str, object] = {
        "name": "rigid vinyl",
        "plank": {"length": 1220, "width": 180},
        **sections,
    }
    return RuleSet.model_validate(plain)


def lay(
    outline: Polygon,
    name: str = "B1",
    *,
    along_deg: float = 0.0,
    mirrored: bool = False,
    first_row: float = 150.0,
    rule_set: RuleSet | None = None,
    breaches: Sequence[Breach] = (),
) -> BayLayout:
    """Lay an outline (plan frame). `along_deg` is the direction of laying, rows go to its left, or to
    its right when `mirrored`.
    """
    rule_set = rule_set or rules()
    floor_shape = outline.buffer(-GAP, join_style="mitre")
    turned = Frame(
        origin=(0.0, 0.0),
        along=(cos(radians(along_deg)), sin(radians(along_deg))),
        mirrored=mirrored,
    )
    x0, y0, x1, y1 = turned.to_bay(floor_shape).bounds
    frame = replace(turned, origin=turned.point_to_plan((x0, y0)))
    shape = frame.to_bay(floor_shape)
    pieces = tuple(
        replace(p, order=n)
        for n, p in enumerate(_pieces(shape, name, y1 - y0, first_row, rule_set), start=1)
    )
    datum = first_row
    return BayLayout(
        bay=Bay(
            id=BayId(name),
            name=name,
            rooms=(RoomId(f"room-{name}"),),
            storey=STOREY,
            flat=None,
            outline=outline,
            floor=floor_shape,
            gap_mm=GAP,
        ),
        setting_out=SettingOut(
            frame=frame,
            phase_mm=first_row,
            first_row_mm=first_row,
            last_row_mm=(y1 - y0 - first_row) % rule_set.plank.width,
            slack_mm=10.0,
            reference=(frame.point_to_plan((0, -GAP)), frame.point_to_plan((x1 - x0, -GAP))),
            datum=(frame.point_to_plan((0, datum)), frame.point_to_plan((x1 - x0, datum))),
            datum_offset_mm=(first_row + GAP, first_row + GAP),
        ),
        runs=(),
        pieces=pieces,
        planks=tuple(
            Plank(id=p.plank, pieces=(p.id,), offcut_mm=0.0, waste_mm2=0.0) for p in pieces
        ),
        bound=len(pieces) - 1,
        breaches=tuple(breaches),
        window=Window(length_mm=(-12.0, 25.0), width_mm=(-8.0, 10.0)),
    )


def _pieces(
    shape: Polygon, bay: str, depth: float, first_row: float, rule_set: RuleSet
) -> list[Piece]:
    wide = rule_set.plank.width
    bounds = [0.0, first_row]
    while bounds[-1] < depth - 1e-6:
        bounds.append(min(bounds[-1] + wide, depth))
    made, run = [], 0
    for row, (y0, y1) in enumerate(pairwise(bounds), start=1):
        strip = shape.intersection(box(-1e5, y0, 1e5, y1))
        parts = [p for p in shapely.get_parts(strip) if isinstance(p, Polygon) and p.area > 100]
        for part in sorted(parts, key=lambda p: p.bounds):
            made.extend(_run(part, (bay, row, run), (y0, y1), rule_set))
            run += 1
    return made


def _run(
    part: Polygon, place: tuple[str, int, int], span: tuple[float, float], rule_set: RuleSet
) -> list[Piece]:
    bay, row, run = place
    long, wide = rule_set.plank.length, rule_set.plank.width
    x0, _, x1, _ = part.bounds
    joints, x = [x0], x0 + FIRSTS[(row - 1) % len(FIRSTS)]
    while x < x1 - 100:
        joints.append(x)
        x += long
    joints.append(x1)
    made = []
    for number, (left, right) in enumerate(pairwise(joints), start=1):
        cell = part.intersection(box(left, span[0], right, span[1]))
        biggest = max(
            (p for p in shapely.get_parts(cell) if isinstance(p, Polygon)), key=lambda p: p.area
        )
        count = len(joints) - 1
        role = _role(number, count)
        made.append(_piece(biggest, (bay, row, run, number), role, long, wide, row > 1))
    return made


def _role(number: int, count: int) -> Role:
    if count == 1:
        return Role.ONLY
    return Role.FIRST if number == 1 else Role.LAST if number == count else Role.FULL


def _piece(
    shape: Polygon,
    place: tuple[str, int, int, int],
    role: Role,
    long: float,
    wide: float,
    keeps_near: bool,
) -> Piece:
    bay, row, run, number = place
    x0, y0, x1, y1 = shape.bounds
    cuts = []
    lengths = tuple(_extent(shape, y) for y in (y0 + 1e-6, y1 - 1e-6))
    if x1 - x0 < long - 1e-6 or abs(lengths[0] - lengths[1]) > 0.1:
        cuts.append(Cut(kind=CutKind.CROSS, measures_mm=(lengths[0], lengths[1])))
    if y1 - y0 < wide - 1e-6:
        cuts.append(Cut(kind=CutKind.RIP, measures_mm=(y1 - y0, y1 - y0)))
    whole_length = x1 - x0 >= long - 1e-6
    name = f"{bay}/{row}.{run}.{number}"
    return Piece(
        id=PieceId(name),
        bay=BayId(bay),
        row=row,
        run=run,
        number=number,
        role=role,
        shape=shape,
        blank_length_mm=x1 - x0,
        blank_width_mm=y1 - y0,
        end_length_mm=shape.area / (y1 - y0),
        keeps_near_edge=keeps_near,
        keeps_far_edge=True,
        cuts=tuple(cuts),
        plank=PlankId(f"{bay}-{floor(row)}-{run}-{number}"),
        plank_x_mm=long - (x1 - x0) if role is Role.FIRST and not whole_length else 0.0,
        plank_y_mm=0.0 if keeps_near else wide - (y1 - y0),
        order=0,
        is_whole=not cuts,
    )


def _extent(shape: Polygon, y: float) -> float:
    x0, _, x1, _ = shape.bounds
    chord = shape.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)]))
    return float(chord.bounds[2] - chord.bounds[0]) if not chord.is_empty else 0.0


def result_of(
    layouts: Sequence[BayLayout],
    *,
    to_mm: float = 1.0,
    joints: Sequence[MovementJoint] = (),
    names: Sequence[str] = (),
    file: str = "plan.dxf",
) -> PlanResult:
    """A plan's result around these bays, one room each."""
    rooms = tuple(
        Room(
            id=layout.bay.rooms[0],
            shape=layout.bay.outline,
            storey=STOREY,
            name=names[n] if n < len(names) else f"Room {n + 1}",
        )
        for n, layout in enumerate(layouts)
    )
    plan = Plan(
        file=file,
        format="DXF",
        units=UnitReading(name="mm", to_mm=to_mm, because="test"),
        storeys=(Storey(id=STOREY, name="Ground"),),
        flats=(),
        rooms=rooms,
        doorways=(),
    )
    return PlanResult(
        source=file,
        status=PlanStatus.CLEAN,
        plan=plan,
        bays=tuple(layouts),
        joints=tuple(joints),
    )
