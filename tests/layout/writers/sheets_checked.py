"""Site sheets through other programs: qpdf looks at the file, poppler's pdftotext reads it."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

from layout.floor import PlanResult
from layout.writers.names import clean
from layout.writers.sheets.cut_list import CutLine, stages_of
from layout.writers.sheets.scene import context_of, scene_of

HAS_PDF_PROGRAMS = all(shutil.which(name) for name in ("qpdf", "pdftotext"))


def qpdf_says(path: Path) -> str:
    """Empty when `qpdf --check` finds the file sound."""
    done = subprocess.run(
        ["qpdf", "--check", str(path)], check=False, capture_output=True, timeout=60
    )
    return "" if done.returncode == 0 else (done.stdout + done.stderr).decode("utf-8", "replace")


def missing_words(path: Path, result: PlanResult) -> list[str]:
    """Names of bays and lines of cut lists that pdftotext does not find in the sheets of a plan."""
    command = ["pdftotext", "-layout", str(path), "-"]
    text = subprocess.run(command, check=True, capture_output=True, timeout=120).stdout.decode(
        "utf-8"
    )
    return [words for words, pattern in wanted(result) if not re.search(pattern, text)]


def wanted(result: PlanResult) -> Iterator[tuple[str, str]]:
    """What is looked for in the sheets: in words, and as a regular expression."""
    context = context_of(result)
    for layout in result.bays:
        number = f"Bay {clean(str(layout.bay.id))}"
        yield number, rf"{re.escape(number)}\b"
        for stage in stages_of(scene_of(layout, context, "", "")):
            for line in stage.lines:
                yield f"{number}, row {line.label}", _pattern(line)


def _pattern(line: CutLine) -> str:
    """A line of the list as it is laid out: the room after the row may be cut short."""
    full = str(line.full) if line.full else ""
    cells = (line.first, line.came, full, line.last, line.last_came, line.keep)
    told = r"\s+".join(re.escape(c) for c in cells if c)
    room = rf"(?:{re.escape(line.room[:3])}[^\n]{{0,40}}?\s+)?" if line.room else ""
    return rf"(?<!\S){re.escape(line.label)}\s+{room}{told}(?!\S)"
