"""Seeded damage to YAML text, shaped like what people and strangers do to a rule set, site or job file.

Used by the bounded default test and by the long runner `tests.bench.mutated_yaml`.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from typing import Final

_VALUES: Final = (
    *("", "~", "yes", "no", "on", "0", "-1", "-0.0", "1e999", "-1e308", "1e-300", ".nan", ".inf"),
    *("9" * 400, "0x1F", "1_000", "12:30:45", "2024-02-30", "[]", "{}", "[[]]", "{a: {b: {c: 1}}}"),
    *("1/0 in", "8 mm mm", "5 ft 13 in", "200 %", "-3 %", "0 %", "400 deg", "'", '"', "|", ">-"),
    *(
        "&a [*a]",
        "*nothing",
        "!!python/object/apply:os.system [id]",
        "!!binary aGk=",
        "<<: *x",
        "? a",
    ),
    *(
        "'\\x07'",
        '"\\u202e"',
        '"\\ud800"',
        "\u00e9\u4e2d\U0001f600",
        "=1+1",
        "<script>",
        "../../etc/passwd",
    ),
    *(
        "1 mm",
        "0.001",
        "3",
        "60",
        "180",
        "1220",
        "99999",
        "15 m",
        "break",
        "through",
        "half",
        "third",
    ),
)
_MARKS: Final = ":-#[]{},&*!|>'\"%@`\t \u00a0\u2028\x00\x07\ufeff"
Lines = list[str]


def _other_value(lines: Lines, rng: random.Random) -> Lines:
    places = [i for i, line in enumerate(lines) if re.search(r":\s", line + " ")]
    i = rng.choice(places or [0])
    key, _, rest = lines[i].partition(":")
    comment = "  #" + rest.partition("#")[2] if "#" in rest else ""
    return [*lines[:i], f"{key}: {rng.choice(_VALUES)}{comment}", *lines[i + 1 :]]


def _value_from_elsewhere(lines: Lines, rng: random.Random) -> Lines:
    places = [i for i, line in enumerate(lines) if ": " in line]
    i, j = rng.choice(places or [0]), rng.choice(places or [0])
    key, value = lines[i].partition(":")[0], lines[j].partition(":")[2]
    return [*lines[:i], f"{key}:{value}", *lines[i + 1 :]]


def _drop_lines(lines: Lines, rng: random.Random) -> Lines:
    i = rng.randrange(len(lines))
    return lines[:i] + lines[i + rng.randrange(1, 4) :]


def _double_lines(lines: Lines, rng: random.Random) -> Lines:
    i = rng.randrange(len(lines))
    return lines[:i] + lines[i : i + rng.randrange(1, 5)] * 2 + lines[i:]


def _swap_lines(lines: Lines, rng: random.Random) -> Lines:
    out = list(lines)
    i, j = rng.randrange(len(out)), rng.randrange(len(out))
    out[i], out[j] = out[j], out[i]
    return out


def _indent(lines: Lines, rng: random.Random) -> Lines:
    i = rng.randrange(len(lines))
    moved = rng.choice((" ", "  ", "\t", "      ")) + lines[i]
    return [*lines[:i], rng.choice((moved, lines[i].lstrip())), *lines[i + 1 :]]


def _characters(lines: Lines, rng: random.Random) -> Lines:
    text = "\n".join(lines)
    for _ in range(rng.randrange(1, 5)):
        i = rng.randrange(len(text) + 1)
        text = text[:i] + rng.choice(_MARKS) * rng.randrange(2) + text[i + rng.randrange(2) :]
    return text.split("\n")


def _cut_short(lines: Lines, rng: random.Random) -> Lines:
    text = "\n".join(lines)
    return text[: rng.randrange(len(text))].split("\n")


def _misspelt(lines: Lines, rng: random.Random) -> Lines:
    i = rng.randrange(len(lines))
    line = lines[i]
    at = rng.randrange(len(line) + 1)
    return [*lines[:i], line[:at] + rng.choice("abcxyzA_ ") + line[at + 1 :], *lines[i + 1 :]]


_KINDS: Final[tuple[Callable[[Lines, random.Random], Lines], ...]] = (
    _other_value,
    _other_value,
    _other_value,
    _value_from_elsewhere,
    _drop_lines,
    _double_lines,
    _swap_lines,
    _indent,
    _characters,
    _cut_short,
    _misspelt,
)


def mutate_yaml(text: str, seed: int) -> str:
    """The text with one to three kinds of damage; the same for the same seed."""
    rng = random.Random(seed)
    lines = text.split("\n")
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        lines = rng.choice(_KINDS)(lines or [""], rng)
    return "\n".join(lines)
