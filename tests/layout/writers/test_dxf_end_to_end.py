"""A sample drawing through the whole pipeline, marked, and read back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from importer.read import read_plan
from layout.audit import audit
from layout.floor import PlanResult
from layout.job import lay_plan
from layout.writers.dxf.compose import compose
from layout.writers.dxf.mark import marked_dxf
from layout.writers.dxf.marks import Dimension, Letter
from layout.writers.dxf.reread import MarkedDrawing, reread
from layout.writers.dxf.source import open_drawing
from layout.writers.dxf.underlay import underlay_of
from tests.layout.writers.build import rules
from tests.layout.writers.drawings import load
from tests.layout.writers.test_dxf_mark import assert_records_kept


@pytest.fixture(scope="module")
def laid(sample_plans: Path) -> tuple[Path, PlanResult]:
    """The sample flat drawn in inches, laid."""
    path = sample_plans / "flat_inches.dxf"
    return path, lay_plan(read_plan(path), rules())


@pytest.fixture(scope="module")
def marked(laid: tuple[Path, PlanResult], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, marked."""
    path, result = laid
    out = tmp_path_factory.mktemp("marked") / "flat-marked.dxf"
    out.write_bytes(marked_dxf(path, result, rules()))
    return out


@pytest.fixture(scope="module")
def read_back(marked: Path) -> MarkedDrawing:
    """The marked drawing read back."""
    return reread(marked)


def test_the_sample_keeps_every_record_and_audits_clean(
    laid: tuple[Path, PlanResult], marked: Path
) -> None:
    data = marked.read_bytes()
    assert_records_kept(laid[0].read_bytes(), data)
    assert load(data).audit().errors == []


def test_audit_of_the_marked_sample_repeats_the_record(
    laid: tuple[Path, PlanResult], read_back: MarkedDrawing
) -> None:
    result = laid[1]
    assert read_back.findings == ()
    assert len(read_back.bays) == len(result.bays)
    for bay, written, own in zip(read_back.bays, read_back.written, result.bays, strict=True):
        others = [b for b in read_back.bays if b is not bay]
        again = audit(bay, read_back.rules, pool=others)
        assert [(b.rule, b.where) for b in again] == [(b.rule, b.where) for b in own.breaches]
        assert written.planks == len(own.planks) == len(bay.planks)
        assert written.area_mm2 == pytest.approx(bay.area_mm2, abs=5.0)


def test_lettering_of_the_sample_overlaps_neither_itself_nor_the_architects(
    laid: tuple[Path, PlanResult],
) -> None:
    path, result = laid
    assert result.plan is not None
    underlay = underlay_of(open_drawing(path).doc, result.plan.units.to_mm)
    drawn = compose(result, rules(), underlay)
    letters = [m.text if isinstance(m, Dimension) else m for m in drawn.marks]
    boxes = [x.box() for x in letters if isinstance(x, Letter)]
    every = np.array([*boxes, *underlay.texts], dtype=object)
    first, second = shapely.STRtree(every).query(every, predicate="intersects")
    clash = (first < second) & (first < len(boxes))
    shared = shapely.area(shapely.intersection(every[first], every[second]))
    assert float(shared[clash].max(initial=0.0)) < 1.0
    assert len(boxes) > 200
