"""The key plan of a storey: which bay lies where, in which direction it is laid, on which sheet it is.

Labels are drawn on the paper, not in the plan: there they would be too small to read at this scale.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Point, Storey, StoreyId
from layout.floor import BayId, MovementJoint, PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.flow import Ledger, flow_of, set_flow
from layout.writers.dxf.lettering import for_sheet
from layout.writers.dxf.marks import (
    Align,
    Fill,
    Group,
    Letter,
    Mark,
    Stroke,
    lettered,
    oriented_box,
)
from layout.writers.dxf.paper import KEY_SCALES, Bounds
from layout.writers.dxf.placing import Board
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sheets import (
    Sheet,
    Viewport,
    common_fields,
    headline,
    placed,
    scale_bar,
)
from layout.writers.dxf.sizes import Scale
from layout.writers.dxf.tables import Told, plain_room_names
from layout.writers.dxf.underlay import Underlay
from layout.writers.numbers import m2, whole_mm

_AROUND_MM: Final = 600.0
"""The key plan shows this much around the rooms: and their walls."""
_HIDDEN: Final = tuple(
    c for c in Content if c not in (Content.EDGE, Content.MOVE, Content.SHEET, Content.VIEW)
)
"""Everything but the edges of the floors and the joints is left to the sheets of the bays."""
_ARROW_MM: Final = 6.0
_HEAD_MM: Final = 2.0
_SQUARE_MM: Final = 2.0
_TRIES: Final = 14
"""Places tried for a label along and across a bay."""
_RIGHT, _LEFT = Align.RIGHT, Align.LEFT


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyPlan:
    """What a key plan is of. `sheet_of` is the number of each bay's sheet, where it has one."""

    storey: Storey
    told: tuple[Told, ...]
    joints: tuple[tuple[int, MovementJoint], ...]
    sheet_of: Mapping[BayId, int]


def key_plans(
    result: PlanResult, told: Sequence[Told], sheet_of: Mapping[BayId, int]
) -> tuple[KeyPlan, ...]:
    """One for every storey that has a bay, in the order of the plan's storeys."""
    assert result.plan is not None
    numbered = tuple(enumerate(result.joints, start=1))
    plans = []
    for storey in result.plan.storeys:
        own = tuple(t for t in told if t.layout.bay.storey == storey.id)
        ids = {t.layout.bay.id for t in own}
        joints = tuple((n, j) for n, j in numbered if ids.intersection(j.bays))
        if own:
            plans.append(KeyPlan(storey=storey, told=own, joints=joints, sheet_of=sheet_of))
    return tuple(plans)


def key_sheet(
    plan: KeyPlan, result: PlanResult, rules: RuleSet, underlay: Underlay, *, name: str
) -> Sheet:
    """The sheet of a key plan."""
    x0, y0, x1, y1 = _seen(plan, result)
    flow = flow_of(
        [_bay_list(plan, result), *_joint_list(plan)], [("", tuple(_notes(result, plan)))]
    )
    place = placed((x1 - x0, y1 - y0), flow, KEY_SCALES)
    viewport = Viewport(
        on_paper=place.viewport,
        centre=((x0 + x1) / 2, (y0 + y1) / 2),
        scale=place.scale,
        hidden=_HIDDEN,
    )
    title = f"Key plan   {for_sheet(plan.storey.name)}".rstrip()
    marks = (
        *headline(title, place.paper),
        *_labels(plan, underlay, viewport),
        *set_flow(flow, place.columns, place.at),
        *scale_bar(place.paper, place.scale),
    )
    return Sheet(
        name=name,
        paper=place.paper,
        viewport=viewport,
        marks=marks,
        fields={
            **common_fields(result, rules, place.paper, place.scale),
            "TITLE": "Key plan of the plank floors",
            "DOCUMENT": "Key plan",
            "PLACE": for_sheet(plan.storey.name),
        },
    )


