"""Reads mutations of real drawings and counts the outcomes.

    python -m tests.bench.mutated_drawings [--count 2000] [--seed 0] [--files apartment_librecad ...]

Every outcome but a plan with rooms or one clear refusal is printed with its seed and counted as a
fault; the exit status is then 1. Each file is read in a child process that may take 60 s.
"""

from __future__ import annotations

import argparse
import multiprocessing
import platform
import sys
import tempfile
import time
import traceback
from collections import Counter
from pathlib import Path

from tests.mutations import mutate, pairs_of

REPO = Path(__file__).resolve().parents[2]
SECONDS = 60


def outcome(path: str) -> str:
    """What reading the file gives, in one line."""
    from importer.plan import PlanError
    from importer.read import read_plan

    try:
        plan = read_plan(Path(path))
    except PlanError as refusal:
        return f"refused {refusal.finding.code}" if refusal.finding.remedy else "FAULT no remedy"
    except Exception:  # noqa: BLE001 - the bench looks for exactly these
        return "FAULT " + traceback.format_exc(limit=-3).replace("\n", " | ")
    return "plan" if plan.rooms else "FAULT silent empty plan"


def main() -> int:
    """Run the mutations and print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--folder", type=Path, default=REPO.parent / "shared/real_plans/dxf")
    parser.add_argument("--files", nargs="*", default=None)
    args = parser.parse_args()
    paths = sorted(args.folder.glob("*.dxf"))
    if args.files:
        paths = [p for p in paths if p.stem in args.files]
    pairs = [pairs_of(p.read_text(encoding="utf-8", errors="replace")) for p in paths]
    outcomes: Counter[str] = Counter()
    faults = []
    started = time.perf_counter()
    context = multiprocessing.get_context("spawn")
    with tempfile.TemporaryDirectory() as folder:
        pool = context.Pool(2, maxtasksperchild=200)
        pending = []
        for n in range(args.count):
            which, seed = n % len(paths), args.seed + n // len(paths)
            name, data = mutate(pairs[which], seed)
            path = Path(folder) / f"{n}.dxf"
            path.write_bytes(data)
            pending.append((paths[which].stem, name, seed, pool.apply_async(outcome, (str(path),))))
            if len(pending) >= 8 or n == args.count - 1:
                for stem, kind, s, job in pending:
                    try:
                        result = job.get(SECONDS)
                    except multiprocessing.TimeoutError:
                        result = "FAULT hang"
                        pool.terminate()
                        pool = context.Pool(2, maxtasksperchild=200)
                    outcomes[result.split(" | ")[0].split(" Trace")[0]] += 1
                    if result.startswith("FAULT"):
                        faults.append(f"{stem} {kind} seed {s}: {result}")
                pending.clear()
                for old in Path(folder).glob("*.dxf"):
                    old.unlink(missing_ok=True)
        pool.terminate()
    for line in faults:
        print(line)
    print(f"{args.count} mutations, {time.perf_counter() - started:.0f} s, {platform.platform()}")
    for result, number in outcomes.most_common():
        print(f"{number:6d}  {result}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
