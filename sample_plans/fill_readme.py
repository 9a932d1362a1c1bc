"""Puts real output into README.md: each `$ setout ...` block is run and what it prints put below it.

    python sample_plans/fill_readme.py

Run from the project's folder, so that the paths in the README hold; long outputs are cut.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

REPO = Path(__file__).resolve().parent.parent
BLOCK = re.compile(r"```console\n\$ (setout [^\n]+)\n.*?```", re.DOTALL)
LONGEST = 22
MISTAKEN_RULES = "name: my vinyl\nplank: {length: 1220, widht: 180}\n"


def output_of(command: str, folder: Path) -> str:
    """What the command prints on a pipe, run in a copy of the place the README speaks of."""
    done = subprocess.run(  # noqa: S603 - commands of our own README
        [sys.executable, "-m", "layout.cli", *command.split()[1:]],
        cwd=folder,
        env={"PYTHONPATH": str(REPO), "PYTHONIOENCODING": "utf-8", "PATH": ""},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    lines = (done.stdout + done.stderr).rstrip().splitlines()
    if len(lines) > LONGEST:
        lines = [*lines[:LONGEST], "..."]
    return "\n".join(line.rstrip() for line in lines)


def main() -> None:
    """Run every block in order; later commands read what earlier ones wrote."""
    readme = REPO / "README.md"
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "sample_plans").symlink_to(REPO / "sample_plans")
        (folder / "my.yaml").write_text(MISTAKEN_RULES, encoding="utf-8")
        filled = BLOCK.sub(
            lambda m: f"```console\n$ {m[1]}\n{output_of(m[1], folder)}\n```",
            readme.read_text(encoding="utf-8"),
        )
    readme.write_text(filled, encoding="utf-8")


if __name__ == "__main__":
    main()
