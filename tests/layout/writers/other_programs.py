"""Marked drawings through programs of other makers: GDAL's DXF reader and LibreCAD's printer."""

from __future__ import annotations

import csv
import io
import os
import re
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from ezdxf.document import Drawing
from numpy.typing import NDArray

from layout.writers.dxf.xdata import APPID

HAS_GDAL = shutil.which("ogr2ogr") is not None
HAS_LIBRECAD = all(shutil.which(name) for name in ("librecad", "pdftoppm", "pdfinfo"))
QUIET = ("RS_DEBUG", "XDG_RUNTIME_DIR", "Printing ", "propagateSizeHints")
"""Lines that LibreCAD and its toolkit print of every file."""
VERMILION = (255, 63, 0)
"""ACI 20, in which start and datum are drawn, as LibreCAD prints it."""
BLUE = (0, 127, 255)
"""ACI 150, of sawn edges and lengths."""
_NEAR = 24
_WIDE = 3000
"""Pixels along the longer side of a page that is looked at."""

Row = dict[str, str]


# --- GDAL ---------------------------------------------------------------------------------------


def gdal_features(path: Path) -> list[Row] | None:
    """Handle, layer and text of every feature of modelspace; None when the file cannot be read."""
    columns = ["-select", "EntityHandle,Layer,Text"]
    command = ["ogr2ogr", "-f", "CSV", "/vsistdout/", str(path), *columns]
    done = subprocess.run(command, check=False, capture_output=True, timeout=300)
    if done.returncode:
        return None
    csv.field_size_limit(sys.maxsize)
    return list(csv.DictReader(io.StringIO(done.stdout.decode("utf-8", "replace"))))


@dataclass(frozen=True, slots=True, kw_only=True)
class GdalSaw:
    """Of our entities in modelspace and of the features of the source: how many come out of how many."""

    ours: tuple[int, int]
    theirs: tuple[int, int]
    garbled: int

    @property
    def is_whole(self) -> bool:
        """Nothing is missing."""
        return self.ours[0] == self.ours[1] and self.theirs[0] == self.theirs[1]


def gdal_saw(source: Path, marked: Path, doc: Drawing) -> GdalSaw | None:
    """Compare what GDAL delivers of the source and of the marked drawing `doc`; None: it cannot read."""
    result = gdal_features(marked)
    if result is None:
        return None
    ours = {e.dxf.handle for e in doc.modelspace() if e.has_xdata(APPID)}
    read = ours & {row["EntityHandle"] for row in result}
    theirs = Counter(tuple(row.values()) for row in gdal_features(source) or [])
    kept = theirs & Counter(tuple(row.values()) for row in result)
    texts = {e.dxf.handle: e.dxf.text for e in doc.modelspace().query("TEXT")}
    # What is not ASCII is a name of the architect's; codes of ours such as %%d are not looked at.
    garbled = [
        row
        for row in result
        if row["EntityHandle"] in ours and not row["Text"].isascii()
        if row["Text"] != texts.get(row["EntityHandle"], row["Text"])
    ]
    return GdalSaw(
        ours=(len(read), len(ours)),
        theirs=(kept.total(), theirs.total()),
        garbled=len(garbled),
    )


# --- LibreCAD -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """A PDF of LibreCAD's: what it said, the larger side of the sheet (pt), and of its pixels how many
    have ink (thousandths) and how many have our two colours. `trouble` says why there is no PDF.
    """

    said: tuple[str, ...] = ()
    sheet_pt: float = 0.0
    inked: int = 0
    vermilion: int = 0
    blue: int = 0
    trouble: str = ""


LARGEST_SHEET_PT = 14_400
"""Of a PDF page, ISO 32000-1, annex C."""
_PAPER = re.compile(rb"(\$PLIMMAX\r?\n *10\r?\n)([^\r\n]+)(\r?\n *20\r?\n)([^\r\n]+)")


def with_paper_in_mm(path: Path, to_mm: float, folder: Path) -> Path:
    """A copy whose header names the sheet in drawing units, as LibreCAD takes it to be: a drawing in
    metres made from a template in millimetres has a sheet 420 m wide else.
    """
    folder.mkdir(parents=True, exist_ok=True)
    copy = folder / f"{path.stem}-a3.dxf"
    wide, high = (b"%g" % (mm / to_mm) for mm in (420.0, 297.0))
    copy.write_bytes(_PAPER.sub(rb"\g<1>" + wide + rb"\g<3>" + high, path.read_bytes(), count=1))
    return copy


def printed(path: Path, folder: Path, seconds: float = 240.0) -> Printed:
    """Print a drawing with LibreCAD, fitted to the sheet that the drawing names."""
    # It writes beside the drawing whatever it is told: it gets a copy, in a folder of its own.
    folder.mkdir(parents=True, exist_ok=True)
    copy, pdf = folder / path.name, folder / f"{path.stem}.pdf"
    copy.write_bytes(path.read_bytes())
    pdf.unlink(missing_ok=True)
    try:
        done = subprocess.run(
            ["librecad", "dxf2pdf", "-a", "-c", copy.name],
            check=False,
            capture_output=True,
            timeout=seconds,
            env={**os.environ, "QT_QPA_PLATFORM": "offscreen"},
            cwd=folder,
        )
    except subprocess.TimeoutExpired:
        return Printed(trouble=f"not done in {seconds:.0f} s")
    lines = (done.stdout + done.stderr).decode("utf-8", "replace").splitlines()
    said = tuple(x for x in lines if x.strip() and not any(q in x for q in QUIET))
    if done.returncode or not pdf.exists():
        return Printed(said=said, trouble=f"ended with {done.returncode}, no PDF")
    return _looked_at(pdf, said)


def _looked_at(pdf: Path, said: tuple[str, ...]) -> Printed:
    told = subprocess.run(["pdfinfo", str(pdf)], check=False, capture_output=True, timeout=60)
    sizes = [x for x in told.stdout.decode("utf-8", "replace").splitlines() if "Page size" in x]
    if not sizes:
        return Printed(said=said, trouble="its PDF cannot be read")
    wide, high = (float(v) for v in sizes[0].split()[2:5:2])
    command = ["pdftoppm", "-scale-to", str(_WIDE), "-singlefile", str(pdf)]
    page = subprocess.run(command, check=False, capture_output=True, timeout=300).stdout
    if not page.startswith(b"P6"):
        return Printed(said=said, sheet_pt=max(wide, high), trouble="its PDF cannot be drawn")
    return Printed(said=said, sheet_pt=max(wide, high), **_pixels(page))


def _pixels(page: bytes) -> dict[str, int]:
    columns, rows = (int(v) for v in page.split(maxsplit=4)[1:3])
    colours = np.frombuffer(page[-3 * columns * rows :], dtype=np.uint8).reshape(-1, 3).astype(int)
    return {
        "inked": round(1000 * float(np.mean(colours.min(axis=1) < 250))),
        "vermilion": _count(colours, VERMILION),
        "blue": _count(colours, BLUE),
    }


def _count(colours: NDArray[np.int_], wanted: tuple[int, int, int]) -> int:
    return int(np.sum(np.abs(colours - np.array(wanted)).max(axis=1) <= _NEAR))
