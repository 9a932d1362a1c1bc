"""Reads damaged rule sets, site files and job files, lays rooms by the rule sets that pass, counts the outcomes.

    python -m tests.bench.mutated_yaml [--count 3000] [--seed 0]

Every outcome but a file read or a refusal with a remedy is printed with its seed and counted as a fault,
as is a clean layout with breaches or a rule set with a number that is not finite; the exit status is then 1.
"""

from __future__ import annotations

import argparse
import math
import platform
import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path

from shapely import Polygon, box

from layout.config_files import config_names, config_text, job_text
from layout.floor import PlanStatus
from layout.job import lay_plan
from layout.rules import RuleSet
from layout.rules_error import RuleError
from tests.layout.build import plan, room
from tests.layout.test_mutated_yaml import (
    SITE,
    faults_of,
    numbers,
    read_job,
    read_rules,
    read_site,
)
from tests.mutations_yaml import mutate_yaml

ROOMS = (
    box(0, 0, 2410, 1730),
    Polygon([(0, 0), (3600, 0), (3650, 900), (2100, 910), (2100, 1900), (0, 1900)]),
)


def fault_of_layout(rules: RuleSet) -> str:
    """What is wrong with the layouts by a rule set; empty when nothing is."""
    if not all(map(math.isfinite, numbers(rules.model_dump()))):
        return "a number that is not finite"
    for shape in ROOMS:
        result = lay_plan(plan([room(shape)]), rules)
        if not (result.findings or result.unlaid or result.bays):
            return "silent empty layout"
        if result.status is PlanStatus.CLEAN and any(b.breaches for b in result.bays):
            return "clean with breaches"
    return ""


def outcome(kind: str, text: str, folder: Path) -> str:
    """What comes of one damaged file."""
    reader = {"site": read_site, "job": read_job}.get(kind, read_rules)
    try:
        read = reader(text, folder)
        fault = fault_of_layout(read) if isinstance(read, RuleSet) else ""
    except RuleError as error:
        missing = faults_of(error)
        return f"FAULT {missing[0][:200]}" if missing else "refused"
    except Exception:  # noqa: BLE001 - the bench looks for exactly these
        return "FAULT " + traceback.format_exc(limit=-3).replace("\n", " | ")
    return f"FAULT {fault}" if fault else "read"


def main() -> int:
    """Run the mutations and print a table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    texts = {name: config_text(name) for name in config_names()}
    texts |= {"site": SITE, "job": job_text()}
    outcomes: Counter[tuple[str, str]] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        for n in range(args.count):
            kind = list(texts)[n % len(texts)]
            seed = args.seed + n // len(texts)
            result = outcome(kind, mutate_yaml(texts[kind], seed), Path(folder))
            outcomes[kind, result.split()[0]] += 1
            if result.startswith("FAULT"):
                print(f"{kind} seed {seed}: {result}", flush=True)
    for (kind, result), count in sorted(outcomes.items()):
        print(f"{kind:20} {result:10} {count}")
    print(
        f"{sum(outcomes.values())} files; {platform.platform()}, Python {platform.python_version()}"
    )
    return int(any(result == "FAULT" for _, result in outcomes))


if __name__ == "__main__":
    sys.exit(main())
