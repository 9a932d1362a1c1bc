"""Keeps the processes that lay plans: each plan in one that may crash, hang or run out of memory.

A process is started afresh (never forked: the same on every system, and safe beside the threads of the
libraries), lays one plan after another, and is replaced when a plan was too much for it. It has no part
in Ctrl-C, which is ours to answer, and ends when we do.
"""

from __future__ import annotations

import atexit
import os
import pickle
import queue
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Final

from importer.plan import Finding
from layout.batch_child import Answer, Outcome, receive, send
from layout.batch_limits import (
    DEFAULT_LIMITS,
    FAULT_CODE,
    MB,
    Limits,
    died,
    memory_gauge,
    too_long,
    too_much_memory,
)
from layout.batch_outputs import LaidPlan, Task, Worker, failed, lay_file
from layout.batch_plans import refusal
from layout.commands.fault import FAULT_REMEDY

_LOOK_S: Final = 0.1
"""How often time and memory of a plan are looked at."""
NOISE: Final = "SETOUT_VERBOSE"
"""Environment variable that lets what libraries print in the processes through to standard error."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """A task and how it is to be done. `folder` is what relative paths of the task start from."""

    task: Task
    limits: Limits = DEFAULT_LIMITS
    folder: str = ""
    lay: Worker = lay_file


class Child:
    """One process and the thread that listens to it. Not for two errands at once."""

    def __init__(self) -> None:
        noisy = bool(os.environ.get(NOISE))
        paths = [p or str(Path.cwd()) for p in sys.path]
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", "from layout.batch_child import main; main()"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=None if noisy else subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(paths)},
            **_out_of_our_group(),
        )
        self._answers: queue.SimpleQueue[Answer | None] = queue.SimpleQueue()
        self._held = memory_gauge(self._process.pid)
        threading.Thread(target=self._listen, daemon=True).start()

    @property
    def is_alive(self) -> bool:
        """Whether it can take another errand."""
        return self._process.poll() is None

    def _listen(self) -> None:
        assert self._process.stdout is not None
        try:
            with self._process.stdout as stream, suppress(EOFError, OSError, ValueError):
                while True:
                    self._answers.put(pickle.loads(receive(stream)))  # noqa: S301 - our own process
        finally:
            self._answers.put(None)

    def lay(self, errand: Errand) -> LaidPlan:
        """Have a plan laid. Whatever goes wrong comes back as a failed plan."""
        assert self._process.stdin is not None
        path, limits = errand.task.path, errand.limits
        with suppress(OSError):  # it has ended: the listener tells
            send(self._process.stdin, errand)
        answer = self._watched(limits)
        if isinstance(answer, Answer) and answer.outcome is Outcome.LAID:
            laid: LaidPlan = answer.laid
            return laid
        if isinstance(answer, Answer) and answer.outcome is Outcome.FAULT:
            return failed(path, refusal(FAULT_CODE, path, answer.words, FAULT_REMEDY))
        code = self.end()
        return failed(path, _reason(answer, path, limits, code))

    def _watched(self, limits: Limits) -> Answer | Outcome | None:
        """The answer; TOO_LONG or OUT_OF_MEMORY where a limit was reached; None where it died."""
        until = time.monotonic() + limits.seconds
        while True:
            try:
                return self._answers.get(timeout=_LOOK_S)
            except queue.Empty:
                if time.monotonic() > until:
                    return Outcome.TOO_LONG
                if self._held() > limits.memory_mb * MB:
                    return Outcome.OUT_OF_MEMORY

    def end(self) -> int | None:
        """See it ended; its exit status, None where we had to end it."""
        with suppress(subprocess.TimeoutExpired):
            code = self._process.wait(timeout=_LOOK_S)
            self.close()
            return code
        self.kill()
        return None

    def kill(self) -> None:
        """End it at once."""
        self._process.kill()
        self._process.wait()
        self.close()

    def close(self) -> None:
        """Let go of the way to it, after its end."""
        if self._process.stdin is not None:
            with suppress(OSError):  # what was not sent yet goes nowhere
                self._process.stdin.close()


def _reason(
    answer: Answer | Outcome | None, path: Path, limits: Limits, code: int | None
) -> Finding:
    outcome = answer.outcome if isinstance(answer, Answer) else answer
    if outcome is Outcome.TOO_LONG:
        return too_long(path, limits)
    if outcome is Outcome.OUT_OF_MEMORY:
        return too_much_memory(path, limits)
    return died(path, code)


def _out_of_our_group() -> dict[str, Any]:
    """Keep Ctrl-C away from a process."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}


class Children:
    """The processes of this one: idle ones are used again."""

    def __init__(self) -> None:
        self._idle: list[Child] = []
        self._all: set[Child] = set()
        self._endings = 0
        self._lock = threading.Lock()

    def lay(self, errand: Errand) -> LaidPlan:
        """Have a plan laid by an idle process, or a new one; may be called from several threads."""
        child = self._taken(self._endings)
        try:
            return child.lay(errand)
        finally:
            self._given_back(child)

    def _taken(self, endings: int) -> Child:
        """A process to work with; one that was started while all were ended is ended too."""
        with self._lock:
            while self._idle:
                child = self._idle.pop()
                if child.is_alive:
                    return child
                self._all.discard(child)
        child = Child()
        with self._lock:
            self._all.add(child)
            if endings != self._endings:
                child.kill()
        return child

    def _given_back(self, child: Child) -> None:
        with self._lock:
            if child.is_alive:
                self._idle.append(child)
            else:
                self._all.discard(child)

    def end(self) -> None:
        """End them all, whatever they are doing."""
        with self._lock:
            ending, self._idle = tuple(self._all), []
            self._all.clear()
            self._endings += 1
        for child in ending:
            child.kill()


@cache
def children() -> Children:
    """Those of this process. One set for all jobs: starting a process takes longer than a small plan."""
    own = Children()
    atexit.register(own.end)
    return own


def lay_guarded(errand: Errand) -> LaidPlan:
    """Have a plan laid in a process of its own. This is what an executor is given: it may run in a
    thread, in a process, or on another machine that reaches `errand.folder`.
    """
    return children().lay(errand)
