"""A small floor laid by hand, right in every rule, for tests of what judges or writes floors.

It uses none of the solver: rows are balanced, first pieces alternate, every piece has its own plank.
"""

from __future__ import annotations

from itertools import pairwise

from shapely import box
from shapely.affinity import translate

from importer.plan import Plan, Room, RoomId, Storey, StoreyId, UnitReading
from layout.floor import (
    Bay,
    BayId,
    BayLayout,
    Cut,
    CutKind,
    Frame,
    JointKind,
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

FIRSTS = (900.0, 500.0, 1220.0)
"""First-piece lengths, row by row in turn: more than 300 mm apart modulo the plank."""


def rules(**sections: object) -> RuleSet:
    """A plain rule set; sections replace the defaults."""
    given: dict[str, object] = {
        "name": "test",
        "plank": {"length": 1220, "width": 180},
        "cut": {"kerf": 2},
        **sections,
    }
    return RuleSet.model_validate(given)


def rectangle_layout(
    length: float = 4000.0, depth: float = 3260.0, at: tuple[float, float] = (0.0, 0.0)
) -> BayLayout:
    """A rectangular bay of that size, laid; its lower left corner stands at `at`."""
    rule_set, gap = rules(), 8.0
    outline = translate(box(0, 0, length, depth), *at)
    floor = outline.buffer(-gap, join_style="mitre")
    net, height, wide = length - 2 * gap, depth - 2 * gap, rule_set.plank.width
    first_row = (wide + height % wide) / 2 if height % wide else wide
    bounds = [0.0, *(first_row + k * wide for k in range(int((height - first_row) // wide) + 1))]
    if height - bounds[-1] > 1e-6:
        bounds.append(height)
    pieces: list[Piece] = []
    for row, (y0, y1) in enumerate(pairwise(bounds), start=1):
        pieces.extend(_row(row, y0, y1, net, len(bounds) - 1, rule_set))
    ordered = tuple(pieces)
    start = (at[0] + gap, at[1] + gap)
    end = (at[0] + length - gap, at[1] + gap)
    return BayLayout(
        bay=Bay(
            id=BayId("B1"),
            name="Room",
            rooms=(RoomId("R1"),),
            storey=StoreyId("S1"),
            flat=None,
            outline=outline,
            floor=floor,
            gap_mm=gap,
        ),
        setting_out=SettingOut(
            frame=Frame(origin=start, along=(1.0, 0.0)),
            phase_mm=first_row,
            first_row_mm=first_row,
            last_row_mm=bounds[-1] - bounds[-2],
            slack_mm=20.0,
            reference=(at, (at[0] + length, at[1])),
            datum=((start[0], start[1] + first_row), (end[0], end[1] + first_row)),
            datum_offset_mm=(first_row + gap, first_row + gap),
        ),
        runs=(),
        pieces=ordered,
        planks=tuple(
            Plank(id=p.plank, pieces=(p.id,), offcut_mm=0.0, waste_mm2=0.0) for p in ordered
        ),
        bound=1,
        breaches=(),
        window=Window(length_mm=(-10.0, 10.0), width_mm=(-10.0, 10.0)),
    )


def _row(row: int, y0: float, y1: float, net: float, rows: int, rule_set: RuleSet) -> list[Piece]:
    long, wide = rule_set.plank.length, rule_set.plank.width
    places, x = [0.0], FIRSTS[row % 3]
    while x < net - 1e-6:
        places.append(x)
        x += long
    places.append(net)
    made = []
    for number, (x0, x1) in enumerate(pairwise(places), start=1):
        whole = abs(x1 - x0 - long) < 1e-6
        role = Role.FULL if whole else Role.FIRST if number == 1 else Role.LAST
        ripped = y1 - y0 < wide - 1e-6
        keeps_near = row > 1
        cuts = [] if whole else [Cut(kind=CutKind.CROSS, measures_mm=(x1 - x0, x1 - x0))]
        if ripped:
            cuts.append(Cut(kind=CutKind.RIP, measures_mm=(y1 - y0, y1 - y0)))
        name = f"B1/{row}.{number}"
        made.append(
            Piece(
                id=PieceId(name),
                bay=BayId("B1"),
                row=row,
                run=row - 1,
                number=number,
                role=role,
                shape=box(x0, y0, x1, y1),
                blank_length_mm=x1 - x0,
                blank_width_mm=y1 - y0,
                end_length_mm=x1 - x0,
                keeps_near_edge=keeps_near,
                keeps_far_edge=row < rows,
                cuts=tuple(cuts),
                plank=PlankId(f"plank {name}"),
                plank_x_mm=long - (x1 - x0) if role is Role.FIRST else 0.0,
                plank_y_mm=0.0 if keeps_near else wide - (y1 - y0),
                order=row * 100 + number,
                is_whole=whole and not ripped,
            )
        )
    return made


def rectangle_result() -> PlanResult:
    """The same floor as a whole plan's result, with its plan and one threshold joint."""
    layout = rectangle_layout()
    storey = StoreyId("S1")
    plan = Plan(
        file="room.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="test"),
        storeys=(Storey(id=storey, name="Ground"),),
        flats=(),
        rooms=(
            Room(id=RoomId("R1"), shape=layout.bay.outline, storey=storey, name='=Living, "big"'),
        ),
        doorways=(),
    )
    joint = MovementJoint(
        id="J1",
        kind=JointKind.THRESHOLD,
        line=((1000.0, 0.0), (1900.0, 0.0)),
        why="Flat entrance.",
        bays=(BayId("B1"),),
    )
    return PlanResult(
        source="room.dxf", status=PlanStatus.CLEAN, plan=plan, bays=(layout,), joints=(joint,)
    )
