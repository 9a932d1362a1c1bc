"""The rules between rules: settings that contradict each other, and numbers that cannot be meant.

Which limits are sound is common practice without a published source, except where a comment names one;
the reasons that are sums (what a plank can be cut into) need none.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import chain
from typing import Final

from importer.tolerance import LENGTH_MM
from layout.measures import nearest, show
from layout.rules import BREAK_WORDS, ROOM_TO_ROOM, Bond, RuleSet
from layout.rules_clash import (
    ACROSS,
    BOND,
    BREAK_AT,
    BREAK_DOORS,
    COVER,
    KEEP_OFFCUT,
    LENGTH,
    MIN_LENGTH,
    MIN_OFFSET,
    MIN_WIDTH,
    NEVER_BELOW,
    RUN,
    SPARE,
    THROUGH_DOORS,
    TOLERANCE,
    WALL_GAP,
    WIDTH,
    Clash,
    Key,
    Say,
    length_at,
)
from layout.rules_laying_checks import check_laying
from layout.rules_order_checks import check_order
from layout.rules_plausible import implausible


def check_rules(rules: RuleSet, *, in_inches: bool = False) -> tuple[Clash, ...]:
    """Everything in a rule set that cannot be kept or cannot be meant, in the order of the settings.

    A length that is out of all proportion is told alone: what it contradicts would only confuse.
    """
    say = Say(rules, in_inches)
    slips = tuple(implausible(say))
    suspects = {key for slip in slips for key in slip.keys}
    found = chain.from_iterable(check(say) for check in _CHECKS)
    return (*slips, *(c for c in found if not suspects.intersection(c.keys)))


# --- the plank ----------------------------------------------------------------------------------


def _is_plank(rules: RuleSet) -> bool:
    return rules.plank.width <= rules.plank.length / 2 + LENGTH_MM


def _plank_shape(say: Say) -> Iterator[Clash]:
    rules = say.rules
    if rules.plank.width > rules.plank.length:
        yield Clash(
            code="RUL-302",
            keys=(WIDTH, LENGTH),
            what=f"{say.setting(WIDTH)} is more than {say.setting(LENGTH)}.",
            why="A plank is longer than it is wide.",
            remedy="Exchange the two numbers.",
        )
    elif not _is_plank(rules):
        yield Clash(
            code="RUL-302",
            keys=(WIDTH, LENGTH),
            what=f"{say.setting(WIDTH)} is more than half of {say.setting(LENGTH)}.",
            why="No plank so short could be cut in two end pieces that are as long as it is wide.",
            remedy="Write the size of the plank as sold; tiles are not laid out by this program.",
        )


# --- ends and joints ----------------------------------------------------------------------------


def _ends(say: Say) -> Iterator[Clash]:
    rules = say.rules
    half = rules.plank.length / 2
    if rules.ends.min_length > half + LENGTH_MM:
        yield Clash(
            code="RUL-303",
            keys=(MIN_LENGTH, LENGTH),
            what=f"{say.setting(MIN_LENGTH)} is longer than half a plank ({say.mm(half)}).",
            why="A room a little longer than whole planks could not be laid at all: its two end "
            "pieces share little more than one plank.",
            remedy=f"Write {say.at_most(half)}.",
        )
    if rules.ends.never_below is not None:
        yield from _graver_limit(say)
    elif rules.ends.min_length < rules.plank.width - LENGTH_MM and _is_plank(rules):
        yield Clash(
            code="RUL-305",
            keys=(MIN_LENGTH, WIDTH),
            what=f"{say.setting(MIN_LENGTH)} is shorter than the plank is wide "
            f"({say.mm(rules.plank.width)}).",
            why="No end piece is laid shorter than the plank is wide (common practice).",
            remedy=f"Write at least {say.mm(rules.plank.width)}; if the product allows shorter "
            "pieces, say so with ends.never_below.",
        )


def _graver_limit(say: Say) -> Iterator[Clash]:
    rules = say.rules
    if rules.never_below_mm > rules.ends.min_length + LENGTH_MM:
        yield Clash(
            code="RUL-304",
            keys=(NEVER_BELOW, MIN_LENGTH),
            what=f"{say.setting(NEVER_BELOW)} is longer than {say.setting(MIN_LENGTH)}.",
            why="It is the graver limit, for runs that leave no room for min_length.",
            remedy=f"Write {say.at_most(rules.ends.min_length)}, or raise ends.min_length.",
        )


def _joints(say: Say) -> Iterator[Clash]:
    rules = say.rules
    half, third = rules.plank.length / 2, rules.plank.length / 3
    if rules.joints.min_offset > half + LENGTH_MM:
        yield Clash(
            code="RUL-306",
            keys=(MIN_OFFSET, LENGTH),
            what=f"{say.setting(MIN_OFFSET)} is more than half a plank ({say.mm(half)}).",
            why="Joints lie a plank apart in every row, so none can be further than half a plank "
            "from those of the next row.",
            remedy=f"Write {say.at_most(half)}.",
        )
    if rules.joints.bond is not Bond.THIRD:
        return
    for key, value in ((MIN_OFFSET, rules.joints.min_offset), (MIN_LENGTH, rules.ends.min_length)):
        if third + LENGTH_MM < value <= half + LENGTH_MM:
            yield Clash(
                code="RUL-307",
                keys=(key, BOND, LENGTH),
                what=f"{say.setting(key)} is more than a third of a plank ({say.mm(third)}), "
                "and joints.bond is third.",
                why="A third bond puts joints a third of a plank apart, and a row in three starts "
                "with a third of a plank or less.",
                remedy=f"Write {say.at_most(third)}, or bond: offcut-led.",
            )


# --- rows, gap, limits --------------------------------------------------------------------------


def _rows(say: Say) -> Iterator[Clash]:
    rules = say.rules
    half = rules.plank.width / 2
    if rules.rows.min_width > half + LENGTH_MM:
        yield Clash(
            code="RUL-308",
            keys=(MIN_WIDTH, WIDTH),
            what=f"{say.setting(MIN_WIDTH)} is more than half a plank's width ({say.mm(half)}).",
            # net = n w + r: two equal edge rows are (w + r) / 2 wide, which is w / 2 when r is small.
            why="A room a little wider than whole rows leaves no more than that for its first and "
            "last row.",
            remedy=f"Write {say.at_most(half)}.",
        )


def _gap(say: Say) -> Iterator[Clash]:
    rules = say.rules
    if rules.gap.wall > rules.gap.cover + LENGTH_MM:
        yield Clash(
            code="RUL-309",
            keys=(WALL_GAP, COVER),
            what=f"{say.setting(WALL_GAP)} is wider than {say.setting(COVER)}.",
            why="The gap would show beside the skirting or bead.",
            remedy=f"Write a gap of {say.at_most(rules.gap.cover)}, or name the cover that hides it: "
            f"gap.cover: {rules.gap.wall:g}.",
        )


def _limits(say: Say) -> Iterator[Clash]:
    rules = say.rules
    for key, part, size in ((RUN, LENGTH, "shorter"), (ACROSS, WIDTH, "narrower")):
        limit, plank = length_at(rules, key), length_at(rules, part)
        if limit < plank - LENGTH_MM:
            yield Clash(
                code="RUL-310",
                keys=(key, part),
                what=f"{say.setting(key)} is {size} than one plank ({say.mm(plank)}).",
                why="No floor could be laid without a movement joint in every plank.",
                remedy=f"Write at least {say.mm(plank)}, e.g. '15 m'.",
            )


# --- saw, site, order ---------------------------------------------------------------------------


def _cutting(say: Say) -> Iterator[Clash]:
    rules = say.rules
    if rules.cut.keep_offcut > rules.plank.length:
        yield Clash(
            code="RUL-311",
            keys=(KEEP_OFFCUT, LENGTH),
            what=f"{say.setting(KEEP_OFFCUT)} is longer than a plank ({say.mm(rules.plank.length)}).",
            why="No offcut would ever be kept.",
            remedy=f"Write the shortest that is worth carrying, e.g. {rules.ends.min_length:g}.",
        )


def _site(say: Say) -> Iterator[Clash]:
    rules = say.rules
    for key in (MIN_WIDTH, MIN_LENGTH):
        least = length_at(rules, key)
        if 0 < least <= rules.site.tolerance:
            yield Clash(
                code="RUL-312",
                keys=(TOLERANCE, key),
                what=f"{say.setting(TOLERANCE)} is as large as {say.setting(key)}.",
                why="A room that is off by so much can lose the whole piece.",
                remedy=f"Write less than {say.mm(least)}; survey the room if the drawing is worse.",
            )
            return


def _spare(say: Say) -> Iterator[Clash]:
    rules = say.rules
    if rules.order.spare > 0.5:
        percent = rules.order.spare * 100
        yield Clash(
            code="RUL-313",
            keys=(SPARE,),
            what=f"order.spare is {percent:g} %: more than half as many planks again.",
            why="A bare number is a share of one.",
            remedy=f"Write '{rules.order.spare:g} %' if a percentage is meant.",
        )


# --- rooms, doorways, layers, texts -------------------------------------------------------------


def _room_rules(say: Say) -> Iterator[Clash]:
    rules = say.rules
    seen: dict[str, int] = {}
    for i, rule in enumerate(rules.rooms):
        key = ("rooms", i, "match")
        for part in (p.strip().casefold() for p in rule.match.split("|")):
            if not part:
                yield Clash(
                    code="RUL-314",
                    keys=(key,),
                    what=f"The pattern {show(rule.match)} has an empty part.",
                    why="It would match rooms without a name.",
                    remedy='Write names with | between them: "bath*|wc".',
                )
            elif seen.setdefault(part, i) != i:
                yield Clash(
                    code="RUL-315",
                    keys=(key,),
                    what=f"{show(part)} is matched by rule {seen[part] + 1} of rooms already.",
                    why="Only one of the two can hold.",
                    remedy="Put what both say into one rule.",
                )


def _break_words(say: Say) -> Iterator[Clash]:
    rules = say.rules
    for i, word in enumerate(rules.doorways.break_at):
        if word not in BREAK_WORDS:
            near = nearest(word, BREAK_WORDS)
            yield Clash(
                code="RUL-316",
                keys=((*BREAK_AT, i), BREAK_AT),
                what=f"{show(word)} is not a kind of doorway.",
                why="",
                remedy=f"Did you mean {near}?" if near else f"Write {', '.join(BREAK_WORDS)}.",
            )


def _listed_doors(say: Say) -> Iterator[Clash]:
    rules = say.rules.doorways
    seen: dict[str, Key] = {}
    lists = ((BREAK_DOORS, rules.break_doors), (THROUGH_DOORS, rules.through_doors))
    for key, entries in lists:
        for i, entry in enumerate(entries):
            parts = [part.strip().casefold() for part in entry.split(ROOM_TO_ROOM)]
            if len(parts) > 2 or not all(parts):
                yield Clash(
                    code="RUL-319",
                    keys=((*key, i), key),
                    what=f"{show(entry)} names no doorway.",
                    why="",
                    remedy="Write its id, such as D7, or its two rooms: 'hall -> bath*'.",
                )
                continue
            other = seen.setdefault(" ".join(sorted(parts)), key)
            if other != key:
                yield Clash(
                    code="RUL-320",
                    keys=((*key, i), other),
                    what=f"{show(entry)} is listed under break_doors and under through_doors.",
                    why="The floor cannot do both.",
                    remedy="Delete it from one of the two.",
                )


def _layers(say: Say) -> Iterator[Clash]:
    rules = say.rules
    layers = rules.drawing.layers
    ignored = {p.casefold() for p in layers.ignore}
    for name in ("rooms", "walls", "doors"):
        for i, pattern in enumerate(getattr(layers, name)):
            if pattern.casefold() in ignored:
                yield Clash(
                    code="RUL-317",
                    keys=(("drawing", "layers", name, i),),
                    what=f"Layer {show(pattern)} is named under {name} and under ignore.",
                    why="It cannot be both read and left out.",
                    remedy="Delete it from one of the two.",
                )


def _texts(say: Say) -> Iterator[Clash]:
    rules = say.rules
    texts: list[tuple[Key, str]] = [(("name",), rules.name)]
    for i, rule in enumerate(rules.rooms):
        texts.extend((("rooms", i, part), getattr(rule, part)) for part in ("because", "finish"))
    for key, text in texts:
        if not text.isprintable() or (key == ("name",) and not text.strip()):
            yield Clash(
                code="RUL-318",
                keys=(key,),
                what=f"{show(text)} cannot be printed on one line of a sheet.",
                why="",
                remedy="Write a short text without line breaks or control characters.",
            )


_CHECKS: Final[tuple[Callable[[Say], Iterator[Clash]], ...]] = (
    _plank_shape,
    _ends,
    _joints,
    _rows,
    _gap,
    _limits,
    _cutting,
    _site,
    _spare,
    check_order,
    check_laying,
    _room_rules,
    _break_words,
    _listed_doors,
    _layers,
    _texts,
)
