"""How long reading a model takes, against the geometry library's own iterator over the same products.

    python -m tests.bench.ifc_speed [--folder DIR] [--times N] [NAME ...]

A line a model: seconds of the whole reading to a plan (parsing, bodies, rooms, doorways, flats, lines of
the plan); of parsing and the iterator over just the products that reading needs, as the library sets it
up by itself (openings cut out); and of parsing and the iterator with the engines and settings that
reading uses, openings left uncut. Each is measured in a process of its own, with one thread, as processor
time, the least of N runs, imports left out. Reading should take no more than 1.3 times the first iterator.
The models are not part of the project: SETOUT_REAL_PLANS names their folder.
"""

from __future__ import annotations

import argparse
import platform
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.geom

import importer.ifc.meshes as meshes_module
from importer.hints import Hints
from importer.ifc.meshes import HYBRID
from importer.ifc.model import Watch
from importer.ifc.reading import read_model
from importer.plan import PlanError
from tests.bench.ifc_truth import default_folder

MOST = 1.3


def read(path: Path) -> None:
    try:
        read_model(path, Hints(), Watch(), ())
    except PlanError:
        return


def needed(path: Path) -> list[tuple[frozenset[int], bool, str]]:
    """The products that reading meshes, by its own account: step ids, whether openings are cut, engine."""
    asked: list[tuple[frozenset[int], bool, str]] = []
    mesh = meshes_module._iterated

    def noted(model: Any, settings: Any, products: Any, engine: str) -> Any:
        cut = not settings.get("disable-opening-subtractions")
        asked.append((frozenset(p.id() for p in products), cut, engine))
        return mesh(model, settings, products, engine)

    meshes_module._iterated = noted
    try:
        read(path)
    finally:
        meshes_module._iterated = mesh
    return asked


def parsed(path: Path) -> Any:
    """The model, under a schema that the library knows."""
    try:
        return ifcopenshell.open(str(path))
    except ifcopenshell.Error:
        text = path.read_text("latin-1").replace("IFC2X_FINAL", "IFC2X3", 1)
        return ifcopenshell.file.from_string(text)


def iterate(file: Any, ids: frozenset[int], settings: Any, engine: str) -> None:
    products = [file.by_id(k) for k in sorted(ids)]
    if not products:
        return
    iterator = ifcopenshell.geom.iterator(
        settings, file, 1, include=products, geometry_library=engine
    )
    if iterator.initialize():
        while iterator.next():
            iterator.get()


def measured(what: str, path: Path) -> float:
    """Processor seconds of one way, in this process."""
    if what == "read":
        return timed(lambda: read(path))
    asked = needed(path)

    def plain() -> None:
        file = parsed(path)
        ids = frozenset(k for group, _, _ in asked for k in group)
        iterate(file, ids, ifcopenshell.geom.settings(), "opencascade")

    def alike() -> None:
        file = parsed(path)
        for ids, cut, engine in asked:
            settings = ifcopenshell.geom.settings()
            settings.set("disable-opening-subtractions", not cut)
            iterate(file, ids, settings, engine)

    return timed(plain if what == "plain" else alike)


def timed(work: Callable[[], None]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def least(what: str, path: Path, times: int) -> float:
    command = [sys.executable, "-m", "tests.bench.ifc_speed", "--one", what, str(path)]
    runs = [
        subprocess.run(command, capture_output=True, text=True, check=True).stdout
        for _ in range(times)
    ]
    return min(float(out.split()[-1]) for out in runs)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--folder", type=Path, default=default_folder())
    parser.add_argument("--times", type=int, default=3)
    parser.add_argument("--one", nargs=2, metavar=("WHAT", "FILE"))
    given = parser.parse_args()
    if given.one:
        print(measured(given.one[0], Path(given.one[1])))
        return 0
    if not given.folder.is_dir():
        print(f"real models are not here ({given.folder}); set SETOUT_REAL_PLANS to their folder")
        return 2
    print(f"{platform.machine()}, Python {platform.python_version()}, {HYBRID} and opencascade")
    print(f"{'file':40} {'read':>7} {'iterator':>9} {'ratio':>6} {'alike':>7} {'ratio':>6}")
    sums = dict.fromkeys(("read", "plain", "alike"), 0.0)
    for path in sorted((given.folder / "ifc").glob("*.ifc")):
        if given.names and not any(n in path.name for n in given.names):
            continue
        took = {what: least(what, path, given.times) for what in sums}
        for what, seconds in took.items():
            sums[what] += seconds
        print(line(path.name, took), flush=True)
    print(line("all", sums))
    return 0 if sums["read"] <= MOST * sums["plain"] else 1


def line(name: str, took: dict[str, float]) -> str:
    read, plain, alike = (took[k] for k in ("read", "plain", "alike"))
    return (
        f"{name:40} {read:7.2f} {plain:9.2f} {read / plain:6.2f} {alike:7.2f} {read / alike:6.2f}"
    )


if __name__ == "__main__":
    sys.exit(main())
