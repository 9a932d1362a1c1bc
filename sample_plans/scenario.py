"""All samples together: what is drawn under which name, and the truth about it."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import ezdxf
from ezdxf.document import Drawing
from ezdxf.version import __version__ as ezdxf_version
from shapely import Polygon

from sample_plans import block_storey, flat, flat_inches, flat_messy
from sample_plans.building import Building, Leaf, Opening, Point, Space, tidy


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One file: how it is drawn, what stands in it, and the drawing unit."""

    file: str
    draw: Callable[[], Drawing]
    building: Callable[[], Building]
    unit: str
    to_mm: float
    room_slack: float = 1e-4
    """Relative error of a recovered area that the drawing's own untidiness excuses."""


SAMPLES: Final = (
    Sample(file="flat.dxf", draw=flat.draw, building=flat.building, unit="mm", to_mm=1.0),
    Sample(
        file="block_storey.dxf",
        draw=block_storey.draw,
        building=block_storey.building,
        unit="mm",
        to_mm=1.0,
    ),
    Sample(
        file="flat_inches.dxf",
        draw=flat_inches.draw,
        building=flat_inches.building,
        unit="in",
        to_mm=25.4,
    ),
    Sample(
        file="flat_messy.dxf",
        draw=flat_messy.draw,
        building=flat_messy.building,
        unit="mm",
        to_mm=1.0,
        room_slack=0.005,
    ),
)

MODEL: Final = "block.ifc"
"""The block of three such storeys as a model."""


@contextmanager
def fixed_meta_data() -> Iterator[None]:
    """Dates and identifiers that ezdxf writes are constants inside, as they were outside."""
    options = ezdxf.options  # public, but not declared as exported
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def write_all(folder: Path) -> list[Path]:
    """Draw every sample into the folder, and `truth.json` beside them; the paths written."""
    paths = []
    for sample in SAMPLES:
        path = folder / sample.file
        with fixed_meta_data():
            doc = sample.draw()
            # ezdxf adds the classes in use in the order of a set, which is another one every run.
            for name in sorted(doc.entitydb.dxf_types_in_use()):
                doc.classes.add_class(name)
            with path.open(
                "w", encoding=doc.output_encoding, errors="dxfreplace", newline="\n"
            ) as stream:
                doc.write(stream)
        paths.append(path)
    # Only drawn where it is written: the library behind it is large.
    from sample_plans import block_model

    model = folder / MODEL
    model.write_text(block_model.draw(), encoding="utf-8", newline="\n")
    paths.append(model)
    record = folder / "truth.json"
    made_with = {
        "drawn_with_ezdxf": ezdxf_version,
        "drawn_with_ifcopenshell": version("ifcopenshell"),
    }
    text = json.dumps({**made_with, "files": truth()}, indent=1)
    record.write_text(text + "\n", encoding="utf-8", newline="\n")
    return [*paths, record]


def truth() -> dict[str, Any]:
    """What a reader must find in each file: lengths in mm in drawing coordinates, areas in m2.

    A doorway's `rooms` are room keys (`Flat 2/Hall`, `/Corridor` for communal space), None outside.
    """
    return {sample.file: _truth_of(sample) for sample in SAMPLES}


def _truth_of(sample: Sample) -> dict[str, Any]:
    building, k = sample.building(), sample.to_mm
    return {
        "units": {"name": sample.unit, "to_mm": k},
        "room_slack": sample.room_slack,
        "rooms": [_room(s, k) for s in building.spaces],
        "doorways": [_doorway(d, k) for d in building.doors],
        "windows": [{"at_mm": _mm(_middle(w.a, w.b), k)} for w in building.windows],
        "columns": [{"outline_mm": [_mm(p, k) for p in ring]} for ring in building.columns],
        "shafts": [{"outline_mm": [_mm(p, k) for p in ring]} for ring in building.shafts],
    }


def _room(space: Space, k: float) -> dict[str, Any]:
    return {
        "key": space.key,
        "name": space.name,
        "number": space.number or None,
        "flat": space.flat or None,
        "communal": space.communal,
        "area_m2": round(space.shape.area * k * k / 1e6, 6),
        "inside_mm": _mm(space.label_at, k),
        "outline_mm": _ring(space.shape, k),
    }


def _doorway(door: Opening, k: float) -> dict[str, Any]:
    assert door.rooms is not None
    hinged = door.leaf in {Leaf.HINGED, Leaf.DOUBLE}
    leaf = [door.hinge, door.closed_end] if hinged else [door.a, door.b]
    return {
        "rooms": list(door.rooms),
        "width_mm": round(door.width * k, 3),
        "thickness_mm": round(door.thickness * k, 3),
        "at_mm": _mm(_middle(door.a, door.b), k),
        "kind": door.leaf.value,
        "flat_entrance": door.flat_entrance,
        "leaf_mm": [_mm(p, k) for p in leaf],
        "shape_mm": _ring(door.shape(), k),
    }


def _middle(a: Point, b: Point) -> Point:
    return ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)


def _mm(p: Point, k: float) -> list[float]:
    return [round(p[0] * k, 3) + 0.0, round(p[1] * k, 3) + 0.0]


def _ring(shape: Polygon, k: float) -> list[list[float]]:
    """Counter-clockwise, first point not repeated."""
    return [_mm((x, y), k) for x, y in list(tidy(shape).exterior.coords)[:-1]]
