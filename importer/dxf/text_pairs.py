"""Which texts stand together as lines of one paragraph do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from shapely import STRtree

from importer.dxf.arrays import line_array, point_array, sources_where
from importer.dxf.drawing import Drawing, Floats
from importer.dxf.label_parts import TextPart
from importer.dxf.layer_words import is_ignored_name

LINE_GAP: Final = 1.3
"""Clear gap between lines of one label, in text heights: up to a blank line."""

SAME_TURN_DEG: Final = 5.0
"""Texts turned by more than this against each other are not one paragraph."""

WALL_STROKE_MM: Final = 300.0
"""Two strokes longer than this between two texts are the faces of a wall (a frame gives one)."""

TITLE_TIMES: Final = 2.5
"""A text so much higher than the usual label is the title of the sheet or of a storey."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallStrokes:
    """Long strokes that may be wall faces."""

    tree: STRtree

    def between(self, ends: Floats) -> Floats:
        """How many strokes each line (n, 4) crosses."""
        count = np.zeros(len(ends))
        if len(ends):
            line, _ = self.tree.query(line_array(ends), predicate="intersects")
            np.add.at(count, line, 1)
        return count


def wall_strokes(drawing: Drawing) -> WallStrokes:
    """The long straight strokes of a drawing, on layers that may hold walls."""
    seg = drawing.segments
    ignored = sources_where(drawing, is_ignored_name)
    length = np.hypot(seg.ends[:, 2] - seg.ends[:, 0], seg.ends[:, 3] - seg.ends[:, 1])
    keep = (length >= WALL_STROKE_MM) & ~seg.curved
    if len(ignored):
        keep &= ~ignored[seg.source]
    return WallStrokes(tree=STRtree(line_array(seg.ends[keep])))


@dataclass(frozen=True, slots=True, kw_only=True)
class TextPair:
    """Two parts that stand as lines of one paragraph; `one` is above or left of `two`."""

    gap: float
    one: int
    two: int
    stacked: bool


def text_pairs(parts: list[TextPart], walls: WallStrokes) -> list[TextPair]:
    """Pairs of neighbouring parts, nearest first."""
    if len(parts) < 2:
        return []
    points = point_array(np.array([p.at for p in parts]))
    reach = np.array([(1 + LINE_GAP) * p.height + p.depth + p.width for p in parts])
    first, second = STRtree(points).query(points, predicate="dwithin", distance=reach)
    found: dict[tuple[int, int], TextPair] = {}
    for i, j in zip(first.tolist(), second.tolist(), strict=True):
        if i != j and (min(i, j), max(i, j)) not in found:
            pair = _as_pair(parts, i, j)
            if pair is not None:
                found[min(i, j), max(i, j)] = pair
    pairs = sorted(found.values(), key=lambda p: (p.gap, p.one, p.two))
    ends = np.array([(*parts[p.one].at, *parts[p.two].at) for p in pairs]).reshape(-1, 4)
    crossed = walls.between(ends)
    return _bridged(parts, [p for p, count in zip(pairs, crossed, strict=True) if count < 2])


def _bridged(parts: list[TextPart], pairs: list[TextPair]) -> list[TextPair]:
    """With the pairs that a line between them, which says nothing itself, holds together."""
    above: dict[int, TextPair] = {}
    below: dict[int, TextPair] = {}
    for pair in pairs:
        if pair.stacked and parts[pair.two].reading.is_empty():
            above.setdefault(pair.two, pair)
        if pair.stacked and parts[pair.one].reading.is_empty():
            below.setdefault(pair.one, pair)
    height = [p.height for p in parts]
    more = [
        TextPair(
            gap=above[k].gap + height[k] + below[k].gap,
            one=above[k].one,
            two=below[k].two,
            stacked=True,
        )
        for k in sorted(set(above) & set(below))
    ]
    return sorted([*pairs, *more], key=lambda p: (p.gap, p.one, p.two))


def _as_pair(parts: list[TextPart], i: int, j: int) -> TextPair | None:
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
        return TextPair(gap=max(gap_up, 0.0), one=above, two=below, stacked=True)
    if abs(up) <= 0.6 * high and -0.3 * min(one.width, two.width) <= gap_along <= 2 * high:
        left, right = (i, j) if along > 0 else (j, i)
        return TextPair(gap=max(gap_along, 0.0) + 0.5 * high, one=left, two=right, stacked=False)
    return None
