"""A model is read in a child process, because parser and kernel can die of it, hang or eat all memory.

The child notes in a file what it is doing before it does it. When it dies or stands still, it is
started again, one product at a time, without the product that it was at; so a bad product costs itself
only, and is named. Time and memory are limited. The child ends with its parent, however that ends.

    parent                                 child (importer.ifc.worker)
    task  ----------------- file -------->  path, hints, what to leave out
    watches   <------------ file ---------  phase, product, count
    Plan or refusal <------ file ---------  pickled
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final, NamedTuple

from importer.hints import Hints
from importer.plan import Plan, PlanError
from importer.sniff import refusal

MOST_LOST: Final = 20
"""A model that kills the kernel with more products than this is given up."""

_LOOK_S: Final = 0.5
"""How often the parent looks whether the child gets on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one model may take. `seconds` is for the whole of it, `product_seconds` for one product."""

    seconds: float = 300.0
    product_seconds: float = 60.0
    memory_bytes: int = 4_000_000_000


class Lost(NamedTuple):
    """A product that was given up, by step id, and what it did."""

    product: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What the child has to do. `reader` is `module:function`, called as
    `reader(path, hints, watch, lost)`; for work other than reading, `hints` is what that wants.
    """

    reader: str
    path: Path
    hints: Any
    limits: Limits
    lost: tuple[Lost, ...] = ()
    careful: bool = False
    thorough: bool = False


class Progress(NamedTuple):
    """Where the child is: phase, product (0: none), and how often it told."""

    phase: str
    product: int
    turn: int


class ReaderFaultError(Exception):
    """The reader itself failed in the child, although the model had been looked through: a fault of this
    program, not of the model.
    """


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ended:
    """How a child ended: with a result, or why not and where it was."""

    result: Any = None
    why: str = ""
    at: Progress = field(default=Progress("start", 0, 0))
    out_of_time: bool = False


TASK, RESULT, AT, WORDS = "task", "result", "at", "words"
"""Names of the files between parent and child."""


def read_in_child(reader: str, path: Path, hints: Hints, limits: Limits) -> Plan:
    """The plan of a model, read by `reader` in a child process.

    Raises:
        PlanError: the model cannot be read, or the child could not be brought to an end with it.
        ReaderFaultError: the reader failed by a fault of its own.
    """
    plan = done_in_child(reader, path, hints, limits)
    assert isinstance(plan, Plan)
    return plan


def done_in_child(work: str, path: Path, given: object, limits: Limits) -> Any:
    """What a function makes of a model in a child process. `work` is `module:function`, called as
    `work(path, given, watch, lost)`; what it is given and what it gives are pickled.

    Raises:
        PlanError: the function raised it, or the child could not be brought to an end with the model.
        ReaderFaultError: the function failed by a fault of its own.
    """
    deadline = time.monotonic() + limits.seconds
    task = Task(reader=work, path=path.absolute(), hints=given, limits=limits)
    while True:
        try:
            ended = _run(task, deadline)
        except ReaderFaultError:
            if task.thorough:
                raise
            # A damaged model can trip any step: it is looked through and read once more.
            task = replace(task, thorough=True)
            continue
        if isinstance(ended.result, PlanError):
            raise ended.result
        if ended.result is not None:
            return ended.result
        if ended.out_of_time or ended.at.phase in {"start", "open"} or len(task.lost) >= MOST_LOST:
            raise _given_up(path, ended, limits, task.lost)
        if ended.at.product:
            task = replace(task, careful=True, lost=(*task.lost, Lost(ended.at.product, ended.why)))
        elif not task.careful:
            task = replace(task, careful=True)
        else:
            raise _given_up(path, ended, limits, task.lost)


def _given_up(path: Path, ended: _Ended, limits: Limits, lost: tuple[Lost, ...]) -> PlanError:
    doing = {
        "start": "before it was opened",
        "open": "while it was opened",
        "mesh": "while the bodies of its products were worked out",
    }.get(ended.at.phase, f"at the step '{ended.at.phase}'")
    without = f" ({len(lost)} products had been given up already)" if lost else ""
    if ended.out_of_time:
        what = f"the model took longer than {limits.seconds:.0f} s {doing}{without}."
        remedy = (
            "Have the architecture exported alone, by storeys, without furniture and site, or allow "
            "more with --minutes (or per_plan.minutes in the rule set)."
        )
    else:
        what = f"the program that reads it {ended.why} {doing}{without}."
        remedy = (
            "Have the model exported again, the architecture alone; or ask for the plans as DXF."
        )
    return refusal("IMP-160", what, path.name, remedy)


