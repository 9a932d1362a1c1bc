"""What the user may tell the importer where its own reading of a drawing is wrong."""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Final

UNIT_TO_MM: Final[dict[str, float]] = {
    "mm": 1.0,
    "cm": 10.0,
    "dm": 100.0,
    "m": 1000.0,
    "in": 25.4,
    "ft": 304.8,
}
"""Drawing units that are considered, exact size in millimetres (inch and foot: international)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowed:
    """What reading one drawing may take; None: what the reader finds right. A drawing within it is read
    the same, whatever it is.
    """

    entities: int | None = None
    seconds: float | None = None
    memory_bytes: int | None = None


NO_LIMIT: Final = Allowed()


@dataclass(frozen=True, slots=True, kw_only=True)
class Hints:
    """Overrides for one drawing; empty means: decide from the drawing.

    `units` is a key of `UNIT_TO_MM`. The layer fields are shell-style patterns, matched without
    regard to case against the layer's name and against the part after the last `$` or `|` of it
    (bound and attached reference drawings prefix their layers so).
    """

    units: str | None = None
    room_layers: tuple[str, ...] = ()
    wall_layers: tuple[str, ...] = ()
    door_layers: tuple[str, ...] = ()
    ignore_layers: tuple[str, ...] = ()
    stage_layers: tuple[str, ...] = ()
    """Layers of lines that part the work; the finders of rooms are told to ignore them as well."""
    allowed: Allowed = NO_LIMIT


def bare_layer(layer: str) -> str:
    """Layer name without the prefix of a bound (`a$0$WALL`) or attached (`a|WALL`) drawing."""
    return layer.rsplit("$", 1)[-1].rsplit("|", 1)[-1]


def matches_layer(layer: str, patterns: tuple[str, ...]) -> bool:
    """True when the layer, with or without its reference prefix, matches one of the patterns."""
    names = {layer.casefold(), bare_layer(layer).casefold()}
    return any(fnmatchcase(name, p.casefold()) for p in patterns for name in names)
