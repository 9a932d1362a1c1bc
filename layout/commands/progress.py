"""How far a job has got: a bar on a terminal, plain lines elsewhere, nothing when quiet."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from layout.batch import Done
from layout.commands.screen import console, plain


@contextmanager
def progress(count: int, *, quiet: bool) -> Iterator[Callable[[Done], None] | None]:
    """What to tell of every finished plan, on standard error; a single plan has no lines."""
    if quiet or (count == 1 and not sys.stderr.isatty()):
        yield None
    elif sys.stderr.isatty():
        with _bar(count) as told:
            yield told
    else:
        yield _line


def _line(done: Done) -> None:
    screen = console(errors=True)
    screen.print(f"{done.number} of {done.count}: {_words(done)}", soft_wrap=True)


def _words(done: Done) -> str:
    kept = " (kept from before)" if done.was_kept else ""
    name = done.task.called or str(done.task.path)
    return f"{plain(name)}: {done.laid.result.status.value}{kept}"


@contextmanager
def _bar(count: int) -> Iterator[Callable[[Done], None]]:
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (
        TextColumn("Laying"),
        BarColumn(),
        TextColumn("{task.completed:.0f} of {task.total:.0f}"),
        TimeElapsedColumn(),
        TextColumn("{task.fields[last]}", markup=False),
    )
    with Progress(*columns, console=console(errors=True), transient=True) as bar:
        # One plan has no parts to count: the bar then only shows that work goes on.
        task = bar.add_task("", total=count, last="")
        if count == 1:
            bar.update(task, total=None)

        def told(done: Done) -> None:
            bar.update(task, completed=done.number, last=plain(Path(done.task.path).name))

        yield told
