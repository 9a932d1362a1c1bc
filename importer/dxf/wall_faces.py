r"""Straight strokes as wall faces: grouped by direction, doubles merged, and for each the next one
beside it.

Two faces of a wall are neighbours: looking square off one of them, the other is the first thing
seen. A sweep over the strokes of one direction, from the lowest up, keeps the skyline of what was
seen last; what a new stroke covers of it are its neighbours below.

    offset
      |        ======= new ========        pieces: (a, new), (b, new)
      |   ---- a ----
      |                  --- b ---
      +-------------------------------> along
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from importer.dxf.drawing import Floats
from importer.tolerance import SAME_POINT_MM, WALL_SNAP_MM

Index = NDArray[np.int64]

ONE_DIRECTION_DEG: Final = 0.25
"""Strokes nearer in direction than this are parallel: drafting is done at exact angles."""

MOST_DEG: Final = 6.0
"""Short strokes join the direction of longer ones when their ends are off it by no more than four times
`WALL_SNAP_MM`, and the angle by no more than this: the jambs of an untidy drawing."""

SAME_FACE_MM: Final = 1.0
"""Parallel strokes closer than this are one face drawn twice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Faces:
    """Faces as arrays. Face k runs along the direction `along[k]` (unit vector); its offset across
    is `low[k]` at `start[k]` and `high[k]` at `end[k]`, all in the frame of its direction. `group`
    numbers the directions.
    """

    group: Index
    along: Floats
    start: Floats
    end: Floats
    low: Floats
    high: Floats

    def __len__(self) -> int:
        return len(self.group)

    def offset_at(self, face: Index, where: Floats) -> Floats:
        """Offset of the faces at the positions `where` along them."""
        length = np.maximum(self.end[face] - self.start[face], SAME_POINT_MM)
        share = (where - self.start[face]) / length
        return np.asarray(self.low[face] + share * (self.high[face] - self.low[face]))

    def point(self, face: Index, where: Floats) -> Floats:
        """Points, (n, 2), of the faces at positions along them."""
        along = self.along[face]
        across = np.column_stack([-along[:, 1], along[:, 0]])
        offset = self.offset_at(face, where)
        return np.asarray(along * where[:, None] + across * offset[:, None])

    def length(self) -> Floats:
        """Length of each face, mm."""
        return np.asarray(self.end - self.start)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Neighbours:
    """Stretches where `upper` is the first face seen from `lower`, between `start` and `end` along
    them; `gap` is the distance in the middle of the stretch.
    """

    lower: Index
    upper: Index
    start: Floats
    end: Floats
    gap: Floats

    def __len__(self) -> int:
        return len(self.lower)

    def take(self, rows: Index) -> Neighbours:
        """The rows given, in that order."""
        return Neighbours(
            lower=self.lower[rows],
            upper=self.upper[rows],
            start=self.start[rows],
            end=self.end[rows],
            gap=self.gap[rows],
        )


def faces_of(ends: Floats) -> tuple[Faces, Index]:
    """Faces of straight strokes.

    Args:
        ends: strokes, (n, 4), mm.

    Returns:
        The faces, sorted by direction, offset and position, and for each stroke its face (-1 for a
        stroke without length).
    """
    length = np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1])
    usable = np.flatnonzero(length > SAME_POINT_MM)
    angle = np.degrees(
        np.arctan2(ends[usable, 3] - ends[usable, 1], ends[usable, 2] - ends[usable, 0])
    )
    group, direction = _directions(np.mod(angle, 180.0), length[usable])
    along = np.column_stack([np.cos(np.radians(direction)), np.sin(np.radians(direction))])[group]
    first, last = ends[usable, :2], ends[usable, 2:]
    position = np.column_stack([(first * along).sum(1), (last * along).sum(1)])
    across = np.column_stack([-along[:, 1], along[:, 0]])
    offset = np.column_stack([(first * across).sum(1), (last * across).sum(1)])
    swap = position[:, 0] > position[:, 1]
    position[swap] = position[swap][:, ::-1]
    offset[swap] = offset[swap][:, ::-1]
    return _merged(usable, len(ends), group, along, position, offset)


