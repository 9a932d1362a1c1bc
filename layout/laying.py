"""How a laid bay is to be laid: told from the finished pieces and their order, whoever made them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from layout.floor import BayLayout, Piece, Run
from layout.laying_around import Around, rooms_of_runs
from layout.laying_damage import damaged_planks, with_damage
from layout.laying_pushed import CLOSED_IN, pushed_words
from layout.laying_seams import Beside, group_of, laid_before, reversed_groups, seams_of
from layout.laying_stretches import Laid, stretches_of
from layout.rules import RuleSet
from layout.runs import touches_of


def in_turn(pieces: Sequence[Piece], runs: Sequence[Run]) -> tuple[Piece, ...]:
    """The pieces in the order of laying, stage by stage, numbered without gaps, each with its hand;
    those that rows laid before close in are marked as pushed in.
    """
    ordered = sorted(pieces, key=lambda p: (p.stage, p.order))
    turned = tuple(replace(p, order=n) for n, p in enumerate(ordered, start=1))
    beside = laid_before(turned, seams_of(turned, touches_of(runs)))
    back = reversed_groups(turned, beside)
    return tuple(
        replace(p, is_reversed=group_of(p) in back, pushed=_closed_words(p, b))
        for p, b in zip(turned, beside, strict=True)
    )


def _closed_words(piece: Piece, beside: Beside) -> str:
    if beside.is_closed_in:
        return CLOSED_IN
    return "" if piece.pushed == CLOSED_IN else piece.pushed


def with_laying(
    layout: BayLayout, around: Around, rules: RuleSet, *, others: Iterable[Piece] = ()
) -> BayLayout:
    """The layout with the hand of every piece, the stretches of the order of laying, and what ends of
    planks may be damaged. `others` are pieces of other bays, which may come out of the same planks.
    """
    pieces = in_turn(layout.pieces, layout.runs)
    beside = laid_before(pieces, seams_of(pieces, touches_of(layout.runs)))
    pushed = pushed_words(pieces, beside, around.low, layout.setting_out.frame)
    pieces = tuple(replace(p, pushed=words) for p, words in zip(pieces, pushed, strict=True))
    room_of = dict(
        zip(
            (r.index for r in layout.runs),
            rooms_of_runs(layout.runs, layout.setting_out.frame, around),
            strict=True,
        )
    )
    laid = Laid(
        pieces=pieces,
        beside=beside,
        rooms=tuple(room_of[p.run] for p in pieces),
        names=tuple(r.name for r in around.rooms),
    )
    planks = with_damage(layout.planks, (*pieces, *others), rules)
    return replace(
        layout,
        pieces=pieces,
        planks=planks,
        stretches=stretches_of(laid),
        damaged=damaged_planks(planks, rules.laying.damaged_end),
    )
