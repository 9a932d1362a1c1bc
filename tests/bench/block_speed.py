"""How fast a block of flats is read, laid and written, and what that takes, against the DXF library alone.

    python -m tests.bench.block_speed ratio   [--rooms 1000]    ours against ezdxf: time
    python -m tests.bench.block_speed scale   [--rooms 10000]   time a room against that at 100 rooms
    python -m tests.bench.block_speed workers [--rooms 100]     two workers against one
    python -m tests.bench.block_speed memory                    a worker's peak against ezdxf's
    python -m tests.bench.block_speed equal   [--rooms 100]     floors in the block, and how many are laid
    python -m tests.bench.block_speed profile                   where the time goes, first and later

The block is made by `tests.bench.big_block`. Each measurement runs in a process of its own. Times are
processor seconds (`time.process_time`), which a busy machine lengthens little, except where workers are
compared: there they are seconds by the clock, and processor seconds of parent and children beside them.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.bench.big_block import ROOMS_A_STOREY, write_block

MB = 1e6


def in_child(job: str, *given: str) -> dict[str, Any]:
    """What a function of this file gives in a fresh process."""
    command = [sys.executable, "-m", "tests.bench.block_speed", f"_{job}", *given]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    found: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return found


def peak_mb() -> float:
    """Most memory that this process has held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / MB


# --- in a child ---------------------------------------------------------------------------------


def ours(folder: str, out: str) -> dict[str, Any]:
    """Every plan as a worker does it, step by step; the marked drawings are left in `out`."""
    from importer.read import read_plan
    from layout.batch_outputs import PLAN_OUTPUTS, Task, _marked
    from layout.job import lay_plan
    from layout.rules_file import default_rules

    rules = default_rules()
    spent = {"read": 0.0, "lay": 0.0, "mark": 0.0, "other": 0.0}
    rooms = 0

    def timed(step: str, work: Callable[[], Any]) -> Any:
        started = time.process_time()
        result = work()
        spent[step] += time.process_time() - started
        return result

    for path in sorted(Path(folder).glob("*.dxf")):
        task = Task(path=path, rules=rules, default_rules=True)
        plan = timed("read", lambda path=path: read_plan(path, rules.drawing.hints()))
        result = timed("lay", lambda plan=plan: lay_plan(plan, rules))
        for make in PLAN_OUTPUTS:
            step = "mark" if make is _marked else "other"
            written = timed(step, lambda make=make, task=task, result=result: make(task, result))
            for ending, data in written.files.items():
                if out and ending.endswith(".dxf"):
                    (Path(out) / (path.stem + ending)).write_bytes(data)
        rooms += len(plan.rooms)
    return {"rooms": rooms, "peak_mb": peak_mb(), **spent}


def library(folder: str, out: str) -> dict[str, Any]:
    """ezdxf reads every drawing, and writes every marked drawing (which it read before, unmeasured)."""
    import ezdxf

    read = write = 0.0
    for path in sorted(Path(folder).glob("*.dxf")):
        started = time.process_time()
        ezdxf.readfile(path)
        read += time.process_time() - started
        marked = ezdxf.readfile(Path(out) / f"{path.stem}-marked.dxf")
        started = time.process_time()
        marked.saveas(Path(out) / "again.dxf")
        write += time.process_time() - started
    return {"read": read, "write": write}


def held(folder: str, out: str) -> dict[str, Any]:
    """Memory of a process in which ezdxf holds one drawing and its marked drawing."""
    import ezdxf

    path = min(Path(folder).glob("*.dxf"))
    both = ezdxf.readfile(path), ezdxf.readfile(Path(out) / f"{path.stem}-marked.dxf")
    return {"peak_mb": peak_mb(), "documents": len(both)}


def counted(folder: str) -> dict[str, Any]:
    """How many floors there are, how many were laid, how many joint problems solved; and without."""
    from importer.read import read_plan
    from layout import job, job_equal, joints
    from layout.rules_file import default_rules

    rules = default_rules()
    plans = [read_plan(p, rules.drawing.hints()) for p in sorted(Path(folder).glob("*.dxf"))]
    started = time.process_time()
    bays = sum(len(job.lay_plan(plan, rules).bays) for plan in plans)
    equal = time.process_time() - started
    laid, solved = job_equal._laid.cache_info(), joints._solved.cache_info()
    job.lay_equal = lambda *_: None  # type: ignore[assignment]
    joints._solved.cache_clear()
    started = time.process_time()
    for plan in plans:
        joints._solved.cache_clear()
        job.lay_plan(plan, rules)
    return {
        "bays": bays,
        "pools": laid.hits + laid.misses,
        "laid": laid.misses,
        "solved": solved.misses,
        "with": equal,
        "without": time.process_time() - started,
    }


CHILDREN: dict[str, Callable[..., dict[str, Any]]] = {
    "_ours": ours,
    "_library": library,
    "_held": held,
    "_counted": counted,
}