def _directions(angle: Floats, length: Floats) -> tuple[Index, Floats]:
    """Direction number of each stroke and the angle, degrees in [0, 180), of each direction.

    The longest strokes set the directions; each further one joins the nearest within its own
    uncertainty, which is the larger the shorter it is, or sets a new one.
    """
    allowed = np.degrees(np.arctan2(4 * WALL_SNAP_MM, np.maximum(length, 1.0)))
    allowed = np.clip(allowed, ONE_DIRECTION_DEG, MOST_DEG)
    order = np.lexsort((angle, -length))
    group = np.empty(len(angle), dtype=np.int64)
    centres: list[float] = []
    numbers: list[int] = []
    for k, a, tolerance in zip(
        order.tolist(), angle[order].tolist(), allowed[order].tolist(), strict=True
    ):
        place = _nearest(centres, a)
        if place is None or _apart(centres[place], a) > tolerance:
            place = bisect_left(centres, a)
            centres.insert(place, a)
            numbers.insert(place, len(numbers))
        group[k] = numbers[place]
    direction = np.empty(len(centres))
    direction[numbers] = centres
    return group, direction


def _nearest(centres: list[float], angle: float) -> int | None:
    """Place of the centre nearest to an angle, the circle of 180 degrees closed."""
    if not centres:
        return None
    right = bisect_left(centres, angle)
    places = (right % len(centres), right - 1)
    return min(places, key=lambda p: (_apart(centres[p], angle), centres[p]))


def _apart(one: float, two: float) -> float:
    off = abs(one - two) % 180.0
    return min(off, 180.0 - off)


def _merged(
    usable: Index, count: int, group: Index, along: Floats, position: Floats, offset: Floats
) -> tuple[Faces, Index]:
    """Strokes on one line that touch or overlap as one face, ends kept exact."""
    middle = offset.mean(axis=1)
    level = _levels(group, middle)
    order = np.lexsort((position[:, 0], level))
    face_of = np.full(count, -1)
    starts: list[int] = []
    reach, current = -np.inf, -1
    ends_at: list[int] = []
    low_position, high_position = position[:, 0], position[:, 1]
    for k in order.tolist():
        if level[k] != current or low_position[k] > reach + SAME_POINT_MM:
            starts.append(k)
            ends_at.append(k)
            reach, current = high_position[k], level[k]
        elif high_position[k] > reach:
            reach = high_position[k]
            ends_at[-1] = k
        face_of[usable[k]] = len(starts) - 1
    head, tail = np.array(starts, dtype=np.int64), np.array(ends_at, dtype=np.int64)
    faces = Faces(
        group=group[head],
        along=along[head],
        start=position[head, 0],
        end=position[tail, 1],
        low=offset[head, 0],
        high=offset[tail, 1],
    )
    return faces, face_of


def _levels(group: Index, middle: Floats) -> Index:
    """Number of the line each stroke lies on: same direction, offsets within `SAME_FACE_MM`."""
    order = np.lexsort((middle, group))
    step = (np.diff(group[order]) != 0) | (np.diff(middle[order]) > SAME_FACE_MM)
    level = np.empty(len(group), dtype=np.int64)
    level[order] = np.concatenate([[0], np.cumsum(step)]) if len(group) else []
    return level


