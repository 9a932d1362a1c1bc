"""Reads damaged copies of real models and counts the outcomes.

    python -m tests.bench.mutated_models [--count 120] [--seed 0] [--folder DIR] [NAME ...]

Each copy has one to eight statements changed: left out, an attribute emptied or starred, a number made
nought, huge, negative or tiny, a reference turned to another statement, a list cut short, the end torn
off. Every outcome but a plan with rooms or one clear refusal is printed with its seed and counted as a
fault; the exit status is then 1. The models are not part of the project: SETOUT_REAL_PLANS names their
folder.
"""

from __future__ import annotations

import argparse
import platform
import re
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

from importer.hints import Hints
from importer.ifc.child import Limits, ReaderFaultError
from importer.ifc.reader import read_ifc
from importer.plan import PlanError
from tests.bench.ifc_truth import default_folder

LIMITS = Limits(seconds=60.0, product_seconds=15.0)
STATEMENT = re.compile(rb"(?m)^#\d+\s*=\s*[A-Z0-9]+\(.*\);\r?$")
NUMBER = re.compile(rb"(?<![#\w.'])-?\d+\.\d*(?:E[+-]?\d+)?")
REFERENCE = re.compile(rb"(?<==|\(|,)\s*#(\d+)")
NUMBERS = (b"0.", b"-1.", b"1.E9", b"1.E-9", b"1.E300", b"-3.5E7", b"0.001")
SHAPES = re.compile(
    rb"IFC(SPACE|DOOR|WALL|OPENING|SLAB|LOCALPLACEMENT|AXIS|CARTESIAN|EXTRUDED|POLY|RECT|ARBITRARY"
    rb"|SHAPE|PRODUCT|REL|BUILDING|DIRECTION|FACE|CLOSED|BOOLEAN|COMPOSITE|SIUNIT|UNIT|STAIR|COLUMN)"
)


def damaged(data: bytes, seed: int) -> tuple[str, bytes]:
    """A copy with some of its statements changed, and what was done."""
    random = Random(seed)
    spans = [m.span() for m in STATEMENT.finditer(data) if SHAPES.search(data, *m.span())]
    if not spans:
        return "nothing", data
    told = []
    chosen = sorted(random.sample(spans, min(len(spans), random.randint(1, 8))), reverse=True)
    for start, end in chosen:
        way = random.choice(sorted(WAYS))
        data = data[:start] + WAYS[way](data[start:end], random) + data[end:]
        told.append(way)
    if random.random() < 0.03:
        data = data[: int(len(data) * random.random())]
        told.append("torn")
    return "+".join(sorted(set(told))), data


def _number(text: bytes, random: Random) -> bytes:
    found = list(NUMBER.finditer(text))
    if not found:
        return _emptied(text, random)
    at = random.choice(found)
    return text[: at.start()] + random.choice(NUMBERS) + text[at.end() :]


def _reference(text: bytes, random: Random) -> bytes:
    found = list(REFERENCE.finditer(text))
    if not found:
        return _number(text, random)
    at = random.choice(found)
    other = max(1, int(at.group(1)) + random.choice((-40, -3, -1, 1, 2, 17, 999999)))
    return text[: at.start()] + b"#%d" % other + text[at.end() :]


def _emptied(text: bytes, random: Random, sign: bytes = b"$") -> bytes:
    head, body = text.split(b"(", 1)
    parts = re.split(rb",(?![^(]*\))", body.rstrip(b"\r").removesuffix(b");"))
    parts[random.randrange(len(parts))] = sign
    return head + b"(" + b",".join(parts) + b");"


def _starred(text: bytes, random: Random) -> bytes:
    return _emptied(text, random, b"*")


def _cut_list(text: bytes, random: Random) -> bytes:
    return re.sub(rb"\((#\d+,)(?:#\d+,?)+\)", lambda m: b"(" + m.group(1)[:-1] + b")", text)


def _left_out(_text: bytes, _random: Random) -> bytes:
    return b""


WAYS = {
    "number": _number,
    "reference": _reference,
    "emptied": _emptied,
    "starred": _starred,
    "list cut": _cut_list,
    "left out": _left_out,
}


def outcome(path: Path) -> str:
    """What reading the copy gives, in one line."""
    try:
        plan = read_ifc(path, Hints(), LIMITS)
    except PlanError as refused:
        finding = refused.finding
        return f"refused {finding.code}" if finding.remedy else f"FAULT no remedy: {finding.what}"
    except ReaderFaultError as fault:
        return "FAULT " + " | ".join("".join(getattr(fault, "__notes__", ())).split("\n")[-9:])
    if any(f.code == "IMP-161" for f in plan.findings):
        return "plan without a product that killed"
    return "plan" if plan.rooms else "FAULT silent empty plan"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", default=["rooms_", "sketchup", "openhouse", "fzk"])
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=default_folder())
    given = parser.parse_args()
    paths = [
        p
        for p in sorted((given.folder / "ifc").glob("*.ifc"))
        if any(n in p.name for n in given.names)
    ]
    if not paths:
        print(f"no such models in {given.folder}; set SETOUT_REAL_PLANS to their folder")
        return 2
    outcomes: Counter[str] = Counter()
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        for n in range(given.count):
            path, seed = paths[n % len(paths)], given.seed + n // len(paths)
            how, data = damaged(path.read_bytes(), seed)
            copy = Path(folder) / path.name
            copy.write_bytes(data)
            result = outcome(copy)
            outcomes[result.split(" | ")[0]] += 1
            if result.startswith("FAULT"):
                print(f"{path.name} seed {seed} ({how}): {result}", flush=True)
    print(f"{given.count} copies, {time.perf_counter() - started:.0f} s, {platform.platform()}")
    for result, number in outcomes.most_common():
        print(f"{number:6d}  {result}")
    return 1 if any(r.startswith("FAULT") for r in outcomes) else 0


if __name__ == "__main__":
    sys.exit(main())
