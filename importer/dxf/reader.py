"""A DXF file to a `Plan`: load, flatten, decide the unit, find, put together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from importer.dxf.assemble import assemble
from importer.dxf.collector import paused_collector
from importer.dxf.doors import door_symbols
from importer.dxf.flatten import flatten
from importer.dxf.load import load_dxf
from importer.dxf.units import decide_units
from importer.hints import Hints
from importer.plan import Plan
from importer.sniff import check_entities


def read_dxf(path: Path, hints: Hints) -> Plan:
    """Read a DXF drawing.

    Args:
        path: a text or binary DXF.
        hints: what the user knows better than the drawing.

    Returns:
        The plan in millimetres, drawing coordinates.

    Raises:
        PlanError: the file cannot be read, its unit cannot be told, or it holds no rooms.
    """
    with paused_collector():
        loaded = load_dxf(path)
        count = sum(len(block) for block in loaded.document.blocks)
        check_entities(count, hints.allowed.entities, path.name)
        drawing = flatten(loaded, path.name)
    units, findings = decide_units(drawing, hints, door_symbols=door_symbols)
    drawing_mm = drawing.in_mm(units.to_mm)
    told = replace(drawing_mm, findings=(*drawing_mm.findings, *findings))
    return assemble(told, units, hints)