def neighbours(faces: Faces, reach: float) -> Neighbours:
    """For every face the first faces seen square off it, on stretches of any length.

    Args:
        faces: the faces.
        reach: how far is looked, mm; farther neighbours are left out.
    """
    middle = (faces.low + faces.high) / 2
    order = np.lexsort((faces.start, middle, faces.group))
    rows: list[tuple[int, int, float, float]] = []
    splits = np.flatnonzero(np.diff(faces.group[order])) + 1
    for part in np.split(order, splits):
        if len(part) > 1:
            _sweep(part, faces, rows)
    if not rows:
        empty = np.empty(0)
        none = np.empty(0, dtype=np.int64)
        return Neighbours(lower=none, upper=none, start=empty, end=empty, gap=empty)
    table = np.array(rows)
    lower, upper = table[:, 0].astype(np.int64), table[:, 1].astype(np.int64)
    start, end = table[:, 2], table[:, 3]
    centre = (start + end) / 2
    gap = faces.offset_at(upper, centre) - faces.offset_at(lower, centre)
    found = Neighbours(lower=lower, upper=upper, start=start, end=end, gap=gap)
    return found.take(np.flatnonzero(gap <= reach))


def _sweep(part: Index, faces: Faces, rows: list[tuple[int, int, float, float]]) -> None:
    """Skyline sweep over the faces of one direction, from the lowest offset up.

    `cuts[k]` is where the skyline's stretch k begins, `owner[k]` the face seen last there (-1 for
    none); the last stretch is endless.
    """
    cuts: list[float] = [-np.inf]
    owner: list[int] = [-1]
    start, end = faces.start[part].tolist(), faces.end[part].tolist()
    for face, x0, x1 in zip(part.tolist(), start, end, strict=True):
        if x1 <= x0:
            continue
        first = bisect_right(cuts, x0) - 1
        last = bisect_left(cuts, x1) - 1
        for k in range(first, last + 1):
            if owner[k] >= 0:
                left = max(x0, cuts[k])
                right = min(x1, cuts[k + 1]) if k + 1 < len(cuts) else x1
                if right - left > SAME_POINT_MM:
                    rows.append((owner[k], face, left, right))
        before, after = owner[first], owner[last]
        new_cuts, new_owner = [x0], [face]
        if cuts[first] < x0:
            new_cuts.insert(0, cuts[first])
            new_owner.insert(0, before)
        if last + 1 >= len(cuts) or cuts[last + 1] > x1:
            new_cuts.append(x1)
            new_owner.append(after)
        cuts[first : last + 1] = new_cuts
        owner[first : last + 1] = new_owner


LADDER_FACES: Final = 5
"""So many strokes at one distance are treads, planks, tiles or hatching, never faces of walls."""

EVEN_SHARE: Final = 0.08
EVEN_MM: Final = 4.0
"""Distances that differ by no more than this share (or this much) are one distance."""


def ladder_rungs(faces: Faces, pairs: Neighbours) -> NDArray[np.bool_]:
    """Which faces stand in a row of at least `LADDER_FACES` at even distances.

    Args:
        faces: the faces.
        pairs: what `neighbours` found among them.
    """
    length = faces.length()
    rung = np.zeros(len(faces), dtype=bool)
    if not len(pairs):
        return rung
    rows = np.flatnonzero(
        2 * (pairs.end - pairs.start) > np.minimum(length[pairs.lower], length[pairs.upper])
    )
    lower, upper = pairs.lower[rows], pairs.upper[rows]
    chain = _climb(lower, upper, pairs.gap[rows]) + _climb(-upper, -lower, pairs.gap[rows]) - 1
    for k in np.flatnonzero(chain >= LADDER_FACES - 1).tolist():
        rung[lower[k]] = rung[upper[k]] = True
    return rung


def _climb(lower: Index, upper: Index, gap: Floats) -> Index:
    """How many pairs follow on each other at one distance from each pair on, itself counted. Faces are
    numbered from low to high.
    """
    steps = np.ones(len(lower), dtype=np.int64)
    starting: dict[int, list[int]] = {}
    for k in np.argsort(-lower, kind="stable").tolist():
        allowed = max(EVEN_MM, EVEN_SHARE * gap[k])
        steps[k] += max(
            (
                int(steps[j])
                for j in starting.get(int(upper[k]), ())
                if abs(gap[j] - gap[k]) <= allowed
            ),
            default=0,
        )
        starting.setdefault(int(lower[k]), []).append(k)
    return steps
