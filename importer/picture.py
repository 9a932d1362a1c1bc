"""The plan as a picture, so that a builder sees at a glance what was understood and what was not.

Rooms tinted by flat with name and area, walls dark, doorways with their widths, obstacles hatched,
findings numbered on the plan and listed beside it; to a standard scale on a standard sheet. SVG is
written by the project itself; PNG and PDF need PyMuPDF (`pip install setout[picture]`).
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from importer.picture_column import scale_marks, side_marks, title_marks
from importer.picture_labels import (
    INK,
    Block,
    Label,
    Line,
    Taken,
    middle_of,
    place_for,
    rectangle,
)
from importer.picture_panels import Panel, Sheet, nearest_panel, sheet_of
from importer.picture_scene import Area, Mark, Scene, Strokes, Words
from importer.picture_signs import (
    BACKDROP,
    JOINERY,
    WALL,
    doorway_marks,
    finding_marks,
    lines_of,
    obstacle_marks,
    ring_of_tag,
    rings_of,
    room_outline,
    rooms_on,
    tints,
    width_words,
)
from importer.picture_svg import svg_text
from importer.picture_words import area_text, clean, is_imperial, numbered_findings, room_title
from importer.plan import (
    DrawnKind,
    Finding,
    Origin,
    Plan,
    PlanError,
    Room,
    RoomId,
    Severity,
    StoreyId,
)

Shapes = NDArray[np.object_]

PICTURE_ENDINGS: Final = (".svg", ".png", ".pdf")


class PictureError(PlanError):
    """The picture cannot be made or written; told like a plan that cannot be used."""


def draw_plan(plan: Plan, path: Path | str) -> None:
    """Write the picture of a plan; its ending says which kind. Whole or not at all.

    Raises:
        PictureError: another ending than .svg, .png, .pdf; PyMuPDF is missing; the place cannot be
            written to.
    """
    path = Path(path)
    _write_whole(path, picture_bytes(plan, path.suffix, name=str(path)))


def picture_bytes(plan: Plan, ending: str, *, name: str = "") -> bytes:
    """The picture as a file's content: the same bytes for the same plan.

    Args:
        plan: what was read.
        ending: `.svg`, `.png` or `.pdf`, any case.
        name: the file it is for, told in errors.

    Raises:
        PictureError: another ending; PyMuPDF is missing.
    """
    kind = ending.lower()
    if kind not in PICTURE_ENDINGS:
        raise _problem(
            "OUT-131",
            f"a picture ending in {ending!r} is not made.",
            name,
            "Give it a name that ends in .svg, .png or .pdf.",
        )
    scene = scene_of(plan)
    if kind == ".svg":
        return svg_text(scene).encode("utf-8")
    return _through_pymupdf(kind, name)(scene)


def _through_pymupdf(kind: str, name: str) -> Callable[[Scene], bytes]:
    from importer.picture_pdf import pdf_bytes, png_bytes

    try:
        import pymupdf  # noqa: F401
    except ModuleNotFoundError as error:
        raise _problem(
            "OUT-132",
            f"a picture as {kind} needs PyMuPDF, which is not installed.",
            name,
            "Run: pip install 'setout[picture]', or ask for a picture that ends in .svg.",
        ) from error
    return png_bytes if kind == ".png" else pdf_bytes


def _problem(code: str, what: str, name: str, remedy: str) -> PictureError:
    where = Origin(file=name)
    return PictureError(
        Finding(code=code, severity=Severity.REFUSED, what=what, where=where, remedy=remedy)
    )


def _write_whole(path: Path, data: bytes) -> None:
    """Through a temporary file beside it, renamed when it is complete."""
    part = ""
    try:
        handle, part = tempfile.mkstemp(prefix=".setout-", suffix=path.suffix, dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        Path(part).replace(path)
    except OSError as error:
        if part:
            with suppress(OSError):
                Path(part).unlink()
        reason = error.strerror or "the system refused"
        raise _problem(
            "OUT-133",
            f"the picture could not be written: {reason}.",
            str(path),
            "Name a folder that exists and may be written to.",
        ) from error


# --- the scene -------------------------------------------------------------------------------


def scene_of(plan: Plan) -> Scene:
    """Everything on the sheet, from the floor up to the signs."""
    sheet = sheet_of(plan)
    marks: list[Mark] = [*title_marks(plan, sheet)]
    keyed: list[tuple[str, str]] = []
    for index, panel in enumerate(sheet.panels):
        storey = panel.storey
        shown = plan.walls if storey is None else plan.walls_of(storey)
        walls = _own(np.array(shown, dtype=object), sheet, index)
        marks += _panel_ground(plan, sheet, index, walls)
        marks += _panel_words(plan, panel, keyed, walls)
    side, height = side_marks(plan, sheet, keyed)
    marks += side
    if sheet.panels:
        marks += scale_marks(sheet, height, imperial=is_imperial(plan))
    title = f"{clean(plan.file)}: {len(plan.rooms)} rooms as read by setout"
    return Scene(width=sheet.width, height=height, title=title, marks=tuple(marks))


_JOINERY: Final = frozenset(
    {
        DrawnKind.DOOR_LEAF,
        DrawnKind.DOOR_SWING,
        DrawnKind.WINDOW,
        DrawnKind.STAIR,
        DrawnKind.RAILING,
    }
)


def _panel_ground(plan: Plan, sheet: Sheet, index: int, walls: BaseGeometry) -> Iterator[Mark]:
    """Backdrop, floors, obstacles, walls, doorways."""
    panel = sheet.panels[index]
    tint = tints(plan)
    behind, before = _linework(plan, panel.storey)
    yield from _faint(_own(np.array(behind, dtype=object), sheet, index), BACKDROP)
    for room in rooms_on(panel, plan):
        yield room_outline(panel.shape_to_paper(room.shape), tint[room.id])
    shown = [o for o in plan.obstacles if panel.storey is None or o.storey == panel.storey]
    yield from obstacle_marks(panel, shown)
    yield from _faint(_own(np.array(before, dtype=object), sheet, index), JOINERY)
    if rings := rings_of(walls):
        yield Area(rings=rings, fill=WALL)
    for doorway in plan.doorways:
        if panel.storey is None or doorway.storey == panel.storey:
            yield from doorway_marks(panel, doorway)


def _linework(plan: Plan, storey: StoreyId | None) -> tuple[list[BaseGeometry], list[BaseGeometry]]:
    """What is drawn faintly behind the floors of a storey and what upon them: strokes of a drawing and
    a model's furniture; a model's doors, windows and stairs.
    """
    behind: list[BaseGeometry] = list(plan.backdrop)
    before: list[BaseGeometry] = []
    for d in plan.drawn if storey is None else plan.drawn_of(storey):
        outline = shapely.boundary(d.shape) if isinstance(d.shape, Polygon) else d.shape
        if d.kind in _JOINERY:
            before.append(outline)
        elif d.kind is not DrawnKind.WALL:
            behind.append(outline)
    return behind, before


def _faint(lines: BaseGeometry, stroke: str) -> Iterator[Mark]:
    if strokes := lines_of(lines):
        yield Strokes(lines=strokes, stroke=stroke, width=0.13)


def _own(shapes: Shapes, sheet: Sheet, index: int) -> BaseGeometry:
    """What of the walls or the backdrop belongs to a panel, cut to it, on paper."""
    if len(shapes) == 0:
        return shapely.GeometryCollection()
    panel = sheet.panels[index]
    mine = nearest_panel(shapely.bounds(shapes), [p.box for p in sheet.panels])[:, index]
    cut = shapely.clip_by_rect(shapes[mine], *panel.box)
    kept = shapely.get_parts(cut[~shapely.is_empty(cut)])
    return panel.shape_to_paper(shapely.GeometryCollection(list(kept)))


def _panel_words(
    plan: Plan, panel: Panel, keyed: list[tuple[str, str]], walls: BaseGeometry
) -> Iterator[Mark]:
    """Signs and words in the order of who may stand where: findings, widths, rooms, flats."""
    taken = Taken(walls)
    rooms = {r.id: panel.shape_to_paper(r.shape) for r in rooms_on(panel, plan)}
    if panel.caption:
        at = (panel.left, panel.top - 4.0)
        yield Words(text=panel.caption, at=at, cap=3.5, colour=INK, bold=True)
    signs = list(_finding_signs(plan, panel, taken))
    for doorway in plan.doorways:
        if panel.storey is None or doorway.storey == panel.storey:
            words = width_words(panel, doorway, rooms, taken, imperial=is_imperial(plan))
            if words is not None:
                yield words
    floors = {key: _open_floor(plan, panel, key, shape) for key, shape in rooms.items()}
    yield from _room_labels(plan, floors, taken, keyed)
    yield from _flat_tags(plan, floors, taken)
    yield from signs


def _finding_signs(plan: Plan, panel: Panel, taken: Taken) -> Iterator[Mark]:
    for number, finding in numbered_findings(plan):
        place = finding.where.at
        if place is None:
            continue
        spot = (place[0] * plan.units.to_mm, place[1] * plan.units.to_mm)
        if panel.holds(spot):
            yield from finding_marks(number, finding.severity, panel.to_paper(spot), taken)


def _open_floor(plan: Plan, panel: Panel, room: RoomId, shape: BaseGeometry) -> BaseGeometry:
    """The room on paper less its obstacles."""
    obstacles = [panel.shape_to_paper(o.shape) for o in plan.obstacles_of(room)]
    return shape.difference(shapely.union_all(obstacles)) if obstacles else shape


def _room_labels(
    plan: Plan,
    floors: dict[RoomId, BaseGeometry],
    taken: Taken,
    keyed: list[tuple[str, str]],
) -> Iterator[Mark]:
    for room in plan.rooms:
        floor = floors.get(room.id)
        if floor is None or floor.is_empty:
            continue
        free, middle = taken.free(floor), middle_of(floor)
        label = _label(room, imperial=is_imperial(plan))
        placed = _first_fit(label.blocks(floor.bounds[2] - floor.bounds[0]), free, middle)
        if placed is None:
            key = _keyed(label, keyed)
            placed = _first_fit([key], free, middle) or (key, middle)
        block, centre = placed
        taken.add(rectangle(centre, block.size))
        yield from block.words(centre)


def _first_fit(
    blocks: Iterable[Block], free: BaseGeometry, middle: tuple[float, float]
) -> tuple[Block, tuple[float, float]] | None:
    return next(((b, p) for b in blocks if (p := place_for(b.size, free, middle))), None)


def _label(room: Room, *, imperial: bool) -> Label:
    title, number = room_title(room), clean(room.number or "")
    return Label(
        title=title,
        number="" if number == title else number,
        area=area_text(room.shape.area, imperial=imperial),
        is_named=title != room.id,
    )


def _keyed(label: Label, keyed: list[tuple[str, str]]) -> Block:
    """A key in place of the words of a small room, which go to the list."""
    words = ", ".join(w for w in (label.number, label.title, label.area) if w)
    keyed.append((_letters(len(keyed)), words))
    return Block(lines=(Line(text=keyed[-1][0], cap=1.8, bold=True),), air=0.1)


def _letters(index: int) -> str:
    """a, b, ... z, aa, ab, ...: findings have the figures."""
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("a") + rest) + text
    return text


def _flat_tags(plan: Plan, floors: dict[RoomId, BaseGeometry], taken: Taken) -> Iterator[Mark]:
    """The name of each flat once, boxed, in whichever of its rooms has space; largest room first."""
    for flat in plan.flats:
        block = Block(lines=(Line(text=clean(flat.name) or str(flat.id), cap=2.5, bold=True),))
        w, h = block.size
        own = [floors[r.id] for r in plan.rooms if r.flat == flat.id and r.id in floors]
        for floor in sorted(own, key=lambda s: -round(s.area, 3)):
            centre = place_for((w + 2.0, h + 2.0), taken.free(floor), middle_of(floor))
            if centre is not None:
                box = rectangle(centre, (w + 1.0, h + 1.0))
                taken.add(box)
                yield ring_of_tag(box)
                yield from block.words(centre)
                break