# --- what is compared ---------------------------------------------------------------------------


def ratio(folder: Path, rooms: int) -> None:
    """Ours against the library alone."""
    out = folder / "out"
    out.mkdir()
    write_block(folder / "in", rooms)
    own = in_child("ours", str(folder / "in"), str(out))
    alone = in_child("library", str(folder / "in"), str(out))
    floor = alone["read"] + alone["write"]
    drawing = own["read"] + own["lay"] + own["mark"]
    print(f"{own['rooms']} rooms: read {own['read']:.1f} s, lay {own['lay']:.1f} s, ", end="")
    print(f"mark {own['mark']:.1f} s, sheets and lists {own['other']:.1f} s")
    print(f"ezdxf alone: read {alone['read']:.1f} s, write {alone['write']:.1f} s")
    print(f"ratio, drawing to marked drawing: {drawing / floor:.2f} (wanted: 2)")
    print(f"ratio, with sheets and lists: {(drawing + own['other']) / floor:.2f}")


def scale(folder: Path, rooms: int) -> None:
    """Time a room at so many rooms against that at 100."""
    each = {}
    for count in (100, rooms):
        write_block(folder / str(count), count)
        own = in_child("ours", str(folder / str(count)), "")
        each[count] = sum(own[s] for s in ("read", "lay", "mark", "other")) / own["rooms"]
        print(f"{own['rooms']} rooms: {each[count] * 1000:.0f} ms a room, {own['peak_mb']:.0f} MB")
    print(f"ratio: {each[rooms] / each[100]:.2f} (wanted: at most 1.15)")


def workers(folder: Path, rooms: int) -> None:
    """One job with one worker, then with two."""
    plans = write_block(folder / "in", rooms)
    spent = {}
    for count in (1, 2):
        command = [sys.executable, "-m", "layout.cli", "lay", *map(str, plans)]
        command += ["--out", str(folder / f"out{count}"), "--workers", str(count), "--quiet"]
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        started = time.perf_counter()
        subprocess.run(command, check=False)
        spent[count] = time.perf_counter() - started
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        used = after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime
        print(f"{count} workers: {spent[count]:.1f} s by the clock, {used:.1f} s of processors")
    print(f"two against one: {spent[1] / spent[2]:.2f} times as fast (wanted: at least 1.7)")
    print(f"load of the machine meanwhile: {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")


def memory(folder: Path, rooms: int) -> None:
    """Peak of a worker that lays one storey against ezdxf holding the same two documents."""
    out = folder / "out"
    out.mkdir()
    write_block(folder / "in", min(rooms, ROOMS_A_STOREY))
    own = in_child("ours", str(folder / "in"), str(out))
    alone = in_child("held", str(folder / "in"), str(out))
    print(f"worker {own['peak_mb']:.0f} MB, ezdxf {alone['peak_mb']:.0f} MB: ", end="")
    print(f"{own['peak_mb'] / alone['peak_mb']:.2f} times (wanted: at most 1.6)")


def equal(folder: Path, rooms: int) -> None:
    """Floors of the block, floors laid, joint problems solved, and the time without that."""
    write_block(folder, rooms)
    found = in_child("counted", str(folder))
    print(f"{found['bays']} bays in {found['pools']} pools: {found['laid']} pools laid, ", end="")
    print(f"{found['solved']} joint problems solved")
    print(f"laid in {found['with']:.1f} s; each plan by itself takes {found['without']:.1f} s")


def profile(folder: Path, rooms: int) -> None:
    """The costliest functions of two storeys: one with floors never seen before, one with known ones."""
    import cProfile
    import pstats

    from layout.batch_outputs import Task, lay_file
    from layout.rules_file import default_rules

    for path in write_block(folder, 8 * ROOMS_A_STOREY)[:8:4]:
        watch = cProfile.Profile(time.process_time)
        task = Task(path=path, rules=default_rules(), default_rules=True)
        watch.runcall(lay_file, task)
        pstats.Stats(watch).sort_stats("cumtime").print_stats(r"layout|importer", 40)


COMPARED: dict[str, tuple[Callable[[Path, int], None], int]] = {
    "ratio": (ratio, 1000),
    "scale": (scale, 10_000),
    "workers": (workers, 100),
    "memory": (memory, ROOMS_A_STOREY),
    "equal": (equal, 100),
    "profile": (profile, 100),
}


def main() -> None:
    """Run one comparison."""
    if sys.argv[1:2] and sys.argv[1] in CHILDREN:
        print(json.dumps(CHILDREN[sys.argv[1]](*sys.argv[2:])))
        return
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=COMPARED)
    parser.add_argument("--rooms", type=int)
    args = parser.parse_args()
    compare, rooms = COMPARED[args.what]
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as name:
        compare(Path(name), args.rooms or rooms)


if __name__ == "__main__":
    main()
