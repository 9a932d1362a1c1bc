"""Which planks may come with a damaged end, and how many of them a bay takes.

A first piece keeps its plank's far end, so the near end is cut away; a last piece the other way round;
pieces from wall to wall may be cut from either side. What is left over at an end may as well be damaged.
Any number of damaged planks finds places exactly when neither end, nor both together, asks for more
planks than there are (Hall's condition, two kinds of demand): the greatest matching of damaged planks
with places needs no search.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from importer.tolerance import LENGTH_MM
from layout.floor import DamagedPlanks, Piece, PieceId, Plank, Role
from layout.rules import RuleSet

_NEAR = frozenset({Role.FULL, Role.LAST})
_FAR = frozenset({Role.FULL, Role.FIRST})


def with_damage(
    planks: Sequence[Plank], pieces: Iterable[Piece], rules: RuleSet
) -> tuple[Plank, ...]:
    """The planks with how much of each end may be damaged, mm. `pieces` are all that may be cut from
    them. The site tolerance stays in hand beside every piece that is cut to a measure on site.
    """
    by_id = {p.id: p for p in pieces}
    return tuple(replace(p, damage_mm=_free_ends(p, by_id, rules)) for p in planks)


def _free_ends(plank: Plank, by_id: Mapping[PieceId, Piece], rules: RuleSet) -> tuple[float, float]:
    members = [by_id[p] for p in plank.pieces]
    long, spare = rules.plank.length, rules.site.tolerance
    spans = sorted(
        (p.plank_x_mm, p.plank_x_mm + p.blank_length_mm + (spare * (p.role not in _FAR)))
        for p in members
    )
    near, far = spans[0][0], long - max(end for _, end in spans)
    roles = {p.role for p in members}
    if not roles & _NEAR and not roles & _FAR:
        # Nothing but pieces from wall to wall: they may be cut from either side.
        near = far = near + far
    elif not roles & _NEAR:
        near += _room_to_slide(spans, rules.cut.kerf)
    return _shown(near), _shown(far)


def _room_to_slide(spans: Sequence[tuple[float, float]], kerf: float) -> float:
    """What the near end gains when the pieces from wall to wall move up to the first piece."""
    widest, reach = 0.0, spans[0][0]
    for start, end in spans:
        widest = max(widest, start - reach - kerf)
        reach = max(reach, end)
    return widest


def _shown(length: float) -> float:
    return max(0.0, length) if length > LENGTH_MM else 0.0


def damaged_planks(planks: Sequence[Plank], up_to_mm: float) -> DamagedPlanks:
    """How many planks with one end damaged by up to `up_to_mm` find a place among `planks`."""
    near = [p.damage_mm[0] >= up_to_mm for p in planks]
    far = [p.damage_mm[1] >= up_to_mm for p in planks]
    return DamagedPlanks(
        up_to_mm=up_to_mm,
        near=sum(near),
        far=sum(far),
        in_all=sum(a or b for a, b in zip(near, far, strict=True)),
    )