def _seen(plan: KeyPlan, result: PlanResult) -> Bounds:
    """The rooms of the storey, laid or not, with their walls."""
    assert result.plan is not None
    shapes = [r.shape for r in result.plan.rooms if r.storey == plan.storey.id]
    shapes += [t.layout.bay.outline for t in plan.told]
    x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(shapes))
    return x0 - _AROUND_MM, y0 - _AROUND_MM, x1 + _AROUND_MM, y1 + _AROUND_MM


# --- labels -------------------------------------------------------------------------------------


def _labels(plan: KeyPlan, underlay: Underlay, viewport: Viewport) -> Iterator[Mark]:
    """The start corner and the name of each bay with the direction of laying; numbers of the joints."""
    board = Board(texts=underlay.texts, strokes=underlay.strokes, solid=underlay.hatched)
    scale = viewport.scale
    placed_marks: list[Mark] = []
    for told in plan.told:
        placed_marks += _start_square(told, board, scale)
    for told in plan.told:
        group = board.place_clearest(_name_tries(told, scale))
        placed_marks += [] if group is None else group.marks
    for number, joint in plan.joints:
        group = board.place_clearest(_joint_tries(f"J{number}", joint, scale))
        placed_marks += [] if group is None else group.marks
    return (_on_paper(mark, viewport) for mark in placed_marks)


def _start_square(told: Told, board: Board, scale: Scale) -> tuple[Mark, ...]:
    """At the start corner, the whole of it on the bay."""
    sketch = told.sketch
    if not sketch.runs:
        return ()
    starter = min(sketch.runs, key=lambda r: (abs(r.row - 1), r.x0))
    x, y, side = starter.x0, starter.y0, scale.paper(_SQUARE_MM)
    square = tuple(
        sketch.at(*p) for p in ((x, y), (x + side, y), (x + side, y + side), (x, y + side))
    )
    board.take([Polygon(square)])
    return (
        Fill(content=Content.SHEET, points=square),
        Stroke(content=Content.SHEET, points=square, closed=True),
    )


def _name_tries(told: Told, scale: Scale) -> Iterator[Group]:
    """The bay's name over an arrow, at places all over the bay, those in the middle first."""
    floor = told.layout.bay.floor
    middle = np.array(floor.representative_point().coords[0])
    x0, y0, x1, y1 = floor.bounds
    grid = np.stack(
        np.meshgrid(np.linspace(x0, x1, _TRIES), np.linspace(y0, y1, _TRIES)), axis=-1
    ).reshape(-1, 2)
    grid = np.vstack([middle[None, :], grid[shapely.contains_xy(floor, grid[:, 0], grid[:, 1])]])
    near = np.argsort(np.hypot(*(grid - middle).T), kind="stable")
    groups = [_name(told, (float(x), float(y)), scale) for x, y in grid[near]]
    inside = [g for g in groups if all(floor.contains(b) for b in g.boxes)]
    yield from inside or groups[:1]


def _name(told: Told, at: Point, scale: Scale) -> Group:
    word = Letter(
        content=Content.SHEET,
        text=for_sheet(told.layout.bay.id, 12),
        at=at,
        height=scale.medium,
        align=Align.CENTRE,
    )
    (ux, uy), half, head = told.sketch.forward, scale.paper(_ARROW_MM) / 2, scale.paper(_HEAD_MM)
    # The arrow stands under the name, clear of it in whatever direction it points.
    drop = scale.medium / 2 + scale.paper(1.2) + head / 4 + abs(uy) * half
    x, y = at[0], at[1] - drop
    tail, neck, tip = ((x + ux * s, y + uy * s) for s in (-half, half - head, half))
    side = (-uy * head / 4, ux * head / 4)
    corners = (tip, (neck[0] + side[0], neck[1] + side[1]), (neck[0] - side[0], neck[1] - side[1]))
    ground = oriented_box((x, y), (ux, uy), (-half, -head / 2, half, head / 2))
    return lettered(
        word,
        Stroke(content=Content.SHEET, points=(tail, neck)),
        Fill(content=Content.SHEET, points=corners),
        Stroke(content=Content.SHEET, points=corners, closed=True),
        margin=scale.paper(0.4),
        more=(ground,),
    )


