"""What the geometry kernel does to its process costs one product, named, or one sentence. Kind I16."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from importer.hints import Hints
from importer.ifc.child import Limits, ReaderFaultError, read_in_child
from importer.ifc.reader import read_ifc
from importer.plan import Plan, PlanError
from tests.importer.ifc.models import saved, step_text

READERS = "tests.importer.ifc.bad_readers"
LIMITS = Limits(seconds=30.0, product_seconds=1.0, memory_bytes=2_000_000_000)


def read(name: str, tmp_path: Path, limits: Limits = LIMITS) -> Plan:
    return read_in_child(f"{READERS}:{name}", tmp_path / "t.ifc", Hints(), limits)


@pytest.mark.parametrize(
    ("reader", "why"), [("crashes", "crashed"), ("stands_still", "stood still for 1 s")]
)
def test_product_that_the_kernel_dies_of_or_hangs_over_is_left_out_by_number(
    tmp_path: Path, reader: str, why: str
) -> None:
    plan = read(reader, tmp_path)
    assert f"#30 {why}" in (plan.rooms[0].name or "")


def test_reading_that_does_not_end_is_ended(tmp_path: Path) -> None:
    start = time.monotonic()
    with pytest.raises(PlanError, match="took longer than 2 s") as caught:
        read("never_ends", tmp_path, Limits(seconds=2.0))
    assert caught.value.finding.remedy
    assert time.monotonic() - start < 10.0


@pytest.mark.skipif(sys.platform == "win32", reason="memory is not limited there")
def test_want_of_memory_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(PlanError, match="ran out of memory while it was opened"):
        read("eats_memory", tmp_path)


def test_model_that_trips_the_reader_is_looked_through_and_read_again(tmp_path: Path) -> None:
    assert read("trips_over_damage", tmp_path).rooms


def test_fault_of_the_reader_is_no_fault_of_the_model(tmp_path: Path) -> None:
    with pytest.raises(ReaderFaultError, match="no rooms to divide by"):
        read("has_a_fault", tmp_path)


def test_model_is_read_through_the_child_with_its_findings(tmp_path: Path) -> None:
    plan = read_ifc(saved(tmp_path, step_text(schema="IFC4RC4")), Hints())
    assert plan.rooms[0].shape.area == pytest.approx(12e6)
    assert "IMP-157" in {f.code for f in plan.findings}
