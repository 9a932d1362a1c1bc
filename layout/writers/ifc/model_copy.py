"""A copy of the model that a plan came from, with the laid floors in it as floor coverings."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

from importer.ifc.child import Limits, done_in_child
from importer.plan import Finding, Origin, PlanError, Severity
from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.writers.ifc.floors import floors_of
from layout.writers.ifc.inside import Copy, Errand

LIMITS: Final = Limits()


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelCopy:
    """The copy, None where there is none, and what to tell."""

    data: bytes | None
    findings: tuple[Finding, ...] = ()


def model_with_floors(
    path: Path, result: PlanResult, rules: RuleSet, *, default_rules: bool, limits: Limits = LIMITS
) -> ModelCopy:
    """Copy a model with the floors laid in it. The model is parsed in a process of its own, which may
    die of it: then there is no copy, and a finding says why.

    Args:
        path: the model that the plan was read from; it is only read.
        result: the plan as laid.
        rules: what it was laid by.
        default_rules: whether these are the packaged ones.
        limits: what the work may take.
    """
    errand = Errand(
        floors=floors_of(result, rules, default_rules=default_rules), hints=rules.hints()
    )
    try:
        copy = done_in_child("layout.writers.ifc.inside:write_floors", path, errand, limits)
    except PlanError as error:
        why = error.finding
        return ModelCopy(
            data=None,
            findings=(
                Finding(
                    code="OUT-144",
                    severity=Severity.SETTLE,
                    what=f"There is no copy of the model with the floors in it: {why.what}",
                    where=Origin(file=path.name),
                    remedy=why.remedy,
                ),
            ),
        )
    assert isinstance(copy, Copy)
    return ModelCopy(data=copy.data, findings=copy.findings)
