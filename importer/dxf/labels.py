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
from typing import Final

import numpy as np
from shapely import STRtree

from importer.dxf.arrays import line_array, point_array
from importer.dxf.drawing import Drawing, Floats, Text
from importer.dxf.label_text import LONGEST_NAME, NOTHING, Reading, read_text
from importer.dxf.layer_words import is_ignored_name, is_measure_name, plain
from importer.dxf.room_words import names_a_flat, names_a_room, words
from importer.hints import Hints, matches_layer
from importer.plan import Point

LETTER_WIDTH: Final = 0.75
"""Width of a letter, in text heights, of the fonts drawings use, on average and rather wide."""

LINE_GAP: Final = 1.3
"""Clear gap between lines of one label, in text heights: up to a blank line."""

SAME_TURN_DEG: Final = 5.0
"""Texts turned by more than this against each other are not one paragraph."""

WALL_STROKE_MM: Final = 300.0
"""Two strokes longer than this between two texts are the faces of a wall (a frame gives one)."""

TITLE_TIMES: Final = 2.5
"""A text so much higher than the usual label is the title of the sheet or of a storey."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A text, or an attributed block, that says something."""

    texts: tuple[int, ...]
    at: Point
    height: float
    width: float
    depth: float
    """Extent across the lines."""
    angle: float
    style: tuple[str, int]
    reading: Reading


def room_labels(drawing_mm: Drawing, hints: Hints) -> tuple[RoomLabel, ...]:
    """All labels that may name a room, in the order of their first text.

    Args:
        drawing_mm: the drawing in millimetres.
        hints: layers to ignore.

    Returns:
        Labels with a name, or a number, or a printed area or size. Notes, titles, dimensions,
        levels, door and window codes are left out.
    """
    parts = _parts(drawing_mm, hints)
    walls = _wall_strokes(drawing_mm)
    named = _join_names([p for p in parts if p.reading.name], walls)
    data = [p for p in parts if not p.reading.name]
    labels = _attach(named, data, walls)
    labels.sort(key=lambda label: label.texts)
    return tuple(_in_style(labels, drawing_mm))


# ---------------------------------------------------------------- single texts


def _parts(drawing: Drawing, hints: Hints) -> list[_Part]:
    parts = []
    grouped: dict[int, list[int]] = {}
    for k, text in enumerate(drawing.texts):
        source = drawing.sources[text.source]
        if matches_layer(source.layer, hints.ignore_layers) or source.kind == "DIMENSION":
            continue
        if text.tag is not None and source.insert >= 0:
            grouped.setdefault(source.insert, []).append(k)
        elif not is_measure_name(source.layer):
            parts.append(_part(drawing, (k,), read_text(text.text)))
    parts += [
        _part(drawing, tuple(members), _read_block(drawing, members))
        for members in grouped.values()
    ]
    return [p for p in parts if not p.reading.is_empty()]


def _part(drawing: Drawing, members: tuple[int, ...], reading: Reading) -> _Part:
    main = _main_text(drawing, members, reading)
    text = drawing.texts[main]
    lines = text.text.splitlines() or [""]
    return _Part(
        texts=members,
        at=text.at,
        height=text.height,
        width=max(map(len, lines)) * text.height * LETTER_WIDTH,
        depth=text.height * (1 + 1.6 * (len(lines) - 1)),
        angle=text.angle_deg,
        style=(drawing.layer_of(text.source), round(text.height / 5)),
        reading=reading,
    )


def _main_text(drawing: Drawing, members: tuple[int, ...], reading: Reading) -> int:
    """The text that holds the name, else the number, else the first."""
    for wanted in (reading.name, reading.number):
        for k in members:
            if wanted and wanted in " ".join(drawing.texts[k].text.split()):
                return k
    return members[0]


_NAME_TAGS: Final = words(
    "name raumname roomname room raum nom nome nombre bezeichnung benennung naam desc description "
    "funktion nutzung usage piece local space naziv nazwa"
)
_NUMBER_TAGS: Final = words("number no nr num numero nummer raumnr raumnummer roomno roomnumber id")
_AREA_TAGS: Final = words(
    "area flache flaeche ngf nf surface surf superficie m m2 sqm sqft sf opp pow"
)


def _read_block(drawing: Drawing, members: list[int]) -> Reading:
    """Attributes of one block as one label; of a door, axis or section mark nothing is read.

    Such marks hold letters and numbers too, so a block counts only when one of its tags says what
    the attribute is, or its name holds a known room word.
    """
    merged, told = NOTHING, False
    for k in members:
        text = drawing.texts[k]
        reading = read_text(text.text)
        tag = plain(text.tag or "").strip("0123456789_-. ").replace("_", "").replace("-", "")
        if tag in _AREA_TAGS and reading.area_m2 is not None:
            merged, told = replace(merged, area_m2=reading.area_m2, area_sure=True), True
        elif tag in _NUMBER_TAGS and text.text.strip():
            merged = replace(merged, number=text.text.strip())
        elif tag in _NAME_TAGS and reading.name:
            merged, told = replace(merged, name=reading.name), True
        else:
            told = told or bool(reading.name and names_a_room(reading.name)) or reading.is_measure()
            merged = _fill(merged, reading)
    return merged if told else NOTHING


