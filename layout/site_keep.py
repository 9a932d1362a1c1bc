"""A laid bay in a room that came out a little different: same row lines, same joints, same planks; end
pieces and rips cut to the new measures.

Joints stay where they lie on the floor. What the room is longer or wider than the planks reach may stay
open as far as the cover hides it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf

import numpy as np
import shapely
from shapely import Polygon

from importer.plan import Plan
from importer.tolerance import AREA_MM2, GRID_MM, LENGTH_MM, SAME_POINT_MM, SLIVER_WIDTH_MM
from layout.bay_chords import chords_of
from layout.bay_edges import edge_rows, site_slack, strips_at
from layout.bay_tapers import tapers_of
from layout.demand import JointPlan
from layout.floor import Bay, BayLayout, Piece, Role, Run, SettingOut, Touch
from layout.pieces import Draft, cut_pieces, cut_to
from layout.row_grid import GridEdge, best_grid
from layout.rules import RuleSet
from layout.runs import cut_runs
from layout.setting_out import edges_in, floor_in
from layout.window import closing, growth_left, opening

Joints = tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Refloor:
    """The runs of the new floor on the old row lines, and the joints that they keep: run by run. `bay`
    has the floor that is covered. `old` tells for each run which run of the layout it was, None for one
    that is new.
    """

    bay: Bay
    setting_out: SettingOut
    runs: tuple[Run, ...]
    touches: tuple[Touch, ...]
    joints: Joints
    old: tuple[int | None, ...]


# --- row lines ----------------------------------------------------------------------------------


def same_lines(bay: Bay, plan: Plan, drawn: SettingOut, rules: RuleSet) -> SettingOut:
    """The setting-out of the new floor on the row lines as they were."""
    return _with_strips(drawn, edges_in(bay, plan, drawn.frame, rules), bay, rules)


def _with_strips(
    setting_out: SettingOut, edges: Sequence[GridEdge], bay: Bay, rules: RuleSet
) -> SettingOut:
    """The row lines with what every edge is left with, the first and the last row, and the tapers."""
    width, phase = rules.plank.width, setting_out.phase_mm
    floor = floor_in(bay, setting_out.frame)
    strips = strips_at(edges, phase, width)
    first, last = edge_rows(strips, floor, phase, width)
    found = replace(setting_out, strips=strips, first_row_mm=first, last_row_mm=last)
    return replace(found, tapers=tapers_of(found, floor, width))


def new_lines(bay: Bay, plan: Plan, drawn: SettingOut, rules: RuleSet) -> SettingOut:
    """The same direction and start wall, the row lines where they serve the new floor best; what was
    measured needs no tolerance in hand.
    """
    edges = edges_in(bay, plan, drawn.frame, rules)
    _, low, _, high = floor_in(bay, drawn.frame).bounds
    grid = best_grid(
        edges,
        width=rules.plank.width,
        slack=replace(site_slack(rules), tolerance=0.0),
        extent=(low, high),
    )
    step = grid.phase_mm - drawn.phase_mm
    (vx, vy), datum = drawn.frame.across, drawn.datum
    moved = replace(
        drawn,
        phase_mm=grid.phase_mm,
        slack_mm=grid.slack_mm,
        datum=(
            (datum[0][0] + step * vx, datum[0][1] + step * vy),
            (datum[1][0] + step * vx, datum[1][1] + step * vy),
        ),
        datum_offset_mm=(drawn.datum_offset_mm[0] + step, drawn.datum_offset_mm[1] + step),
    )
    return _with_strips(moved, edges, bay, rules)


# --- runs and joints ----------------------------------------------------------------------------


def refloor(layout: BayLayout, bay: Bay, setting_out: SettingOut, rules: RuleSet) -> Refloor:
    """The new floor cut on the row lines of `setting_out`, with the joints of the layout.

    Raises:
        LayoutError: the new outline has no floor.
    """
    runs, touches = cut_runs(floor_in(bay, setting_out.frame), setting_out, rules)
    hidden = rules.gap.cover - rules.gap.wall
    joints_of = joints_by_run(layout.pieces)
    reach, start_reach = _reaches(layout, rules), _start_reaches(layout, rules)
    kept: list[tuple[Run, tuple[float, ...], int | None]] = []
    whole: list[int] = []
    for run in runs:
        for part in _worth_laying(run, layout.runs, hidden):
            was = _match(part, layout.runs)
            part = _covered_from(part, start_reach.get(was, -inf), hidden)  # noqa: PLW2901
            joints = _kept_joints(part, joints_of.get(-1 if was is None else was, ()), rules)
            covered = _covered(part, reach.get(was, inf), hidden)
            # A last piece whose own plank would give no more can still be a whole plank.
            longest = (joints[-1] if joints else part.x0) + rules.plank.length
            if covered.x1 > longest:
                covered = _covered(part, longest, hidden)
            kept.append((replace(covered, index=len(kept)), joints, was))
            whole.append(run.index)
    seams = _seams_between(touches, [k[0] for k in kept], whole)
    own = _touching([k[0] for k in kept], seams)
    return Refloor(
        bay=_covered_bay(bay, own, setting_out),
        setting_out=setting_out,
        runs=own,
        touches=seams,
        joints=tuple(k[1] for k in kept),
        old=tuple(k[2] for k in kept),
    )


def _seams_between(
    touches: Sequence[Touch], parts: Sequence[Run], whole: Sequence[int]
) -> tuple[Touch, ...]:
    """The seams between parts of runs; `whole` names the run that each is part of."""
    of: dict[int, list[Run]] = {}
    for part, run in zip(parts, whole, strict=True):
        of.setdefault(run, []).append(part)
    found = []
    for t in touches:
        for below in of.get(t.below, ()):
            for above in of.get(t.above, ()):
                x0 = max(t.x0, below.x0, above.x0)
                x1 = min(t.x1, below.x1, above.x1)
                if x1 - x0 > SLIVER_WIDTH_MM and above.y0 - below.y1 <= LENGTH_MM:
                    found.append(Touch(below=below.index, above=above.index, x0=x0, x1=x1))
    return tuple(found)


def _touching(runs: Sequence[Run], touches: Sequence[Touch]) -> tuple[Run, ...]:
    above, below = {t.below for t in touches}, {t.above for t in touches}
    return tuple(
        replace(r, touches_above=r.index in above, touches_below=r.index in below) for r in runs
    )


def _match(run: Run, old: Sequence[Run]) -> int | None:
    """The run of the same row that shares most of its length."""
    shared = [
        (min(run.x1, o.x1) - max(run.x0, o.x0), -abs(run.y1 - o.y1) - abs(run.y0 - o.y0), -o.index)
        for o in old
        if o.row == run.row
    ]
    best = max(shared, default=(0.0, 0.0, 0))
    return -best[2] if best[0] > SLIVER_WIDTH_MM else None


def joints_by_run(pieces: Sequence[Piece]) -> Mapping[int, tuple[float, ...]]:
    """Where a piece ends and the next of its run begins, by run."""
    if not pieces:
        return {}
    bounds = shapely.bounds(np.asarray([p.shape for p in pieces], dtype=object))
    starts: dict[int, list[float]] = {}
    for piece, x0 in zip(pieces, bounds[:, 0].tolist(), strict=True):
        places = starts.setdefault(piece.run, [])
        if all(abs(x0 - x) > LENGTH_MM for x in places):
            places.append(x0)
    return {run: tuple(sorted(places)[1:]) for run, places in starts.items()}


def _kept_joints(run: Run, joints: Sequence[float], rules: RuleSet) -> tuple[float, ...]:
    """Joints of the old run within the new one, and more a plank apart where it is longer."""
    plank, hidden = rules.plank.length, rules.gap.cover - rules.gap.wall
    length = run.x1 - run.x0
    if not joints:
        # A run out of one piece that no plank reaches any more is parted somewhere for now.
        return () if length <= plank + hidden else spaced(run, length / ceil(length / plank), plank)
    first = (joints[0] - run.x0) % plank
    places = spaced(run, first, plank)
    if len(places) > len(joints) and run.x1 - places[-1] <= hidden:
        return places[:-1]
    return places


def spaced(run: Run, first: float, plank: float) -> tuple[float, ...]:
    """Joints of a run whose first piece is `first` long, a plank apart, as far as the run goes."""
    start = first if first > SAME_POINT_MM else first + plank
    count = max(0, ceil((run.x1 - run.x0 - start - SAME_POINT_MM) / plank))
    return tuple(round(run.x0 + start + plank * k, 6) for k in range(count))


# --- what stays bare below the cover ------------------------------------------------------------


def _worth_laying(run: Run, old: Sequence[Run], hidden: float) -> list[Run]:
    """The run without the stretches beyond the old rows that are so thin that the cover hides them."""
    known = [(o.x0 - hidden, o.x1 + hidden) for o in old if o.row == run.row]
    if run.y1 - run.y0 <= hidden + LENGTH_MM:
        return [run] if any(a <= run.x0 and run.x1 <= b for a, b in known) else []
    x0, _, x1, _ = run.shape.bounds
    if run.shape.area >= (x1 - x0) * (run.y1 - run.y0) - AREA_MM2:
        return [run]
    chords = chords_of(run.shape)
    thin = np.maximum(chords.start, chords.end) <= hidden + LENGTH_MM
    thin &= [
        not any(a <= p and q <= b for a, b in known)
        for p, q in zip(chords.x[:-1].tolist(), chords.x[1:].tolist(), strict=True)
    ]
    if not thin.any():
        return [run]
    edges = np.flatnonzero(np.diff(np.concatenate([[1], thin, [1]])))
    return [
        part
        for i, j in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        if (part := _part(run, float(chords.x[i]), float(chords.x[j]))) is not None
    ]


def _part(run: Run, x0: float, x1: float) -> Run | None:
    """The stretch of a run between two places along it."""
    shape = shapely.clip_by_rect(run.shape, x0, run.y0 - 1.0, x1, run.y1 + 1.0)
    if not isinstance(shape, Polygon) or shape.is_empty:
        return None
    a, b, c, d = shape.bounds
    return replace(
        run,
        shape=shape,
        x0=a,
        y0=b,
        x1=c,
        y1=d,
        void_start_mm=run.void_start_mm if a <= run.x0 + LENGTH_MM else 0.0,
        void_end_mm=run.void_end_mm if c >= run.x1 - LENGTH_MM else 0.0,
    )


def _reaches(layout: BayLayout, rules: RuleSet) -> Mapping[int | None, float]:
    """Per run how far along its last piece reaches before its plank gives no more."""
    left = growth_left(layout.pieces, rules, closing(layout.pieces), 0)
    reach: dict[int | None, float] = {}
    for piece in layout.pieces:
        if piece.id in left:
            x1 = piece.shape.bounds[2] + left[piece.id]
            reach[piece.run] = max(x1, reach.get(piece.run, x1))
    return reach


def _start_reaches(layout: BayLayout, rules: RuleSet) -> Mapping[int | None, float]:
    """Per run how far back its first piece reaches before its plank gives no more."""
    left = growth_left(layout.pieces, rules, opening(layout.pieces), 0)
    reach: dict[int | None, float] = {}
    for piece in layout.pieces:
        if piece.id in left:
            x0 = piece.shape.bounds[0] - left[piece.id]
            reach[piece.run] = min(x0, reach.get(piece.run, x0))
    return reach


def _covered_from(run: Run, reach: float, hidden: float) -> Run:
    """The run from where its pieces reach back to, where what is before that stays hidden."""
    if not 0.0 < reach - run.x0 <= hidden + LENGTH_MM:
        return run
    part = shapely.clip_by_rect(run.shape, reach, run.y0 - 1.0, run.x1 + 1.0, run.y1 + 1.0)
    if not isinstance(part, Polygon) or part.is_empty:
        return run
    return replace(run, shape=part, x0=part.bounds[0], y0=part.bounds[1], y1=part.bounds[3])


def _covered(run: Run, reach: float, hidden: float) -> Run:
    """The run as far as its pieces reach, where what is left stays hidden below the cover."""
    if not 0.0 < run.x1 - reach <= hidden + LENGTH_MM:
        return run
    part = shapely.clip_by_rect(run.shape, run.x0 - 1.0, run.y0 - 1.0, reach, run.y1 + 1.0)
    if not isinstance(part, Polygon) or part.is_empty:
        return run
    return replace(run, shape=part, x1=part.bounds[2], y0=part.bounds[1], y1=part.bounds[3])


def _covered_bay(bay: Bay, kept: Sequence[Run], setting_out: SettingOut) -> Bay:
    """The bay with the floor that is covered, as it was cut into runs."""
    floor = floor_in(bay, setting_out.frame)
    if floor.area - sum(r.shape.area for r in kept) > LENGTH_MM:
        laid = shapely.union_all([r.shape for r in kept], grid_size=GRID_MM)
        floor = laid if isinstance(laid, Polygon) else floor
    return replace(bay, floor=setting_out.frame.to_plan(floor))


# --- pieces -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Placing:
    """A draft and the piece that it was; None where it is new and has no plank yet."""

    draft: Draft
    was: Piece | None


def placings(layout: BayLayout, new: Refloor, rules: RuleSet) -> tuple[Placing, ...]:
    """The pieces of the new floor, each with the piece that it was: run by run, where a run still has as
    many pieces.

    Raises:
        LayoutError: a piece came out longer than a plank.
    """
    plan = JointPlan(joints=new.joints, planks=0)
    before: dict[int, list[Piece]] = {}
    for piece in layout.pieces:
        before.setdefault(piece.run, []).append(piece)
    after: dict[int, list[Draft]] = {}
    for draft in cut_pieces(new.runs, new.touches, plan, rules):
        after.setdefault(draft.run.index, []).append(draft)
    found: list[Placing] = []
    for index, drafts in after.items():
        was = new.old[index]
        old = sorted(before.get(was, ()), key=_place) if was is not None else []
        same = len(old) == len(drafts)
        drafts.sort(key=lambda d: (d.box.x0, d.box.y0))
        for n, draft in enumerate(drafts):
            found.append(Placing(draft=draft, was=old[n] if same else None))
    return tuple(found)


def _place(piece: Piece) -> tuple[float, float]:
    x0, y0, _, _ = piece.shape.bounds
    return x0, y0


def kept_piece(draft: Draft, was: Piece, rules: RuleSet) -> Piece:
    """The piece cut to its new measure at the same end and edge of the same plank."""
    plank = rules.plank
    length, width = draft.blank_length_mm, draft.blank_width_mm
    at_far_edge = was.plank_y_mm + was.blank_width_mm >= plank.width - LENGTH_MM
    both = draft.keeps_near_edge and draft.keeps_far_edge
    y = 0.0 if both or not at_far_edge or draft.keeps_near_edge else plank.width - width
    at_far_end = was.plank_x_mm + was.blank_length_mm >= plank.length - LENGTH_MM
    is_first = draft.role is Role.FIRST
    x = plank.length - length if is_first or (at_far_end and was.plank_x_mm > 0) else was.plank_x_mm
    return replace(
        cut_to(was, draft),
        plank_x_mm=x,
        plank_y_mm=y if draft.keeps_far_edge or at_far_edge else was.plank_y_mm,
    )
