"""Which strokes of a drawing are walls: chosen by layer, from hints, names, or how the strokes lie."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from importer.dxf.drawing import Bools, Drawing, Floats
from importer.dxf.layer_words import (
    is_door_name,
    is_ignored_name,
    is_slatted,
    is_wall_name,
    is_window_name,
)
from importer.dxf.wall_faces import Index, faces_of, neighbours
from importer.dxf.wall_strips import THINNEST_MM, USUAL_MM
from importer.hints import Hints, matches_layer

NOTICED_MM: Final = 80.0
"""Shorter strokes say nothing about what a layer holds."""

FACE_SCORE: Final = 0.45
"""How much more of a layer's strokes must have a partner on one side than on both, to be walls: a
wall face has its wall on one side and a room on the other; treads, tiles and hatching have both."""

ENOUGH_MM: Final = 15_000.0
"""Length of wall faces below which no room can be bounded on both sides of its walls."""

HATCHED_SHARE: Final = 0.5
"""A layer is hatching when more than this share of it has partners on both sides."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerScore:
    """How the strokes of a layer lie: `length_mm` of them, `one` the share with a wall-like partner on
    exactly one side, `both` the share with partners on both.
    """

    layer: str
    length_mm: float
    one: float
    both: float

    @property
    def face(self) -> float:
        """High for wall faces, about nought or below for anything regular or solitary."""
        return self.one - self.both


@dataclass(frozen=True, slots=True, kw_only=True)
class WallChoice:
    """Layers believed to hold the walls, and why. `named` when a name or a hint says so, and not only
    the way the strokes lie.
    """

    layers: tuple[str, ...]
    why: str
    named: bool


def layer_scores(drawing: Drawing) -> tuple[LayerScore, ...]:
    """Scores of all layers with straight strokes, in order of layer name."""
    seg = drawing.segments
    length = np.hypot(*(seg.ends[:, 2:] - seg.ends[:, :2]).T)
    straight = np.flatnonzero(~seg.curved & (length >= NOTICED_MM))
    names = sorted({drawing.sources[s].layer for s in np.unique(seg.source[straight]).tolist()})
    number = {name: k for k, name in enumerate(names)}
    of_source = np.array([number.get(s.layer, -1) for s in drawing.sources], dtype=np.int64)
    of_stroke = of_source[seg.source[straight]]
    order = np.argsort(of_stroke, kind="stable")
    parts = np.split(straight[order], np.flatnonzero(np.diff(of_stroke[order])) + 1)
    return tuple(_score(name, seg.ends[p]) for name, p in zip(names, parts, strict=False))


def _score(layer: str, ends: Floats) -> LayerScore:
    faces, _ = faces_of(ends)
    total = float(faces.length().sum())
    pairs = neighbours(faces, USUAL_MM)
    pairs = pairs.take(np.flatnonzero(pairs.gap >= THINNEST_MM))
    one, both = _sides(len(faces), pairs.lower, pairs.upper, pairs.start, pairs.end)
    return LayerScore(
        layer=layer, length_mm=total, one=one / max(total, 1.0), both=both / max(total, 1.0)
    )


def _sides(
    count: int, lower: Index, upper: Index, start: Floats, end: Floats
) -> tuple[float, float]:
    """Length of faces with a partner on one side only, and on both."""
    above = [[] for _ in range(count)]  # type: list[list[tuple[float, float]]]
    below = [[] for _ in range(count)]  # type: list[list[tuple[float, float]]]
    for a, b, x0, x1 in zip(
        lower.tolist(), upper.tolist(), start.tolist(), end.tolist(), strict=True
    ):
        above[a].append((x0, x1))
        below[b].append((x0, x1))
    single = shared = 0.0
    for up, down in zip(above, below, strict=True):
        both = sum(
            max(0.0, min(b, d) - max(a, c)) for a, b in up for c, d in down if c < b and a < d
        )
        shared += both
        single += sum(b - a for a, b in up) + sum(d - c for c, d in down) - 2 * both
    return single, shared


def wall_choices(drawing: Drawing, hints: Hints) -> Iterator[WallChoice]:
    """Ways to choose the wall layers, the best founded first; the next is for when one gives no room.

    A hint leaves no other choice. Names restrict where there are any; how the strokes lie decides
    where there are none, or where the named layers hold no rooms.
    """
    layers = sorted({s.layer for s in drawing.sources})
    if hints.wall_layers:
        picked = tuple(n for n in layers if matches_layer(n, hints.wall_layers))
        yield WallChoice(layers=picked, why="wall layers given in the rules", named=True)
        return
    scores = {
        s.layer: s
        for s in layer_scores(drawing)
        if not matches_layer(s.layer, (*hints.ignore_layers, *hints.door_layers))
    }
    named = tuple(n for n, s in scores.items() if is_wall_name(n) and s.both <= HATCHED_SHARE)
    if named:
        yield WallChoice(layers=named, why="layers named as walls", named=True)
    by_shape = tuple(n for n, s in scores.items() if n not in named and _looks_like_walls(s))
    if by_shape:
        yield WallChoice(
            layers=by_shape, why="strokes that lie in pairs as wall faces", named=False
        )


def _looks_like_walls(score: LayerScore) -> bool:
    name = score.layer
    if is_ignored_name(name) or is_slatted(name) or is_door_name(name) or is_window_name(name):
        return False
    return score.face >= FACE_SCORE and score.length_mm >= ENOUGH_MM


def on_layers(drawing: Drawing, layers: tuple[str, ...]) -> Bools:
    """Which sources of the drawing are on one of the layers."""
    wanted = frozenset(layers)
    return np.array([s.layer in wanted for s in drawing.sources], dtype=bool)
