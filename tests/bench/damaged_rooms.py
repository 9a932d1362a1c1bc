"""Rooms kept when the wall lines of a drawing are damaged as careless drawing damages them.

    python -m tests.bench.damaged_rooms [--seeds 3] [--folder DIR] [NAME ...]

Two real drawings, judged against what was found by eye (tests/bench/rooms_truth.py, walls alone with the
true unit), and a generated block of double walls: each damage to all lines of the wall layers, the rooms
still right as the mean over the seeds, beside those of the drawing as it is.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import statistics
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from importer.dxf.drawing import Drawing
from importer.dxf.flatten import flatten
from importer.dxf.layer_words import is_wall_name
from importer.dxf.load import load_dxf
from tests.bench.rooms_truth import REPO, judge, walls_of
from tests.importer.floorplans import (
    Cells,
    Layers,
    grid_plan,
    recovered,
    with_ends_moved,
    with_jitter,
    with_lines_dropped,
)

DRAWINGS = ("apartmentblock_acad2004", "house_imperial_xref")
Damage = Callable[[Drawing, int, Layers], Drawing]
DAMAGES: dict[str, Damage] = {
    "as drawn": lambda d, _s, _on: d,
    "ends 0-10 mm short": lambda d, s, on: with_ends_moved(d, -10, 0, s, on),
    "ends 0-30 mm short": lambda d, s, on: with_ends_moved(d, -30, 0, s, on),
    "ends 0-80 mm short": lambda d, s, on: with_ends_moved(d, -80, 0, s, on),
    "jitter 0.5 mm": lambda d, s, on: with_jitter(d, 0.5, s, on),
    "jitter 2 mm": lambda d, s, on: with_jitter(d, 2.0, s, on),
    "jitter 5 mm": lambda d, s, on: with_jitter(d, 5.0, s, on),
    "overshoot 0-50 mm": lambda d, s, on: with_ends_moved(d, 0, 50, s, on),
    "3 % of lines dropped": lambda d, s, on: with_lines_dropped(d, 0.03, s, on),
}


def wall_layers(drawing: Drawing) -> frozenset[str]:
    """The layers whose names say walls."""
    return frozenset(s.layer for s in drawing.sources if is_wall_name(s.layer))


def real(folder: Path, name: str) -> Callable[[Damage, int], int]:
    """Rooms right of a real drawing under a damage."""
    truth: dict[str, Any] = json.loads((folder / "truth.json").read_text(encoding="utf-8"))[name]
    to_mm = truth["unit_to_mm"]
    path = folder / "dxf" / f"{name}.dxf"
    drawing = flatten(load_dxf(path), path.name).in_mm(to_mm)
    layers = wall_layers(drawing)
    return lambda damage, seed: judge(walls_of(damage(drawing, seed, layers), to_mm), truth).right


def generated() -> Callable[[Damage, int], int]:
    """Rooms kept of a generated block: 8 x 6 rooms of different sizes, a door in each wall."""
    widths = (2400.0, 3600.0, 3000.0, 4200.0, 1800.0, 3300.0, 2700.0, 3900.0)
    cells = Cells(widths=widths, heights=(3000.0, 4200.0, 2100.0, 3600.0, 2700.0, 3900.0))
    drawing = grid_plan(cells).build()
    areas = cells.areas()

    def kept(damage: Damage, seed: int) -> int:
        found = recovered(damage(drawing, seed, "A-WALL"))
        left = list(areas)
        for area in sorted(r.shape.area for r in found.rooms):
            near = min(left, key=lambda a: abs(a - area), default=0.0)
            if near and abs(area / near - 1) <= 0.02:
                left.remove(near)
        return len(areas) - len(left)

    return kept


def main() -> int:
    """Run and print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", default=[])
    parser.add_argument("--seeds", type=int, default=3)
    folder = Path(os.environ.get("SETOUT_REAL_PLANS", REPO.parent / "shared" / "real_plans"))
    parser.add_argument("--folder", type=Path, default=folder)
    given = parser.parse_args()
    plans = {name: real(given.folder, name) for name in given.names or DRAWINGS}
    plans["generated"] = generated()
    print(f"{'damage':22}" + "".join(f"{name[:22]:>24}" for name in plans))
    for told, damage in DAMAGES.items():
        seeds = range(1 if told == "as drawn" else given.seeds)
        means = [statistics.mean(plan(damage, s) for s in seeds) for plan in plans.values()]
        print(f"{told:22}" + "".join(f"{mean:24.1f}" for mean in means), flush=True)
    print(platform.platform(), platform.processor() or platform.machine(), os.cpu_count(), "CPUs")
    return 0


if __name__ == "__main__":
    sys.exit(main())
