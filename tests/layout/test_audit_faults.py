"""Faults seeded into laid bays: the audit names every one and invents none."""

from __future__ import annotations

from random import Random

import pytest

from layout.floor import BayLayout
from layout.rules import RuleSet
from tests.bench.generated_bays import generated_bays
from tests.bench.seeded_faults import FAULTS, laid, newly_told


@pytest.fixture(scope="module")
def bays() -> list[tuple[BayLayout, RuleSet]]:
    return [(laid(bay), bay.rules) for bay in generated_bays(2, 6, ("L", "angled"))]


def test_what_is_not_changed_is_not_told(bays: list[tuple[BayLayout, RuleSet]]) -> None:
    for layout, rules in bays:
        assert newly_told(layout, layout, rules) == set()


@pytest.mark.parametrize("kind", FAULTS)
def test_fault_is_told(kind: str, bays: list[tuple[BayLayout, RuleSet]]) -> None:
    seeded = 0
    for number, (layout, rules) in enumerate(bays):
        faulty = FAULTS[kind](layout, rules, Random(f"{kind}/{number}"))
        if faulty is not None:
            seeded += 1
            assert newly_told(layout, faulty, rules), number
    assert seeded