def _fill(one: Reading, other: Reading) -> Reading:
    """`one` with what it lacks taken from `other`."""
    take_area = one.area_m2 is None and other.area_m2 is not None
    return Reading(
        name=one.name or other.name,
        number=one.number or other.number,
        area_m2=other.area_m2 if take_area else one.area_m2,
        area_sure=other.area_sure if take_area else one.area_sure,
        size_mm=one.size_mm or other.size_mm,
    )


# ---------------------------------------------------------------- standing together


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Walls:
    """Long strokes that may be wall faces."""

    tree: STRtree

    def between(self, ends: Floats) -> Floats:
        """How many strokes each line (n, 4) crosses."""
        count = np.zeros(len(ends))
        if len(ends):
            line, _ = self.tree.query(line_array(ends), predicate="intersects")
            np.add.at(count, line, 1)
        return count


def _wall_strokes(drawing: Drawing) -> _Walls:
    seg = drawing.segments
    ignored = np.array([is_ignored_name(s.layer) for s in drawing.sources], dtype=bool)
    length = np.hypot(seg.ends[:, 2] - seg.ends[:, 0], seg.ends[:, 3] - seg.ends[:, 1])
    keep = (length >= WALL_STROKE_MM) & ~seg.curved
    if len(ignored):
        keep &= ~ignored[seg.source]
    return _Walls(tree=STRtree(line_array(seg.ends[keep])))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pair:
    """Two parts that stand as lines of one paragraph; `one` is above or left of `two`."""

    gap: float
    one: int
    two: int
    stacked: bool


def _pairs(parts: list[_Part], walls: _Walls) -> list[_Pair]:
    """Pairs of neighbouring parts, nearest first."""
    if len(parts) < 2:
        return []
    points = point_array(np.array([p.at for p in parts]))
    reach = np.array([(1 + LINE_GAP) * p.height + p.depth + p.width for p in parts])
    first, second = STRtree(points).query(points, predicate="dwithin", distance=reach)
    found: dict[tuple[int, int], _Pair] = {}
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i != j and (min(i, j), max(i, j)) not in found:
            pair = _as_pair(parts, i, j)
            if pair is not None:
                found[min(i, j), max(i, j)] = pair
    pairs = sorted(found.values(), key=lambda p: (p.gap, p.one, p.two))
    ends = np.array([(*parts[p.one].at, *parts[p.two].at) for p in pairs]).reshape(-1, 4)
    crossed = walls.between(ends)
    return [p for p, count in zip(pairs, crossed, strict=True) if count < 2]


def _as_pair(parts: list[_Part], i: int, j: int) -> _Pair | None:
    one, two = parts[i], parts[j]
    turn = abs((one.angle - two.angle + 180) % 360 - 180)
    if turn > SAME_TURN_DEG:
        return None
    a = np.radians(one.angle)
    dx, dy = two.at[0] - one.at[0], two.at[1] - one.at[1]
    along = float(dx * np.cos(a) + dy * np.sin(a))
    up = float(-dx * np.sin(a) + dy * np.cos(a))
    high, low = max(one.height, two.height), min(one.height, two.height)
    if high > TITLE_TIMES * low:
        return None
    gap_up = abs(up) - (one.depth + two.depth) / 2
    gap_along = abs(along) - (one.width + two.width) / 2
    if abs(along) <= 0.45 * (one.width + two.width) and -0.4 * low <= gap_up <= LINE_GAP * high:
        above, below = (i, j) if up < 0 else (j, i)
        return _Pair(gap=max(gap_up, 0.0), one=above, two=below, stacked=True)
    if abs(up) <= 0.6 * high and -0.3 * min(one.width, two.width) <= gap_along <= 2 * high:
        left, right = (i, j) if along > 0 else (j, i)
        return _Pair(gap=max(gap_along, 0.0) + 0.5 * high, one=left, two=right, stacked=False)
    return None


def _join_names(named: list[_Part], walls: _Walls) -> list[_Part]:
    """Name lines set one under the other in one style become one name (`MASTER` / `BEDROOM`)."""
    below: dict[int, int] = {}
    above: dict[int, int] = {}
    for pair in _pairs(named, walls):
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


def _one_name(parts: list[_Part]) -> _Part:
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


def _attach(named: list[_Part], data: list[_Part], walls: _Walls) -> list[RoomLabel]:
    """Give every number, area and size to the nearest name; each name takes one of each."""
    parts = [*named, *data]
    taken: set[int] = set()
    for pair in _pairs(parts, walls):
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
    parts: list[_Part], first: int, taken: set[int], walls: _Walls
) -> list[_Part]:
    """Areas that found no name go to a number that found none either (`A102` over `859 SQ. FT.`)."""
    left = [k for k in range(first, len(parts)) if k not in taken]
    rest = [parts[k] for k in left]
    for pair in _pairs(rest, walls):
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


def _merge(name: _Part, data: _Part, *, data_above: bool) -> _Part | None:
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
    merged = _fill(have, new)
    if merged == have:
        return None
    return replace(name, reading=merged, texts=name.texts + data.texts)


def _label(part: _Part) -> RoomLabel:
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
    usual = float(np.median([label.height for label in sure]))
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
