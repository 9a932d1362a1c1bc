"""`setout job`: the schema of a job file, and a commented one to start from."""

from __future__ import annotations

from layout.batch_job import job_schema_json
from layout.commands.rules import give
from layout.commands.status import ExitStatus
from layout.config_files import job_text


def schema(path: str | None) -> ExitStatus:
    """Print the JSON Schema or write it to a file. Raises OutputError."""
    return give(job_schema_json(), path, may_replace=True)


def new(path: str | None) -> ExitStatus:
    """Print a commented job file or write it to a new file. Raises OutputError."""
    return give(job_text(), path, may_replace=False)
