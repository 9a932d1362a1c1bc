"""Damaged drawings: an answer or one clear refusal, never a traceback, never a silent empty plan."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from importer.plan import PlanError
from importer.read import read_plan
from tests.mutations import MUTATORS, mutate, pairs_of

SAMPLES = ("flat.dxf", "flat_messy.dxf")
SEEDS = range(len(MUTATORS))
"""Each kind of damage once a sample; `tests.bench.mutated_drawings` runs thousands."""


@pytest.mark.parametrize("sample", SAMPLES)
@pytest.mark.parametrize("seed", SEEDS)
def test_damaged_sample_gives_a_plan_or_one_refusal(
    sample: str, seed: int, sample_plans: Path, tmp_path: Path
) -> None:
    pairs = pairs_of((sample_plans / sample).read_text(encoding="utf-8", errors="surrogateescape"))
    _, damaged = mutate(pairs, seed)
    path = tmp_path / "damaged.dxf"
    path.write_bytes(damaged)
    try:
        plan = read_plan(path)
    except PlanError as refusal:
        assert refusal.finding.what  # noqa: PT017 - either outcome is right
        assert refusal.finding.remedy  # noqa: PT017
        return
    assert plan.rooms, "a plan without rooms must be refused, not returned"
    coordinates = shapely.get_coordinates([r.shape for r in plan.rooms])
    assert np.isfinite(coordinates).all()
    assert all(r.shape.is_valid and r.shape.area > 0 for r in plan.rooms)
