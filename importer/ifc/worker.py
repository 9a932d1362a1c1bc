"""The child process: `python -m importer.ifc.worker FOLDER` does the task in the folder."""

from __future__ import annotations

import pickle
import sys
from importlib import import_module
from pathlib import Path

from importer.ifc.child import RESULT, TASK, Limits, Task, teller
from importer.ifc.model import Watch
from importer.plan import PlanError


def main(folder: Path) -> None:
    """Read the model of the task and leave the plan, or the refusal, in the folder."""
    task: Task = pickle.loads((folder / TASK).read_bytes())  # noqa: S301  # written by our parent
    _limit(task.limits)
    _end_with_parent()
    module, name = task.reader.split(":")
    reader = getattr(import_module(module), name)
    watch = Watch(
        tell=teller(folder),
        skip=frozenset(product for product, _ in task.lost),
        careful=task.careful,
        thorough=task.thorough,
    )
    try:
        result = reader(task.path, task.hints, watch, task.lost)
    except PlanError as refused:
        result = refused
    part = folder / f"{RESULT}.part"
    part.write_bytes(pickle.dumps(result, protocol=pickle.HIGHEST_PROTOCOL))
    part.replace(folder / RESULT)


def _limit(limits: Limits) -> None:
    """Hold memory and processor time down, where the system can."""
    try:
        import resource
    except ImportError:  # Windows: the parent still watches the clock
        return
    for kind, most in (
        (resource.RLIMIT_AS, limits.memory_bytes),
        (resource.RLIMIT_CPU, int(limits.seconds) + 1),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(kind)
        allowed = most if hard == resource.RLIM_INFINITY else min(most, hard)
        try:
            resource.setrlimit(kind, (allowed, hard))
        except (ValueError, OSError):  # not every system lets memory be limited
            continue


def _end_with_parent() -> None:
    """Ask Linux to end this process when its parent ends; elsewhere the limits do it in the end."""
    if not sys.platform.startswith("linux"):
        return
    import ctypes
    import signal

    pr_set_pdeathsig = 1
    ctypes.CDLL(None).prctl(pr_set_pdeathsig, int(signal.SIGKILL))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
