"""A key plan of each storey: bays with their numbers and names, rooms that are not laid, the scale."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from importer.plan import Drawn, DrawnKind, Point, Room, Storey
from layout.floor import BayLayout, PlanResult
from layout.rules import RuleSet
from layout.writers.names import clean, room_names
from layout.writers.sheets.border import BLOCK_HEIGHT, draw_headline, draw_scale_bar, draw_up_arrow
from layout.writers.sheets.draft import Draft
from layout.writers.sheets.ground import Ground
from layout.writers.sheets.letters import fitted
from layout.writers.sheets.marks import Align, Box, Lines, Sketch, Text
from layout.writers.sheets.style import (
    A3,
    A4,
    BLACK,
    BOLD,
    CAPTION,
    EDGE,
    FINE,
    GREY,
    HAIR,
    HEAVY,
    MEDIUM,
    PAPERS,
    SCALES,
    SMALL,
    TINT,
    VERMILION,
    WALL,
    Colour,
    Paper,
)
from layout.writers.sheets.summary import title_block
from layout.writers.sheets.turned import Turned

_PAD: Final = 4.0
_HEAD: Final = 12.0
_LEADING: Final = 1.0
"""Between the lines of a name."""
_OFF_EDGES: Final = 0.8
"""Names keep so far from the edges of their room."""
_TRIES: Final = 25
_LEAST_NAME: Final = 9.0
"""A name cut shorter than this says nothing."""

_FROM_MODEL: Final = frozenset({DrawnKind.WINDOW, DrawnKind.STAIR})


def key_plan_drafts(result: PlanResult, rules: RuleSet) -> Iterator[Draft]:
    """One sheet a storey that has a floor, in plan order."""
    plan = result.plan
    for storey in plan.storeys if plan is not None else ():
        bays = [b for b in result.bays if b.bay.storey == storey.id]
        if bays:
            yield _storey_draft(result, rules, storey, bays)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sheet:
    """Paper and map of one key plan; plan frame with y turned down for the map."""

    paper: Paper
    turned: Turned


def _storey_draft(
    result: PlanResult, rules: RuleSet, storey: Storey, bays: Sequence[BayLayout]
) -> Draft:
    plan = result.plan
    assert plan is not None
    rooms = [r for r in plan.rooms if r.storey == storey.id]
    extent = _extent([r.shape for r in rooms] + [b.bay.outline for b in bays])
    sheet = _sheet(extent)
    sketch = Sketch()
    _draw(sketch, sheet, result, bays, rooms)
    paper, ratio = sheet.paper, sheet.turned.ratio
    name = clean(storey.name) or "Storey"
    draw_headline(sketch, paper, ("Key plan", name), "Bays by number, in the order of the sheets")
    draw_scale_bar(sketch, (paper.left + 2.5, paper.low + 2.0), ratio)
    x, y = paper.left + 8.0, paper.low + 15.5
    draw_up_arrow(sketch, (x, y), 90.0)
    sketch.write(Text(words="up on the drawing", at=(x + 6.0, y - CAPTION / 2), height=CAPTION))
    scale = f"1:{ratio:g} {paper.name}"
    number = f"key-{clean(str(storey.id), 12)}"
    block = title_block(result, rules, title="Key plan", number=number, scale=scale, subtitle=name)
    return Draft(paper=paper, name=f"Key plan, {name}", marks=tuple(sketch.marks), block=block)


def _extent(shapes: Sequence[shapely.Polygon]) -> Box:
    x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(list(shapes)))
    margin = 300.0
    return x0 - margin, y0 - margin, x1 + margin, y1 + margin


def _sheet(extent: Box) -> _Sheet:
    """The largest standard scale that fits on A4, or on A3 where that doubles it."""
    forms = [(paper, ratio) for paper in PAPERS for ratio in SCALES if _fits(extent, paper, ratio)]
    small = next((f for f in forms if f[0] is A4), None)
    large = next((f for f in forms if f[0] is A3), (A3, SCALES[-1]))
    paper, ratio = small if small and small[1] <= large[1] else large
    x0, y0, x1, y1 = extent
    left, low, right, top = _box(paper)
    corner = (
        left + (right - left - (x1 - x0) / ratio) / 2,
        top - (top - low - (y1 - y0) / ratio) / 2,
    )
    window = (x0, -y1, x1, -y0)
    return _Sheet(
        paper=paper,
        turned=Turned(window=window, corner=corner, ratio=ratio, forward=True),
    )


def _box(paper: Paper) -> Box:
    low = paper.low + BLOCK_HEIGHT + _PAD
    return paper.left + _PAD, low, paper.right - _PAD, paper.top - _HEAD


def _fits(extent: Box, paper: Paper, ratio: int) -> bool:
    left, low, right, top = _box(paper)
    return (extent[2] - extent[0]) / ratio <= right - left and (
        extent[3] - extent[1]
    ) / ratio <= top - low


def _down(shapes: Sequence[shapely.Polygon]) -> list[shapely.Polygon]:
    """The shapes with y turned down, as the map wants them."""
    return list(shapely.transform(list(shapes), lambda c: c * (1.0, -1.0)))


def _draw(
    sketch: Sketch,
    sheet: _Sheet,
    result: PlanResult,
    bays: Sequence[BayLayout],
    rooms: Sequence[Room],
) -> None:
    plan, turned = result.plan, sheet.turned
    assert plan is not None
    x0, y0, x1, y1 = turned.window
    window = shapely.box(x0, -y1, x1, -y0)
    storey = bays[0].bay.storey
    walls = [w for w in plan.walls_of(storey) if w.intersects(window)]
    if walls:
        sketch.marks.append(Lines(chains=turned.rings(_down(walls)), fill=WALL, closed=True))
    _draw_model(sketch, turned, plan.drawn_of(storey))
    laid = {r for b in bays for r in b.bay.rooms}
    bare = [r.shape for r in rooms if r.id not in laid]
    if bare:
        chains = turned.rings(_down(bare))
        sketch.marks.append(Lines(chains=chains, pen=FINE, colour=GREY, closed=True))
    outlines = turned.rings(_down([b.bay.outline for b in bays]))
    sketch.marks.append(Lines(chains=outlines, pen=EDGE, fill=TINT, closed=True))
    ids = {b.bay.id for b in bays}
    joints = [j for j in result.joints if ids.intersection(j.bays)]
    for joint in joints:
        chain = turned.chain([(x, -y) for x, y in joint.line])
        sketch.marks.append(Lines(chains=(chain,), pen=HEAVY))
    ground = Ground()
    for layout in bays:
        _start(sketch, turned, layout)
    names = {str(k): v for k, v in room_names(plan).items()}
    shapes = {str(r.id): r.shape for r in rooms}
    for layout in bays:
        _name_bay(sketch, ground, turned, layout, (names, shapes))
    for room in rooms:
        if room.id not in laid:
            _write_inside(sketch, ground, turned, room.shape, (names[room.id], "not laid"), GREY)


def _draw_model(sketch: Sketch, turned: Turned, drawn: Sequence[Drawn]) -> None:
    """What a model knows of the storey besides its walls, quietly: windows, so that they are not taken
    for doorways, and stairs.
    """
    shapes = [d.shape for d in drawn if d.kind in _FROM_MODEL]
    areas = [s for s in shapes if isinstance(s, shapely.Polygon)]
    lines = [s for s in shapes if isinstance(s, shapely.LineString)]
    chains = turned.rings(_down(areas))
    if chains:
        sketch.marks.append(Lines(chains=chains, pen=HAIR, colour=GREY, closed=True))
    open_chains = tuple(turned.chain([(x, -y) for x, y in line.coords]) for line in lines)
    if open_chains:
        sketch.marks.append(Lines(chains=open_chains, pen=HAIR, colour=GREY))


def _start(sketch: Sketch, turned: Turned, layout: BayLayout) -> None:
    """Start corner and direction of laying."""
    if not layout.pieces:
        return
    x, y = layout.start_corner
    u, v = layout.setting_out.frame.along
    a = turned.at(x, -y)
    reach = 5.0 * turned.ratio
    b = turned.at(x + u * reach, -(y + v * reach))
    sketch.rect((a[0] - 0.8, a[1] - 0.8, a[0] + 0.8, a[1] + 0.8), pen=FINE, fill=VERMILION)
    sketch.marks.append(Lines(chains=((a, b),), pen=BOLD, colour=VERMILION))


def _name_bay(
    sketch: Sketch,
    ground: Ground,
    turned: Turned,
    layout: BayLayout,
    look_up: tuple[dict[str, str], dict[str, shapely.Polygon]],
) -> None:
    """The number in the first room, each room's name in its own; of a room that is shared, in the part
    that belongs to this bay.
    """
    names, shapes = look_up
    bay = layout.bay
    own = [r for r in bay.rooms if r in shapes]
    number = clean(str(bay.id), 12)
    if len(own) < 2:
        name = names.get(own[0], "") if own else clean(bay.name)
        _write_inside(sketch, ground, turned, bay.outline, (number, name), BLACK)
        return
    for n, room in enumerate(own):
        words = (number, names[room]) if n == 0 else (names[room],)
        parts = shapely.get_parts(shapes[room].intersection(bay.outline))
        shape = max(parts, key=lambda p: p.area, default=shapes[room])
        _write_inside(sketch, ground, turned, shape, words, BLACK)


def _write_inside(
    sketch: Sketch,
    ground: Ground,
    turned: Turned,
    shape: shapely.Polygon,
    words: tuple[str, ...],
    colour: Colour,
) -> None:
    """Lines of words near the middle of a shape, clear of its edges where that can be; the first one
    large when there are two.
    """
    x, y, room = _middle(shape, turned)
    looks = [
        (line, MEDIUM, True)
        if n == 0 and len(words) > 1 and colour is BLACK
        else (line, SMALL, False)
        for n, line in enumerate(words)
    ]
    shown = [
        Text(
            words=fitted(line, max(room, _LEAST_NAME), height, bold=bold),
            at=(0.0, 0.0),
            height=height,
            bold=bold,
            colour=colour,
            align=Align.CENTRE,
        )
        for line, height, bold in looks
    ]
    wide = max(t.width for t in shown)
    high = sum(t.height for t in shown) + _LEADING * (len(shown) - 1)
    x, y = _clear_place(shape, turned, (wide, high)) or (x, y)
    base = y + high / 2
    for text in shown:
        base -= text.height
        placed = replace(text, at=(x, base))
        base -= _LEADING
        if ground.place(placed):
            sketch.write(placed)


def _clear_place(
    shape: shapely.Polygon, turned: Turned, size: tuple[float, float]
) -> tuple[float, float] | None:
    """Middle of a box of this size on paper that stands well inside the shape, as near to the middle of
    its widest place as can be; None where none was found.
    """
    half_x, half_y = (turned.ratio * (s / 2 + _OFF_EDGES) for s in size)
    x0, y0, x1, y1 = shape.bounds
    if x1 - x0 < 2 * half_x or y1 - y0 < 2 * half_y:
        return None
    pole = shapely.maximum_inscribed_circle(shape, tolerance=20.0).coords[0]
    xs = np.linspace(x0 + half_x, x1 - half_x, _TRIES)
    ys = np.linspace(y0 + half_y, y1 - half_y, _TRIES)
    places = np.vstack([[pole], np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)])
    half = np.array([half_x, half_y])
    low, high = places - half, places + half
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    shapely.prepare(shape)
    free = np.flatnonzero(shapely.contains_properly(shape, boxes))
    if not len(free):
        return None
    x, y = places[free[np.argmin(np.hypot(*(places[free] - pole).T))]].tolist()
    return turned.at(x, -y)


def _middle(shape: shapely.Polygon, turned: Turned) -> tuple[float, float, float]:
    """A place well inside on paper, and the width that there is for words."""
    pole = shapely.maximum_inscribed_circle(shape, tolerance=20.0).coords[0]
    x0, _, x1, _ = shape.bounds
    line = shapely.LineString([(x0 - 1, pole[1]), (x1 + 1, pole[1])])
    chords = [c for c in shapely.get_parts(line.intersection(shape)) if c.length > 0]
    centre = shapely.Point(pole)
    chord = min(chords, key=lambda c: c.distance(centre), default=None)
    place: Point = (pole[0], pole[1])
    width = 0.0
    if chord is not None:
        a, _, b, _ = chord.bounds
        place, width = ((a + b) / 2, pole[1]), (b - a) / turned.ratio - 1.5
    x, y = turned.at(place[0], -place[1])
    return x, y, width
