"""Small DXF files for the tests of loading and flattening: raw text, and through ezdxf."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

import numpy as np
from ezdxf.document import Drawing as Document
from ezdxf.filemanagement import new

from importer.dxf.drawing import Drawing
from importer.dxf.flatten import flatten
from importer.dxf.load import LoadedDxf, load_dxf

ROOM = [(0.0, 0.0), (4000.0, 0.0), (4000.0, 3000.0), (0.0, 3000.0)]
"""A room of 4 x 3 m, 12 square metres."""

RAW_LINES = (
    *("0", "SECTION", "2", "ENTITIES", "0", "LINE", "8", "WALLS"),
    *("10", "0.0", "20", "0.0", "11", "4000.0", "21", "0.0", "0", "ENDSEC", "0", "EOF"),
)
"""The smallest drawing there is: one line, no header, no tables (read as release 12)."""


def raw(lines: Sequence[str] = RAW_LINES, end: str = "\n") -> bytes:
    return (end.join(lines) + end).encode()


def with_header(*variables: str, entities: Sequence[str] = RAW_LINES[4:-4]) -> bytes:
    """A raw file whose header holds the given lines."""
    head = ("0", "SECTION", "2", "HEADER", *variables, "0", "ENDSEC")
    body = ("0", "SECTION", "2", "ENTITIES", *entities, "0", "ENDSEC", "0", "EOF")
    return raw((*head, *body))


def write(folder: Path, data: bytes, name: str = "plan.dxf") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def document(version: str = "R2010", units: int = 4) -> Document:
    doc = new(version)
    doc.header["$INSUNITS"] = units
    return doc


def room_document(version: str = "R2010") -> Document:
    doc = document(version)
    doc.modelspace().add_lwpolyline(ROOM, close=True, dxfattribs={"layer": "A-AREA"})
    return doc


def saved(folder: Path, doc: Document, name: str = "plan.dxf", fmt: str = "asc") -> Path:
    path = folder / name
    doc.saveas(path, fmt=fmt)
    return path


def flat(doc: Document) -> Drawing:
    """A document flattened as it is in memory."""
    loaded = LoadedDxf(
        document=doc, file="t.dxf", version=doc.dxfversion, header_unit=4, measurement=1
    )
    return flatten(loaded, "t.dxf")


def flat_file(path: Path) -> Drawing:
    return flatten(load_dxf(path), path.name)


@lru_cache(maxsize=16)
def flat_real(path: Path) -> Drawing:
    """A real drawing, flattened once for all tests of a process."""
    return flat_file(path)


def area(points: np.ndarray) -> float:
    """Shoelace, about the first point."""
    x, y = (points - points[0]).T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def ring_areas(drawing: Drawing) -> list[float]:
    return [area(ring.points) for ring in drawing.rings]


def codes(drawing: Drawing) -> list[str]:
    return [finding.code for finding in drawing.findings]


def strokes(drawing: Drawing, digits: int = 3) -> list[tuple[float, ...]]:
    """All strokes in drawing coordinates, each from its lower end, sorted: comparable as text."""
    ends = drawing.segments.ends + np.array((*drawing.origin, *drawing.origin))
    out = []
    for row in (np.round(ends, digits) + 0.0).tolist():
        a, b = sorted(((row[0], row[1]), (row[2], row[3])))
        out.append((*a, *b))
    return sorted(out)
