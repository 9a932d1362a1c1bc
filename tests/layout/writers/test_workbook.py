"""The workbook, read back by another library."""

from __future__ import annotations

import io
import zipfile
from dataclasses import replace
from typing import Any

import openpyxl
import pytest

from importer.plan import Finding, Severity
from layout.floor import JobResult
from layout.takeoff import combine
from layout.writers.workbook import job_workbook
from tests.layout.laid import rectangle_result, rules

SHEETS = ["Order", "Cuts", "Bays", "Findings", "Accessories", "Bars", "Notes"]


def job_of(name: str = '=HYPERLINK("http://x.test")') -> JobResult:
    result = rectangle_result()
    assert result.plan is not None
    rooms = (replace(result.plan.rooms[0], name=name),)
    finding = Finding(code="IMP-999", severity=Severity.SETTLE, what="+1 is no\x07 wall")
    changed = replace(result, plan=replace(result.plan, rooms=rooms), findings=(finding,))
    return combine([changed], rules(), default_rules=True)


@pytest.fixture(scope="module")
def data() -> bytes:
    return job_workbook(job_of(), rules())


@pytest.fixture(scope="module")
def book(data: bytes) -> Any:
    return openpyxl.load_workbook(io.BytesIO(data))


def column(sheet: Any, heading: str) -> list[Any]:
    headings = [c.value for c in sheet[1]]
    return [row[headings.index(heading)].value for row in sheet.iter_rows(min_row=2)]


def test_sheets_have_headings_in_view_and_a_print_set_up(book: Any) -> None:
    assert book.sheetnames == SHEETS
    for sheet in book:
        assert sheet.freeze_panes is not None
        assert sheet.freeze_panes[-1] == "2"
        assert sheet.print_title_rows == "$1:$1"
        assert sheet.page_setup.fitToHeight == 0
        assert sheet.page_setup.orientation == "landscape"


def test_figures_are_numbers_and_those_of_the_job(book: Any) -> None:
    job = job_of()
    order = book["Order"]
    assert column(order, "planks laid")[0] == job.totals.planks
    assert column(order, "floor laid (m2)")[0] == pytest.approx(job.totals.net_area_m2, abs=1e-3)
    assert column(order, "packs")[0] == job.totals.packs
    assert column(order, "kind") == ["job", "storey", "flat"]
    sawn = [p for p in job.plans[0].bays[0].pieces if p.cuts]
    assert column(book["Cuts"], "length near edge (mm)") == [round(p.blank_length_mm) for p in sawn]
    assert column(book["Bays"], "datum from wall, start (mm)") == [
        job.plans[0].bays[0].setting_out.datum_offset_mm[0]
    ]


def test_units_stand_in_the_headings(book: Any) -> None:
    for name in ("Order", "Cuts", "Bays", "Accessories", "Bars"):
        headings = [c.value for c in book[name][1]]
        assert any(h.endswith(("(mm)", "(m2)", "(m)")) for h in headings)


def test_names_from_drawings_are_text_and_never_formulas(book: Any, data: bytes) -> None:
    assert column(book["Cuts"], "rooms")[0] == '=HYPERLINK("http://x.test")'
    for sheet in book:
        for row in sheet.iter_rows():
            assert all(cell.data_type != "f" and cell.hyperlink is None for cell in row)
    parts = zipfile.ZipFile(io.BytesIO(data))
    assert all(b"<f>" not in parts.read(n) for n in parts.namelist() if "worksheets" in n)


def test_control_characters_of_a_finding_are_gone(book: Any) -> None:
    assert "+1 is no wall" in column(book["Findings"], "what")


def test_same_job_gives_the_same_bytes_and_names_no_moment(data: bytes) -> None:
    assert job_workbook(job_of(), rules()) == data
    assert openpyxl.load_workbook(io.BytesIO(data)).properties.created.year == 2000
    assert {i.date_time[0] for i in zipfile.ZipFile(io.BytesIO(data)).infolist()} == {1980}


def test_another_name_gives_other_bytes(data: bytes) -> None:
    assert job_workbook(job_of("Living"), rules()) != data


def test_text_longer_than_a_cell_is_cut_off() -> None:
    sheet = openpyxl.load_workbook(io.BytesIO(job_workbook(job_of("x" * 40_000), rules())))["Cuts"]
    assert all(len(rooms) <= 32_767 for rooms in column(sheet, "rooms"))


def test_bars_and_places_add_up_to_the_order(book: Any) -> None:
    """check: 4 x 3.26 m less a door of 900: 13.62 m of wall."""
    places, bars = book["Accessories"], book["Bars"]
    items = column(places, "item")
    length = dict(zip(items, column(places, "length (mm)"), strict=True))
    assert length["skirting or bead"] == 13_620
    assert length["profile"] == 900
    numbers = column(book["Order"], "skirting bars")
    sawn = zip(column(bars, "item"), column(bars, "bars"), strict=True)
    assert sum(n for item, n in sawn if item == "skirting or bead") == numbers[0]
