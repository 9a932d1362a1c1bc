"""Small drawings and files that are none, for tests of whole commands."""

from __future__ import annotations

from pathlib import Path

from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new

PNG = b"\x89PNG\r\n\x1a\n" + bytes(200)
NOT_DRAWINGS = {
    "dwg": b"AC1032" + bytes(5) + bytes(2048),
    "pdf": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n",
    "png": PNG,
    "empty": b"",
    "binary": bytes(range(256)) * 20,
    "html": b"<html><body>Sign in to see this file</body></html>",
    "zip": b"PK\x03\x04" + bytes(100),
}


def one_room(
    path: Path, *, name: str = "Study", width: float = 2600.0, depth: float = 1500.0
) -> Path:
    """A plan of one rectangular room, drawn as an outline with its name, in millimetres."""
    doc = new("R2010", setup=True)
    doc.header["$INSUNITS"] = 4
    space = doc.modelspace()
    corners = [(0.0, 0.0), (width, 0.0), (width, depth), (0.0, depth)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "A-AREA"})
    label = space.add_text(name, height=150, dxfattribs={"layer": "A-AREA"})
    label.set_placement((width / 2, depth / 2), align=TextEntityAlignment.MIDDLE_CENTER)
    path.parent.mkdir(parents=True, exist_ok=True)
    doc.saveas(path)
    return path


def lines_only(path: Path) -> Path:
    """A sound drawing with nothing in it that could be a room."""
    doc = new("R2010")
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_line((0, 0), (5000, 0))
    doc.saveas(path)
    return path


def truncated(path: Path) -> Path:
    """A drawing cut off in the middle of its entities, as after a broken download."""
    data = one_room(path).read_bytes()
    path.write_bytes(data[: data.index(b"LWPOLYLINE") + 40])
    return path
