"""The process that lays plans, one after the other.

It speaks with its keeper (`layout.batch_keeper`) over standard input and output in frames: eight bytes
of length, then a pickle. It ends when its input does, that is when the keeper ends, however that was.
"""

from __future__ import annotations

import os
import pickle
import queue
import threading
from dataclasses import dataclass
from enum import Enum
from typing import IO, Any, Final

LENGTH_BYTES: Final = 8


class Outcome(Enum):
    """How an errand went. TOO_LONG is only for the keeper to say."""

    LAID = "laid"
    OUT_OF_MEMORY = "out of memory"
    TOO_LONG = "too long"
    FAULT = "fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What comes back: the laid plan, or the words for a fault of the program."""

    outcome: Outcome
    laid: Any = None
    words: str = ""


def send(stream: IO[bytes], thing: object) -> None:
    """Write one frame. Raises OSError when nobody reads any more."""
    data = pickle.dumps(thing, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(len(data).to_bytes(LENGTH_BYTES, "big"))
    stream.write(data)
    stream.flush()


def receive(stream: IO[bytes]) -> bytes:
    """Read one frame, still pickled. Raises EOFError when there is none, or only a part of one."""
    head = stream.read(LENGTH_BYTES)
    if len(head) < LENGTH_BYTES:
        raise EOFError
    size = int.from_bytes(head, "big")
    data = stream.read(size)
    if len(data) < size:
        raise EOFError
    return data


def main() -> None:
    """Lay what comes in until the input ends."""
    given, answers = _own_streams()
    tasks: queue.SimpleQueue[bytes] = queue.SimpleQueue()
    threading.Thread(target=_take_in, args=(given, tasks), daemon=True).start()
    while True:
        send(answers, _answer(tasks.get()))


def _own_streams() -> tuple[IO[bytes], IO[bytes]]:
    """The streams to the keeper under new numbers, so that nothing a library prints gets into them."""
    given = os.fdopen(os.dup(0), "rb")
    answers = os.fdopen(os.dup(1), "wb")
    nothing = os.open(os.devnull, os.O_RDWR)
    os.dup2(nothing, 0)
    os.dup2(2, 1)
    return given, answers


def _take_in(given: IO[bytes], tasks: queue.SimpleQueue[bytes]) -> None:
    """Hand tasks on; end the process, whatever it is doing, when the keeper is gone."""
    try:
        while True:
            tasks.put(receive(given))
    except (EOFError, OSError):
        os._exit(0)


def _answer(data: bytes) -> Answer:
    from layout.batch_limits import confine
    from layout.commands.fault import fault_words

    try:
        errand = pickle.loads(data)  # noqa: S301 - from our keeper, over a pipe that only it holds
        os.chdir(errand.folder)
        confine(errand.limits)
        return Answer(outcome=Outcome.LAID, laid=errand.lay(errand.task))
    except MemoryError:
        return Answer(outcome=Outcome.OUT_OF_MEMORY)
    except Exception as error:  # noqa: BLE001 - contained: it is told in the plan's place
        return Answer(outcome=Outcome.FAULT, words=fault_words(error))
