"""A laid bay in the room as it was measured, with as little change as possible.

First everything is kept: row lines, joints, planks. Where that breaks a rule that the layout kept
before, the row lines move if a strip is too thin, pieces that their plank no longer gives come from
another one, and the joints of as few rows as possible are placed anew.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from importer.plan import Plan
from layout.audit import audit
from layout.floor import Bay, BayId, BayLayout, Breach, Piece, PieceId, PlankId
from layout.laying import in_turn
from layout.pieces import Draft, cut_to
from layout.rules import RuleSet
from layout.site_keep import (
    Placing,
    Refloor,
    joints_by_run,
    kept_piece,
    new_lines,
    placings,
    refloor,
    same_lines,
)
from layout.site_rows import with_other_joints
from layout.site_stock import listed, misfits, placed_anew
from layout.window import extent_of, window
from layout.window_planks import pushed

ROUNDS: Final = 4
"""Times that more rows are let go where fewer do not suffice."""
NO_PLANK: Final = PlankId("")


@dataclass(frozen=True, slots=True, kw_only=True)
class Refit:
    """The new layout, and what changed: rows by number, whether the row lines moved."""

    layout: BayLayout
    recut_rows: tuple[int, ...]
    changed_rows: tuple[int, ...]
    grid_changed: bool


def kept(
    layout: BayLayout, bay: Bay, plan: Plan, rules: RuleSet, others: Sequence[BayLayout] = ()
) -> BayLayout:
    """The layout in the new bay with nothing changed but the measures that pieces are cut to; what that
    breaks is told as breaches. `others` are the bays that may have pieces on the same planks.

    Raises:
        LayoutError: the new bay has no floor.
    """
    new = refloor(layout, bay, same_lines(bay, plan, layout.setting_out, rules), rules)
    fitted = _assembled(layout, new, rules, others, moves=False)
    return replace(fitted, breaches=(*fitted.breaches, *_out_of_reach(layout, new, rules)))


def _out_of_reach(layout: BayLayout, new: Refloor, rules: RuleSet) -> Iterator[Breach]:
    """Runs that need a plank more than they had, because no piece reaches the wall any more."""
    had = joints_by_run(layout.pieces)
    for run, joints, was in zip(new.runs, new.joints, new.old, strict=True):
        old = had.get(was, ()) if was is not None else ()
        if was is None or len(joints) <= len(old):
            continue
        inside = run.shape.representative_point()
        yield Breach(
            rule="plank.length",
            where=f"row {run.row}",
            at=new.setting_out.frame.point_to_plan((inside.x, inside.y)),
            value=round(run.x1 - (old[-1] if old else run.x0), 3),
            limit=rules.plank.length,
            why="No plank reaches from the last joint to the wall.",
        )


def refit(
    layout: BayLayout, bay: Bay, plan: Plan, rules: RuleSet, others: Sequence[BayLayout] = ()
) -> Refit:
    """The layout in the new bay with as little change as possible; `others` are the bays that may have
    pieces on the same planks, which they keep.

    Raises:
        LayoutError: the new bay has no floor.
    """
    lines = same_lines(bay, plan, layout.setting_out, rules)
    best = _on_lines(layout, refloor(layout, bay, lines, rules), rules, others)
    if _has(best.layout.breaches, "rows.min_width") > _has(layout.breaches, "rows.min_width"):
        lines = new_lines(bay, plan, layout.setting_out, rules)
        moved = _on_lines(layout, refloor(layout, bay, lines, rules), rules, others)
        if _rank(moved) < _rank(best):
            best = replace(moved, grid_changed=True)
    return best


def _has(breaches: Sequence[Breach], rule: str) -> int:
    return sum(b.rule == rule for b in breaches)


def _rank(fitted: Refit) -> tuple[int, int, int]:
    return (
        len(fitted.layout.breaches),
        len(fitted.changed_rows),
        len(fitted.layout.planks),
    )


def _on_lines(
    layout: BayLayout, new: Refloor, rules: RuleSet, others: Sequence[BayLayout]
) -> Refit:
    """Least change on given row lines: more and more runs around those in breach may take other joints,
    until no rule is broken that was kept before or more freedom gains nothing.
    """
    best = _fitted(layout, new, rules, others)
    free = _runs_in_breach(best.layout, layout, new)
    for _ in range(ROUNDS):
        if not free:
            break
        other = _fitted(layout, with_other_joints(new, free, rules), rules, others)
        if _rank(other) < _rank(best):
            best = other
        if len(best.layout.breaches) <= len(layout.breaches):
            break
        free = _with_neighbours(free | _runs_in_breach(other.layout, layout, new), new)
    return best


def _fitted(layout: BayLayout, new: Refloor, rules: RuleSet, others: Sequence[BayLayout]) -> Refit:
    fitted = _assembled(layout, new, rules, others, moves=True)
    return Refit(
        layout=fitted,
        recut_rows=_rows_recut(layout, fitted),
        changed_rows=_rows_changed(layout, fitted),
        grid_changed=False,
    )


def _runs_in_breach(fitted: BayLayout, layout: BayLayout, new: Refloor) -> frozenset[int]:
    """Runs with a breach that the layout as drawn did not have, whose joints could mend it, and runs
    whose pieces no longer reach.
    """
    known = {(b.rule, b.where) for b in layout.breaches}
    run_of = {p.id: p.run for p in fitted.pieces}
    by_joints = {"ends.min_length", "ends.never_below", "joints.min_offset", "plank.length"}
    found = {
        run_of[PieceId(b.where)]
        for b in fitted.breaches
        if b.rule in by_joints and (b.rule, b.where) not in known and b.where in run_of
    }
    pieces: dict[int, int] = {}
    for piece in layout.pieces:
        pieces[piece.run] = pieces.get(piece.run, 0) + 1
    found |= {
        run
        for run, was in enumerate(new.old)
        if was is not None and pieces.get(was, 0) == 1 and new.joints[run]
    }
    return frozenset(found)


def _with_neighbours(runs: frozenset[int], new: Refloor) -> frozenset[int]:
    pairs = [(t.below, t.above) for t in new.touches]
    return runs | {b for a, b in pairs if a in runs} | {a for a, b in pairs if b in runs}


# --- what changed -------------------------------------------------------------------------------


def _rows_changed(before: BayLayout, after: BayLayout) -> tuple[int, ...]:
    """Rows with another joint or another number of pieces."""
    old, new = _joints_by_row(before), _joints_by_row(after)
    rows = sorted(old.keys() | new.keys())
    return tuple(r for r in rows if old.get(r) != new.get(r))


def _joints_by_row(layout: BayLayout) -> Mapping[int, tuple[int, list[float]]]:
    found: dict[int, tuple[int, list[float]]] = {}
    starts: dict[int, float] = {}
    for piece in layout.pieces:
        x0 = piece.shape.bounds[0]
        starts[piece.run] = min(x0, starts.get(piece.run, x0))
    for piece in sorted(layout.pieces, key=lambda p: (p.row, p.shape.bounds[0])):
        x0 = piece.shape.bounds[0]
        count, joints = found.get(piece.row, (0, []))
        if x0 > starts[piece.run]:
            joints = [*joints, round(x0, 1)]
        found[piece.row] = (count + 1, joints)
    return found


def _rows_recut(before: BayLayout, after: BayLayout) -> tuple[int, ...]:
    """Rows with the same joints in which a piece is cut to another measure."""
    changed = set(_rows_changed(before, after))
    old = {p.id: p for p in before.pieces}
    rows = {
        p.row
        for p in after.pieces
        if p.row not in changed and p.id in old and not _same_measures(p, old[p.id])
    }
    return tuple(sorted(rows))


def _same_measures(a: Piece, b: Piece) -> bool:
    return all(
        round(u - v) == 0
        for u, v in (
            (a.blank_length_mm, b.blank_length_mm),
            (a.blank_width_mm, b.blank_width_mm),
            (a.end_length_mm, b.end_length_mm),
        )
    )


# --- the layout put together --------------------------------------------------------------------


def _assembled(
    layout: BayLayout,
    new: Refloor,
    rules: RuleSet,
    others: Sequence[BayLayout] = (),
    *,
    moves: bool,
) -> BayLayout:
    """The new layout. `moves`: pieces that their plank no longer gives come from another one."""
    placed = placings(layout, new, rules)
    order = _order(layout, new, placed)
    stay = list(
        pushed(
            [
                _named(kept_piece(p.draft, p.was, rules), p.draft, order[n])
                for n, p in enumerate(placed)
                if p.was is not None
            ],
            rules,
        )
    )
    fresh = [
        _new_piece(p.draft, _template(layout, new, p.draft), order[n])
        for n, p in enumerate(placed)
        if p.was is None
    ]
    beside = [p for o in others for p in o.pieces]
    if moves:
        gone = misfits(stay, beside, rules)
        fresh += [p for p in stay if p.id in gone]
        stay = [p for p in stay if p.id not in gone]
    planks = [p.id for p in layout.planks]
    on_own = [*stay, *(p for p in beside if p.plank in planks)]
    pieces = (*stay, *placed_anew(layout.bay.id, fresh, on_own, planks, rules))
    pieces = in_turn(pieces, new.runs)
    in_order, boards = listed(pieces, layout.planks, others, rules)
    setting_out = new.setting_out
    fitted = replace(
        layout,
        bay=new.bay,
        setting_out=setting_out,
        runs=new.runs,
        pieces=in_order,
        planks=boards,
        bound=min(layout.bound, len(boards)),
        window=window(
            in_order,
            setting_out,
            rules,
            extent=extent_of(new.bay, setting_out.frame),
            beside=beside,
        ),
    )
    return replace(fitted, breaches=audit(fitted, rules, pool=others))


def relisted(layout: BayLayout, others: Sequence[BayLayout], rules: RuleSet) -> BayLayout:
    """The layout with its planks listed anew and audited, after bays that share them have changed."""
    pieces, planks = listed(layout.pieces, layout.planks, others, rules)
    fitted = replace(layout, pieces=pieces, planks=planks, bound=min(layout.bound, len(planks)))
    return replace(fitted, breaches=audit(fitted, rules, pool=others))


def _order(layout: BayLayout, new: Refloor, placed: Sequence[Placing]) -> list[int]:
    """Places in the order of laying: run by run as it was, a new run after those of its row or of the
    rows before it; in a run as its pieces were laid.
    """
    first: dict[int, int] = {}
    row_last: dict[int, int] = {}
    places_of: dict[int, list[float]] = {}
    for piece in layout.pieces:
        first.setdefault(piece.run, piece.order)
        places_of.setdefault(piece.run, []).append(piece.shape.bounds[0])
        row_last[piece.row] = max(piece.order, row_last.get(piece.row, 0))
    backwards = {run: x[-1] < x[0] for run, x in places_of.items()}

    def key(n: int) -> tuple[float, int, float]:
        draft = placed[n].draft
        was = new.old[draft.run.index]
        x = -draft.box.x0 if was is not None and backwards.get(was, False) else draft.box.x0
        if was is not None and was in first:
            return first[was], 0, x
        near = min(row_last, key=lambda r: (abs(r - draft.run.row), r), default=0)
        return row_last.get(near, 0), 1 + draft.run.index, x

    places = [0] * len(placed)
    for place, n in enumerate(sorted(range(len(placed)), key=key), start=1):
        places[n] = place
    return places


def _template(layout: BayLayout, new: Refloor, draft: Draft) -> Piece:
    """A piece whose other properties a new one takes over: of its run, else of the nearest row."""
    was = new.old[draft.run.index]
    own = [p for p in layout.pieces if p.run == was]
    x = (draft.box.x0 + draft.box.x1) / 2

    def far(piece: Piece) -> tuple[int, float, int]:
        x0, _, x1, _ = piece.shape.bounds
        return abs(piece.row - draft.run.row), abs((x0 + x1) / 2 - x), piece.order

    return min(own or layout.pieces, key=far)


def _named(piece: Piece, draft: Draft, order: int) -> Piece:
    return replace(
        piece,
        id=_id(piece.bay, draft),
        row=draft.run.row,
        number=draft.number,
        order=order,
    )


def _new_piece(draft: Draft, like: Piece, order: int) -> Piece:
    return replace(
        cut_to(_named(like, draft, order), draft),
        plank=NO_PLANK,
        plank_x_mm=0.0,
        plank_y_mm=0.0,
        offcut_of=None,
    )


def _id(bay: BayId, draft: Draft) -> PieceId:
    return PieceId(f"{bay}/{draft.run.row}.{draft.number}")
