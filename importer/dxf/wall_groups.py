"""Which strokes of a drawing may be walls: by layer, from hints, names, or how the strokes lie."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from importer.dxf.arrays import sources_where
from importer.dxf.drawing import Bools, Drawing, Floats
from importer.dxf.layer_words import (
    About,
    is_door_name,
    is_ignored_name,
    is_slatted,
    is_wall_name,
    is_window_name,
    says,
)
from importer.dxf.wall_faces import Index, Neighbours, faces_of, neighbours
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


ONE_LAYER_SHARE: Final = 0.8
"""With so much of the strokes on one layer, its colours are taken for what layers are elsewhere."""

MEAN_STROKE_MM: Final = 250.0
"""Strokes of walls are longer than this on average; what is shorter draws symbols and curves."""

MOST_GROUPS: Final = 6
"""So many groups, the longest, are tried as walls where no name tells them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupScore:
    """How the strokes of a group lie: `length_mm` of them, `one` the share with a wall-like partner on
    exactly one side, `both` the share with partners on both.
    """

    group: int
    length_mm: float
    one: float
    both: float
    mean_mm: float
    """Mean length of the strokes, the short ones counted too."""

    @property
    def face(self) -> float:
        """High for wall faces, about nought or below for anything regular or solitary."""
        return self.one - self.both


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Groups:
    """The sources of a drawing by layer, or by layer and colour. `of_source` numbers the group of
    each source, `layers` is the layer of each group.
    """

    of_source: Index
    layers: tuple[str, ...]

    def sources(self, picked: Iterable[int]) -> Bools:
        """Which sources are in one of the groups."""
        return np.asarray(np.isin(self.of_source, sorted(picked)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallChoice:
    """Sources believed to be walls, and why."""

    sources: Bools
    why: str


def groups_of(drawing: Drawing) -> Groups:
    """Groups of the sources, in order of layer name (and colour)."""
    seg = drawing.segments
    length = np.hypot(*(seg.ends[:, 2:] - seg.ends[:, :2]).T) * ~seg.curved
    ink: dict[str, float] = {}
    by_source = np.bincount(seg.source, weights=length, minlength=len(drawing.sources))
    for source, drawn in zip(drawing.sources, by_source.tolist(), strict=True):
        ink[source.layer] = ink.get(source.layer, 0.0) + drawn
    crowded = {n for n, drawn in ink.items() if drawn > ONE_LAYER_SHARE * sum(ink.values())}
    keys = [(s.layer, s.colour if s.layer in crowded else 0) for s in drawing.sources]
    number = {key: k for k, key in enumerate(sorted(set(keys)))}
    return Groups(
        of_source=np.array([number[key] for key in keys], dtype=np.int64),
        layers=tuple(layer for layer, _ in number),
    )


def group_scores(drawing: Drawing, groups: Groups) -> tuple[GroupScore, ...]:
    """Scores of all groups with straight strokes or fills, in order of group."""
    seg = drawing.segments
    length = np.hypot(*(seg.ends[:, 2:] - seg.ends[:, :2]).T)
    straight = np.flatnonzero(~seg.curved & (length >= NOTICED_MM))
    ends = [seg.ends[straight]]
    sources = [seg.source[straight].astype(np.int64)]
    for ring in drawing.rings:
        if ring.filled:
            ends.append(np.hstack([ring.points, np.roll(ring.points, -1, axis=0)]))
            sources.append(np.full(len(ring.points), ring.source))
    strokes, group = np.vstack(ends), groups.of_source[np.concatenate(sources)]
    order = np.argsort(group, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(group[order])) + 1)
    count = np.bincount(groups.of_source[seg.source[~seg.curved]], minlength=len(groups.layers))
    return tuple(
        _score(int(group[p[0]]), strokes[p], max(int(count[group[p[0]]]), len(p)))
        for p in parts
        if len(p)
    )


def _score(group: int, ends: Floats, count: int) -> GroupScore:
    faces, _ = faces_of(ends)
    total = float(faces.length().sum())
    pairs = neighbours(faces, USUAL_MM)
    pairs = pairs.take(np.flatnonzero(pairs.gap >= THINNEST_MM))
    one, both = _sides(len(faces), pairs)
    drawn = np.hypot(*(ends[:, 2:] - ends[:, :2]).T).sum()
    return GroupScore(
        group=group,
        length_mm=total,
        one=one / max(total, 1.0),
        both=both / max(total, 1.0),
        mean_mm=float(drawn) / count,
    )


def _sides(count: int, pairs: Neighbours) -> tuple[float, float]:
    """Length of faces with a partner on one side only, and on both."""
    above: list[list[tuple[float, float]]] = [[] for _ in range(count)]
    below: list[list[tuple[float, float]]] = [[] for _ in range(count)]
    stretches = zip(pairs.start.tolist(), pairs.end.tolist(), strict=True)
    for a, b, stretch in zip(pairs.lower.tolist(), pairs.upper.tolist(), stretches, strict=True):
        above[a].append(stretch)
        below[b].append(stretch)
    single = shared = 0.0
    for up, down in zip(above, below, strict=True):
        both = sum(
            max(0.0, min(b, d) - max(a, c)) for a, b in up for c, d in down if c < b and a < d
        )
        shared += both
        single += sum(b - a for a, b in up) + sum(d - c for c, d in down) - 2 * both
    return single, shared


def named_choices(
    drawing: Drawing, groups: Groups, scores: Sequence[GroupScore], hints: Hints
) -> tuple[WallChoice, ...]:
    """Choices told by hints or by names, the best founded first. A hint leaves no other choice."""
    if hints.wall_layers:
        told = sources_where(drawing, lambda n: matches_layer(n, hints.wall_layers))
        return (WallChoice(sources=told, why="wall layers given in the rules"),)
    barred = (*hints.ignore_layers, *hints.door_layers)
    choices = []
    named = [
        s.group
        for s in scores
        if is_wall_name(groups.layers[s.group])
        and s.both <= HATCHED_SHARE
        and not matches_layer(groups.layers[s.group], barred)
    ]
    if named:
        choices.append(WallChoice(sources=groups.sources(named), why="layers named as walls"))
    hatched = sources_where(
        drawing, lambda n: About.WALL in says(n) and not matches_layer(n, barred)
    )
    filled = np.array([s.kind in _FILLS for s in drawing.sources], dtype=bool) & hatched
    if filled.any():
        filled |= groups.sources(named)
        choices.append(WallChoice(sources=filled, why="walls filled on layers named as walls"))
    return tuple(choices)


_FILLS: Final = frozenset({"HATCH", "SOLID", "TRACE"})


def shaped_groups(
    groups: Groups, scores: Sequence[GroupScore], hints: Hints
) -> tuple[tuple[int, ...], ...]:
    """Sets of groups that may be the walls by how their strokes lie: each promising group alone,
    longest first, then everything whose name does not speak against it.
    """
    open_to_walls = [s for s in scores if _may_be_walls(groups.layers[s.group], hints)]
    promising = [
        s
        for s in open_to_walls
        if s.face >= FACE_SCORE and s.length_mm >= ENOUGH_MM and s.mean_mm >= MEAN_STROKE_MM
    ]
    promising.sort(key=lambda s: (-s.length_mm, s.group))
    alone = tuple((s.group,) for s in promising[:MOST_GROUPS])
    return (*alone, tuple(s.group for s in open_to_walls))


def _may_be_walls(name: str, hints: Hints) -> bool:
    if matches_layer(name, (*hints.ignore_layers, *hints.door_layers)):
        return False
    return not (
        is_ignored_name(name) or is_slatted(name) or is_door_name(name) or is_window_name(name)
    )
