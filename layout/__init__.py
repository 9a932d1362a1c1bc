"""A Plan and a RuleSet in, a JobResult out, then files.

    from importer import read_plan
    from layout import lay_plan
    from layout.rules_file import default_rules, load_rules

`lay_plan` shows how it is used.
The names below are what other programs may rely on; everything else is this package's own business.
They are fetched when first asked for, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from layout.floor import BayLayout, JobResult, PlanResult
    from layout.job import lay_bay, lay_plan
    from layout.rules import RuleSet
    from layout.takeoff import combine

__all__ = [
    "BayLayout",
    "JobResult",
    "PlanResult",
    "RuleSet",
    "combine",
    "lay_bay",
    "lay_plan",
]

_HOME: Final = {
    "BayLayout": "layout.floor",
    "JobResult": "layout.floor",
    "PlanResult": "layout.floor",
    "RuleSet": "layout.rules",
    "combine": "layout.takeoff",
    "lay_bay": "layout.job",
    "lay_plan": "layout.job",
}


def __getattr__(name: str) -> object:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    msg = f"module 'layout' has no attribute {name!r}"
    raise AttributeError(msg)


def __dir__() -> list[str]:
    return sorted(__all__)
