"""A batch of 60 drawings with 5 poisoned ones: the other 55 are delivered, the 5 are named with reasons.

    python -m tests.bench.poisoned_batch [--good 55] [--workers 2] [--minutes 3] [--memory 400]

The poisoned ones: a model whose body is made of itself (the geometry kernel dies of it), a file that
never answers (a named pipe stands for a share that hangs), a drawing too large for the memory allowed,
a DWG under a DXF name, an empty file. The command is run as a user runs it, once; nothing in the product
knows of this bench. Exit status 1 when anything is not as promised.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.layout.small_plans import NOT_DRAWINGS, one_room

LINES = 400_000
"""Of the drawing that is too large: some 40 MB, more than ten times that in memory."""
EXPECTED = {
    "crashes.ifc": ("IMP-",),
    "hangs.dxf": ("LAY-192",),
    "eats.dxf": ("LAY-193",),
    "dwg.dxf": ("IMP-",),
    "empty.dxf": ("IMP-",),
}

MODEL_THAT_IS_MADE_OF_ITSELF = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('','',(''),(''),'','','');
FILE_SCHEMA(('IFC4'));
ENDSEC;
DATA;
#1=IFCPROJECT('0YvctVUKr0kugbFTf53O9L',$,'P',$,$,$,$,(#5),#2);
#2=IFCUNITASSIGNMENT((#3));
#3=IFCSIUNIT(*,.LENGTHUNIT.,.MILLI.,.METRE.);
#5=IFCGEOMETRICREPRESENTATIONCONTEXT($,'Model',3,1.E-5,#6,$);
#6=IFCAXIS2PLACEMENT3D(#7,$,$);
#7=IFCCARTESIANPOINT((0.,0.,0.));
#8=IFCLOCALPLACEMENT($,#6);
#11=IFCBUILDINGSTOREY('2YvctVUKr0kugbFTf53O9L',$,'S',$,$,#8,$,$,.ELEMENT.,0.);
#12=IFCRELAGGREGATES('3YvctVUKr0kugbFTf53O9L',$,$,$,#1,(#11));
#14=IFCSPACE('1ZvctVUKr0kugbFTf53O9L',$,'R1',$,$,#8,#30,'Room',.ELEMENT.,.SPACE.,$);
#15=IFCRELAGGREGATES('2ZvctVUKr0kugbFTf53O9L',$,$,$,#11,(#14));
#30=IFCPRODUCTDEFINITIONSHAPE($,$,(#31));
#31=IFCSHAPEREPRESENTATION(#5,'Body','CSG',(#40));
#40=IFCBOOLEANRESULT(.UNION.,#40,#41);
#41=IFCEXTRUDEDAREASOLID(#42,#6,#43,2500.);
#42=IFCRECTANGLEPROFILEDEF(.AREA.,$,#44,4000.,3000.);
#43=IFCDIRECTION((0.,0.,1.));
#44=IFCAXIS2PLACEMENT2D(#45,$);
#45=IFCCARTESIANPOINT((0.,0.));
ENDSEC;
END-ISO-10303-21;
"""


def poisoned(folder: Path) -> list[Path]:
    """The five."""
    paths = {name: folder / name for name in EXPECTED}
    paths["crashes.ifc"].write_text(MODEL_THAT_IS_MADE_OF_ITSELF, encoding="ascii")
    os.mkfifo(paths["hangs.dxf"])
    with paths["eats.dxf"].open("w", encoding="ascii") as file:
        file.write("0\nSECTION\n2\nENTITIES\n")
        file.writelines(
            f"0\nLINE\n8\nA-WALL\n10\n{n % 977}.0\n20\n{n}.0\n30\n0.0\n11\n{n}.0\n21\n5.0\n31\n0.0\n"
            for n in range(LINES)
        )
        file.write("0\nENDSEC\n0\nEOF\n")
    paths["dwg.dxf"].write_bytes(NOT_DRAWINGS["dwg"])
    paths["empty.dxf"].write_bytes(b"")
    return list(paths.values())


def good(folder: Path, count: int) -> list[Path]:
    """Rooms of many sizes."""
    rng = random.Random(7)
    return [
        one_room(
            folder / f"room{n:02}.dxf",
            name=f"Room {n}",
            width=rng.randrange(20, 50) * 100.0,
            depth=rng.randrange(15, 40) * 100.0,
        )
        for n in range(count)
    ]


def main() -> int:
    """Run the batch and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--good", type=int, default=55)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=3.0)
    parser.add_argument("--memory", type=int, default=400)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder, out = Path(name), Path(name) / "out"
        bad, fine = poisoned(folder), good(folder, args.good)
        mixed = [*bad, *fine]
        random.Random(1).shuffle(mixed)
        command = [sys.executable, "-m", "layout.cli", "lay", *map(str, mixed), "--out", str(out)]
        command += ["--workers", str(args.workers), "--quiet"]
        command += ["--minutes", str(args.minutes), "--memory", str(args.memory)]
        started = time.perf_counter()
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        seconds = time.perf_counter() - started
        return report(done, out, fine, seconds)


def report(
    done: subprocess.CompletedProcess[str], out: Path, fine: list[Path], seconds: float
) -> int:
    """What was promised and what was kept."""
    record = json.loads((out / "record.json").read_text(encoding="utf-8"))
    faults = [line for line in done.stderr.splitlines() if "Traceback" in line]
    laid = {Path(p["file"]).name for p in record["plans"] if p["status"] != "failed"}
    delivered = [p for p in fine if p.name in laid and (out / f"{p.stem}-marked.dxf").exists()]
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    print(f"{len(record['plans'])} plans in {seconds:.0f} s, exit status {done.returncode}")
    print(f"delivered: {len(delivered)} of {len(fine)}")
    for plan in record["plans"]:
        name = Path(plan["file"]).name
        if name in EXPECTED:
            reason = plan["findings"][0]
            print(f"named: {name}: [{reason['code']}] {reason['what']}")
            if plan["status"] != "failed" or not reason["code"].startswith(EXPECTED[name]):
                faults.append(f"{name}: {plan['status']} {reason['code']}")
            if name not in done.stderr:
                faults.append(f"{name} is not named on the screen")
    if len(delivered) < len(fine) or done.returncode != 2:
        faults.append("not all good plans were delivered")
    for fault in faults:
        print(f"FAULT {fault}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
