"""Small architects' drawings made on the spot, for tests of what is added to them."""

from __future__ import annotations

import io
import re
from pathlib import Path

import ezdxf
from ezdxf.document import Drawing
from shapely import Polygon, box

R12_RAW = (
    "0\nSECTION\n2\nENTITIES\n0\nLINE\n8\nWALLS\n10\n0.0\n20\n0.0\n11\n4000.0\n21\n0.0\n"
    "0\nENDSEC\n0\nEOF\n"
)
"""The least that is a drawing: no header, no tables, no handles."""

ROOM = box(0, 0, 4000, 3000)


def room_drawing(
    version: str = "R2010", shape: Polygon = ROOM, *, name: str = "KITCHEN", scale: float = 1.0
) -> Drawing:
    """One room as a closed outline with a name in it. `scale` is drawing units per millimetre."""
    doc = ezdxf.new(version)
    doc.header["$INSUNITS"] = 4
    doc.layers.add("A-AREA", color=3)
    doc.layers.add("A-TEXT")
    space = doc.modelspace()
    points = [(x * scale, y * scale) for x, y in shape.exterior.coords[:-1]]
    if version == "R12":
        space.add_polyline2d(points, close=True, dxfattribs={"layer": "A-AREA"})
    else:
        space.add_lwpolyline(points, close=True, dxfattribs={"layer": "A-AREA"})
    middle = shape.representative_point()
    text = space.add_text(name, height=200 * scale, dxfattribs={"layer": "A-TEXT"})
    text.set_placement((middle.x * scale - 600 * scale, middle.y * scale))
    return doc


def text_of(doc: Drawing) -> str:
    """The drawing as DXF text."""
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue()


def save(doc: Drawing, path: Path) -> Path:
    """Save and give the path back."""
    doc.saveas(path)
    return path


def load(data: bytes) -> Drawing:
    """A drawing from the bytes of a file."""
    encoding = "cp1252" if re.search(rb"AC10(09|15|18)\r?\n", data[:4000]) else "utf-8"
    text = data.decode(encoding, "surrogateescape")
    return Drawing.read(io.StringIO(text.replace("\r\n", "\n")))
