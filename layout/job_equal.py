"""Equal floors are laid once: bays that share their offcuts are laid in a standard place and carried to
where they are.

The standard place is near the origin, turned so that the longest wall runs along x with the floor on its
left, in hundredths of a millimetre. Floors that are moved or turned copies of each other come to lie
there number for number, so each is laid as all the others are, whichever comes first and in whichever
process. A mirrored floor is another floor here, since planks cannot be mirrored; where its joints go is
still worked out once (`layout.joint_mirror`), and its pieces are cut anew with their own hand.

       drawing                         standard place
   +------+                           +--------+--+
   |      |  flat 3, turned           |           |   flat 3 = flat 7 = ...
   |   +--+                    ->     |        +--+
   +---+                              +========+  longest wall, x = 0 at the left
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

from shapely import GEOSException

from importer.plan import Plan
from layout.bay_error import LayoutError
from layout.floor import (
    Alternative,
    Bay,
    BayLayout,
    Frame,
    Piece,
    PieceId,
    PlankId,
    SettingOut,
)
from layout.job_standard import CLOSE, OPEN, Standard, standard_of
from layout.rules import RuleSet

KEPT: Final = 48
"""Floors whose layout is kept in memory: more than a block has types of flats."""
_TOKEN: Final = re.compile(f"{OPEN}([0-9]+){CLOSE}")

Lay = Callable[[Sequence[Bay], Plan, RuleSet], tuple[BayLayout, ...]]
"""Lays bays that share their offcuts; raises LayoutError where one of them cannot be laid."""


def lay_equal(
    bays: Sequence[Bay], plan: Plan, rules: RuleSet, lay: Lay
) -> tuple[BayLayout, ...] | None:
    """The layouts of bays that share their offcuts; None where they have to be laid where they are: one
    of them cannot be laid (which is told of the bay as drawn), or the rules look beyond them.
    """
    if _look_beyond(rules):
        return None
    try:
        frame, standard = standard_of(bays, plan, rules)
        laid = _laid(standard, lay)
    except (LayoutError, GEOSException):
        return None
    names = [str(b.id) for b in bays]
    return tuple(_carried(own, bay, frame, names) for own, bay in zip(laid, bays, strict=True))


def _look_beyond(rules: RuleSet) -> bool:
    """Whether the rules ask for more than the floors and what stands on them: for the way in, or for
    sides of the drawing and lines in it.
    """
    by_side = rules.laying.low or rules.stages.lines or rules.stages.layer
    return rules.rows.along == "entrance" or bool(by_side)


@lru_cache(maxsize=KEPT)
def _laid(standard: Standard, lay: Lay) -> tuple[BayLayout, ...]:
    return lay(standard.bays, standard.plan, standard.rules)


# --- back to where it is ------------------------------------------------------------------------


def _carried(laid: BayLayout, bay: Bay, frame: Frame, names: Sequence[str]) -> BayLayout:
    """A layout of the standard place for the bay as drawn. Everything in the bay frame stays."""
    known: dict[str, str] = {}

    def named(text: str) -> str:
        if text not in known:
            known[text] = _TOKEN.sub(lambda found: names[int(found[1])], text)
        return known[text]

    return replace(
        laid,
        bay=bay,
        setting_out=_carried_setting_out(laid.setting_out, frame, named),
        pieces=tuple(_renamed(p, bay, named) for p in laid.pieces),
        planks=tuple(
            replace(
                p,
                id=PlankId(named(p.id)),
                pieces=tuple(PieceId(named(i)) for i in p.pieces),
            )
            for p in laid.planks
        ),
        breaches=tuple(
            replace(b, where=named(b.where), at=frame.point_to_plan(b.at), why=named(b.why))
            for b in laid.breaches
        ),
        alternatives=tuple(_carried_alternative(a, frame, named) for a in laid.alternatives),
        stretches=tuple(replace(s, why=named(s.why)) for s in laid.stretches),
    )


def _renamed(piece: Piece, bay: Bay, named: Callable[[str], str]) -> Piece:
    return replace(
        piece,
        id=PieceId(named(piece.id)),
        bay=bay.id,
        plank=PlankId(named(piece.plank)),
        offcut_of=None if piece.offcut_of is None else PieceId(named(piece.offcut_of)),
    )


def _carried_setting_out(out: SettingOut, frame: Frame, named: Callable[[str], str]) -> SettingOut:
    (ux, uy), (vx, vy), (x, y) = frame.along, frame.across, out.frame.along
    along = (x * ux + y * vx + 0.0, x * uy + y * vy + 0.0)
    reference, datum = (
        (frame.point_to_plan(a), frame.point_to_plan(b)) for a, b in (out.reference, out.datum)
    )
    return replace(
        out,
        frame=Frame(
            origin=frame.point_to_plan(out.frame.origin),
            along=along,
            mirrored=out.frame.mirrored,
        ),
        reference=reference,
        datum=datum,
        why=named(out.why),
    )


def _carried_alternative(
    found: Alternative, frame: Frame, named: Callable[[str], str]
) -> Alternative:
    turned = (found.along_deg + frame.along_deg) % 360.0
    return replace(found, along_deg=turned, why=named(found.why))
