"""The sheets and the page of every sample through other programs: qpdf, pdftotext, Chromium, axe-core.

    python -m tests.bench.checked_outputs [NAME ...]

One line a sample: what `qpdf --check` says, how many names of bays and lines of cut lists pdftotext finds
of all, whether the sheets made twice are the same bytes, serious findings of axe-core over the list and
every bay of the page in light and dark at the widths of a phone and a desk, whether anything scrolls
sideways, and how many bays are read with JavaScript off. Ends with 1 where anything is amiss.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import sys
import tempfile
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

from layout.batch import Task, lay_file
from layout.floor import PlanResult
from layout.rules_file import default_rules
from layout.takeoff import combine
from layout.writers.page.render import page_html
from layout.writers.sheets.book import plan_sheets
from tests.layout.writers.sheets_checked import missing_words, qpdf_says, wanted

REPO = Path(__file__).resolve().parent.parent.parent
SIZES = ({"width": 360, "height": 740}, {"width": 1280, "height": 800})
GRAVE = ("serious", "critical")


def main() -> int:
    """Print a line for each sample."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("names", nargs="*", help="only samples of these names")
    names = parser.parse_args().names
    paths = [*sorted((REPO / "sample_plans").glob("*.dxf")), REPO / "sample_plans" / "block.ifc"]
    amiss = False
    for path in paths:
        if names and path.stem not in names:
            continue
        task = Task(path=path, rules=default_rules(), default_rules=True)
        laid = lay_file(task)
        found = [*sheets_line(laid.files["-sheets.pdf"], laid.result), *page_line(laid.result)]
        print(path.name, *(words for words, _ in found), sep="; ", flush=True)
        amiss = amiss or any(bad for _, bad in found)
    print(f"{platform.processor() or platform.machine()}, {os.cpu_count()} processors")
    return int(amiss)


def sheets_line(data: bytes, result: PlanResult) -> Iterator[tuple[str, bool]]:
    """What is to be said of the PDF, and whether it is amiss."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheets.pdf"
        path.write_bytes(data)
        said = qpdf_says(path)
        yield f"qpdf {said or 'sound'}", bool(said)
        missing, all_of = missing_words(path, result), len(list(wanted(result)))
        told = f" (missing {', '.join(missing[:4])})" if missing else ""
        yield f"pdftotext {all_of - len(missing)}/{all_of}{told}", bool(missing)
    again = plan_sheets(result, default_rules(), default_rules=True).data
    yield f"same bytes {again == data}", again != data


def page_line(result: PlanResult) -> Iterator[tuple[str, bool]]:
    """What is to be said of the page, and whether it is amiss."""
    from playwright.sync_api import sync_playwright

    engine = import_module("axe_playwright_python.sync_playwright").Axe()
    job = combine([result], default_rules(), default_rules=True)
    chromium = os.environ.get("SETOUT_CHROMIUM") or shutil.which("chromium")
    grave, all_found, sideways = 0, 0, 0
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        path = Path(folder) / "index.html"
        path.write_bytes(page_html(job, default_rules()))
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        views = ["", *(f"#b{n}" for n in range(1, len(result.bays) + 1))]
        for size in SIZES:
            for scheme in ("light", "dark"):
                page = browser.new_page(viewport=size, color_scheme=scheme)
                for view in views:
                    page.goto(path.as_uri() + view)
                    found = engine.run(page).response["violations"]
                    grave += sum(len(v["nodes"]) for v in found if v["impact"] in GRAVE)
                    all_found += sum(len(v["nodes"]) for v in found)
                    wide = page.evaluate("document.documentElement.scrollWidth")
                    sideways += wide > size["width"]
                page.close()
        readable = _without_script(browser, path.as_uri(), result)
        browser.close()
    yield f"axe {grave} serious, {all_found} in all over {4 * len(views)} views", grave > 0
    yield f"{sideways} scroll sideways", sideways > 0
    yield f"{readable}/{len(result.bays)} bays without script", readable < len(result.bays)


def _without_script(browser: Any, address: str, result: PlanResult) -> int:
    """Bays whose plan and rows are seen with JavaScript off."""
    page = browser.new_page(java_script_enabled=False)
    page.goto(address)
    seen = 0
    for n in range(1, len(result.bays) + 1):
        shown = [page.locator(f"#b{n} {part}").first.is_visible() for part in ("svg", ".rows")]
        seen += all(shown)
    page.close()
    return seen


if __name__ == "__main__":
    sys.exit(main())
