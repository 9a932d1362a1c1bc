"""What the commands share to put things on the screen: a console, JSON, rule sets by file name."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from layout.floor import Breach
from layout.rules import RuleSet
from layout.rules_file import default_rules, load_rules
from layout.safe_write import write_file

if TYPE_CHECKING:
    from rich.console import Console

_WIDTH_IN_FILES = 120
"""Columns when the output goes to a file or a pipe, which have no width."""


def console(*, errors: bool = False) -> Console:
    """A console that prints text as it is: names from drawings are data, not markup."""
    from rich.console import Console

    stream = sys.stderr if errors else sys.stdout
    return Console(
        file=stream,
        width=None if stream.isatty() else _WIDTH_IN_FILES,
        markup=False,
        emoji=False,
        highlight=False,
        soft_wrap=False,
    )


def plain(text: str) -> str:
    r"""Text on one line without control characters, which could move the cursor or hide what follows.

    >>> plain("Bad\x1b[2J\nroom")
    'Bad [2J room'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


@contextmanager
def busy(words: str, *, quiet: bool) -> Iterator[None]:
    """A sign of life on a terminal while something takes time; nothing in files and pipes."""
    if quiet or not sys.stderr.isatty():
        yield
        return
    with console(errors=True).status(words):
        yield


def breach_words(breach: Breach) -> str:
    """Why, and how far off: the figures of a rule are millimetres, those of a law can be areas."""
    figures = ""
    if "." in breach.rule:  # a key of the rule set
        figures = f" {breach.value:.1f} mm, limit {breach.limit:.1f} mm."
    return plain(breach.why) + figures


def write_json(data: bytes, target: str, *, inputs: tuple[Path, ...]) -> None:
    """JSON to a file, or to standard output for `-`, always UTF-8. Raises OutputError, OSError."""
    if target == "-":
        write_bytes(data)
    else:
        write_file(Path(target), data, inputs=inputs)


def write_bytes(data: bytes) -> None:
    """Bytes to standard output as they are, whatever its encoding. Raises OSError."""
    sys.stdout.flush()
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()


def rules_or_default(path: str | None) -> tuple[RuleSet, bool]:
    """The rule set of a file, or the packaged one; and whether it is the packaged one.

    Raises RuleError.
    """
    return (default_rules(), True) if path is None else (load_rules(path), False)
