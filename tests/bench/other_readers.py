"""What other programs make of the marked drawings: ezdxf's audit, GDAL and LibreCAD, and the census.

    python -m tests.bench.other_readers [--folder DIR] [--keep DIR] [NAME ...]

Every sample and every real drawing is laid by the packaged rules and marked; one line each is printed:
    release  of the marked drawing, and of the source where it had to be changed
    census   entities of the source kept with the same content / all of them, from the file's bytes where
             it was added to, else as the CAD library holds them
    audit    faults that ezdxf finds in the marked drawing (in the source)
    GDAL     entities of ours in modelspace that ogr2ogr delivers / all of them; features of the source
             that come out the same / all of them
    LibreCAD how much of the page its PDF inks, source and marked, in thousandths; `complains` with what
             it says of the marked drawing and not of the source
Programs that are not installed are named and left out. Real drawings are not part of the project:
SETOUT_REAL_PLANS names their folder.
"""

from __future__ import annotations

import argparse
import csv
import io
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from ezdxf import recover
from ezdxf.document import Drawing

from importer.plan import Severity
from layout.batch import Task, lay_file
from layout.rules_file import default_rules
from layout.writers.dxf.census import census, differences, raw_census
from layout.writers.dxf.tags import parse
from layout.writers.dxf.xdata import APPID

REPO = Path(__file__).resolve().parent.parent.parent
CHANGED = frozenset({"TABLE", "VPORT", "DICTIONARY", "BLOCK_RECORD"})
"""Records that marking has to change: counts, the view, the entry of our dictionary, the link of a space
to its layout where there was none."""
QUIET = ("RS_DEBUG", "XDG_RUNTIME_DIR", "Printing ")
"""Lines that LibreCAD prints of every file."""


@dataclass(kw_only=True)
class Found:
    """One line of the table."""

    name: str
    release: str = ""
    census: str = ""
    audit: str = ""
    gdal: str = ""
    librecad: str = ""
    sheets: int = 0
    kib: int = 0
    seconds: float = 0.0
    faults: list[str] = field(default_factory=list)

    def cells(self) -> tuple[str, ...]:
        """As printed."""
        figures = (str(self.sheets), str(self.kib), f"{self.seconds:.1f}")
        return (
            self.name,
            self.release,
            self.census,
            self.audit,
            self.gdal,
            self.librecad,
            *figures,
        )


HEADINGS = ("drawing", "release", "census", "audit", "GDAL", "LibreCAD", "sheets", "KiB", "s")


def judged(path: Path, keep: Path) -> Found:
    """Lay, mark and look at one drawing through every program that is there."""
    found = Found(name=path.stem)
    started = time.perf_counter()
    laid = lay_file(Task(path=path, rules=default_rules(), default_rules=True))
    found.seconds = time.perf_counter() - started
    data = laid.files.get("-marked.dxf")
    if data is None:
        refused = [f.what for f in laid.result.findings if f.severity is Severity.REFUSED]
        found.release = "not laid: " + "; ".join(refused or ["no room to lay"])[:60]
        return found
    marked = keep / f"{path.stem}-marked.dxf"
    marked.write_bytes(data)
    found.kib = len(data) // 1024
    source_doc, before = recover.readfile(path)
    doc, after = recover.readfile(marked)
    found.sheets = sum(name.startswith("Setout") for name in doc.layouts.names())
    found.release = source_doc.acad_release
    if doc.acad_release != source_doc.acad_release:
        found.release += f" > {doc.acad_release}"
    _audit(found, len(before.errors), len(after.errors))
    _census(found, path, marked, source_doc, doc)
    _gdal(found, path, marked, doc)
    _librecad(found, path, marked)
    return found


def _audit(found: Found, before: int, after: int) -> None:
    found.audit = f"{after} ({before})"
    if after > before:
        found.faults.append("audit")


def _census(found: Found, path: Path, marked: Path, source: Drawing, doc: Drawing) -> None:
    was, now = parse(path.read_bytes()), parse(marked.read_bytes())
    if was is not None and now is not None and source.dxfversion == doc.dxfversion:
        allowed = {r.handle for r in was.records if r.kind in CHANGED}
        counted = {k: v for k, v in raw_census(was).items() if k.split("/")[1] not in allowed}
        counted = {k: v for k, v in counted.items() if not k.startswith("HEADER")}
        lost = len(differences(counted, raw_census(now)))
        how = "bytes"
    else:
        source.dxfversion = doc.dxfversion
        counted = dict(census(source))
        lost = len(differences(counted, census(doc)))
        how = "content"
    found.census = f"{len(counted) - lost}/{len(counted)} {how}"
    if lost and how == "bytes":
        found.faults.append("census")


# --- GDAL ---------------------------------------------------------------------------------------


