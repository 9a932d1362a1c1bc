"""Paper-space sheets: for each bay a view to scale, its rows as a list, how it is laid and the cautions.

A sheet only looks at the plan: everything needed to lay is in modelspace. Millimetres on paper.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import Final

from importer.plan import Point
from layout.cautions import CAUTIONS, DEFAULT_RULES_NOTE
from layout.floor import Bay, PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.compose import bounds_of
from layout.writers.dxf.flow import Column, Flow, flow_of, set_flow
from layout.writers.dxf.lettering import cut_to, for_sheet
from layout.writers.dxf.marks import Fill, Letter, Mark, Stroke
from layout.writers.dxf.paper import (
    BAY_SCALES,
    GAP_MM,
    HEADLINE_MM,
    INSIDE_MM,
    PAPERS,
    Bounds,
    Paper,
)
from layout.writers.dxf.row_list import how_to_read, row_list
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sizes import LARGE_MM, SMALL_MM, Scale
from layout.writers.dxf.tables import Told, bay_words, broken_rules, window_words
from layout.writers.offcuts import Offcuts

_VIEW_MARGIN_MM: Final = 6.0
"""The view shows this much around the bay and what belongs to it, on paper."""
_LEAST_LIST_MM: Final = 40.0
"""A list under a view is worth it from this height on."""
MANY: Final = 1000
"""Columns, when it is not known how many are needed."""
_BAR_MM: Final = 80.0
_BAR_PARTS: Final = 4
_BAR_HIGH_MM: Final = 1.6

HIDDEN_AT_50: Final = (Content.KEY100, Content.TABLE)
HIDDEN_AT_100: Final = (
    Content.ROW,
    Content.LENGTH,
    Content.CUT,
    Content.RIP,
    Content.DIM,
    Content.TABLE,
)
"""Too small or too dense to read at 1:100 and smaller."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Viewport:
    """A window in the sheet through which the plan is seen. `centre` is what it looks at, plan frame."""

    on_paper: Bounds
    centre: Point
    scale: Scale
    hidden: tuple[Content, ...] = HIDDEN_AT_50

    def to_paper(self, at: Point) -> Point:
        """Where a place of the plan is seen on the sheet."""
        x0, y0, x1, y1 = self.on_paper
        return (
            (x0 + x1) / 2 + (at[0] - self.centre[0]) / self.scale.ratio,
            (y0 + y1) / 2 + (at[1] - self.centre[1]) / self.scale.ratio,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet: the name of its tab, its view, what is drawn on the paper, and the title block."""

    name: str
    paper: Paper
    viewport: Viewport
    marks: tuple[Mark, ...]
    fields: Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the view and the columns of the list stand on a sheet; `at` are their upper left corners."""

    paper: Paper
    scale: Scale
    viewport: Bounds
    columns: tuple[Column, ...]
    at: tuple[Point, ...]


def bay_sheet(
    told: Told, result: PlanResult, rules: RuleSet, offcuts: Offcuts, *, default_rules: bool
) -> Sheet:
    """The sheet of one bay, on the smallest paper that holds it at 1:50; a bay that fits none is drawn
    smaller.
    """
    x0, y0, x1, y1 = seen_of(told)
    notes = (
        ("How it is laid", (*bay_words(told), *window_words(told.layout.window))),
        *broken_rules(told),
        ("Reading the list", how_to_read(told, offcuts)),
        ("", (*CAUTIONS, DEFAULT_RULES_NOTE) if default_rules else CAUTIONS),
    )
    flow = flow_of([row_list(told, offcuts)], notes)
    place = placed((x1 - x0, y1 - y0), flow, BAY_SCALES)
    viewport = Viewport(
        on_paper=place.viewport,
        centre=((x0 + x1) / 2, (y0 + y1) / 2),
        scale=place.scale,
        hidden=HIDDEN_AT_50 if place.scale.ratio <= 50 else HIDDEN_AT_100,
    )
    name = for_sheet(told.layout.bay.id)
    rooms, count = for_sheet(told.plain_rooms), len(told.layout.bay.rooms)
    marks = (
        *headline(f"Bay {name}   {rooms}", place.paper),
        Stroke(content=Content.TABLE, points=box_corners(*place.viewport), closed=True),
        *set_flow(flow, place.columns, place.at),
        *scale_bar(place.paper, place.scale),
    )
    return Sheet(
        name=f"Setout {told.layout.bay.id}",
        paper=place.paper,
        viewport=viewport,
        marks=marks,
        fields={
            **common_fields(result, rules, place.paper, place.scale),
            "TITLE": f"Bay {name}, {count} rooms" if count > 1 else f"Bay {name} {rooms}",
            "DOCUMENT": "Setting-out of a plank floor",
            "PLACE": for_sheet(place_words(result, told.layout.bay)),
        },
    )


def seen_of(told: Told) -> Bounds:
    """What the sheet of a bay shows: its outline and all that belongs to it."""
    boxes = [told.layout.bay.outline.bounds, bounds_of(told.sketch.marks)]
    known = [b for b in boxes if b is not None]
    return (
        min(b[0] for b in known),
        min(b[1] for b in known),
        max(b[2] for b in known),
        max(b[3] for b in known),
    )


def placed(size: tuple[float, float], flow: Flow, scales: Sequence[Scale]) -> Place:
    """The first scale, and for it the smallest paper, on which a view of that size (mm in the building)
    and the list find room.
    """
    for scale in scales:
        view = (
            size[0] / scale.ratio + 2 * _VIEW_MARGIN_MM,
            size[1] / scale.ratio + 2 * _VIEW_MARGIN_MM,
        )
        for paper in PAPERS:
            place = _beside(paper, scale, view, flow) or _below(paper, scale, view, flow)
            if place is not None:
                return place
    return _cut_off(PAPERS[-1], scales[-1], flow)


def _beside(paper: Paper, scale: Scale, view: tuple[float, float], flow: Flow) -> Place | None:
    """The view on the left, columns close on its right, and what is left of them under it; columns at
    the right side of the sheet where that leaves room for more of them under the view.
    """
    x0, y0, x1, y1 = paper.body
    pitch = flow.width + GAP_MM
    most = int((x1 - x0 - view[0]) // pitch)
    if most < 1 or view[1] > y1 - y0:
        return None
    under = y1 - view[1] - GAP_MM
    close = x0 + view[0] + GAP_MM
    for count in range(1, most + 1):
        for left in (close, x1 - count * pitch + GAP_MM):
            beside = [(left + k * pitch, y1) for k in range(count)]
            below = [(x0 + k * pitch, under) for k in range(int((left - x0) // pitch))]
            places = beside + (below if under - y0 >= _LEAST_LIST_MM else [])
            columns = flow.columns([y - y0 for _, y in places])
            if columns is not None:
                start = x0 + (left - close) / 2
                return Place(
                    paper=paper,
                    scale=scale,
                    viewport=(start, y1 - view[1], start + view[0], y1),
                    columns=columns,
                    at=tuple(places),
                )
    return None


def _below(paper: Paper, scale: Scale, view: tuple[float, float], flow: Flow) -> Place | None:
    """The view above, the columns under it."""
    x0, y0, x1, y1 = paper.body
    under, pitch = y1 - view[1] - GAP_MM, flow.width + GAP_MM
    if view[0] > x1 - x0 or under - y0 < _LEAST_LIST_MM or flow.width > x1 - x0:
        return None
    places = [(x0 + k * pitch, under) for k in range(int((x1 - x0 + GAP_MM) // pitch))]
    columns = flow.columns([under - y0] * len(places))
    if columns is None:
        return None
    start = x0 + (x1 - x0 - view[0]) / 2
    return Place(
        paper=paper,
        scale=scale,
        viewport=(start, y1 - view[1], start + view[0], y1),
        columns=columns,
        at=tuple(places),
    )


def _cut_off(paper: Paper, scale: Scale, flow: Flow) -> Place:
    """What fits on no sheet: the view as large as there is room, the list as far as it goes."""
    x0, y0, x1, y1 = paper.body
    pitch = flow.width + GAP_MM
    count = max(1, int((x1 - x0) / 2 // pitch))
    left = x1 - count * pitch + GAP_MM
    columns = flow.columns([y1 - y0] * MANY)
    return Place(
        paper=paper,
        scale=scale,
        viewport=(x0, y0, left - GAP_MM, y1),
        columns=(columns or ())[:count],
        at=tuple((left + k * pitch, y1) for k in range(count)),
    )


def headline(words: str, paper: Paper) -> Iterator[Mark]:
    """What the sheet is about, at its top."""
    x0, _, x1, y1 = paper.frame
    room = x1 - x0 - 2 * INSIDE_MM
    yield Letter(
        content=Content.NOTE,
        text=cut_to(words, room, LARGE_MM),
        at=(x0 + INSIDE_MM, y1 - HEADLINE_MM / 2),
        height=LARGE_MM,
    )


def scale_bar(paper: Paper, scale: Scale) -> Iterator[Mark]:
    """A bar to hold a rule against, left of the title block: it shows whether the print was resized."""
    x0, y0, _, _ = paper.frame
    x, y, part = x0 + INSIDE_MM, y0 + INSIDE_MM + 4.0, _BAR_MM / _BAR_PARTS
    for k in range(_BAR_PARTS):
        corners = box_corners(x + k * part, y, x + (k + 1) * part, y + _BAR_HIGH_MM)
        if k % 2 == 0:
            yield Fill(content=Content.SHEET, points=corners)
        yield Stroke(content=Content.SHEET, points=corners, closed=True)
    yield Letter(
        content=Content.SHEET,
        text=f"{_BAR_MM:g} mm on paper, {_BAR_MM * scale.ratio / 1000:g} m at {scale.words}",
        at=(x, y - 2.6),
        height=SMALL_MM,
    )


def box_corners(x0: float, y0: float, x1: float, y1: float) -> tuple[Point, ...]:
    """Corners of a rectangle, in order around it."""
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def common_fields(result: PlanResult, rules: RuleSet, paper: Paper, scale: Scale) -> dict[str, str]:
    """Fields of the title block that every sheet of the drawing has alike, and its scale."""
    return {
        "JOB": for_sheet(rules.job.name),
        "SOURCE": for_sheet(PurePath(result.source).name),
        "SCALE": f"{scale.words} {paper.name}",
        "REVISION": for_sheet(rules.job.revision),
        "CREATED": "setout",
        "DATE": for_sheet(rules.job.date),
        "RULES": for_sheet(rules.name),
    }


def place_words(result: PlanResult, bay: Bay) -> str:
    """Flat and storey of a bay, by name."""
    plan = result.plan
    if plan is None:
        return ""
    flats = [f.name or str(f.id) for f in plan.flats if f.id == bay.flat]
    storeys = [s.name or str(s.id) for s in plan.storeys if s.id == bay.storey]
    return ", ".join([*flats, *storeys])
