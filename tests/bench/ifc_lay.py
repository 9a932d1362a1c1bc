"""Real models laid with the packaged rules: what came of every storey, or why nothing did.

    python -m tests.bench.ifc_lay [--folder DIR] [--out DIR] [NAME ...]

Prints a table separated by tabs, a line a storey: file, storey, its rooms, doorways, bays, planks, the
bound below which no layout can get, breaches, rooms not laid; for the model its status and seconds (read,
laid and all outputs written), and the reason where it was refused. It ends with 1 when a model ended in a
fault of the program or in a traceback. The models are not part of the project: SETOUT_REAL_PLANS names
their folder.
"""

from __future__ import annotations

import argparse
import platform
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from layout.batch import run_job
from layout.batch_limits import FAULT_CODE
from layout.commands.screen import rules_or_default
from layout.floor import PlanResult, PlanStatus
from tests.bench.ifc_truth import default_folder

HEADS = [
    "file",
    "storey",
    "rooms",
    "doorways",
    "bays",
    "planks",
    "bound",
    "breaches",
    "unlaid",
    "status",
    "seconds",
    "remarks",
]


def rows_of(result: PlanResult, name: str, seconds: float) -> Iterator[list[str]]:
    """The lines of one model."""
    end = [result.status.value, f"{seconds:.1f}"]
    if result.plan is None or result.status is PlanStatus.FAILED:
        yield [name, *["-"] * 8, *end, " | ".join(f"{f.code} {f.what}" for f in result.findings)]
        return
    for storey in result.plan.storeys:
        rooms = {r.id for r in result.plan.rooms if r.storey == storey.id}
        bays = [b for b in result.bays if rooms & set(b.bay.rooms)]
        unlaid = [u for u in result.unlaid if u.room in rooms]
        counts = (
            len(rooms),
            sum(d.storey == storey.id for d in result.plan.doorways),
            len(bays),
            sum(len(b.planks) for b in bays),
            sum(b.bound for b in bays),
            sum(len(b.breaches) for b in bays),
            len(unlaid),
        )
        why = "; ".join(f"{u.room}: {u.because}" for u in unlaid)
        yield [name, storey.name, *map(str, counts), *end, why]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--folder", type=Path, default=default_folder())
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    if not given.folder.is_dir():
        print(f"real models are not here ({given.folder}); set SETOUT_REAL_PLANS to their folder")
        return 2
    rules, is_default = rules_or_default(None)
    print(f"# {platform.machine()}, Python {platform.python_version()}, rules: {rules.name}")
    print(*HEADS, sep="\t", flush=True)
    faults = 0
    with tempfile.TemporaryDirectory() as scratch:
        for path in sorted((given.folder / "ifc").glob("*.ifc")):
            if given.names and not any(n in path.name for n in given.names):
                continue
            start = time.perf_counter()
            out = (given.out or Path(scratch)) / path.stem
            outcome = run_job([path], rules, out, default_rules=is_default)
            seconds = time.perf_counter() - start
            result = outcome.job.plans[0]
            faults += any(f.code == FAULT_CODE for f in result.findings)
            for row in rows_of(result, path.name, seconds):
                print(*row, sep="\t", flush=True)
    print(f"# {faults} fault(s) of the program")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