def _gdal(found: Found, path: Path, marked: Path, doc: Drawing) -> None:
    if shutil.which("ogr2ogr") is None:
        found.gdal = "not installed"
        return
    source, result = _features(path), _features(marked)
    if result is None:
        found.gdal = "cannot read"
        found.faults.append("GDAL")
        return
    ours = {e.dxf.handle for e in doc.modelspace() if e.has_xdata(APPID)}
    read = ours & {row["EntityHandle"] for row in result}
    theirs = Counter(tuple(row.values()) for row in source or [])
    kept = sum((theirs & Counter(tuple(row.values()) for row in result)).values())
    found.gdal = f"{len(read)}/{len(ours)}, {kept}/{theirs.total()}"
    garbled = [row for row in result if row["EntityHandle"] in ours and not row["Text"].isascii()]
    if len(read) < len(ours) or kept < theirs.total():
        found.faults.append("GDAL")
    if garbled and doc.dxfversion < "AC1021":
        found.faults.append("GDAL text")


def _features(path: Path) -> list[dict[str, str]] | None:
    """Handle, layer and text of every feature of modelspace; None when the file cannot be read."""
    command = [
        "ogr2ogr",
        "-f",
        "CSV",
        "/vsistdout/",
        str(path),
        "-select",
        "EntityHandle,Layer,Text",
    ]
    done = subprocess.run(command, check=False, capture_output=True, timeout=300)
    if done.returncode:
        return None
    csv.field_size_limit(sys.maxsize)
    return list(csv.DictReader(io.StringIO(done.stdout.decode("utf-8", "replace"))))


# --- LibreCAD -----------------------------------------------------------------------------------


def _librecad(found: Found, path: Path, marked: Path) -> None:
    if shutil.which("librecad") is None or shutil.which("pdftoppm") is None:
        found.librecad = "not installed"
        return
    (before, said), (after, says) = _printed(path, marked.parent), _printed(marked, marked.parent)
    found.librecad = f"{before} > {after}"
    new = [line for line in says if line not in said]
    if new:
        found.librecad += f", complains: {new[0][:40]}"
    if new or after <= 0:
        found.faults.append("LibreCAD")


def _printed(path: Path, keep: Path) -> tuple[int, list[str]]:
    """Thousandths of the page that are inked, and what was said on the way."""
    # It writes beside the drawing whatever it is told: it gets a copy, in a folder of its own.
    folder = keep / "librecad"
    folder.mkdir(exist_ok=True)
    copy, pdf = folder / path.name, folder / f"{path.stem}.pdf"
    copy.write_bytes(path.read_bytes())
    pdf.unlink(missing_ok=True)
    done = subprocess.run(
        ["librecad", "dxf2pdf", "-a", "-c", copy.name],
        check=False,
        capture_output=True,
        timeout=600,
        env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
        cwd=folder,
    )
    said = (done.stdout + done.stderr).decode("utf-8", "replace").splitlines()
    words = [line for line in said if line.strip() and not any(q in line for q in QUIET)]
    if not pdf.exists():
        return -1, [*words, "wrote no PDF"]
    page = subprocess.run(
        ["pdftoppm", "-gray", "-r", "60", "-singlefile", str(pdf)], check=True, capture_output=True
    ).stdout
    pixels = page[-_size(page) :]
    return round(1000 * sum(p < 250 for p in pixels) / len(pixels)), words


def _size(page: bytes) -> int:
    """Bytes of the picture in a PGM file, which are its last."""
    wide, high = (int(v) for v in page.split(maxsplit=3)[1:3])
    return wide * high


# --- table --------------------------------------------------------------------------------------


def show(lines: list[tuple[str, ...]]) -> None:
    """Columns flush left, two blanks apart."""
    wide = [max(len(line[k]) for line in lines) for k in range(len(HEADINGS))]
    for line in lines:
        print("  ".join(cell.ljust(w) for cell, w in zip(line, wide, strict=True)).rstrip())


def main() -> int:
    """Print the table; 1 when a program found fault with what marking added."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("names", nargs="*", help="only drawings of these names")
    parser.add_argument("--keep", type=Path, help="folder for the marked drawings and PDFs")
    default = os.environ.get("SETOUT_REAL_PLANS", REPO.parent / "shared" / "real_plans")
    parser.add_argument("--folder", type=Path, default=Path(default))
    options = parser.parse_args()
    paths = sorted((REPO / "sample_plans").glob("*.dxf"))
    paths += sorted((options.folder / "dxf").glob("*.dxf"))
    if options.names:
        paths = [p for p in paths if p.stem in options.names]
    with tempfile.TemporaryDirectory() as temporary:
        keep = options.keep or Path(temporary)
        keep.mkdir(parents=True, exist_ok=True)
        found = [judged(path, keep) for path in paths]
    show([HEADINGS, *(f.cells() for f in found)])
    print(f"{platform.processor() or platform.machine()}, {os.cpu_count()} processors")
    for f in found:
        if f.faults:
            print(f"FAULT {f.name}: {', '.join(f.faults)}")
    return 1 if any(f.faults for f in found) else 0


if __name__ == "__main__":
    sys.exit(main())
