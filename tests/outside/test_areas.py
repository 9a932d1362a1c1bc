"""Areas and perimeters of rooms read from a DXF, against published sums and another library."""

from __future__ import annotations

from math import pi
from pathlib import Path

import ezdxf
import pytest
from ezdxf.math import area as ezdxf_area
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from importer.plan import Plan
from importer.read import read_plan

Corner = tuple[float, float, float]
"""x, y, bulge in metres."""


def plan_of(corners: list[Corner], path: Path, at: tuple[float, float] = (0.0, 0.0)) -> Plan:
    """The plan of one room outline, drawn in metres on a room layer, with its name inside."""
    doc = ezdxf.new("R2010", units=6)
    doc.layers.add("A-AREA")
    points = [(x + at[0], y + at[1], b) for x, y, b in corners]
    doc.modelspace().add_lwpolyline(
        points, format="xyb", close=True, dxfattribs={"layer": "A-AREA"}
    )
    doc.saveas(path)
    return read_plan(path)


def area_m2(plan: Plan) -> float:
    assert len(plan.rooms) == 1
    return plan.rooms[0].shape.area / 1e6


@pytest.mark.parametrize(
    ("corners", "expected"),
    [
        # Shoelace example of Rosetta Code, task "Shoelace formula for polygonal area": 30.
        ([(3, 4), (5, 11), (12, 8), (9, 5), (5, 6)], 30.0),
        # The example of Wikipedia's article "Shoelace formula" (from memory, worked out again): 16.5.
        ([(1, 6), (3, 1), (7, 2), (4, 4), (8, 5)], 16.5),
    ],
)
@pytest.mark.parametrize("at", [(0.0, 0.0), (408_201.5, 4_080_928.0)])
def test_shoelace_examples(
    corners: list[tuple[float, float]], expected: float, at: tuple[float, float], tmp_path: Path
) -> None:
    plan = plan_of([(x, y, 0.0) for x, y in corners], tmp_path / "room.dxf", at)
    assert area_m2(plan) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize(
    ("corners", "expected"),
    [
        # Circular segment A = r2 (t - sin t) / 2, bulge b = tan(t / 4); MathWorld "Circular Segment".
        # 3 x 4 m room with a 3 m bay of bulge 0.5: 12 + 1.572522.
        ([(0, 0, 0), (3, 0, 0), (3, 4, 0.5), (0, 4, 0)], 13.572522),
        # 4 x 3 m with a half-circle on a 3 m side, bulging out and in: 12 +- pi 1.5^2 / 2.
        ([(0, 0, 0), (4, 0, 1), (4, 3, 0), (0, 3, 0)], 12 + pi * 1.5**2 / 2),
        ([(0, 0, 0), (4, 0, -1), (4, 3, 0), (0, 3, 0)], 12 - pi * 1.5**2 / 2),
        # Two vertices of bulge 1: a full circle of diameter 4 m.
        ([(0, 0, 1), (4, 0, 1)], pi * 4),
    ],
)
def test_bulges_bow_to_the_right_of_their_chord(
    corners: list[Corner], expected: float, tmp_path: Path
) -> None:
    """Flattened arcs lie inside the circle by at most 0.06 % of the radius: area within 0.1 %."""
    assert area_m2(plan_of(corners, tmp_path / "room.dxf")) == pytest.approx(expected, rel=1e-3)


@settings(
    max_examples=12,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    spokes=st.lists(
        st.tuples(st.floats(1.5, 6.0), st.floats(0.05, 1.0)),
        min_size=4,
        max_size=12,
    )
)
def test_star_shaped_rooms_agree_with_another_library(
    spokes: list[tuple[float, float]], tmp_path: Path
) -> None:
    """Check: ezdxf.math.area, an implementation of its own, on the drawn vertices."""
    total = sum(step for _, step in spokes)
    angle, corners = 0.0, []
    for radius, step in spokes:
        angle += 2 * pi * step / total
        corners.append(ezdxf.math.Vec2.from_angle(angle, radius))
    plan = plan_of([(c.x, c.y, 0.0) for c in corners], tmp_path / "room.dxf")
    assert area_m2(plan) == pytest.approx(abs(ezdxf_area(corners)), rel=1e-6)
