"""The job file as a model: plans delivered as many files, their storeys, rule sets by flat, exclusions.

This module is the shape only; `layout.batch_job_file` reads it from YAML with file, line and column.
"""

from __future__ import annotations

import json
from typing import Any

from pydantic import Field

from layout.rules_schema import published, yes_no_text
from layout.rules_values import Section, YesNo

_PATTERN = "* stands for anything, | separates alternatives; case does not matter."


class FlatLine(Section):
    """Which rule set the flats of a type are laid by, or that they are not laid."""

    match: str = Field(description=f"Names of flats; {_PATTERN}")
    rules: str = Field(
        default="", description="Rule set for them: a YAML file, or a packaged one by name."
    )
    lay: YesNo = Field(default=True, description="no: these flats get no planks.")
    because: str = Field(default="", description="Why they are not laid.")


class LeftOut(Section):
    """Something that is not laid: rooms, flats, storeys or, of a folder, files. One of them a line."""

    rooms: str = Field(default="", description=f"Names or numbers of rooms; {_PATTERN}")
    flats: str = Field(default="", description=f"Names of flats; {_PATTERN}")
    storeys: str = Field(default="", description=f"Names of storeys; {_PATTERN}")
    files: str = Field(default="", description=f"Names of files in a folder; {_PATTERN}")
    because: str = Field(default="", description="Why, as the record and the sheets should say it.")


class JobPlan(Section):
    """One drawing or model, or a folder of them, and what of it is laid how."""

    file: str = Field(description="The drawing, or a folder of drawings, seen from this file.")
    name: str = Field(default="", max_length=60, description="What the outputs call it.")
    storey: str = Field(
        default="", max_length=60, description="Name of its storey, where it shows one."
    )
    stands_for: tuple[str, ...] = Field(
        default=(),
        max_length=200,
        description="Storeys built alike, by name: the plan is laid and ordered for each.",
    )
    storeys: tuple[str, ...] = Field(
        default=(), description=f"Of several storeys in it, only these; {_PATTERN}"
    )
    rules: str = Field(default="", description="Rule set for it, before the one of the job.")
    flats: tuple[FlatLine, ...] = Field(
        default=(),
        description="Rule sets by flat, before those of the job; the first match counts.",
    )
    leave_out: tuple[LeftOut, ...] = Field(default=(), description="What of it is not laid.")


class JobFile(Section):
    """A job: what title blocks say, rule sets, plans."""

    name: str = Field(default="", max_length=120, description="Name of the job, for title blocks.")
    date: str = Field(default="", max_length=40, description="Date of issue as it is printed.")
    revision: str = Field(default="", max_length=20, description="Revision of the setting-out.")
    rules: str = Field(
        default="",
        description="Rule set for all flats that no line names: a YAML file, or a packaged one by name.",
    )
    flats: tuple[FlatLine, ...] = Field(
        default=(), description="Rule sets by flat; the first match counts."
    )
    leave_out: tuple[LeftOut, ...] = Field(default=(), description="What is not laid in any plan.")
    plans: tuple[JobPlan, ...] = Field(min_length=1, description="The drawings and models.")


def job_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of a job file."""
    return published(
        JobFile.model_json_schema(),
        title="setout job",
        description="Plans of a job, their storeys, rule sets by flat, exclusions and names. Paths "
        "start from the folder of the job file and stay in it.",
        texts=yes_no_text(),
    )


def job_schema_json() -> str:
    """The schema as text, one trailing newline."""
    return json.dumps(job_schema(), indent=2, ensure_ascii=False) + "\n"
