"""Quality and speed of the joint solver over generated and real bays: `python -m tests.bench.bays`.

Prints, by kind of bay: planks against the solver's own lower bound and against the plain method of
laying row by row, the share of bays proven optimal, breaches of ends and offsets (and how many of them
CP-SAT shows to be needless), and the time a bay takes with its bound, by the processor and by the clock.
Every bay is then cut from planks and audited. "% plain" is the mean difference to the plain method,
which keeps the same rules where it can.

`--real FOLDER` adds every room of the drawings in a folder (and its subfolders), each as a bay by itself.
"""

from __future__ import annotations

import argparse
import platform
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from statistics import mean, median, quantiles
from time import perf_counter, process_time

from importer.plan import PlanError
from importer.read import read_plan
from importer.tolerance import LENGTH_MM
from layout.bay_error import LayoutError
from layout.bays import form_bays
from layout.demand import BayDemand
from layout.floor import BayLayout
from layout.job_pools import Sketch, lay_pool
from layout.joints import Effort, Solved, solve
from layout.rules import RuleSet
from tests.bench.generated_bays import GeneratedBay, generated_bays, set_out_bay
from tests.bench.plain_method import plain_planks

OF_SOLVER = ("ends.", "joints.", "stock", "cut.", "coverage", "overlap", "plank.", "shape")
"""Rules that joints and stock answer for; strips and gaps are the row grid's."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One bay solved."""

    kind: str
    planks: int
    bound: int
    plain: int
    breaches: int
    needless: int
    rules: Counter[str]
    cpu_ms: float
    wall_ms: float
    runs: int

    @property
    def over(self) -> float:
        return 100.0 * (self.planks / self.bound - 1.0)


def measure(bay: GeneratedBay, effort: Effort) -> Measured:
    cpu, wall = process_time(), perf_counter()
    solved = solve(bay.demand, effort=effort)
    cpu, wall = process_time() - cpu, perf_counter() - wall
    layout = laid(bay, solved)
    found = breaches(bay.demand, solved.plan.joints)
    return Measured(
        kind=bay.kind,
        planks=len(layout.planks),
        bound=layout.bound,
        plain=plain_planks(bay.demand),
        breaches=found,
        needless=found if found and may_be_clean(bay.demand) else 0,
        rules=Counter(b.rule for b in layout.breaches if b.rule.startswith(OF_SOLVER)),
        cpu_ms=1000.0 * cpu,
        wall_ms=1000.0 * wall,
        runs=len(bay.demand.runs),
    )


def laid(bay: GeneratedBay, solved: Solved) -> BayLayout:
    """The bay cut from planks and audited."""
    (layout,) = lay_pool([Sketch(bay=bay.bay, grid=bay.grid, solved=solved)], bay.rules)
    return layout


def may_be_clean(demand: BayDemand) -> bool:
    """Whether CP-SAT finds a layout without a breach."""
    from tests.outside.referee import clean_is_possible

    return clean_is_possible(demand) is True


def breaches(demand: BayDemand, joints: tuple[tuple[float, ...], ...]) -> int:
    """Ends below the minimum and pairs of joints too close, counted from the joints alone."""
    plank, found = demand.stock.plank_length, 0
    for run, places in zip(demand.runs, joints, strict=True):
        if places:
            blanks = (places[0] - run.x0, run.x1 - places[-1])
            voids = (run.void_start_mm, run.void_end_mm)
            found += sum(
                blank < plank - LENGTH_MM and blank - void < demand.min_length - LENGTH_MM
                for blank, void in zip(blanks, voids, strict=True)
            )
    for t in demand.touches:
        low = [x for x in joints[t.below] if t.x0 <= x <= t.x1]
        high = [x for x in joints[t.above] if t.x0 <= x <= t.x1]
        found += sum(abs(a - b) < demand.min_offset - LENGTH_MM for a in low for b in high)
    return found


# --- real rooms ---------------------------------------------------------------------------------


def real_bays(folder: Path) -> Iterator[GeneratedBay]:
    """Every room of every drawing, as a bay of its own by two rule sets in turn."""
    for path in drawings(folder):
        try:
            plan = read_plan(path)
        except PlanError:
            continue
        for number, rules in enumerate(real_rules()):
            for n, bay in enumerate(form_bays(plan, rules).bays):
                if n % 2 != number:
                    continue
                try:
                    yield set_out_bay("real", bay, plan, rules)
                except LayoutError:
                    continue


def drawings(folder: Path) -> list[Path]:
    """Drawings in a folder, by name."""
    return sorted(p for p in folder.rglob("*") if p.suffix.lower() in {".dxf", ".ifc"})


def real_rules() -> tuple[RuleSet, ...]:
    """Two planks; a joint in every doorway, so that rooms are bays."""
    return tuple(
        RuleSet.model_validate(
            {
                "name": "bench",
                "plank": {"length": long, "width": wide},
                "doorways": {"default": "break"},
                "cut": {"kerf": 2},
            }
        )
        for long, wide in ((1220.0, 180.0), (1380.0, 190.0))
    )


# --- figures ------------------------------------------------------------------------------------


def row(name: str, found: list[Measured]) -> str:
    times, walls = [m.cpu_ms for m in found], [m.wall_ms for m in found]
    return (
        f"{name:13} {len(found):4} {mean(m.runs for m in found):5.0f} "
        f"{mean(m.over for m in found):6.2f} "
        f"{100 * mean(m.planks == m.bound for m in found):6.0f} "
        f"{100 * mean(m.planks <= m.bound + 1 for m in found):7.0f} "
        f"{100 * (mean(m.planks / m.plain for m in found) - 1):7.1f} "
        f"{sum(m.breaches for m in found):5} {sum(m.needless for m in found):8} "
        f"{median(times):7.0f} {p95(times):6.0f} {max(times):6.0f} "
        f"{median(walls):7.0f} {p95(walls):6.0f}"
    )


def p95(values: list[float]) -> float:
    return quantiles(values, n=20)[-1] if len(values) > 1 else values[0]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--effort", choices=[e.name.lower() for e in Effort], default="normal")
    parser.add_argument("--kind", action="append", default=[])
    parser.add_argument("--real", type=Path, help="folder with drawings")
    parser.add_argument("--each", action="store_true", help="a line for every bay not proven")
    args = parser.parse_args()
    effort = Effort[args.effort.upper()]
    for bay in generated_bays(2, 12345, ("U",)):
        solve(bay.demand, effort=effort)  # loads what is loaded once
    some = list(generated_bays(args.count, args.seed, tuple(args.kind)))
    if args.real is not None:
        some += real_bays(args.real)
    by_kind: dict[str, list[Measured]] = defaultdict(list)
    for number, bay in enumerate(some):
        found = measure(bay, effort)
        by_kind[bay.kind].append(found)
        if args.each and (found.planks != found.bound or found.needless or found.rules):
            print(f"  #{number} {found}")
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}")
    print(
        "kind          bays  runs % over proven within1 % plain breaches needless cpu:med    p95    max"
        " clock:med p95 (ms)"
    )
    for kind, group in by_kind.items():
        print(row(kind, group))
    everything = [m for group in by_kind.values() for m in group]
    print(row("all", everything))
    print("breaches in the audit:", dict(sum((m.rules for m in everything), Counter())) or "none")


if __name__ == "__main__":
    main()
