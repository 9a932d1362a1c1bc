"""A marked drawing through programs of other makers, where they are installed. All samples and real
drawings: `python -m tests.bench.other_readers`.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from layout.writers.dxf.mark import marked_dxf
from tests.layout.writers.build import lay, result_of, rules
from tests.layout.writers.drawings import ROOM, load, room_drawing, save
from tests.layout.writers.other_programs import HAS_GDAL, HAS_LIBRECAD, gdal_saw, printed


@pytest.fixture
def drawings(tmp_path: Path) -> tuple[Path, Path]:
    """A drawing of one room, and the same marked."""
    source = save(room_drawing(), tmp_path / "room.dxf")
    result = result_of([lay(ROOM)], names=["KITCHEN"])
    marked = tmp_path / "room-marked.dxf"
    marked.write_bytes(marked_dxf(source, result, rules()))
    return source, marked


@pytest.mark.skipif(not HAS_GDAL, reason="GDAL's ogr2ogr is not installed (Debian: gdal-bin)")
def test_gdal_delivers_every_entity_of_ours_and_the_architects_as_they_were(
    drawings: tuple[Path, Path],
) -> None:
    source, marked = drawings
    saw = gdal_saw(source, marked, load(marked.read_bytes()))
    assert saw is not None
    assert saw.ours[1] > 50
    assert saw.theirs == (2, 2)
    assert saw.is_whole
    assert saw.garbled == 0


@pytest.mark.skipif(
    not HAS_LIBRECAD,
    reason="LibreCAD and poppler are not installed (Debian: librecad, poppler-utils)",
)
def test_librecad_prints_our_marks_without_a_word(
    drawings: tuple[Path, Path], tmp_path: Path
) -> None:
    source, marked = drawings
    before, after = (printed(path, tmp_path / "pdf") for path in (source, marked))
    assert (after.said, after.trouble) == (before.said, "")
    assert before.vermilion == before.blue == 0
    assert after.vermilion > 50
    assert after.blue > 50
