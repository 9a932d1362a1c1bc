"""Quality and speed of the joint solver over generated bays: `python -m tests.bench.bays`.

Prints, by kind of bay: planks against the solver's own lower bound and against the plain method of
laying row by row, the share of bays proven optimal, breaches, and the processor time a bay takes with
its bound. "% plain" is the mean difference to the plain method, which keeps the same rules where it can.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import dataclass
from statistics import mean, median, quantiles
from time import process_time

from importer.tolerance import LENGTH_MM
from layout.demand import BayDemand
from layout.joints import Effort, solve
from tests.bench.generated_bays import GeneratedBay, generated_bays
from tests.bench.plain_method import plain_planks


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One bay solved."""

    kind: str
    planks: int
    bound: int
    plain: int
    breaches: int
    ms: float
    runs: int

    @property
    def over(self) -> float:
        return 100.0 * (self.planks / self.bound - 1.0)


def measure(bay: GeneratedBay, effort: Effort) -> Measured:
    start = process_time()
    solved = solve(bay.demand, effort=effort)
    ms = 1000.0 * (process_time() - start)
    return Measured(
        kind=bay.kind,
        planks=solved.plan.planks,
        bound=solved.bound,
        plain=plain_planks(bay.demand),
        breaches=breaches(bay.demand, solved.plan.joints),
        ms=ms,
        runs=len(bay.demand.runs),
    )


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


def row(name: str, found: list[Measured]) -> str:
    times = [m.ms for m in found]
    p95 = quantiles(times, n=20)[-1] if len(times) > 1 else times[0]
    return (
        f"{name:15} {len(found):4} {mean(m.runs for m in found):6.0f} "
        f"{mean(m.over for m in found):7.2f} "
        f"{100 * mean(m.planks == m.bound for m in found):7.0f} "
        f"{100 * mean(m.planks <= m.bound + 1 for m in found):7.0f} "
        f"{100 * (mean(m.planks / m.plain for m in found) - 1):8.1f} "
        f"{sum(m.breaches for m in found):9} "
        f"{median(times):7.0f} {p95:7.0f} {max(times):7.0f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--effort", choices=[e.name.lower() for e in Effort], default="normal")
    parser.add_argument("--kind", action="append", default=[])
    parser.add_argument("--each", action="store_true", help="a line for every bay not proven")
    args = parser.parse_args()
    by_kind: dict[str, list[Measured]] = defaultdict(list)
    effort = Effort[args.effort.upper()]
    for number, bay in enumerate(generated_bays(args.count, args.seed, tuple(args.kind))):
        if number == 0:
            solve(bay.demand, effort=effort)  # loads what is loaded once
        found = measure(bay, effort)
        by_kind[bay.kind].append(found)
        if args.each and found.planks != found.bound:
            print(f"  #{number} {found}")
    print(
        "kind            bays   runs  % over  proven  within1  % plain  breaches  median     p95     max ms"
    )
    for kind, some in by_kind.items():
        print(row(kind, some))
    print(row("all", [m for some in by_kind.values() for m in some]))


if __name__ == "__main__":
    main()
