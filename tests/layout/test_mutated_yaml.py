"""Rule sets, site files and job files damaged at random: read, or refused with a place and a remedy."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from shapely import box

from layout.batch_job_file import load_job
from layout.config_files import config_text, job_text
from layout.floor import PlanStatus
from layout.job import lay_plan
from layout.rules import RuleSet
from layout.rules_error import RuleError
from layout.rules_file import load_rules_text
from layout.site_file import load_site_text
from tests.layout.build import plan, room
from tests.mutations_yaml import mutate_yaml

SITE = """\
plan: "flat.dxf"
bays:
  B1:  # Kitchen
    L1:  {drawn: 4200, site: 4203}  # 4190 to 4210
    W1:  {drawn: 3100, site: 3 m}
  B2: {L1: 10 ft 3 1/4 in, W1: }
"""
SEEDS = 80


def read_rules(text: str, _folder: Path) -> object:
    return load_rules_text(text, "rules.yaml")


def read_site(text: str, _folder: Path) -> object:
    return load_site_text(text, "site.yaml")


def read_job(text: str, folder: Path) -> object:
    """The packaged job file damaged, the drawings that it names in place."""
    (folder / "drawings" / "annexe").mkdir(parents=True, exist_ok=True)
    for name in ("level-0.dxf", "typical.dxf", "tower.ifc", "annexe/a.dxf"):
        (folder / "drawings" / name).touch()
    path = folder / "job.yaml"
    path.write_bytes(text.encode("utf-8", "surrogatepass"))
    return load_job(path)


def faults_of(error: RuleError) -> list[str]:
    """What is missing in a refusal: it names something, says what to do, and can be read."""
    if not error.problems:
        return ["no problem named"]
    return [str(p) for p in error.problems if not p.code or not p.remedy or len(str(p)) >= 2000]


@pytest.mark.parametrize(
    ("text", "read"),
    [
        (config_text("rigid_vinyl"), read_rules),
        (config_text("rigid_vinyl_inches"), read_rules),
        (SITE, read_site),
        (job_text(), read_job),
    ],
    ids=["rules", "rules in inches", "site", "job"],
)
def test_damaged_file_is_read_or_refused_with_a_remedy(
    text: str, read: Callable[[str, Path], object], tmp_path: Path
) -> None:
    read(text, tmp_path)
    refused = 0
    for seed in range(SEEDS):
        damaged = mutate_yaml(text, seed)
        try:
            read(damaged, tmp_path)
        except RuleError as error:
            refused += 1
            faults = faults_of(error)
        else:
            faults = []
        assert not faults, f"seed {seed}"
    assert refused > SEEDS / 5  # else the damage would not be damage


def numbers(value: object) -> Iterator[float]:
    """Every number anywhere in a rule set."""
    if isinstance(value, float):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from numbers(part)
    elif isinstance(value, list | tuple):
        for part in value:
            yield from numbers(part)


def accepted(seeds: range) -> Iterator[tuple[int, RuleSet]]:
    """Damaged rule sets that differ from the packaged one and are accepted all the same."""
    text = config_text("rigid_vinyl")
    packaged = load_rules_text(text, "")
    for seed in seeds:
        try:
            rules = load_rules_text(mutate_yaml(text, seed), "rules.yaml")
        except RuleError:
            continue
        if rules != packaged:
            yield seed, rules


def test_whatever_rule_set_is_accepted_lays_a_room_or_says_why_not() -> None:
    drawing = plan([room(box(0, 0, 2410, 1730))])
    tried = 0
    for seed, rules in accepted(range(2 * SEEDS)):
        assert all(map(math.isfinite, numbers(rules.model_dump()))), f"seed {seed}"
        result = lay_plan(drawing, rules)
        tried += 1
        told = result.findings or result.unlaid or result.bays
        assert told, f"seed {seed}"
        if result.status is PlanStatus.CLEAN:
            assert not any(b.breaches for b in result.bays), f"seed {seed}"
    assert tried >= 5
