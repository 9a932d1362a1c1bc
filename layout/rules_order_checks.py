"""The rules between settings of what is ordered beside the planks."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from importer.tolerance import LENGTH_MM
from layout.measures import show
from layout.rules_clash import Clash, Key, Say, length_at

SHEETS: Final = ("underlay", "membrane")
BARS: Final = ("profiles", "skirting")
BAR_MM: Final = (300.0, 12_000.0)
"""Lengths that a bar can have: longer is on no lorry."""


def check_order(say: Say) -> Iterator[Clash]:
    """Sheets that lap wider than they are, bars that no one sells, patterns that match nothing."""
    yield from _laps(say)
    yield from _bars(say)
    yield from _least_piece(say)
    yield from _patterns(say)


def _laps(say: Say) -> Iterator[Clash]:
    for sheet in SHEETS:
        lap, width = (sheet, "lap"), (sheet, "roll_width")
        wide = length_at(say.rules, width)
        if length_at(say.rules, lap) > wide / 2 + LENGTH_MM:
            yield Clash(
                code="RUL-321",
                keys=(lap, width),
                what=f"{say.setting(lap)} is more than half of {say.setting(width)}.",
                why="Every place would be covered twice.",
                remedy=f"Write {say.at_most(wide / 2)}.",
            )


def _bars(say: Say) -> Iterator[Clash]:
    for kind in BARS:
        seen: set[float] = set()
        for i, length in enumerate(getattr(say.rules, kind).stock):
            key: Key = (kind, "stock", i)
            if not BAR_MM[0] <= length <= BAR_MM[1]:
                low, high = (say.mm(v) for v in BAR_MM)
                meant = f"'{length:g} m'" if BAR_MM[0] <= length * 1000 <= BAR_MM[1] else ""
                yield Clash(
                    code="RUL-322",
                    keys=(key, (kind, "stock")),
                    what=f"A bar of {say.mm(length)} is not sold (between {low} and {high}).",
                    why="A number without a unit is millimetres." if meant else "",
                    remedy=f"Write {meant} if that is meant." if meant else "Write its length.",
                )
            elif length in seen:
                yield Clash(
                    code="RUL-322",
                    keys=(key, (kind, "stock")),
                    what=f"Bars of {say.mm(length)} are listed twice under {kind}.stock.",
                    why="",
                    remedy="Delete one of them.",
                )
            seen.add(length)


def _least_piece(say: Say) -> Iterator[Clash]:
    key: Key = ("skirting", "least_piece")
    half = max(say.rules.skirting.stock) / 2
    if half >= BAR_MM[0] / 2 and length_at(say.rules, key) > half + LENGTH_MM:
        yield Clash(
            code="RUL-323",
            keys=(key, ("skirting", "stock")),
            what=f"{say.setting(key)} is longer than half a bar ({say.mm(half)}).",
            why="A wall a little longer than a bar could not be done with two pieces.",
            remedy=f"Write {say.at_most(half)}.",
        )


def _patterns(say: Say) -> Iterator[Clash]:
    for i, rule in enumerate(say.rules.pipes.in_rooms):
        if not all(part.strip() for part in rule.match.split("|")):
            yield Clash(
                code="RUL-324",
                keys=(("pipes", "in_rooms", i, "match"),),
                what=f"The pattern {show(rule.match)} has an empty part.",
                why="It would match rooms without a name.",
                remedy='Write names with | between them: "living*|bed*".',
            )
