"""The order of laying over generated bays and over whole plans: `python -m tests.bench.laying_order`.

Prints, by kind: pieces, the share laid in reverse, stretches a bay, rows begun beside bare floor, pieces
pushed in, planks that may come with a damaged end, breaches of the order as the audit sees it, and the time
that the order takes. Joints are plain: the order does not ask how good they are.

`--real FOLDER` adds every bay of the drawings in a folder, rooms joined through their doorways.
`--stages` parts every bay in the middle of its first room, along and across.
"""

from __future__ import annotations

import argparse
import platform
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import mean
from time import process_time

from importer.plan import Plan, PlanError
from importer.read import read_plan
from layout.bay_error import LayoutError
from layout.bays import form_bays
from layout.floor import Bay, BayLayout
from layout.job_pools import Sketch, lay_pool
from layout.joints import Solved
from layout.laying import with_laying
from layout.laying_around import around_of
from layout.rules import RuleSet
from tests.bench.bays import drawings
from tests.bench.generated_bays import GeneratedBay, generated_bays, plan_of, set_out_bay
from tests.layout.build import plain_joints

SIDES = ("", "left", "bottom")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One bay laid."""

    kind: str
    layout: BayLayout
    cpu_ms: float

    @property
    def broken(self) -> int:
        return sum(b.rule in {"order", "stages"} for b in self.layout.breaches)

    @property
    def loose(self) -> int:
        return sum("beside bare floor" in s.why for s in self.layout.stretches)


def told(made: GeneratedBay, plan: Plan, rules: RuleSet) -> Told:
    around = around_of(made.bay, plan, rules)
    solved = Solved(plan=plain_joints(made.demand), bound=1)
    sketch = Sketch(bay=made.bay, grid=made.grid, solved=solved, around=around)
    (layout,) = lay_pool([sketch], rules)
    start = process_time()
    with_laying(layout, around, rules)
    return Told(kind=made.kind, layout=layout, cpu_ms=1000.0 * (process_time() - start))


def staged(rules: RuleSet, side: str, room: str) -> RuleSet:
    """The rules with a line in the middle of a room."""
    if not side:
        return rules
    lines = {"lines": [{"room": room, "side": side, "share": 0.5}]}
    return RuleSet.model_validate({**rules.model_dump(exclude_unset=True), "stages": lines})


def generated(count: int, side: str) -> Iterator[Told]:
    for made in generated_bays(count, seed=5):
        plan = plan_of(made.bay.outline)
        rooms = tuple(replace(r, name="room") for r in plan.rooms)
        yield told(made, replace(plan, rooms=rooms), staged(made.rules, side, "room"))


def real(folder: Path, side: str) -> Iterator[Told]:
    rules = RuleSet.model_validate(
        {"name": "bench", "plank": {"length": 1220.0, "width": 180.0}, "cut": {"kerf": 2}}
    )
    for path in drawings(folder):
        try:
            plan = read_plan(path)
        except PlanError:
            continue
        for bay in form_bays(plan, rules).bays:
            room = plan.room(bay.rooms[0])
            own = staged(rules, side, room.name or room.number or "*")
            made = _set_out(bay, plan, own)
            if made is not None:
                yield told(made, plan, own)


def _set_out(bay: Bay, plan: Plan, rules: RuleSet) -> GeneratedBay | None:
    try:
        return set_out_bay("real", bay, plan, rules)
    except LayoutError:
        return None


def row(name: str, found: list[Told]) -> str:
    pieces = [p for t in found for p in t.layout.pieces]
    planks = sum(len(t.layout.planks) for t in found)
    return (
        f"{name:14} {len(found):4} {len(pieces):6} "
        f"{100 * sum(p.is_reversed for p in pieces) / len(pieces):7.1f} "
        f"{mean(len(t.layout.stretches) for t in found):8.1f} "
        f"{sum(t.loose for t in found):5} {sum(bool(p.pushed) for p in pieces):6} "
        f"{100 * sum(t.layout.damaged.in_all for t in found) / planks:7.1f} "
        f"{sum(t.broken for t in found):6} {mean(t.cpu_ms for t in found):6.1f} "
        f"{max(t.cpu_ms for t in found):6.1f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--count", type=int, default=130)
    parser.add_argument("--real", type=Path)
    parser.add_argument("--stages", action="store_true")
    options = parser.parse_args()
    print(f"{platform.machine()}, Python {platform.python_version()}")
    print("kind           bays pieces  rev. % stretch. loose pushed dam. % broken  ms     max")
    for side in SIDES if options.stages else SIDES[:1]:
        if side:
            print(f"parted in the middle from the {side}")
        kinds: dict[str, list[Told]] = defaultdict(list)
        for one in generated(options.count, side):
            kinds[one.kind].append(one)
        if options.real is not None:
            kinds["real"] = list(real(options.real, side))
        for kind, found in kinds.items():
            print(row(kind, found))
        print(row("all", [t for found in kinds.values() for t in found]))


if __name__ == "__main__":
    main()
