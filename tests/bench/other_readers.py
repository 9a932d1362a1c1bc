"""What other programs make of the marked drawings: ezdxf's audit, GDAL and LibreCAD, and the census.

    python -m tests.bench.other_readers [--folder DIR] [--keep DIR] [NAME ...]

Every sample and every real drawing and model is laid by the packaged rules and marked. A model gives one
drawing a storey, whose source is the plan drawn from the model. One line each is printed:
    release  of the marked drawing, and of the source where it had to be changed
    census   records of the source kept with the same content / all of them: as they stand in the file
             where it was added to, else as the CAD library holds them
    audit    faults that ezdxf finds in the marked drawing (in the source)
    GDAL     entities of ours in modelspace that ogr2ogr delivers / all of them; features of the source
             that come out the same / all of them
    LibreCAD thousandths of the page that its PDF inks, source > marked, and how many of its pixels have
             the vermilion of our datum and start and the blue of our lengths (less those of the source);
             what goes wrong with both is told as `source too`. LibreCAD reads the sheet of the header
             as drawing units: where the source alone gives a sheet longer than a PDF may be, copies of
             both with an A3 sheet are printed
Programs that are not installed are named and left out. Real drawings are not part of the project:
SETOUT_REAL_PLANS names their folder.
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ezdxf import recover
from ezdxf.document import Drawing
from ezdxf.lldxf.tagwriter import TagCollector

from importer.plan import Severity
from layout.batch import Task, lay_file
from layout.batch_plans import MARKED_ENDING
from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.rules_file import default_rules
from layout.writers.dxf.census import census, differences, raw_census
from layout.writers.dxf.storey_drawing import storey_drawing
from layout.writers.dxf.tags import parse
from tests.layout.writers.other_programs import (
    HAS_GDAL,
    HAS_LIBRECAD,
    LARGEST_SHEET_PT,
    gdal_saw,
    printed,
    with_paper_in_mm,
)

REPO = Path(__file__).resolve().parent.parent.parent
CHANGED = frozenset({"TABLE", "VPORT", "DICTIONARY", "BLOCK_RECORD"})
"""Records that marking has to change: counts, the view, the entry of our dictionary, the link of a space
to its layout where there was none."""
LINKS = (330, 347, 390)
LEAST_SEEN = 20
"""Pixels of each of our colours that at least are seen where our marks are."""


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


def judged(path: Path, keep: Path) -> Iterator[Found]:
    """Lay, mark and look at one drawing, or each storey of a model, through every program there is."""
    rules = default_rules()
    started = time.perf_counter()
    laid = lay_file(Task(path=path, rules=rules, default_rules=True))
    seconds = time.perf_counter() - started
    drawings = {e: d for e, d in laid.files.items() if e.endswith(MARKED_ENDING)}
    if not drawings:
        refused = [f.what for f in laid.result.findings if f.severity is Severity.REFUSED]
        why = "not laid: " + "; ".join(refused or ["no room to lay"])[:60]
        yield Found(name=path.stem, release=why)
        return
    plan = laid.result.plan
    assert plan is not None
    sources, to_mm = [path] * len(drawings), plan.units.to_mm
    if path.suffix == ".ifc":
        to_mm = 1.0
        sources = list(_storey_sources(laid.result, rules, keep / path.stem))
    for source, (ending, data) in zip(sources, drawings.items(), strict=True):
        found = Found(name=path.stem + ending.removesuffix(MARKED_ENDING), seconds=seconds)
        marked = keep / f"{found.name}{MARKED_ENDING}"
        marked.write_bytes(data)
        yield looked_at(found, source, marked, to_mm)


def _storey_sources(result: PlanResult, rules: RuleSet, folder: Path) -> Iterator[Path]:
    """The plans drawn from a model, of the storeys that have a floor, in the order of the outputs."""
    plan = result.plan
    assert plan is not None
    folder.mkdir(exist_ok=True)
    laid = {b.bay.storey for b in result.bays}
    for n, storey in enumerate(s for s in plan.storeys if s.id in laid):
        path = folder / f"{n}.dxf"
        path.write_bytes(storey_drawing(plan, storey, rules.outputs.layers.value))
        yield path


def looked_at(found: Found, source: Path, marked: Path, to_mm: float) -> Found:
    """One marked drawing against its source."""
    found.kib = marked.stat().st_size // 1024
    source_doc, before = recover.readfile(source)
    doc, after = recover.readfile(marked)
    found.sheets = sum(name.startswith("Setout") for name in doc.layouts.names())
    found.release = source_doc.acad_release
    if doc.acad_release != source_doc.acad_release:
        found.release += f" > {doc.acad_release}"
    _audit(found, len(before.errors), len(after.errors))
    _census(found, source, marked, source_doc, doc)
    _gdal(found, source, marked, doc)
    _librecad(found, source, marked, to_mm)
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
        gone = differences(counted, census(doc))
        lost = sum(_content(source, handle) != _content(doc, handle) for handle in gone)
        how = "content"
    found.census = f"{len(counted) - lost}/{len(counted)} {how}"
    if lost:
        found.faults.append("census")


def _content(doc: Drawing, handle: str) -> list[str]:
    """What an entry says, without the links to owner, material and plot style: the CAD library makes the
    last two up when it reads a drawing older than these.
    """
    entity = doc.entitydb.get(handle)
    tags = TagCollector.dxftags(entity) if entity is not None else []
    return [f"{tag.code} {tag.value}" for tag in tags if tag.code not in LINKS]


def _gdal(found: Found, source: Path, marked: Path, doc: Drawing) -> None:
    if not HAS_GDAL:
        found.gdal = "not installed"
        return
    saw = gdal_saw(source, marked, doc)
    if saw is None:
        found.gdal = "cannot read"
        found.faults.append("GDAL")
        return
    found.gdal = f"{saw.ours[0]}/{saw.ours[1]}, {saw.theirs[0]}/{saw.theirs[1]}"
    if not saw.is_whole:
        found.faults.append("GDAL")
    if saw.garbled:
        found.faults.append(f"GDAL: {saw.garbled} texts garbled")


def _librecad(found: Found, source: Path, marked: Path, to_mm: float) -> None:
    if not HAS_LIBRECAD:
        found.librecad = "not installed"
        return
    folder = marked.parent / "librecad" / found.name
    before, note = printed(source, folder), ""
    if before.sheet_pt > LARGEST_SHEET_PT:
        note = f", sheet {before.sheet_pt / 72 * 0.0254:.0f} m wide by the source: copies on A3"
        source, marked = (with_paper_in_mm(p, to_mm, folder / "in") for p in (source, marked))
        before = printed(source, folder)
    after = printed(marked, folder)
    colours = after.vermilion - before.vermilion, after.blue - before.blue
    found.librecad = f"{before.inked} > {after.inked}, {colours[0]} and {colours[1]}{note}"
    for words in dict.fromkeys(w for w in (after.trouble, *after.said) if w):
        is_old = words in (before.trouble, *before.said)
        found.librecad += f", {words[:60]}" + (" (source too)" if is_old else "")
        if not is_old:
            found.faults.append(f"LibreCAD: {words}")
    if not after.trouble and min(colours) < LEAST_SEEN:
        found.faults.append("LibreCAD: our marks are not seen")


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
    paths += sorted((REPO / "sample_plans").glob("*.ifc"))
    paths += sorted((options.folder / "ifc").glob("*.ifc"))
    if options.names:
        paths = [p for p in paths if p.stem in options.names]
    with tempfile.TemporaryDirectory() as temporary:
        keep = options.keep or Path(temporary)
        keep.mkdir(parents=True, exist_ok=True)
        found = []
        for path in paths:
            for one in judged(path, keep):
                print("   ", *one.cells(), flush=True)
                found.append(one)
    show([HEADINGS, *(f.cells() for f in found)])
    print(f"{platform.processor() or platform.machine()}, {os.cpu_count()} processors")
    for f in found:
        if f.faults:
            print(f"FAULT {f.name}: {', '.join(f.faults)}")
    return 1 if any(f.faults for f in found) else 0


if __name__ == "__main__":
    sys.exit(main())
