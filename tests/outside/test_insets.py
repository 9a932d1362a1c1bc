"""The floor inside its wall gap, against formulas for mitred insets (worked sums, no library).

Area of a polygon set back by d with mitred corners, while no edge vanishes:
A' = A - P d + d2 * sum(cot(a / 2)) over the interior angles a; the sum is 4 for rectilinear outlines
without holes and loses 4 for each rectilinear hole.
"""

from __future__ import annotations

import pytest
from shapely import Polygon, box

from importer.plan import Plan, Room, RoomId, Storey, StoreyId, UnitReading
from layout.bays import form_bays
from tests.layout.laid import rules

S1 = StoreyId("S1")


def floor_area_m2(shape: Polygon, gap: float) -> float:
    plan = Plan(
        file="t.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="test"),
        storeys=(Storey(id=S1, name="Ground"),),
        flats=(),
        rooms=(Room(id=RoomId("R1"), shape=shape, storey=S1),),
        doorways=(),
    )
    bays = form_bays(plan, rules(gap={"wall": gap, "cover": 15})).bays
    assert len(bays) == 1
    return bays[0].floor.area / 1e6


def test_rectangle() -> None:
    """5 x 4 m, gap 10: 20 - 0.18 + 0.0004."""
    assert floor_area_m2(box(0, 0, 5000, 4000), 10) == pytest.approx(19.8204, abs=1e-9)


def test_rectilinear_outline_of_23_m2_and_22_m() -> None:
    """A - P d + 4 d2: 23 - 0.22 + 0.0004."""
    shape = Polygon([(0, 0), (6000, 0), (6000, 3000), (5000, 3000), (5000, 5000), (0, 5000)])
    assert shape.area == pytest.approx(28e6)
    shape = Polygon([(0, 0), (6000, 0), (6000, 3000), (2500, 3000), (2500, 5000), (0, 5000)])
    assert (shape.area, shape.length) == pytest.approx((23e6, 22e3))
    assert floor_area_m2(shape, 10) == pytest.approx(22.7804, abs=1e-9)


def test_column_in_the_room() -> None:
    """A - P d + 4 (1 - h) d2 with one hole: 19.84 - 0.196 + 0."""
    room = Polygon(
        box(0, 0, 5000, 4000).exterior.coords, [box(2000, 1800, 2400, 2200).exterior.coords]
    )
    assert floor_area_m2(room, 10) == pytest.approx(19.644, abs=1e-9)


def test_three_four_five_triangle() -> None:
    """Sum of cot(a / 2) is 6: 6 - 0.12 + 0.0006."""
    assert floor_area_m2(Polygon([(0, 0), (4000, 0), (0, 3000)]), 10) == pytest.approx(
        5.8806, abs=1e-9
    )
