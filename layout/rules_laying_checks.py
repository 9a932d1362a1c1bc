"""The rules between settings of how the floor is laid."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from importer.tolerance import LENGTH_MM
from layout.rules_clash import LENGTH, MIN_LENGTH, Clash, Key, Say

DAMAGED_END: Final[Key] = ("laying", "damaged_end")


def check_laying(say: Say) -> Iterator[Clash]:
    """Damage that leaves nothing of a plank."""
    yield from _damage(say)


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
