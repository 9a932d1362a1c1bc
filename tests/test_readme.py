"""What README.md says must be true: its commands exist, its code runs, its links lead somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from layout.cli import cli

README = Path(__file__).resolve().parent.parent / "README.md"


def text() -> str:
    return README.read_text(encoding="utf-8")


@pytest.mark.parametrize("command", sorted(cli.commands))
def test_every_command_is_in_the_readme_and_has_help(command: str) -> None:
    assert f"setout {command}" in text()
    shown = CliRunner().invoke(cli, [command, "--help"])
    assert shown.exit_code == 0
    assert len(shown.output.splitlines()) > 5


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\]\(([^)#:]+)\)", text()))))
def test_link_leads_to_a_file(target: str) -> None:
    assert (README.parent / target).exists()


def test_the_job_comes_first_in_one_paragraph() -> None:
    title, paragraph, *_ = [p for p in text().split("\n\n") if p.strip()]
    assert title.startswith("# ")
    assert 40 <= len(paragraph.split()) <= 160


def test_python_example_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    (example,) = re.findall(r"```python\n(.*?)```", text(), re.DOTALL)
    monkeypatch.chdir(README.parent)
    exec(compile(example, "README.md", "exec"), {})
