"""One contradiction in a rule set, and the words for its settings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from layout.rules import RuleSet
from layout.rules_yaml import dotted

Key = tuple[str | int, ...]
"""The way to a setting from the top, e.g. ("ends", "min_length")."""

LENGTH: Final[Key] = ("plank", "length")
WIDTH: Final[Key] = ("plank", "width")
THICKNESS: Final[Key] = ("plank", "thickness")
WALL_GAP: Final[Key] = ("gap", "wall")
COVER: Final[Key] = ("gap", "cover")
MIN_LENGTH: Final[Key] = ("ends", "min_length")
NEVER_BELOW: Final[Key] = ("ends", "never_below")
MIN_OFFSET: Final[Key] = ("joints", "min_offset")
BOND: Final[Key] = ("joints", "bond")
MIN_WIDTH: Final[Key] = ("rows", "min_width")
RUN: Final[Key] = ("limits", "run")
ACROSS: Final[Key] = ("limits", "across")
BREAK_AT: Final[Key] = ("doorways", "break_at")
BREAK_DOORS: Final[Key] = ("doorways", "break_doors")
THROUGH_DOORS: Final[Key] = ("doorways", "through_doors")
KERF: Final[Key] = ("cut", "kerf")
KEEP_OFFCUT: Final[Key] = ("cut", "keep_offcut")
TOLERANCE: Final[Key] = ("site", "tolerance")
SPARE: Final[Key] = ("order", "spare")


@dataclass(frozen=True, slots=True, kw_only=True)
class Clash:
    """One contradiction. `keys` are the settings that take part, the one to change first; a reader of
    the file is shown the first of them that is written there.
    """

    code: str
    keys: tuple[Key, ...]
    what: str
    why: str
    remedy: str


@dataclass(frozen=True, slots=True)
class Say:
    """Writes values as messages show them: with inches when the file is written in inches, and with a
    word when a value is a default that nobody wrote.
    """

    rules: RuleSet
    in_inches: bool

    def mm(self, length: float) -> str:
        """A length in millimetres, with inches beside it where the file is written in them."""
        if self.in_inches:
            return f"{length:g} mm ({length / 25.4:.4g} in)"
        return f"{length:g} mm"

    def setting(self, key: Key) -> str:
        """Name and value of a length, e.g. `gap.cover (15 mm, its default)`."""
        default = "" if is_written(self.rules, key) else ", its default"
        return f"{dotted(key)} ({self.mm(length_at(self.rules, key))}{default})"

    def at_most(self, limit: float) -> str:
        """A limit to keep to."""
        return f"at most {self.mm(limit)}"


def length_at(rules: RuleSet, key: Key) -> float:
    """The length at a path of two names, e.g. ("gap", "wall"); mm."""
    section, name = key
    value = getattr(getattr(rules, str(section)), str(name))
    assert isinstance(value, float)
    return value


def is_written(rules: RuleSet, key: Key) -> bool:
    """Whether somebody wrote the setting; otherwise its default holds."""
    section, name = key
    written = getattr(rules, str(section)).model_fields_set
    return section in rules.model_fields_set and name in written
