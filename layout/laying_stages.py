"""Stages: where the work stops until the furniture has moved.

A line that runs along the rows becomes the nearest row line: the rows beyond it wait. Across the rows a
floor can only stop at end joints, so each row stops at one near the line. Where a row of the first stage
reaches further than the row it locks into, the plank that comes there later is closed in between two
laid rows and has to be pushed in; so the joints step back from row to row as far as they can.

    row 3  _____|            :
    row 2  __________|       :           every step back costs nothing,
    row 1  __________________:__|        every step forwards one plank that is pushed in
                          the line
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from importer.plan import Point
from importer.tolerance import LENGTH_MM, SLIVER_WIDTH_MM
from layout.floor import Frame, Run, StageBorder, Touch
from layout.laying_around import Around, StageCut
from layout.laying_legs import Part
from layout.laying_stops import Crossed, stops
from layout.sequence import LayingOrder, lay_parts, parts_of


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """A bay before its pieces are numbered: runs, seams, joints of each run, the room of each run, and
    the length of a plank. Bay frame, mm.
    """

    runs: tuple[Run, ...]
    touches: tuple[Touch, ...]
    joints: tuple[tuple[float, ...], ...]
    rooms: tuple[int, ...]
    plank: float
    frame: Frame


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ordered:
    """The parts in the order of laying with the stages they are laid in, numbered from 1 without gaps,
    and what was chosen for each line.
    """

    parts: tuple[Part, ...]
    stages: tuple[int, ...]
    borders: tuple[StageBorder, ...] = ()


def ordered(ground: Ground, around: Around) -> Ordered:
    """The order of laying, stage by stage."""
    whole = lay_parts(parts_of(ground.runs, ground.rooms), ground.touches)
    if not around.cuts:
        runs = parts_of(ground.runs, ground.rooms)
        return Ordered(parts=tuple(runs[i] for i in whole.runs), stages=(1,) * len(runs))
    place = {i: n for n, i in enumerate(whole.runs)}
    found = _staged(ground, around, place, place)
    if not _pushed(found, ground):
        return found
    # What waits may be reached from the other side than it would have been, so that its rows have to
    # step the other way.
    late = {part.run: n for n, part in enumerate(found.parts)}
    return min(found, _staged(ground, around, place, late), key=lambda f: _pushed(f, ground))


def _staged(
    ground: Ground, around: Around, place: Mapping[int, int], late: Mapping[int, int]
) -> Ordered:
    """Every line parting the runs in turn. `place` is the place of each run in the order of laying
    without stages, `late` that of what waits of it.
    """
    staging = _Staging(ground, around, place, late)
    for cut in staging.in_work_order(around.cuts):
        staging.part(cut)
    first = min(place, key=lambda run: place[run])
    parts, order = staging.parts(), _in_stages(staging.parts(), first, ground)
    # What cannot be reached in its stage waits for the next, and is then one with what comes after it.
    while staging.join({parts[i].index: s for i, s in zip(order.runs, order.stages, strict=True)}):
        parts = staging.parts()
        order = _in_stages(parts, first, ground)
    dense = {s: n for n, s in enumerate(sorted(set(order.stages)), start=1)}
    return Ordered(
        parts=tuple(parts[i] for i in order.runs),
        stages=tuple(dense[s] for s in order.stages),
        borders=staging.borders(),
    )


def _in_stages(parts: Sequence[Part], first: int, ground: Ground) -> LayingOrder:
    """The order of parts, beginning where the work would begin without stages if that can be."""
    least = min(p.stage for p in parts)
    starts = [p.index for p in parts if p.run == first and p.stage == least]
    touches = part_touches(parts, ground.touches)
    return lay_parts(parts, touches, starter=starts[0] if starts else None)


def _pushed(found: Ordered, ground: Ground) -> int:
    """Parts that are closed in by what is laid before them."""
    place = {p.index: n for n, p in enumerate(found.parts)}
    parts = sorted(found.parts, key=lambda p: p.index)
    sides: dict[int, set[int]] = defaultdict(set)
    for t in part_touches(parts, ground.touches):
        late, side = (t.above, -1) if place[t.below] < place[t.above] else (t.below, 1)
        sides[late].add(side)
    return sum(len(own) == 2 for own in sides.values())


def part_touches(parts: Sequence[Part], touches: Sequence[Touch]) -> tuple[Touch, ...]:
    """The seams between parts, by their indices."""
    of_run: dict[int, list[Part]] = defaultdict(list)
    for part in parts:
        of_run[part.run].append(part)
    found: list[Touch] = []
    for t in touches:
        for low in of_run[t.below]:
            for high in of_run[t.above]:
                x0, x1 = max(t.x0, low.x0, high.x0), min(t.x1, low.x1, high.x1)
                if x1 - x0 > SLIVER_WIDTH_MM:
                    found.append(Touch(below=low.index, above=high.index, x0=x0, x1=x1))
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Stepped:
    """A line across rows: the stage that ends there, and the rows on it in the order of laying, each
    with the place where the line crosses it.
    """

    stage: int
    cut: StageCut
    on: tuple[tuple[Run, float], ...]


class _Staging:
    """Runs parted line by line."""

    def __init__(
        self, ground: Ground, around: Around, place: Mapping[int, int], late: Mapping[int, int]
    ) -> None:
        self._ground = ground
        self._around = around
        self._place = place
        self._late = late
        self._touching = {(t.below, t.above) for t in ground.touches}
        self._spans: dict[int, list[tuple[float, float, int]]] = {
            r.index: [(r.x0, r.x1, 1)] for r in ground.runs
        }
        self._made: list[StageBorder | _Stepped] = []

    def parts(self) -> tuple[Part, ...]:
        """The parts so far."""
        found: list[Part] = []
        for run in self._ground.runs:
            for x0, x1, stage in self._spans[run.index]:
                found.append(
                    Part(
                        index=len(found),
                        run=run.index,
                        row=run.row,
                        x0=x0,
                        x1=x1,
                        stage=stage,
                        place=self._ground.rooms[run.index],
                    )
                )
        return tuple(found)

    def in_work_order(self, cuts: Sequence[StageCut]) -> list[StageCut]:
        """The lines in their order; those of one room and direction as the work gets to them."""
        kinds = [(cut.room, self._runs_along(cut)) for cut in cuts]
        found = list(cuts)
        for kind in dict.fromkeys(kinds):
            places = [n for n, k in enumerate(kinds) if k == kind]
            own = sorted((cuts[n] for n in places), key=self._reached_at)
            for n, cut in zip(places, own, strict=True):
                found[n] = cut
        return found

    def _reached_at(self, cut: StageCut) -> float:
        a, b = self._line(cut)
        if not self._runs_along(cut):
            return (a[0] + b[0]) / 2
        members = sorted(self._members(cut), key=lambda r: self._place[r.index])
        upwards = not members or members[0].y0 <= members[-1].y0
        return (a[1] + b[1]) / 2 * (1.0 if upwards else -1.0)

    def _line(self, cut: StageCut) -> tuple[Point, Point]:
        a, b = (self._ground.frame.point_to_bay(p) for p in cut.line)
        return a, b

    def _runs_along(self, cut: StageCut) -> bool:
        a, b = self._line(cut)
        return abs(b[1] - a[1]) <= abs(b[0] - a[0])

    def _members(self, cut: StageCut) -> list[Run]:
        rooms = self._ground.rooms
        return [r for r in self._ground.runs if rooms[r.index] == cut.room]

    def part(self, cut: StageCut) -> None:
        """Let wait what lies beyond a line."""
        members, line = self._members(cut), self._line(cut)
        number = 1 + sum(b.stage > 0 for b in self._made)
        if self._runs_along(cut):
            level = (line[0][1] + line[1][1]) / 2
            self._made.append(self._along(number, cut, members, level))
        else:
            self._made.append(self._across(number, cut, members, line))

    def join(self, laid: Mapping[int, int]) -> bool:
        """Make neighbouring parts of a run one where they are laid in the same stage; `laid` gives the
        stage of each part by its index. False where there is none.
        """
        found = False
        index = 0
        for run in self._ground.runs:
            spans = self._spans[run.index]
            now = [(x0, x1, laid[index + n]) for n, (x0, x1, _) in enumerate(spans)]
            index += len(spans)
            joined = _joined(now)
            if len(joined) < len(spans):
                self._spans[run.index] = joined
                found = True
        return found

    def borders(self) -> tuple[StageBorder, ...]:
        """What was chosen for each line."""
        return tuple(self._told(b) if isinstance(b, _Stepped) else b for b in self._made)

    # --- along the rows -------------------------------------------------------------------------

    def _along(
        self, number: int, cut: StageCut, members: Sequence[Run], level: float
    ) -> StageBorder:
        levels = sorted({round(r.y1, 3) for r in members})[:-1]
        if not levels:
            return self._nothing(cut)
        line = min(levels, key=lambda y: (abs(y - level), y))
        first = min(members, key=lambda r: self._place[r.index])
        upwards = first.y1 <= line + LENGTH_MM
        late = [r for r in members if (r.y0 >= line - LENGTH_MM) is upwards]
        for run in late:
            self._spans[run.index] = [
                (x0, x1, max(stage, number + 1)) for x0, x1, stage in self._spans[run.index]
            ]
        edge = [r for r in members if abs((r.y1 if upwards else r.y0) - line) <= LENGTH_MM]
        ends = (min(r.x0 for r in edge), line), (max(r.x1 for r in edge), line)
        off = (line - level) * (1.0 if upwards else -1.0)
        rows = ", ".join(dict.fromkeys(str(r.row) for r in edge))
        return self._border(
            number, cut, ends, f"ends with row {rows} of {self._room(cut)}, {_off(off)}"
        )

    # --- across the rows ------------------------------------------------------------------------

    def _across(
        self,
        number: int,
        cut: StageCut,
        members: Sequence[Run],
        line: tuple[Point, Point],
    ) -> StageBorder | _Stepped:
        crossed = [(r, _at(line, (r.y0 + r.y1) / 2)) for r in members]
        on = [(r, x) for r, x in crossed if r.x0 < x - LENGTH_MM and x + LENGTH_MM < r.x1]
        if not on:
            return self._nothing(cut)
        on.sort(key=lambda m: self._late[m[0].index])
        touching = [False, *(self._do_touch(a, b) for (a, _), (b, _) in pairwise(on))]
        rows = [
            Crossed(x0=r.x0, line=x, near=self._near(r, x), touches=t)
            for (r, x), t in zip(on, touching, strict=True)
        ]
        for run, x in crossed:
            if run.x0 >= x - LENGTH_MM:
                self._wait(run, run.x0, number + 1)
        for (run, _), place in zip(on, stops(rows, self._ground.plank), strict=True):
            self._wait(run, place, number + 1)
        return _Stepped(stage=number, cut=cut, on=tuple(on))

    def _told(self, stepped: _Stepped) -> StageBorder:
        """The stepped line where the rows stop, and which of them step forwards."""
        places = [self._stop(run, stepped.stage) for run, _ in stepped.on]
        rows = [run for run, _ in stepped.on]
        steps = [
            str(a.row)
            for n, (a, b) in enumerate(pairwise(rows))
            if self._do_touch(a, b) and places[n + 1] > places[n] + SLIVER_WIDTH_MM
        ]
        offs = [place - x for (_, x), place in zip(stepped.on, places, strict=True)]
        words = (
            f"ends at end joints in {self._room(stepped.cut)}, from {_off(min(offs))} to "
            f"{_off(max(offs))}; the floor must be clear as far"
        )
        if steps:
            named = f"row {steps[0]} goes" if len(steps) == 1 else f"rows {', '.join(steps)} go"
            words += f". Where {named} on, the first plank lies between laid rows and is pushed in"
        path = _steps(list(zip(rows, places, strict=True)))
        return self._border(stepped.stage, stepped.cut, path, words)

    def _stop(self, run: Run, stage: int) -> float:
        """Where a run stops at the end of a stage."""
        spans = self._spans[run.index]
        return next((x0 for x0, _, s in spans if s > stage), spans[-1][1])

    def _near(self, run: Run, x: float) -> tuple[float, ...]:
        """Where a run can stop: its joints and ends within a plank of the line, else the nearest."""
        every = [run.x0, *self._ground.joints[run.index], run.x1]
        near = tuple(p for p in every if abs(p - x) <= self._ground.plank)
        return near or (min(every, key=lambda p: abs(p - x)),)

    def _do_touch(self, a: Run, b: Run) -> bool:
        return (a.index, b.index) in self._touching or (b.index, a.index) in self._touching

    def _wait(self, run: Run, x: float, stage: int) -> None:
        """What lies right of x is laid in that stage at the earliest."""
        spans: list[tuple[float, float, int]] = []
        for x0, x1, old in self._spans[run.index]:
            if x1 <= x + LENGTH_MM:
                spans.append((x0, x1, old))
            elif x0 >= x - LENGTH_MM or old >= stage:
                spans.append((x0, x1, max(old, stage)))
            else:
                spans += [(x0, x, old), (x, x1, stage)]
        self._spans[run.index] = _joined(spans)

    # --- words ----------------------------------------------------------------------------------

    def _room(self, cut: StageCut) -> str:
        return self._around.rooms[cut.room].name

    def _nothing(self, cut: StageCut) -> StageBorder:
        why = f"The {cut.words} parts nothing: all of {self._room(cut)} lies on one side of it."
        return StageBorder(stage=0, asked=cut.line, path=(), why=why)

    def _border(self, number: int, cut: StageCut, path: Sequence[Point], words: str) -> StageBorder:
        frame = self._ground.frame
        return StageBorder(
            stage=number,
            asked=cut.line,
            path=tuple(frame.point_to_plan(p) for p in path),
            why=f"Stage {number} ({cut.words}) {words}.",
        )


def _at(line: tuple[Point, Point], y: float) -> float:
    """Abscissa of a line, drawn on without end, at an ordinate."""
    (x0, y0), (x1, y1) = line
    return x0 + (y - y0) / (y1 - y0) * (x1 - x0)


def _off(off: float) -> str:
    """How far something is off the line, in the direction of the work."""
    if abs(off) < 0.5:
        return "on the line"
    return f"{abs(off):.0f} {'beyond' if off > 0 else 'short of'} the line"


def _joined(spans: Sequence[tuple[float, float, int]]) -> list[tuple[float, float, int]]:
    """Spans of one stage side by side as one."""
    found: list[tuple[float, float, int]] = []
    for x0, x1, stage in spans:
        if found and found[-1][2] == stage:
            found[-1] = (found[-1][0], x1, stage)
        else:
            found.append((x0, x1, stage))
    return found


def _steps(stops: Sequence[tuple[Run, float]]) -> list[Point]:
    """The stepped line through the places where rows stop, across the rows."""
    path: list[Point] = []
    for run, x in sorted(stops, key=lambda s: (s[0].y0, s[1])):
        path += [(x, run.y0), (x, run.y1)]
    return path


class Places:
    """Place in the order of laying and stage of every piece, by run and abscissa."""

    def __init__(self, found: Ordered) -> None:
        self._of_run: dict[int, list[tuple[float, int, int]]] = defaultdict(list)
        for place, (part, stage) in enumerate(zip(found.parts, found.stages, strict=True)):
            self._of_run[part.run].append((part.x0, place, stage))
        for own in self._of_run.values():
            own.sort()

    def of(self, run: int, x: float) -> tuple[int, int]:
        """Place and stage of the piece whose middle is at x."""
        own = self._of_run[run]
        _, place, stage = next((p for p in reversed(own) if p[0] <= x), own[0])
        return place, stage
