"""Time and memory to turn a large drawing into rooms, against ezdxf alone on the same file.

    python -m tests.bench.read_speed [--entities 100000] [--runs 3]

The base line loads the file with ezdxf and iterates all its entities with blocks expanded. Each run is
a process of its own, timed by its own processor time, so that other load on the machine does not count;
medians and their ratios are printed, with the machine named.
"""

from __future__ import annotations

import argparse
import platform
import statistics
import subprocess
import sys
import tempfile
from math import ceil, sqrt
from pathlib import Path

import ezdxf
from ezdxf.math import Vec2

ROOM, WALL, DOOR = 3600.0, 100.0, 900.0
BASELINE = """
import sys, ezdxf
from ezdxf.disassemble import recursive_decompose
doc = ezdxf.readfile(sys.argv[1])
print(sum(1 for _ in recursive_decompose(doc.modelspace())))
"""
OURS = """
import sys
from importer.read import read_plan
from pathlib import Path
plan = read_plan(Path(sys.argv[1]))
print(len(plan.rooms), len(plan.doorways))
"""
CLOCK = """
import resource, runpy, sys, time
start = time.process_time()
exec(sys.stdin.read())
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print("FIGURES", time.process_time() - start, peak)
"""


def draw(path: Path, entities: int) -> int:
    """A block of square rooms in rows: double walls, a door to the right in each, furniture lines.

    Every room takes about 8 wall strokes, a door insert (3 strokes in the block), a name and an area,
    and furniture up to the wanted number of entities. Returns the number of rooms.
    """
    doc = ezdxf.new("R2013", units=4)
    for layer in ("A-WALL", "A-DOOR", "A-AREA-IDEN", "A-FURN"):
        doc.layers.add(layer)
    door = doc.blocks.new("DOOR")
    door.add_line((0, 0), (0, DOOR), dxfattribs={"layer": "A-DOOR"})
    door.add_arc((0, 0), DOOR, 0, 90, dxfattribs={"layer": "A-DOOR"})
    space = doc.modelspace()
    per_room = 60
    side = ceil(sqrt(entities / per_room))
    for i in range(side):
        for j in range(side):
            _room(space, Vec2(i * (ROOM + WALL), j * (ROOM + WALL)), last=i == side - 1)
    doc.saveas(path)
    return side * side


def _room(space: ezdxf.layouts.Modelspace, at: Vec2, *, last: bool) -> None:
    x0, y0, x1, y1 = at.x, at.y, at.x + ROOM, at.y + ROOM
    low, high = y0 + 1200, y0 + 1200 + DOOR
    wall = {"layer": "A-WALL"}
    space.add_line((x0, y0), (x1, y0), dxfattribs=wall)
    space.add_line((x0, y1), (x1, y1), dxfattribs=wall)
    if last:
        space.add_line((x1, y0), (x1, y1), dxfattribs=wall)
        space.add_line((x1 + WALL, y0 - WALL), (x1 + WALL, y1 + WALL), dxfattribs=wall)
    else:
        for x in (x1, x1 + WALL):
            space.add_line((x, y0), (x, low), dxfattribs=wall)
            space.add_line((x, high), (x, y1), dxfattribs=wall)
        for y in (low, high):
            space.add_line((x1, y), (x1 + WALL, y), dxfattribs=wall)
        space.add_blockref("DOOR", (x1, low), dxfattribs={"layer": "A-DOOR", "rotation": 90})
    if at.x == 0:
        space.add_line((x0, y0), (x0, y1), dxfattribs=wall)
        space.add_line((x0 - WALL, y0 - WALL), (x0 - WALL, y1 + WALL), dxfattribs=wall)
    if at.y == 0:
        space.add_line((x0 - WALL, y0 - WALL), (x1 + WALL, y0 - WALL), dxfattribs=wall)
    label = {"layer": "A-AREA-IDEN", "height": 180.0}
    space.add_text("ROOM", dxfattribs={**label, "insert": (x0 + 300, y0 + 2600)})
    space.add_text(
        f"{ROOM * ROOM / 1e6:.1f} m2", dxfattribs={**label, "insert": (x0 + 300, y0 + 2300)}
    )
    for k in range(44):
        x, y = x0 + 300 + 60 * (k % 11), y0 + 300 + 90 * (k // 11)
        space.add_line((x, y), (x + 40, y + 60), dxfattribs={"layer": "A-FURN"})


def measure(code: str, path: Path, runs: int) -> tuple[float, float, str]:
    """Median processor seconds, median peak MiB, and what the code printed."""
    seconds, peaks, said = [], [], ""
    for _ in range(runs):
        done = subprocess.run(
            [sys.executable, "-c", CLOCK, str(path)],
            input=code,
            capture_output=True,
            text=True,
            check=True,
        )
        *lines, figures = done.stdout.strip().splitlines()
        _, time_taken, peak = figures.split()
        seconds.append(float(time_taken))
        peaks.append(float(peak))
        said = " ".join(lines)
    return statistics.median(seconds), statistics.median(peaks), said


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--entities", type=int, default=100_000)
    parser.add_argument("--runs", type=int, default=3)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.dxf"
        rooms = draw(path, args.entities)
        base_s, base_mib, expanded = measure(BASELINE, path, args.runs)
        ours_s, ours_mib, found = measure(OURS, path, args.runs)
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}")
    print(f"{expanded} entities expanded, {rooms} rooms drawn, found (rooms, doorways): {found}")
    print(f"ezdxf alone  {base_s:7.2f} s  {base_mib:7.0f} MiB")
    print(f"read_plan    {ours_s:7.2f} s  {ours_mib:7.0f} MiB")
    print(f"ratio        {ours_s / base_s:7.2f}    {ours_mib / base_mib:7.2f}")


if __name__ == "__main__":
    main()
