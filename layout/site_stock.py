"""Pieces that need another plank after the room was measured: from what is left of planks already in
the plan, else from a new one. All other pieces keep their planks.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from importer.tolerance import LENGTH_MM
from layout.demand import Blank
from layout.floor import BayId, BayLayout, Piece, PieceId, Plank, PlankId, Role
from layout.rules import RuleSet
from layout.runs import stock_rules
from layout.stock import cut_planks


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spot:
    """A rectangle on a plank."""

    x0: float
    y0: float
    x1: float
    y1: float

    def apart(self, other: _Spot) -> float:
        """Clear distance along the better axis; negative where they overlap."""
        along = max(other.x0 - self.x1, self.x0 - other.x1)
        across = max(other.y0 - self.y1, self.y0 - other.y1)
        return max(along, across)


def _spot(piece: Piece) -> _Spot:
    return _Spot(
        x0=piece.plank_x_mm,
        y0=piece.plank_y_mm,
        x1=piece.plank_x_mm + piece.blank_length_mm,
        y1=piece.plank_y_mm + piece.blank_width_mm,
    )


def misfits(pieces: Sequence[Piece], beside: Sequence[Piece], rules: RuleSet) -> frozenset[PieceId]:
    """Pieces that their plank can no longer give: beyond its end or edge, or on another piece of it. Of
    two in each other's way the one laid later has to give way. `beside`: pieces of other bays on the
    same planks, which stay.
    """
    kept: dict[PlankId, list[_Spot]] = {}
    for other in beside:
        kept.setdefault(other.plank, []).append(_spot(other))
    found: set[PieceId] = set()
    for piece in sorted(pieces, key=lambda p: (p.role is not Role.FIRST, p.order, p.id)):
        spot = _spot(piece)
        if _is_on_plank(spot, rules) and _is_free(spot, kept.get(piece.plank, ()), rules):
            kept.setdefault(piece.plank, []).append(spot)
        else:
            found.add(piece.id)
    return frozenset(found)


def _is_on_plank(blank: _Spot, rules: RuleSet) -> bool:
    over = max(-blank.x0, -blank.y0, blank.x1 - rules.plank.length, blank.y1 - rules.plank.width)
    return over <= LENGTH_MM


def _is_free(blank: _Spot, others: Iterable[_Spot], rules: RuleSet) -> bool:
    return all(blank.apart(o) >= rules.cut.kerf - LENGTH_MM for o in others)


def placed_anew(
    bay: BayId,
    moving: Sequence[Piece],
    staying: Sequence[Piece],
    planks: Sequence[PlankId],
    rules: RuleSet,
) -> tuple[Piece, ...]:
    """The moving pieces on planks that still have room for them, longest first, each on the plank that
    it leaves least of; where there is none, on a new plank.

    Args:
        bay: The bay that opens new planks.
        moving: Pieces without a plank; what they need of one is told by role and edges.
        staying: Pieces that keep their place on their planks, of this bay and of those it shares with.
        planks: Every plank of the bay, in the order in which they are opened.
        rules: Plank and kerf.
    """
    on: dict[PlankId, list[_Spot]] = {p: [] for p in planks}
    for piece in staying:
        on.setdefault(piece.plank, []).append(_spot(piece))
    number = len(planks)
    found: list[Piece] = []
    for piece in sorted(moving, key=lambda p: (-p.blank_length_mm, -p.blank_width_mm, p.id)):
        ways = [
            (rules.plank.length - sum(b.x1 - b.x0 for b in taken), n, name, blank)
            for n, (name, taken) in enumerate(on.items())
            if taken
            for blank in _ways(piece, taken, rules)
            if _is_on_plank(blank, rules) and _is_free(blank, taken, rules)
        ]
        if ways:
            _, _, plank, blank = min(ways, key=lambda w: (round(w[0], 3), w[1], w[3].x0))
        else:
            number += 1
            while PlankId(f"{bay}/P{number}") in on:
                number += 1
            plank, blank = PlankId(f"{bay}/P{number}"), _ways(piece, (), rules)[0]
        on.setdefault(plank, []).append(blank)
        found.append(replace(piece, plank=plank, plank_x_mm=blank.x0, plank_y_mm=blank.y0))
    return tuple(found)


def _ways(piece: Piece, taken: Sequence[_Spot], rules: RuleSet) -> list[_Spot]:
    """Where on a plank a piece may lie: at the ends and edges that it keeps."""
    long, wide = rules.plank.length, rules.plank.width
    length, width = piece.blank_length_mm, piece.blank_width_mm
    xs = [0.0]
    if piece.role is Role.FIRST:
        xs = [long - length]
    elif piece.role is Role.ONLY:
        xs += [b.x1 + rules.cut.kerf for b in taken]
    ys = [0.0, wide - width]
    if piece.keeps_near_edge:
        ys = [0.0]
    elif piece.keeps_far_edge:
        ys = [wide - width]
    return [_Spot(x0=x, y0=y, x1=x + length, y1=y + width) for x in xs for y in ys]


def listed(
    pieces: Sequence[Piece],
    planks: Sequence[Plank],
    others: Sequence[BayLayout],
    rules: RuleSet,
) -> tuple[tuple[Piece, ...], tuple[Plank, ...]]:
    """Pieces in order of laying with what each is an offcut of, and the planks of this bay that are
    still used: those there were in their order, then new ones. Planks of the others stay theirs.
    """
    beside = [p for o in others for p in o.pieces]
    by_plank: dict[PlankId, list[Piece]] = {}
    for piece in sorted((*pieces, *beside), key=lambda p: (p.order, p.id)):
        by_plank.setdefault(piece.plank, []).append(piece)
    listing = {i: n for n, i in enumerate(i for p in planks for i in p.pieces)}
    for members in by_plank.values():
        members.sort(key=lambda p: (listing.get(p.id, len(listing)), p.order, p.id))
    before: Mapping[PieceId, PieceId] = {
        b.id: a.id for members in by_plank.values() for a, b in pairwise(members)
    }
    names = [p.id for p in planks if p.id in by_plank]
    own = {p.plank for p in pieces}
    known = {p.id for p in planks} | {p.id for o in others for p in o.planks}
    names += [n for n in by_plank if n in own and n not in known]
    return (
        tuple(
            replace(p, offcut_of=before.get(p.id)) for p in sorted(pieces, key=lambda p: p.order)
        ),
        tuple(_plank(name, by_plank[name], rules) for name in names),
    )


def _plank(name: PlankId, members: Sequence[Piece], rules: RuleSet) -> Plank:
    long, wide = rules.plank.length, rules.plank.width
    spans = np.array(sorted((b.x0, b.x1) for b in map(_spot, members)))
    starts = np.append(spans[:, 0], long)
    ends = np.insert(np.maximum.accumulate(spans[:, 1]), 0, 0.0)
    room = starts - ends
    room[1:-1] -= 2 * rules.cut.kerf
    room[[0, -1]] -= rules.cut.kerf
    free = float(room.max())
    offcut = free if 0.0 < free >= rules.cut.keep_offcut else 0.0
    laid = sum(p.shape.area for p in members)
    return Plank(
        id=name,
        pieces=tuple(p.id for p in members),
        offcut_mm=offcut,
        waste_mm2=max(0.0, long * wide - laid - offcut * wide),
    )


def recut(layouts: Sequence[BayLayout], rules: RuleSet) -> tuple[BayLayout, ...]:
    """Bays that share their offcuts with every piece on a plank chosen anew: nothing is cut yet, so only
    paper changes. What was measured needs no tolerance in hand.
    """
    pieces = [p for b in layouts for p in sorted(b.pieces, key=lambda p: p.order)]
    bay_of = [n for n, b in enumerate(layouts) for _ in b.pieces]
    blanks = [
        Blank(
            key=k,
            role=Role.FULL if p.blank_length_mm >= rules.plank.length - LENGTH_MM else p.role,
            length_mm=p.blank_length_mm,
            width_mm=p.blank_width_mm,
            keeps_near_edge=p.keeps_near_edge,
            keeps_far_edge=p.keeps_far_edge,
            bay=bay_of[k],
        )
        for k, p in enumerate(pieces)
    ]
    counts = [0] * len(layouts)
    planks: list[list[Plank]] = [[] for _ in layouts]
    for cut in cut_planks(blanks, replace(stock_rules(rules), tolerance=0.0)):
        opener = bay_of[cut.placed[0].key]
        counts[opener] += 1
        name = PlankId(f"{layouts[opener].bay.id}/P{counts[opener]}")
        for placed in cut.placed:
            pieces[placed.key] = replace(
                pieces[placed.key], plank=name, plank_x_mm=placed.x_mm, plank_y_mm=placed.y_mm
            )
        members = tuple(pieces[p.key].id for p in cut.placed)
        planks[opener].append(
            Plank(id=name, pieces=members, offcut_mm=cut.offcut_mm, waste_mm2=0.0)
        )
    return tuple(
        replace(
            b,
            pieces=tuple(p for k, p in enumerate(pieces) if bay_of[k] == n),
            planks=tuple(planks[n]),
        )
        for n, b in enumerate(layouts)
    )
