"""The sheets of one bay: scale and paper chosen, plan, lists and panels set, continued where needed."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import atan2, ceil, degrees
from pathlib import PurePath
from typing import Final

import numpy as np
import shapely

from layout.rules import RuleSet
from layout.writers.names import clean
from layout.writers.sheets.bay_blocks import (
    PLAIN_BLOCKS,
    bring_block,
    cautions_block,
    reading_block,
    set_out_block,
)
from layout.writers.sheets.bay_plan import draw_plan
from layout.writers.sheets.blocks import GUTTER, LEAST_COLUMN, Block, Column, Flow, columns_in
from layout.writers.sheets.border import (
    BLOCK_HEIGHT,
    TitleBlock,
    draw_headline,
    draw_scale_bar,
    draw_up_arrow,
)
from layout.writers.sheets.cut_list import Stage, stages_of
from layout.writers.sheets.cut_table import columns_of, least_width, stage_block
from layout.writers.sheets.draft import Draft
from layout.writers.sheets.marks import Box, Group, Sketch, Text
from layout.writers.sheets.measure_block import (
    draw_measures,
    measure_block,
    measure_table,
    table_width,
)
from layout.writers.sheets.plan_drawing import ABOVE, SIDE
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import A3, A4, CAPTION, LEAST_PITCH, Paper
from layout.writers.sheets.turned import Turned

_PAD: Final = 2.5
_HEAD: Final = 11.0
_UNDER: Final = 5.0
"""Under a plan, for words at doors."""
_MOST_BESIDE: Final = 16
"""Distances to measure that a key plan beside the plan can show; more get a sheet of their own."""
_MEASURE: Final = "Measure first, before any cut"
_CONTINUED: Final = "continued"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """A paper and a scale to try; `tight`: lists as narrow as can be, their words over more lines."""

    paper: Paper
    ratio: int
    tight: bool = False

    @property
    def box(self) -> Box:
        """Where plan and lists may stand: inside the frame, under the headline, over the title block."""
        p = self.paper
        return p.left + _PAD, p.low + BLOCK_HEIGHT + _PAD, p.right - _PAD, p.top - _HEAD


_FORMS: Final = tuple(
    _Form(paper=paper, ratio=ratio, tight=tight)
    for paper in (A4, A3)
    for ratio in (20, 50)
    for tight in (False, True)
)


def bay_drafts(scene: Scene, rules: RuleSet, *, source: str, default_rules: bool) -> list[Draft]:
    """The sheets of a bay. Of the papers and scales at which the plan fits on one sheet, the one that
    needs fewest sheets, the smaller paper and the larger scale first; a plan that fits on none is
    drawn in parts at 1:50.
    """
    maker = _Maker(
        scene=scene,
        stages=stages_of(scene),
        rules=rules,
        source=source,
        default_rules=default_rules,
    )
    fitting = [form for form in _FORMS if _fits(scene, form)]
    if len(fitting) < 2:
        return maker.drafts(*(fitting or _FORMS[-1:]))
    best, fewest = fitting[0], 0
    for form in fitting:
        count = maker.count(form)
        if not fewest or count < fewest:
            best, fewest = form, count
        if count == 1:
            break
    return maker.drafts(best)


def _extent(scene: Scene) -> Box:
    """Bounds of what is drawn: the bay and the walls about it."""
    parts = [scene.outline, *scene.walls]
    x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(parts))
    return x0, y0, x1, y1


def _fits(scene: Scene, form: _Form) -> bool:
    x0, y0, x1, y1 = _extent(scene)
    left, low, right, top = form.box
    return (x1 - x0) / form.ratio <= right - left - 2 * SIDE and (
        y1 - y0
    ) / form.ratio <= top - low - ABOVE - _UNDER


Draw = Callable[[Scene, Turned], Sketch]


def _undrawn(scene: Scene, turned: Turned) -> Sketch:  # noqa: ARG001
    """In the place of a drawing, where sheets are only counted."""
    return Sketch(marks=[Group(marks=(), clip=turned.paper_box)])


@dataclass(frozen=True, slots=True, kw_only=True)
class _Maker:
    """Makes the sheets of one bay in a given form."""

    scene: Scene
    stages: tuple[Stage, ...]
    rules: RuleSet
    source: str
    default_rules: bool

    def drafts(self, form: _Form) -> list[Draft]:
        """Where there is much to measure, sheets of that; then the plan; each with its lists."""
        pages = self._all_pages(form, draw_measures, self._plan)
        return [self._draft(page, form, words) for page, words in pages]

    def count(self, form: _Form) -> int:
        """How many sheets these would be."""
        return len(list(self._all_pages(form, _undrawn, _undrawn)))

    def _all_pages(self, form: _Form, measures: Draw, plan: Draw) -> Iterator[tuple[Sketch, str]]:
        """The sheets, and what the headline says of each."""
        if self._measured_apart:
            for page in self._pages(form, table_width(self.scene), measures, self._measures):
                yield page, _MEASURE
        least = max(LEAST_COLUMN, least_width(self.stages, tight=form.tight))
        for n, page in enumerate(self._pages(form, least, plan, self._blocks)):
            yield page, _CONTINUED if n else _instruction(self.scene)

    @property
    def _measured_apart(self) -> bool:
        return len(self.scene.layout.dimensions) > _MOST_BESIDE

    def _pages(
        self,
        form: _Form,
        least: float,
        draw: Draw,
        make: Callable[[float], Iterator[Block]],
    ) -> list[Sketch]:
        """Drawings first, as many windows as are needed, then sheets that the lists run on over."""
        windows = list(_windows(_extent(self.scene), form))
        names = _part_names(windows, forward=self.scene.left_to_right)
        pages: list[Sketch] = []
        free: list[Column] = []
        while windows:
            sketch, placed, free = self._plan_page(windows, names, form, (least, draw))
            windows = windows[placed:]
            pages.append(sketch)
        flow = Flow.through(free)
        for block in make(_narrowest(free, form, least)):
            rest: Block | None = block
            while rest is not None:
                rest = flow.set(rest)
                if rest is not None:
                    pages[-1].marks.extend(flow.marks)
                    flow = Flow.through(columns_in(form.box, least))
                    pages.append(Sketch())
        pages[-1].marks.extend(flow.marks)
        if not pages[-1].marks:
            pages.pop()
        return pages

    def _plan(self, scene: Scene, turned: Turned) -> Sketch:
        lettered = self.rules.plank.width / turned.ratio >= LEAST_PITCH
        return draw_plan(scene, turned, self.rules, lengths=lettered)[0]

    def _plan_page(
        self,
        windows: Sequence[Box],
        names: Mapping[Box, str],
        form: _Form,
        how: tuple[float, Draw],
    ) -> tuple[Sketch, int, list[Column]]:
        """As many windows as stand on one page one under the other, and the columns left free. `how`:
        the least width of a column, and what draws a window.
        """
        least, draw = how
        sketch = Sketch()
        left, low, right, top = form.box
        y, widest, placed = top, 0.0, 0
        for window in windows:
            turned = Turned(
                window=window,
                corner=(left + SIDE, y - ABOVE),
                ratio=form.ratio,
                forward=self.scene.left_to_right,
            )
            width, height = turned.size
            bottom = y - ABOVE - height - _UNDER
            if placed and bottom < low:
                break
            sketch.marks.extend(draw(self.scene, turned).marks)
            if name := names.get(window):
                at = (left, y - ABOVE - height - _UNDER + 0.6)
                sketch.write(Text(words=name, at=at, bold=True))
            y, widest, placed = bottom, max(widest, width + 2 * SIDE), placed + 1
        widest = max(widest, least)
        beside = columns_in((left + widest + GUTTER, low, right, top), least)
        end = left + widest if beside else right
        under = columns_in((left, low, end, y), least)
        return sketch, placed, [*under, *beside]

    def _blocks(self, width: float) -> Iterator[Block]:
        scene = self.scene
        columns = columns_of(self.stages, width)
        measure = None if self._measured_apart else measure_block(scene, width)
        early = [measure, set_out_block(scene, width), bring_block(scene, self.rules, width)]
        yield from (b for b in early if b is not None)
        yield from (stage_block(stage, columns) for stage in self.stages)
        late = [
            reading_block(scene, self.stages, width),
            *(make(scene, width) for make in PLAIN_BLOCKS),
        ]
        yield from (b for b in late if b is not None)
        yield cautions_block(width, default_rules=self.default_rules)

    def _measures(self, width: float) -> Iterator[Block]:
        yield measure_table(self.scene, width)

    def _draft(self, page: Sketch, form: _Form, told: str) -> Draft:
        scene = self.scene
        bay = scene.layout.bay
        sketch = Sketch()
        number = f"Bay {clean(str(bay.id))}"
        name = (number, scene.name)
        draw_headline(sketch, form.paper, name, told)
        corner = (form.paper.left + _PAD, form.paper.low + 2.0)
        draw_scale_bar(sketch, corner, form.ratio)
        self._way_up(sketch, form)
        block = TitleBlock(
            job=clean(self.rules.job.name),
            title=_title(number, scene),
            number=clean(f"{PurePath(self.source).stem}-{bay.id}"),
            revision=clean(self.rules.job.revision),
            kind="Setting-out sheet, plank floor",
            subtitle=", ".join(w for w in (scene.flat, scene.storey) if w),
            source=clean(PurePath(self.source).name),
            scale=f"1:{form.ratio} {form.paper.name}",
            date=clean(self.rules.job.date),
            rules=clean(self.rules.name),
        )
        title = f"{name[0]} {name[1]}"
        return Draft(
            paper=form.paper,
            name=title,
            marks=(*page.marks, *sketch.marks),
            block=block,
            bay=bay.id,
        )

    def _way_up(self, sketch: Sketch, form: _Form) -> None:
        frame = self.scene.layout.setting_out.frame
        # The drawing's upward direction in the bay frame, then on paper.
        u, v = frame.along[1], frame.across[1]
        angle = degrees(atan2(-v, u if self.scene.left_to_right else -u))
        x, y = form.paper.left + 8.0, form.paper.low + 15.5
        draw_up_arrow(sketch, (x, y), angle)
        sketch.write(Text(words="up on the drawing", at=(x + 6.0, y - CAPTION / 2), height=CAPTION))


def _narrowest(columns: Sequence[Column], form: _Form, least: float) -> float:
    """One width for all blocks of a bay."""
    every = [c.width for c in (*columns, *columns_in(form.box, least))]
    return min(every)


def _title(number: str, scene: Scene) -> str:
    """For the title block, where a list of rooms has no room."""
    if len(scene.rooms) < 2:
        return f"{number} {scene.name}"
    return f"{number}, {len(scene.rooms)} rooms"


def _instruction(scene: Scene) -> str:
    way = "left to right" if scene.left_to_right else "right to left"
    first = min((p.row for p in scene.layout.pieces if p.order == 1), default=1)
    return f"Row {first} along the start wall, {way}, then towards you"


def _part_names(windows: Sequence[Box], *, forward: bool) -> dict[Box, str]:
    """Of a plan in parts: which part each is, and on which sides the others go on."""
    if len(windows) < 2:
        return {}
    number = {window: n for n, window in enumerate(windows, start=1)}
    names = {}
    for window, n in number.items():
        joins = []
        for other, k in number.items():
            side = _side(window, other, forward=forward)
            if side:
                joins.append(f"part {k} {side}")
        names[window] = f"Part {n} of {len(windows)}; joins {', '.join(joins)}"
    return names


def _side(window: Box, other: Box, *, forward: bool) -> str:
    """Where another window joins this one on paper; empty where it does not."""
    if window[:4:2] == other[:4:2]:
        return "below" if other[1] == window[3] else "above" if other[3] == window[1] else ""
    if window[1::2] == other[1::2]:
        if other[0] == window[2]:
            return "on the right" if forward else "on the left"
        if other[2] == window[0]:
            return "on the left" if forward else "on the right"
    return ""


def _windows(extent: Box, form: _Form) -> Iterator[Box]:
    """The parts in which a bay is drawn: one where it fits, else a grid of equal ones."""
    x0, y0, x1, y1 = extent
    left, low, right, top = form.box
    across = max(1, ceil((x1 - x0) / ((right - left - 2 * SIDE) * form.ratio)))
    down = max(1, ceil((y1 - y0) / ((top - low - ABOVE - _UNDER) * form.ratio)))
    xs, ys = np.linspace(x0, x1, across + 1).tolist(), np.linspace(y0, y1, down + 1).tolist()
    for low_y, high_y in pairwise(ys):
        for low_x, high_x in pairwise(xs):
            yield low_x, low_y, high_x, high_y
