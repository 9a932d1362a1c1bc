"""Seeded damage to DXF text, shaped like what goes wrong in the post: cut, shuffled, broken numbers.

Works on group-code pairs so that most of the damage gets past the tag reader and into the geometry.
Used by the bounded default test and by the long runner `tests.bench.mutated_drawings`.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Final

Pairs = list[tuple[str, str]]

_WEIRD_NUMBERS: Final = (
    "nan",
    "inf",
    "-inf",
    "1e308",
    "-1e308",
    "0",
    "1e-300",
    "",
    "abc",
    "9" * 40,
)
_FLOAT_CODES: Final = frozenset(str(c) for c in (*range(10, 60), 210, 220, 230))


def pairs_of(text: str) -> Pairs:
    """Group-code pairs of a DXF text; an odd last line is dropped."""
    lines = text.splitlines()
    return list(zip(lines[0::2], lines[1::2], strict=False))


def text_of(pairs: Pairs) -> str:
    """DXF text of the pairs."""
    return "\n".join(line for pair in pairs for line in pair) + "\n"


def _cut_short(pairs: Pairs, rng: random.Random) -> Pairs:
    return pairs[: rng.randrange(1, len(pairs))]


def _drop_a_stretch(pairs: Pairs, rng: random.Random) -> Pairs:
    start = rng.randrange(len(pairs))
    return pairs[:start] + pairs[start + rng.randrange(1, 60) :]


def _double_a_stretch(pairs: Pairs, rng: random.Random) -> Pairs:
    start = rng.randrange(len(pairs))
    end = start + rng.randrange(1, 60)
    return pairs[:end] + pairs[start:end] + pairs[end:]


def _break_numbers(pairs: Pairs, rng: random.Random) -> Pairs:
    out = list(pairs)
    places = [i for i, (code, _) in enumerate(out) if code.strip() in _FLOAT_CODES]
    for i in rng.sample(places, min(len(places), rng.randrange(1, 30))):
        out[i] = (out[i][0], rng.choice(_WEIRD_NUMBERS))
    return out


def _rename_layers(pairs: Pairs, rng: random.Random) -> Pairs:
    names = sorted({value for code, value in pairs if code.strip() == "8"})
    new = {
        n: rng.choice(("0", "Ebene 1", "\u5899", "", "a" * 300, "x|y", "*", "=1+1")) for n in names
    }
    return [(c, new[v]) if c.strip() == "8" else (c, v) for c, v in pairs]


def _swap_pairs(pairs: Pairs, rng: random.Random) -> Pairs:
    out = list(pairs)
    for _ in range(rng.randrange(1, 40)):
        i, j = rng.randrange(len(out)), rng.randrange(len(out))
        out[i], out[j] = out[j], out[i]
    return out


def _shuffle_entities(pairs: Pairs, rng: random.Random) -> Pairs:
    marks = [i for i, (code, _) in enumerate(pairs) if code.strip() == "0"]
    chunks = [pairs[a:b] for a, b in zip(marks, [*marks[1:], len(pairs)], strict=True)]
    movable = [
        i for i, c in enumerate(chunks) if c[0][1].strip() in {"LINE", "ARC", "TEXT", "INSERT"}
    ]
    order = list(movable)
    rng.shuffle(order)
    shuffled = list(chunks)
    for place, source in zip(movable, order, strict=True):
        shuffled[place] = chunks[source]
    return pairs[: marks[0]] + [pair for chunk in shuffled for pair in chunk] if marks else pairs


def _wrong_codes(pairs: Pairs, rng: random.Random) -> Pairs:
    out = list(pairs)
    for _ in range(rng.randrange(1, 20)):
        i = rng.randrange(len(out))
        out[i] = (str(rng.choice((-5, 0, 1, 8, 10, 70, 90, 100, 310, 999, 1071, 99999))), out[i][1])
    return out


def _break_bytes(pairs: Pairs, rng: random.Random) -> Pairs:
    out = list(pairs)
    for _ in range(rng.randrange(1, 20)):
        i = rng.randrange(len(out))
        code, value = out[i]
        out[i] = (
            code,
            value + rng.choice(("\x00", "\x1b", "\ud83d", "\ufffd", "\u2028", "\\U+ZZZZ")),
        )
    return out


MUTATORS: Final[tuple[Callable[[Pairs, random.Random], Pairs], ...]] = (
    _cut_short,
    _drop_a_stretch,
    _double_a_stretch,
    _break_numbers,
    _rename_layers,
    _swap_pairs,
    _shuffle_entities,
    _wrong_codes,
    _break_bytes,
)


def mutate(pairs: Pairs, seed: int) -> tuple[str, bytes]:
    """The mutation with that seed: its name and the bytes of the damaged file."""
    rng = random.Random(seed)
    mutator = MUTATORS[seed % len(MUTATORS)]
    damaged = mutator(pairs, rng)
    return mutator.__name__.strip("_"), text_of(damaged).encode("utf-8", "surrogatepass")
