"""`setout read`: what was understood of a drawing, before anything is laid."""

from __future__ import annotations

import sys
from pathlib import Path

from importer.plan_json import plan_json_bytes
from importer.plan_table import show_plan
from importer.read import read_plan
from layout.commands.screen import busy, write_json
from layout.commands.status import ExitStatus, status_of
from layout.rules_file import load_rules
from layout.safe_write import write_file


def read(
    plan_path: Path,
    *,
    rules: str | None,
    json: str | None,
    picture: str | None,
    every: bool = False,
) -> ExitStatus:
    """Read one drawing and show it as a table, JSON and a picture.

    The rule set gives its hints about the drawing only; `every`: findings of one kind are not told
    together. Raises RuleError, PlanError, OutputError.
    """
    hints = load_rules(rules).hints() if rules is not None else None
    with busy(f"Reading {plan_path.name}", quiet=False):
        plan = read_plan(plan_path, hints)
    inputs = (plan_path,) if rules is None else (plan_path, Path(rules))
    if picture is not None:
        from importer.picture import picture_bytes  # heavy, and only for this

        drawn = picture_bytes(plan, Path(picture).suffix, name=picture)
        write_file(Path(picture), drawn, inputs=inputs)
    if json is not None:
        write_json(plan_json_bytes(plan), json, inputs=inputs)
    if json != "-":
        show_plan(plan, sys.stdout, every=every)
    return status_of(plan.findings)