def _joint_tries(words: str, joint: MovementJoint, scale: Scale) -> Iterator[Group]:
    (x0, y0), (x1, y1) = joint.line
    length = joint.length_mm
    if length <= 0:
        return
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    for k in range(1, ceil(8 / 1.0)):
        away = scale.paper(1.0 + k)
        for at in (
            ((x0 + x1) / 2 - uy * away, (y0 + y1) / 2 + ux * away),
            ((x0 + x1) / 2 + uy * away, (y0 + y1) / 2 - ux * away),
            (x1 + ux * away, y1 + uy * away),
            (x0 - ux * away, y0 - uy * away),
        ):
            letter = Letter(
                content=Content.SHEET,
                text=words,
                at=at,
                height=scale.small,
                align=Align.CENTRE,
            )
            yield lettered(letter, margin=scale.paper(0.3))


def _on_paper(mark: Mark, viewport: Viewport) -> Mark:
    """A mark of the plan where it is seen through the view."""
    if isinstance(mark, Letter):
        height = mark.height / viewport.scale.ratio
        return replace(mark, at=viewport.to_paper(mark.at), height=height)
    assert isinstance(mark, (Stroke, Fill))
    return replace(mark, points=tuple(viewport.to_paper(p) for p in mark.points))


# --- lists --------------------------------------------------------------------------------------


def _bay_list(plan: KeyPlan, result: PlanResult) -> Ledger:
    assert result.plan is not None
    flats = {f.id: f.name or str(f.id) for f in result.plan.flats}
    rows = []
    for t in plan.told:
        bay = t.layout.bay
        rows.append(
            (
                for_sheet(bay.id),
                for_sheet(flats.get(bay.flat, "")) if bay.flat is not None else "",
                for_sheet(t.plain_rooms),
                f"{m2(t.layout.area_mm2):.2f}",
                str(len(t.layout.planks)),
                str(plan.sheet_of.get(bay.id, "")),
            )
        )
    some_flat = any(row[1] for row in rows)
    used = [k for k in range(6) if k != 1 or some_flat]
    headings = ("bay", "flat", "rooms", "laid m2", "planks", "sheet")
    aligns = (_LEFT, _LEFT, _LEFT, _RIGHT, _RIGHT, _RIGHT)
    return Ledger(
        headings=tuple(headings[k] for k in used),
        aligns=tuple(aligns[k] for k in used),
        rows=tuple(tuple(row[k] for k in used) for row in rows),
    )


def _joint_list(plan: KeyPlan) -> Iterator[Ledger]:
    if not plan.joints:
        return
    yield Ledger(
        heading="Movement joints",
        headings=("joint", "profile mm", "bays", "kind"),
        aligns=(_LEFT, _RIGHT, _LEFT, _LEFT),
        rows=tuple(
            (
                f"J{n}",
                str(whole_mm(j.length_mm)),
                ", ".join(for_sheet(b) for b in j.bays),
                j.kind.value,
            )
            for n, j in plan.joints
        ),
    )


def _notes(result: PlanResult, plan: KeyPlan) -> Iterator[str]:
    yield "The square is the start corner of a bay, the arrow the direction in which its rows are laid."
    yield "A heavy line is a movement joint, covered by a profile."
    assert result.plan is not None
    names = plain_room_names(result)
    here = {r.id for r in result.plan.rooms if r.storey == plan.storey.id}
    for unlaid in result.unlaid:
        if unlaid.room in here:
            yield f"Not laid: {for_sheet(names[unlaid.room])} ({for_sheet(unlaid.because)})."


def storey_ids(plans: Sequence[KeyPlan]) -> tuple[StoreyId, ...]:
    """Storeys in the order of their key plans."""
    return tuple(p.storey.id for p in plans)
