"""`setout rules`: a rule set as it is understood, its schema, and a commented one to start from."""

from __future__ import annotations

from pathlib import Path

from layout.commands.screen import rules_or_default, write_bytes
from layout.commands.status import ExitStatus
from layout.config_files import DEFAULT_CONFIG, config_text
from layout.rules_schema import rules_schema_json
from layout.rules_text import rules_text
from layout.safe_write import OutputError, OutputProblem, write_file


def show(path: str | None) -> ExitStatus:
    """Print every setting as it holds, defaults too. Raises RuleError."""
    rules, is_default = rules_or_default(path)
    head = (
        f"# The packaged default ({DEFAULT_CONFIG}): no rule set was given.\n" if is_default else ""
    )
    write_bytes((head + rules_text(rules)).encode("utf-8"))
    return ExitStatus.CLEAN


def schema(path: str | None) -> ExitStatus:
    """Print the JSON Schema or write it to a file. Raises OutputError."""
    return give(rules_schema_json(), path, may_replace=True)


def new(path: str | None, *, like: str) -> ExitStatus:
    """Print a commented rule set or write it to a new file. Raises OutputError."""
    return give(config_text(like), path, may_replace=False)


def give(text: str, path: str | None, *, may_replace: bool) -> ExitStatus:
    """Text to standard output or into a file. Raises OutputError."""
    data = text.encode("utf-8")
    if path is None or path == "-":
        write_bytes(data)
        return ExitStatus.CLEAN
    target = Path(path)
    if target.is_file() and not may_replace:
        raise OutputError(
            OutputProblem(
                where=path,
                what="This file is there already, and it may hold your own numbers.",
                remedy="Give another name, or delete it first.",
            )
        )
    write_file(target, data)
    return ExitStatus.CLEAN
