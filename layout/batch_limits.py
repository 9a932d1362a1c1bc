"""How long a plan may take and how much memory, and what is said when it takes more.

The limits protect a batch from one bad drawing; they change nothing in what is laid within them.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from importer.plan import Finding
from layout.batch_plans import refusal

MB: Final = 1_000_000
FAULT_CODE: Final = "LAY-190"
"""A plan that this program itself failed on."""
_SPARE_ADDRESSES: Final = 2_000 * MB
"""Address space beyond the memory limit: libraries reserve much that they never touch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What one plan may take: seconds from its start, and megabytes (10^6 bytes) of its process."""

    seconds: float = 1800.0
    memory_mb: int = 4000


DEFAULT_LIMITS: Final = Limits()


def confine(limits: Limits) -> None:
    """In the process that lays a plan: no more address space than this, where the system can do that
    (not on Windows, not reliably on macOS). What asks for more gets a MemoryError.
    """
    if sys.platform == "win32":
        return
    import resource

    _, most = resource.getrlimit(resource.RLIMIT_AS)
    wanted = limits.memory_mb * MB + _SPARE_ADDRESSES
    if most != resource.RLIM_INFINITY:
        wanted = min(wanted, most)
    resource.setrlimit(resource.RLIMIT_AS, (wanted, most))


def memory_gauge(pid: int) -> Callable[[], int]:
    """How many bytes of memory a process holds; always 0 where the system does not say."""
    source = Path(f"/proc/{pid}/statm")
    if not source.exists():
        return lambda: 0
    page = _page_size()

    def held() -> int:
        try:
            return int(source.read_text(encoding="ascii").split()[1]) * page
        except (OSError, IndexError, ValueError):  # it has just ended
            return 0

    return held


def _page_size() -> int:
    import os

    return os.sysconf("SC_PAGE_SIZE") if hasattr(os, "sysconf") else 4096


# --- what is said -------------------------------------------------------------------------------


def too_long(path: Path, limits: Limits) -> Finding:
    """The plan was given up after its time."""
    return refusal(
        "LAY-192",
        path,
        f"This plan was given up after {_minutes(limits.seconds)}, the time that one plan may take.",
        "Allow more with --minutes (or per_plan.minutes in the rule set), or cut the drawing down to "
        "the floor plans.",
    )


def too_much_memory(path: Path, limits: Limits) -> Finding:
    """The plan was given up at its memory limit."""
    return refusal(
        "LAY-193",
        path,
        f"This plan was given up at {limits.memory_mb} MB, the memory that one plan may take.",
        "Allow more with --memory (or per_plan.memory_mb in the rule set), or cut the drawing down to "
        "the floor plans.",
    )


def died(path: Path, code: int | None) -> Finding:
    """The process that laid the plan ended before its time."""
    return refusal(
        "LAY-191",
        path,
        f"The process that laid this plan ended all at once ({_how(code)}).",
        "A damaged drawing can cause this, or too little memory: save it anew from its program, or lay "
        "it alone on a machine with more memory.",
    )


def _how(code: int | None) -> str:
    """An exit status as the system names it."""
    if code is not None and code < 0:
        import signal

        try:
            return f"signal {signal.Signals(-code).name}"
        except ValueError:
            return f"signal {-code}"
    return f"exit status {code}"


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:g} min" if seconds >= 60 else f"{seconds:g} s"
