"""Exit statuses. Other programs act on them: their meaning never changes."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum, unique

from importer.plan import Finding, Severity


@unique
class ExitStatus(IntEnum):
    """0 to 3 and 130 are for the user to act on; 4 is a fault of the program."""

    CLEAN = 0
    TO_SETTLE = 1
    BAD_INPUT = 2
    NOT_WRITTEN = 3
    FAULT = 4
    INTERRUPTED = 130


def status_of(findings: Iterable[Finding]) -> ExitStatus:
    """TO_SETTLE when any finding waits for the user, else CLEAN."""
    waits = any(f.severity is not Severity.NOTE for f in findings)
    return ExitStatus.TO_SETTLE if waits else ExitStatus.CLEAN
