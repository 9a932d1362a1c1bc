"""The rules between settings of how the floor is laid."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from importer.tolerance import LENGTH_MM
from layout.measures import show
from layout.rules_clash import LENGTH, MIN_LENGTH, Clash, Key, Say
from layout.rules_laying import StageLine
from layout.rules_yaml import dotted

DAMAGED_END: Final[Key] = ("laying", "damaged_end")
POINT_NUMBERS: Final = 4
"""x and y of two points."""


def check_laying(say: Say) -> Iterator[Clash]:
    """Damage that leaves nothing of a plank, low places without a length, lines that are none."""
    rules = say.rules
    yield from _damage(say)
    for i, low in enumerate(rules.laying.low):
        key: Key = ("laying", "low", i)
        yield from _pattern((*key, "room"), low.room)
        if low.end is not None and low.end <= low.begin + LENGTH_MM:
            yield Clash(
                code="RUL-332",
                keys=((*key, "end"), (*key, "begin")),
                what=f"{dotted((*key, 'end'))} ({say.mm(low.end)}) is not beyond its begin "
                f"({say.mm(low.begin)}).",
                why="Both are measured from the left end of that side, or from the bottom.",
                remedy="Exchange the two, or write where it ends.",
            )
    for i, line in enumerate(rules.stages.lines):
        yield from _pattern(("stages", "lines", i, "room"), line.room)
        yield from _line(("stages", "lines", i), line)


def _damage(say: Say) -> Iterator[Clash]:
    rules = say.rules
    left = rules.plank.length - rules.ends.min_length
    if rules.laying.damaged_end > left + LENGTH_MM and left > 0.0:
        yield Clash(
            code="RUL-331",
            keys=(DAMAGED_END, LENGTH, MIN_LENGTH),
            what=f"{say.setting(DAMAGED_END)} leaves less of a plank "
            f"({say.mm(rules.plank.length)}) than {say.setting(MIN_LENGTH)}.",
            why="No end piece could be cut from such a plank.",
            remedy=f"Write {say.at_most(left)}.",
        )


def _pattern(key: Key, pattern: str) -> Iterator[Clash]:
    if not all(part.strip() for part in pattern.split("|")):
        yield Clash(
            code="RUL-333",
            keys=(key,),
            what=f"The pattern {show(pattern)} has an empty part.",
            why="It would name rooms without a name.",
            remedy='Write names with | between them: "living*|bed*".',
        )


def _line(key: Key, line: StageLine) -> Iterator[Clash]:
    by_side = [name for name in ("at", "share") if getattr(line, name) is not None]
    if line.points:
        yield from _points(key, line, by_side)
    elif line.side is None or len(by_side) != 1:
        said = "both" if len(by_side) > 1 else "none" if not by_side else by_side[0]
        yield Clash(
            code="RUL-334",
            keys=(key, ("stages", "lines")),
            what=f"{dotted(key)} does not say where the line is: side is "
            f"{line.side or 'missing'}, of at and share there is {said}.",
            why="",
            remedy="Write {room: living, side: left, at: 2.4 m}, share: 40 % in place of at, or points.",
        )


def _points(key: Key, line: StageLine, by_side: list[str]) -> Iterator[Clash]:
    x = line.points
    if len(x) != POINT_NUMBERS or x[:2] == x[2:]:
        yield Clash(
            code="RUL-335",
            keys=((*key, "points"),),
            what=f"{dotted((*key, 'points'))} is no line: it takes x and y of two different points.",
            why="",
            remedy="Write [x, y, x, y] as the CAD program shows them, in the drawing's own units.",
        )
    elif line.side is not None or by_side:
        yield Clash(
            code="RUL-336",
            keys=((*key, "points"), key),
            what=f"{dotted(key)} says where the line is twice: by points and by a side.",
            why="Only one of the two can hold.",
            remedy="Delete one of them.",
        )
