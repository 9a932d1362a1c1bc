"""The drawing unit: door leaves, printed areas, walls, rooms, size and header against each other."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from ezdxf.document import Drawing as Document
from hypothesis import given, settings
from hypothesis import strategies as st

from importer.dxf.doors import door_symbols
from importer.dxf.drawing import Drawing
from importer.dxf.flatten import flatten
from importer.dxf.load import LoadedDxf
from importer.dxf.unit_evidence import parallel_gaps
from importer.dxf.units import HEADER_UNITS, decide_units
from importer.hints import UNIT_TO_MM, Hints
from importer.plan import Finding, PlanError, Severity, UnitReading
from tests.importer.dxf_files import ROOM, document, flat_file, flat_real, raw, write

CODE = {"in": 1, "ft": 2, "mm": 4, "cm": 5, "m": 6}
DRAWN = ("mm", "cm", "m", "in", "ft")


def drawing(doc: Document, header: int | None, measurement: int | None = None) -> Drawing:
    loaded = LoadedDxf(
        document=doc, file="t.dxf", version="AC1024", header_unit=header, measurement=measurement
    )
    return flatten(loaded, "t.dxf")


def decide(made: Drawing, hints: Hints | None = None) -> tuple[UnitReading, tuple[Finding, ...]]:
    return decide_units(made, hints or Hints(), door_symbols=door_symbols)


class Plan:
    """A plan in millimetres that is written in another unit."""

    def __init__(self, unit: str) -> None:
        self.doc = document()
        self.msp = self.doc.modelspace()
        self.size = UNIT_TO_MM[unit]

    def points(self, points: list[tuple[float, float]]) -> list[tuple[float, float]]:
        return [(x / self.size, y / self.size) for x, y in points]

    def room(self, x: float = 0.0, layer: str = "A-AREA") -> Plan:
        corners = self.points([(px + x, py) for px, py in ROOM])
        self.msp.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})
        return self

    def walls(self, layer: str = "A-WALL", thickness: float = 150.0) -> Plan:
        """Three rooms in a row, every wall as two lines."""
        for x in (0, 4000, 8000, 12_000):
            for side in (0, thickness):
                self._line((x + side, 0), (x + side, 3000), layer)
        for y in (0, 3000):
            for side in (0, thickness):
                for x in (0, 4000, 8000):
                    self._line((x + thickness, y + side), (x + 4000, y + side), layer)
        return self

    def doors(self, count: int = 4, leaf: float = 826.0) -> Plan:
        for i in range(count):
            x = 1000.0 + 3000 * i
            (hinge, tip) = self.points([(x, 0), (x, leaf)])
            self.msp.add_arc(hinge, leaf / self.size, 0, 90)
            self.msp.add_line(hinge, tip)
        return self

    def text(self, text: str, x: float = 2000.0) -> Plan:
        at = self.points([(x, 1500)])[0]
        self.msp.add_text(text, height=200 / self.size).set_placement(at)
        return self

    def _line(self, a: tuple[float, float], b: tuple[float, float], layer: str) -> None:
        start, end = self.points([a, b])
        self.msp.add_line(start, end, dxfattribs={"layer": layer})

    def drawn(self, header: int | None = None, measurement: int | None = None) -> Drawing:
        return drawing(self.doc, header, measurement)


# --- header alone


@pytest.mark.parametrize("unit", DRAWN)
@pytest.mark.parametrize("measurement", [None, 0, 1])
def test_a_header_that_nothing_contradicts_decides_alone(
    unit: str, measurement: int | None
) -> None:
    reading, findings = decide(Plan(unit).room(layer="X").drawn(CODE[unit], measurement))
    assert (reading.name, reading.to_mm) == (unit, UNIT_TO_MM[unit])
    assert "header" in reading.because
    assert findings == ()


@pytest.mark.parametrize("measurement", [0, 1])
def test_an_inch_room_is_12_square_metres_whatever_measurement_says(measurement: int) -> None:
    doc = document()
    corners = [(0, 0), (157.4803, 0), (157.4803, 118.1102), (0, 118.1102)]
    doc.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "A-AREA"})
    made = drawing(doc, 1, measurement)
    reading, _ = decide(made)
    points = made.in_mm(reading.to_mm).rings[0].points
    assert math.prod(np.ptp(points, axis=0)) / 1e6 == pytest.approx(12.0, abs=1e-4)


def test_header_sizes_are_exact() -> None:
    # Autodesk, INSUNITS; international inch 25.4 mm, US survey foot 1200/3937 m.
    sizes = {code: size for code, (_, size) in HEADER_UNITS.items()}
    assert (sizes[1], sizes[2], sizes[3], sizes[10]) == (25.4, 304.8, 1_609_344, 914.4)
    assert (sizes[4], sizes[5], sizes[6], sizes[14]) == (1, 10, 1000, 100)
    assert sizes[21] == pytest.approx(304.800_609_6, rel=1e-9)
    assert sizes[22] == pytest.approx(25.400_050_8, rel=1e-9)
    assert sorted(HEADER_UNITS) == list(range(1, 25))


def test_a_survey_foot_stays_one_beside_door_leaves() -> None:
    reading, findings = decide(Plan("ft").doors().drawn(21))
    assert reading.name == "US survey ft"
    assert reading.to_mm == pytest.approx(304.8006, abs=1e-4)
    assert findings == ()


def test_decimetres_are_believed_when_the_header_says_so() -> None:
    assert decide(Plan("dm").room().walls().drawn(14))[0].to_mm == 100


# --- doors against the header


@pytest.mark.parametrize("true", DRAWN)
@pytest.mark.parametrize("said", [*DRAWN, None, 0])
def test_door_leaves_decide_against_any_header(true: str, said: str | int | None) -> None:
    header = CODE[said] if isinstance(said, str) else said
    reading, findings = decide(Plan(true).walls().doors().drawn(header))
    assert reading.name == true
    assert "826 mm" in reading.because
    if said == true:
        assert findings == ()
        return
    (finding,) = findings
    assert finding.code == ("IMP-203" if isinstance(said, str) else "IMP-204")
    assert finding.severity is Severity.NOTE
    assert "door leaves" in finding.what
    assert "drawing.units" in finding.remedy


@pytest.mark.parametrize("leaf", [610.0, 735.0, 860.0, 1010.0])
@pytest.mark.parametrize("true", DRAWN)
def test_leaves_of_any_usual_width_name_their_unit(true: str, leaf: float) -> None:
    assert decide(Plan(true).doors(leaf=leaf).drawn())[0].name == true


def test_doors_alone_against_the_header_are_to_be_confirmed() -> None:
    """Leaves without walls or anything else beside them: decided, but the user is asked."""
    (finding,) = decide(Plan("cm").doors(count=2).drawn(CODE["in"]))[1]
    assert finding.severity is Severity.SETTLE


def test_arcs_without_leaves_are_no_doors() -> None:
    plan = Plan("mm").walls()
    for i in range(12):
        plan.msp.add_arc((1000 + 900 * i, 500), 40, 0, 90)  # would be 1016 mm in inches
    reading, findings = decide(plan.drawn(CODE["mm"]))
    assert (reading.name, findings) == ("mm", ())


def test_door_blocks_of_unit_size_count_by_what_they_show() -> None:
    plan = Plan("in").walls()
    block = plan.doc.blocks.new("DOOR")
    block.add_arc((0, 0), 1, 0, 90)
    block.add_line((0, 0), (0, 1))
    for i in range(4):
        plan.msp.add_blockref("DOOR", (i * 100, 0), {"xscale": 36, "yscale": -36})
    assert decide(plan.drawn(0))[0].name == "in"


# --- no doors


@pytest.mark.parametrize("true", DRAWN)
def test_wall_thickness_tells_the_unit_where_the_header_is_silent(true: str) -> None:
    reading, (finding,) = decide(Plan(true).walls().drawn())
    assert reading.name == true
    assert finding.severity is Severity.SETTLE
    assert finding.code == "IMP-204"


@pytest.mark.parametrize("true", DRAWN)
def test_room_outlines_tell_the_unit_where_nothing_else_does(true: str) -> None:
    assert decide(Plan(true).room().room(5000).drawn())[0].name == true


@pytest.mark.parametrize("true", DRAWN)
@pytest.mark.parametrize("label", ["12,0 m²", "129.2 sq ft", "4.00 x 3.00 m", "13'1\" x 9'10\""])
def test_printed_areas_and_sizes_decide_against_the_header(true: str, label: str) -> None:
    wrong = next(unit for unit in DRAWN if unit != true)
    plan = Plan(true)
    for x in (0, 5000, 10_000):
        plan.room(x, layer="X").text(label, x + 1500)
    reading, findings = decide(plan.drawn(CODE[wrong]))
    assert reading.name == true
    assert "printed" in findings[0].what


def test_areas_that_agree_with_nothing_do_not_mislead() -> None:
    plan = Plan("mm")
    for x in (0, 5000, 10_000):
        plan.room(x).text("860 m²", x + 1500)
    assert decide(plan.drawn(CODE["mm"]))[0].name == "mm"


def test_measurement_only_tips_the_scale_where_the_header_is_silent() -> None:
    def scores(measurement: int | None) -> str:
        plan = Plan("cm").walls(thickness=240)
        try:
            return decide(plan.drawn(0, measurement))[0].name
        except PlanError:
            return "refused"

    assert scores(1) == "cm"
    assert scores(0) != "in"


def test_a_size_of_no_building_overrules_the_header() -> None:
    reading, (finding,) = decide(Plan("m").walls().drawn(CODE["mm"]))
    assert reading.name == "m"
    assert finding.code == "IMP-203"


# --- refused


@pytest.mark.parametrize("header", [None, 0])
def test_one_line_without_a_unit_is_refused_with_the_remedy(
    header: int | None, tmp_path: Path
) -> None:
    made = flat_file(write(tmp_path, raw()))
    with pytest.raises(PlanError) as caught:
        decide(made)
    finding = caught.value.finding
    assert finding.code == "IMP-202"
    assert "drawing.units" in finding.remedy


def test_split_evidence_is_refused_not_guessed() -> None:
    plan = Plan("mm")
    for i in range(12):
        plan.msp.add_line((0, i * 9.4), (400, i * 9.4))
    with pytest.raises(PlanError, match="cannot be told"):
        decide(plan.drawn())


def test_a_header_of_no_known_unit_counts_as_silent() -> None:
    reading, (finding,) = decide(Plan("mm").walls().doors().drawn(99))
    assert reading.name == "mm"
    assert "unknown unit (99)" in finding.what


# --- hints


@pytest.mark.parametrize("hint", UNIT_TO_MM)
def test_the_rule_set_decides_over_everything(hint: str) -> None:
    reading, findings = decide(Plan("cm").walls().doors().drawn(CODE["in"]), Hints(units=hint))
    assert (reading.name, reading.to_mm) == (hint, UNIT_TO_MM[hint])
    assert "rule set" in reading.because
    if hint == "cm":
        assert findings == ()
    else:
        assert [(f.code, f.severity) for f in findings] == [("IMP-205", Severity.SETTLE)]
        assert "826 mm" in findings[0].what


def test_the_rule_set_settles_what_would_be_refused(tmp_path: Path) -> None:
    made = flat_file(write(tmp_path, raw()))
    assert decide(made, Hints(units="cm"))[0].to_mm == 10


def test_named_wall_layers_are_looked_at() -> None:
    plan = Plan("cm").walls(layer="K7")
    for i in range(40):  # a fine grid that is no wall in any unit beside the true one
        plan.msp.add_line((0, 500 + i * 60.0), (3000, 500 + i * 60.0))
    assert decide(plan.drawn(), Hints(wall_layers=("K7",)))[0].name == "cm"


# --- laws


@given(
    unit=st.sampled_from(DRAWN),
    turn=st.sampled_from([0.0, 17.0, 45.0, 90.0]),
    shift=st.sampled_from([0.0, 3.2e6]),
)
@settings(max_examples=20, deadline=None)
def test_turning_and_moving_a_plan_does_not_change_its_unit(
    unit: str, turn: float, shift: float
) -> None:
    plan = Plan(unit).walls().doors()
    content = list(plan.msp)
    block = plan.doc.blocks.new("ALL")
    for entity in content:
        plan.msp.unlink_entity(entity)
        block.add_entity(entity)
    plan.msp.add_blockref("ALL", (shift, -shift), {"rotation": turn})
    assert decide(plan.drawn())[0].name == unit


def test_gaps_are_between_neighbours_beside_each_other_only() -> None:
    ends = np.array(
        [
            (0, 0, 1000, 0),
            (1000, 100, 0, 100),
            (0, 350, 1000, 350),
            (5000, 10, 6000, 10),  # not beside any
            (0, 0, 0, 900),
        ],
        dtype=float,
    )
    gaps, lengths = parallel_gaps(ends)
    assert sorted(gaps.tolist()) == [100, 250]
    assert lengths.tolist() == [1000, 1000]


@pytest.mark.parametrize("rows", [0, 1])
def test_no_gaps_without_two_strokes(rows: int) -> None:
    gaps, _ = parallel_gaps(np.zeros((rows, 4)))
    assert len(gaps) == 0


# --- real drawings; what they are drawn in was found by eye (INDEX.tsv beside them)


@pytest.mark.parametrize(
    ("name", "unit", "contradicted"),
    [
        ("apartment_librecad", "mm", False),
        ("apartmentblock_acad2004", "in", False),
        ("door_wipeout_blocks", "mm", True),
        ("house_ceco_wallhighlow", "m", False),
        ("house_imperial_xref", "in", True),
        ("house_librecad_wrongunit", "cm", True),
        ("pavilion_freecad_r12", "mm", False),
        ("pavilion_qcad_r2013", "m", False),
    ],
)
def test_real_drawings_get_their_true_unit(
    name: str, unit: str, contradicted: bool, real_plans: Path
) -> None:
    reading, findings = decide(flat_real(real_plans / "dxf" / f"{name}.dxf"))
    assert reading.name == unit
    assert ("IMP-203" in [f.code for f in findings]) == contradicted


@pytest.mark.parametrize("name", ["elevation_r12_exploded", "plot_outline_solvespace"])
def test_drawings_without_a_plan_are_not_given_a_unit(name: str, real_plans: Path) -> None:
    with pytest.raises(PlanError, match="cannot be told"):
        decide(flat_real(real_plans / "dxf" / f"{name}.dxf"))


def test_finders_are_asked_only_in_units_that_can_show_doors() -> None:
    asked: list[float] = []

    def finder(made: Drawing, hints: Hints) -> tuple[()]:
        asked.append(made.to_mm or 0.0)
        return ()

    spy: Callable[[Drawing, Hints], tuple[()]] = finder
    decide_units(Plan("mm").walls().doors().drawn(4), Hints(), door_symbols=spy)
    assert asked == [1.0]
