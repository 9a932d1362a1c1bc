"""Workers that do what a plan is called, in a module that a process takes in quickly."""

from __future__ import annotations

import os
import time

from layout.batch_outputs import LaidPlan, Task
from layout.floor import PlanResult, PlanStatus


def by_name(task: Task) -> LaidPlan:
    """A worker that does what the plan is called."""
    if task.path.name == "dies":
        os._exit(9)
    if task.path.name == "hangs":
        time.sleep(600)
    if task.path.name == "eats":
        held = []
        while True:
            held.append(bytearray(20_000_000))
            held[-1][::4096] = b"x" * len(held[-1][::4096])
            time.sleep(0.02)
    if task.path.name == "leaps":
        bytearray(40_000_000_000)
    if task.path.name == "talks":
        print("a word on standard output", flush=True)
        os.write(1, b"and one below it")
    if task.path.name == "fails":
        raise ZeroDivisionError("no such\nthing")
    return LaidPlan(result=PlanResult(source=str(task.path), status=PlanStatus.CLEAN, plan=None))