# --- one child ------------------------------------------------------------------------------------


def _run(task: Task, deadline: float) -> _Ended:
    with tempfile.TemporaryDirectory(prefix="setout-") as name:
        folder = Path(name)
        (folder / TASK).write_bytes(pickle.dumps(task))
        with (folder / WORDS).open("wb") as words:
            child = subprocess.Popen(  # noqa: S603  # our own interpreter and module
                [sys.executable, "-P", "-m", "importer.ifc.worker", name],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=words,
                env=_environment(),
            )
        try:
            why, at, out_of_time = _watched(child, folder, task.limits, deadline)
        finally:
            child.kill()
            child.wait()
        return _outcome(folder, child.returncode, why, at, out_of_time=out_of_time)


def _environment() -> dict[str, str]:
    """Ours, and the child finds every module where we do."""
    paths = [str(Path(p).absolute()) for p in (*sys.path, str(Path(__file__).parents[2]))]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(dict.fromkeys(paths))}


def _watched(
    child: subprocess.Popen[bytes], folder: Path, limits: Limits, deadline: float
) -> tuple[str, Progress, bool]:
    """Wait for the child; why it has to be ended, where it is, and whether its time is up."""
    waiter = threading.Thread(target=child.wait, daemon=True)
    waiter.start()
    last, since = Progress("start", 0, 0), time.monotonic()
    while True:
        waiter.join(max(0.0, min(_LOOK_S, deadline - time.monotonic())))
        at, now = read_progress(folder), time.monotonic()
        if not waiter.is_alive():
            return "", at, False
        if at != last:
            last, since = at, now
        if now >= deadline:
            return "took too long", at, True
        if at.phase == "mesh" and now - since > limits.product_seconds:
            return f"stood still for {limits.product_seconds:.0f} s", at, False


def read_progress(folder: Path) -> Progress:
    """What the child told last."""
    try:
        phase, product, count = (folder / AT).read_text("ascii").split()
        return Progress(phase, int(product), int(count))
    except (OSError, ValueError):  # not yet there, or just being written
        return Progress("start", 0, 0)


def _outcome(folder: Path, code: int, why: str, at: Progress, *, out_of_time: bool) -> _Ended:
    result = folder / RESULT
    if result.exists():
        # Written by our own child into a folder that only this user can enter.
        return _Ended(result=pickle.loads(result.read_bytes()), at=at)  # noqa: S301
    words = (folder / WORDS).read_text("utf-8", "replace")
    if not why and code > 0 and "MemoryError" in words:
        return _Ended(why="ran out of memory", at=at)
    if not why and code == 1 and "Traceback" in words:
        fault = ReaderFaultError(words.strip().rsplit("\n", 1)[-1])
        fault.add_note(words)
        raise fault
    return _Ended(why=why or _death(code), at=at, out_of_time=out_of_time)


def _death(code: int) -> str:
    """How a process ended that should not have, in words."""
    if code >= 0:
        return f"ended with status {code}"
    if -code == getattr(signal, "SIGXCPU", None):
        return "took too long"
    if -code in {getattr(signal, "SIGKILL", None), signal.SIGABRT}:
        return "was ended, most likely for want of memory,"
    return f"crashed ({signal.Signals(-code).name})"


# --- in the child ---------------------------------------------------------------------------------

Tell = Callable[[str, int], None]


def teller(folder: Path) -> Tell:
    """What the child tells its parent by: phase and product into a file of fixed length."""
    stream = (folder / AT).open("wb", buffering=0)
    count = 0

    def tell(phase: str, product: int) -> None:
        nonlocal count
        count += 1
        stream.seek(0)
        stream.write(f"{phase:<16} {product:12d} {count:12d}".encode("ascii"))

    return tell
