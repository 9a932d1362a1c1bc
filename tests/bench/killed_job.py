"""Jobs killed at random moments and run again until they are done, byte for byte like one never killed.

    python -m tests.bench.killed_job [--kills 20] [--plans 12] [--seed 0]

Each kill is SIGKILL to the command and, every other time, to the processes it keeps as well, after a
random share of the time that the whole job takes. After each kill that the job outlives, some of what
was kept is damaged now and then. Exit status 1 where a byte differs or a half-written file is found.
"""

from __future__ import annotations

import argparse
import os
import platform
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from layout.batch_kept import FOLDER
from tests.layout.small_plans import one_room


def contents(out: Path) -> dict[str, bytes]:
    """The outputs; nothing of what is kept."""
    return {p.name: p.read_bytes() for p in sorted(out.glob("*")) if p.is_file()}


def started(plans: Path, out: Path) -> subprocess.Popen[bytes]:
    """The command, in a group of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "layout.cli", "lay", str(plans), "--out", str(out), "--quiet"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )


def children_of(pid: int) -> list[int]:
    """Processes that a process has started (Linux)."""
    listed = Path(f"/proc/{pid}/task/{pid}/children")
    return [int(p) for p in listed.read_text().split()] if listed.exists() else []


def killed(job: subprocess.Popen[bytes], after: float, *, whole: bool) -> bool:
    """Kill the job after so many seconds; False where it was done before."""
    try:
        job.wait(timeout=after)
    except subprocess.TimeoutExpired:
        keepers = children_of(job.pid) if whole else []
        for pid in (job.pid, *keepers):
            os.kill(pid, signal.SIGKILL)
        job.wait()
        return True
    return False


def damage(out: Path, rng: random.Random) -> bool:
    """Break an entry of what was kept: a bit turned, or the end cut off."""
    entries = sorted((out / FOLDER).glob("*.kept"))
    if not entries or rng.random() < 0.7:
        return False
    entry = rng.choice(entries)
    data = bytearray(entry.read_bytes())
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    entry.write_bytes(data if rng.random() < 0.5 else data[: rng.randrange(len(data))])
    return True


def main() -> int:
    """Kill until enough kills are counted, and compare."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=20)
    parser.add_argument("--plans", type=int, default=12)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    rng = random.Random(args.seed)
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as name:
        plans, rounds, kills, damaged, faults = Path(name) / "plans", 0, 0, 0, 0
        for n in range(args.plans):
            one_room(plans / f"p{n:02}.dxf", name=f"Room {n}", width=2600.0 + 37 * n)
        began = time.perf_counter()
        started(plans, Path(name) / "whole").wait()
        took = time.perf_counter() - began
        want = contents(Path(name) / "whole")
        while kills < args.kills:
            out, rounds = Path(name) / f"out{rounds}", rounds + 1
            while killed(started(plans, out), rng.uniform(0.05, 0.9) * took, whole=kills % 2 == 0):
                kills += 1
                # Either nothing was written yet, or the last step was under way: each file is whole.
                faults += sum(data != want.get(n) for n, data in contents(out).items())
                damaged += damage(out, rng)
            faults += contents(out) != want
        print(f"a job of {args.plans} plans, {took:.1f} s when nothing happens to it")
        print(
            f"{kills} kills in {rounds} jobs, {damaged} kept results damaged: {faults} differences"
        )
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
