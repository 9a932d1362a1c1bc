"""`read_plan`: looks at the bytes of a file, picks the reader, gives the plan."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from typing import Final, Protocol, cast

from importer.hints import UNIT_TO_MM, Hints
from importer.plan import Plan
from importer.sniff import FileKind, refusal, sniff


class Reader(Protocol):
    """Reads one kind of file. Raises PlanError where no plan can be had from it."""

    def __call__(self, path: Path, hints: Hints) -> Plan:
        """The plan in the file at `path`, read with the user's hints."""


READERS: Final[Mapping[FileKind, str]] = {
    FileKind.DXF: "importer.dxf.reader:read_dxf",
    FileKind.DXF_BINARY: "importer.dxf.reader:read_dxf",
    FileKind.IFC: "importer.ifc.reader:read_ifc",
    FileKind.IFC_ZIP: "importer.ifc.reader:read_ifc",
}
"""Where the reader of each kind is found, `module:function`. Named, not imported: the libraries
behind a reader are large and only loaded for the kind of file that is at hand."""


def read_plan(path: Path | str, hints: Hints | None = None) -> Plan:
    """Read an architect's drawing.

    Args:
        path: a DXF (text or binary) or an IFC (alone or in a ZIP archive); the kind is told by content,
            not by the name.
        hints: what the user knows better than the drawing; None for nothing.

    Returns:
        The plan in millimetres, drawing coordinates, with everything assumed in its findings.

    Raises:
        PlanError: with one finding that says what is wrong with the file and what to do.

    Example: a drawing of one room, outlined on a layer for areas, in millimetres.

    >>> import ezdxf, tempfile
    >>> drawing = ezdxf.new(units=4)
    >>> corners = [(0, 0), (5200, 0), (5200, 3400), (0, 3400)]
    >>> outline = {"close": True, "dxfattribs": {"layer": "A-AREA"}}
    >>> _ = drawing.modelspace().add_lwpolyline(corners, **outline)
    >>> _ = drawing.modelspace().add_text("Study", height=200).set_placement((2000, 1700))
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     file = Path(folder) / "room.dxf"
    ...     drawing.saveas(file)
    ...     plan = read_plan(file, Hints(units="mm"))
    >>> [(room.id, room.name, room.shape.area / 1e6) for room in plan.rooms]
    [('R1', 'Study', 17.68)]
    >>> plan.units.name, plan.units.to_mm
    ('mm', 1.0)

    What cannot be read says so:

    >>> read_plan("no such file.dxf")
    Traceback (most recent call last):
    ...
    importer.plan.PlanError: no such file.dxf: [IMP-101] ...
    """
    path, hints = Path(path), hints or Hints()
    if hints.units is not None and hints.units not in UNIT_TO_MM:
        raise refusal(
            "IMP-201",
            f"drawing.units is {hints.units!r}, which is no drawing unit.",
            path.name,
            f"Write one of {', '.join(UNIT_TO_MM)}.",
        )
    return _load(READERS[sniff(path)])(path, hints)


def _load(reader: str) -> Reader:
    module, name = reader.split(":")
    return cast("Reader", getattr(import_module(module), name))
