"""Do all laws hold for rooms of every kind? `python -m tests.bench.laws --count 200`.

Makes up rooms (angled, curved, with holes that touch the shell, necks, slivers, hair steps) and flats of
several rooms, draws rules at random, lays each and checks the laws of tests/layout/laws.py. Of every
`--every`th it also lays the plan shifted, turned, mirrored and told in another order, and reads its
marked drawing back. Whatever is broken is printed with the kind, number and seed that make it again
(`--only KIND NUMBER`).
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

from shapely import box

from importer.plan import FlatId, Plan
from layout.job import lay_plan
from layout.rules import RuleSet
from tests.layout.build import doorway, moved, plan, room, rules
from tests.layout.law_moves import move_laws, read_back_laws
from tests.layout.law_rooms import ROOMS
from tests.layout.laws import all_laws

PLANKS = ((600.0, 120.0), (700.0, 140.0), (900.0, 190.0), (1220.0, 180.0))


def random_rules(random: Random) -> RuleSet:
    """Rules as they occur and stricter than small rooms allow, so that some are broken and named."""
    long, wide = random.choice(PLANKS)
    return rules(
        plank={"length": long, "width": wide},
        ends={"min_length": round(random.choice((0.2, 0.3, 0.45)) * long)},
        joints={"min_offset": round(random.choice((0.15, 0.25, 0.4)) * long)},
        rows={
            "along": random.choice(("longest-wall", "across", "fewest-planks", "entrance")),
            "min_width": random.choice((30, 60)),
        },
        doorways={"default": random.choice(("through", "break"))},
        cut={
            "kerf": random.choice((0, 2, 3.5)),
            "keep_offcut": 200,
            "pool": random.choice(("bay", "flat")),
        },
        site={"tolerance": random.choice((0, 10))},
    )


def flat(random: Random) -> Plan:
    """Two or three rooms of a flat with doorways between them."""
    x, rooms, doors = 0.0, [], []
    for n in range(1, random.randint(2, 3) + 1):
        wide, deep = random.uniform(1200, 2600), random.uniform(1400, 2400)
        rooms.append(room(box(x, 0, x + wide, deep), n, name=f"Room {n}", flat=FlatId("F1")))
        if n > 1:
            y = random.uniform(0, 600)
            doors.append(doorway((x - 120, y), (x, y + 760), n, (n - 1, n)))
        x += wide + 120
    return plan(rooms, doors)


def made(kind: str, number: int, seed: int) -> tuple[Plan, RuleSet, Random]:
    """A plan and its rules, the same for the same three."""
    random = Random(f"{seed}/{kind}/{number}")
    rule_set = random_rules(random)
    if kind == "flat":
        return flat(random), rule_set, random
    shape = ROOMS[kind](random)
    degrees = random.choice((0.0, 0.0, random.uniform(0, 360)))
    at = random.choice(((0.0, 0.0), (4.1e8, 5.6e9)))
    return plan(moved(shape, degrees, at)), rule_set, random


def broken(kind: str, number: int, seed: int, *, thorough: bool) -> tuple[list[str], Counter[str]]:
    """What is broken, and what was counted on the way."""
    drawing, rule_set, random = made(kind, number, seed)
    result = lay_plan(drawing, rule_set)
    found = list(all_laws(result, rule_set))
    if thorough and result.bays:
        found += move_laws(drawing, rule_set, lay_plan, random)
        with tempfile.TemporaryDirectory() as folder:
            found += read_back_laws(result, rule_set, Path(folder))
    counts = Counter(
        bays=len(result.bays),
        pieces=sum(len(b.pieces) for b in result.bays),
        breaches=sum(len(b.breaches) for b in result.bays),
        unlaid=len(result.unlaid),
        thorough=thorough and bool(result.bays),
    )
    return found, counts


def main() -> int:
    """Check, print; 1 when a law is broken."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=120)
    parser.add_argument("--every", type=int, default=4, help="moved and read back, one of so many")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    parser.add_argument("--only", nargs=2, metavar=("KIND", "NUMBER"))
    args = parser.parse_args()
    print(f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}")
    names = [*ROOMS, "flat"]
    todo = [(names[n % len(names)], n) for n in range(args.count)]
    if args.only:
        todo = [(args.only[0], int(args.only[1]))]
    counts: Counter[str] = Counter()
    faults, began = 0, time.perf_counter()
    for place, (kind, number) in enumerate(todo):
        if time.perf_counter() - began > args.seconds:
            todo = todo[:place]
            break
        thorough = bool(args.only) or number // len(names) % args.every == 0
        found, seen = broken(kind, number, args.seed, thorough=thorough)
        counts += seen
        faults += bool(found)
        for words in found:
            print(f"{kind!r} {number} (seed {args.seed}): {words}", flush=True)
    told = ", ".join(f"{n} {what}" for what, n in sorted(counts.items()))
    print(f"{len(todo)} plans in {time.perf_counter() - began:.0f} s: {told}")
    print(f"{faults} plans break a law")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
