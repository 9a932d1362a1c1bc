"""Room labels: texts that stand together and say one room's name, number, printed area or size.

A label is rarely one text. Names run over two lines, the number stands above or in a box beside,
the area below; or all of it are attributes of one block. Texts are put together when they stand
as lines of one paragraph do, turned the same way, with no wall between them.

Which texts are names at all is learnt from the drawing: texts that hold a known room word, or have
an area or size with them, show in which layer and height this office writes its labels; another
short text in the same style is a name too, in whatever language.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from importer.dxf.drawing import Drawing, Text
from importer.dxf.label_parts import TextPart, text_parts
from importer.dxf.label_text import LONGEST_NAME, Reading, filled
from importer.dxf.text_pairs import TITLE_TIMES, WallStrokes, text_pairs, wall_strokes
from importer.hints import Hints
from importer.plan import Point
from importer.room_words import names_a_flat, names_a_room


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLabel:
    """One label. `at` is where its name stands (else its number, else its measure); `texts` index
    `Drawing.texts`; `area_sure` is False for a bare decimal that may be something else.
    """

    at: Point
    height: float
    texts: tuple[int, ...]
    name: str | None = None
    number: str | None = None
    area_m2: float | None = None
    area_sure: bool = True
    size_mm: tuple[float, float] | None = None

    @property
    def text(self) -> str:
        """Name and number as they read."""
        return " ".join(t for t in (self.name, self.number) if t)

    @property
    def of_flat(self) -> bool:
        """It names a whole dwelling (`Flat 3`)."""
        return names_a_flat(self.text)

    @property
    def known(self) -> bool:
        """Its name holds a word that is known to name rooms."""
        return self.name is not None and names_a_room(self.name)

    @property
    def measured(self) -> bool:
        """It prints an area or a size beyond doubt."""
        return self.size_mm is not None or (self.area_m2 is not None and self.area_sure)


def room_labels(drawing_mm: Drawing, hints: Hints) -> tuple[RoomLabel, ...]:
    """All labels that may name a room, in the order of their first text.

    Args:
        drawing_mm: the drawing in millimetres.
        hints: layers to ignore.

    Returns:
        Labels with a name, or a number, or a printed area or size. Notes, titles, dimensions,
        levels, door and window codes are left out.
    """
    parts = text_parts(drawing_mm, hints)
    walls = wall_strokes(drawing_mm)
    named = _join_names([p for p in parts if p.reading.name], walls)
    data = [p for p in parts if not p.reading.name]
    labels = _attach(named, data, walls)
    labels.sort(key=lambda label: label.texts)
    return tuple(_in_style(labels, drawing_mm))


def _join_names(named: list[TextPart], walls: WallStrokes) -> list[TextPart]:
    """Name lines set one under the other in one style become one name (`MASTER` / `BEDROOM`)."""
    below: dict[int, int] = {}
    above: dict[int, int] = {}
    for pair in text_pairs(named, walls):
        one, two = named[pair.one], named[pair.two]
        free = pair.one not in below and pair.two not in above
        whole = one.reading.is_measure() or one.reading.number or len(one.texts) > 1
        close = pair.gap <= 0.9 * min(one.height, two.height)
        short = len(f"{one.reading.name} {two.reading.name}") <= LONGEST_NAME
        flat = names_a_flat(one.reading.name) or names_a_flat(two.reading.name)
        alike = one.style == two.style and not flat
        if pair.stacked and free and close and short and alike and not whole:
            below[pair.one], above[pair.two] = pair.two, pair.one
    return [
        _one_name([named[m] for m in _chain(k, below)]) for k in range(len(named)) if k not in above
    ]


def _chain(first: int, below: dict[int, int]) -> Iterable[int]:
    at: int | None = first
    while at is not None:
        yield at
        at = below.get(at)


def _one_name(parts: list[TextPart]) -> TextPart:
    if len(parts) == 1:
        return parts[0]
    xy = np.array([p.at for p in parts])
    reading = parts[-1].reading
    name = " ".join(p.reading.name or "" for p in parts)
    top, bottom = parts[0], parts[-1]
    reach = float(np.hypot(*(xy[0] - xy[-1])))
    return replace(
        top,
        texts=tuple(t for p in parts for t in p.texts),
        at=(float(xy[:, 0].mean()), float(xy[:, 1].mean())),
        width=max(p.width for p in parts),
        depth=reach + (top.depth + bottom.depth) / 2,
        reading=replace(reading, name=name),
    )


def _attach(named: list[TextPart], data: list[TextPart], walls: WallStrokes) -> list[RoomLabel]:
    """Give every number, area and size to the nearest name; each name takes one of each."""
    parts = [*named, *data]
    taken: set[int] = set()
    for pair in text_pairs(parts, walls):
        i, j = sorted((pair.one, pair.two))
        if i >= len(named) or j < len(named) or j in taken:
            continue
        if names_a_flat(parts[j].reading.number):
            continue
        merged = _merge(parts[i], parts[j], data_above=pair.one == j)
        if merged is not None:
            parts[i] = merged
            taken.add(j)
    parts = _measures_to_numbers(parts, len(named), taken, walls)
    return [
        _label(part)
        for k, part in enumerate(parts)
        if k not in taken and _stands_alone(part.reading)
    ]


def _stands_alone(reading: Reading) -> bool:
    return bool(reading.name or reading.size_mm or reading.number) or (
        reading.area_m2 is not None and reading.area_sure
    )


def _measures_to_numbers(
    parts: list[TextPart], first: int, taken: set[int], walls: WallStrokes
) -> list[TextPart]:
    """Areas that found no name go to a number that found none either (`A102` over `859 SQ. FT.`)."""
    left = [k for k in range(first, len(parts)) if k not in taken]
    rest = [parts[k] for k in left]
    for pair in text_pairs(rest, walls):
        for a, b in ((pair.one, pair.two), (pair.two, pair.one)):
            i, j = left[a], left[b]
            one, two = parts[i].reading, parts[j].reading
            fits = one.number and one.area_m2 is None and two.is_measure() and not two.number
            if fits and not {i, j} & taken:
                merged = _merge(parts[i], parts[j], data_above=False)
                if merged is not None:
                    parts[i] = merged
                    taken.add(j)
    return parts


def _merge(name: TextPart, data: TextPart, *, data_above: bool) -> TextPart | None:
    """The name with the data filled in; None when it has that already. A bare decimal above a
    name is its number, below it its area.
    """
    have, new = name.reading, data.reading
    if new.area_m2 is not None and not new.area_sure:
        new = Reading(number=new.number) if data_above else replace(new, number=None)
    clash = (
        (have.area_m2 is not None and have.area_sure and new.area_m2 is not None)
        or (have.size_mm is not None and new.size_mm is not None)
        or (have.number is not None and new.number is not None)
    )
    if clash:
        return None
    merged = filled(have, new)
    if merged == have:
        return None
    return replace(name, reading=merged, texts=name.texts + data.texts)


def _label(part: TextPart) -> RoomLabel:
    r = part.reading
    return RoomLabel(
        at=part.at,
        height=part.height,
        texts=part.texts,
        name=r.name,
        number=r.number,
        area_m2=r.area_m2,
        area_sure=r.area_sure,
        size_mm=r.size_mm,
    )


# ---------------------------------------------------------------- the drawing's own style


def _in_style(labels: list[RoomLabel], drawing: Drawing) -> list[RoomLabel]:
    """Labels in a style that labels of this drawing are written in."""
    sure = [label for label in labels if label.known or (label.name and label.measured)]
    if not sure:
        return [label for label in labels if label.name or label.measured]
    usual = float(np.quantile([label.height for label in sure], 0.9))
    styles = {_style(drawing.texts[label.texts[0]], drawing) for label in sure}
    return [
        label
        for label in labels
        if label.height <= TITLE_TIMES * usual
        and (
            label.known
            or label.measured
            or label.of_flat
            or _style(drawing.texts[label.texts[0]], drawing) in styles
        )
    ]


def _style(text: Text, drawing: Drawing) -> tuple[str, int]:
    return drawing.layer_of(text.source), round(text.height / 5)
