"""The inset against published and hand sums: A' = A - P d + d^2 * sum of cot(half the interior angle),
which is A - P d + 4 d^2 for any simple rectilinear outline (geometry sums, checked by hand).
"""

from __future__ import annotations

import pytest
import shapely
from shapely import Polygon, box

from layout.bay_error import LayoutError
from layout.bay_inset import inset, is_inset
from tests.layout.build import polygon

D = 10.0
L_SHAPE = polygon(
    (0, 0),
    (6000, 0),
    (6000, 3000),
    (3000, 3000),
    (3000, 5000),
    (1000, 5000),
    (1000, 3000),
    (0, 3000),
)


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        (box(0, 0, 5000, 4000), 19.8204e6),
        (
            polygon((0, 0), (6000, 0), (6000, 3000), (5000, 3000), (5000, 5000), (0, 5000)),
            27.7804e6,
        ),
        (Polygon(box(0, 0, 5000, 4000).exterior, [box(2000, 2000, 2400, 2400).exterior]), 19.644e6),
        (polygon((0, 0), (4000, 0), (0, 3000)), 5.8806e6),
    ],
)
def test_area_after_the_inset_is_the_published_sum(shape: Polygon, area: float) -> None:
    (part,) = inset(shape, D)
    assert part.area == pytest.approx(area, abs=1.0)


def test_perimeter_of_a_rectilinear_outline_shrinks_by_eight_insets() -> None:
    (part,) = inset(L_SHAPE, D)
    assert part.length == pytest.approx(L_SHAPE.length - 8 * D)
    assert part.area == pytest.approx(L_SHAPE.area - L_SHAPE.length * D + 4 * D**2)


def test_triangle_of_3_4_5_m_vanishes_at_its_inradius() -> None:
    triangle = polygon((0, 0), (4000, 0), (0, 3000))
    assert inset(triangle, 1002.0) == ()
    assert len(inset(triangle, 995.0)) == 1


def test_parts_come_largest_first() -> None:
    dumbbell = shapely.union_all(
        [box(0, 0, 1000, 1000), box(1000, 495, 1500, 505), box(1500, 0, 4000, 1000)]
    )
    assert isinstance(dumbbell, Polygon)
    parts = inset(dumbbell, D)
    assert [round(p.area) for p in parts] == [2480 * 980, 980 * 980]


def test_answers_that_are_no_inset_are_not_believed() -> None:
    good = inset(L_SHAPE, D)
    assert is_inset(good, L_SHAPE, D)
    assert not is_inset((), L_SHAPE, D)
    wing_lost = shapely.clip_by_rect(good[0], 0, 0, 6000, 3000)
    assert isinstance(wing_lost, Polygon)
    assert not is_inset((wing_lost,), L_SHAPE, D)
    assert not is_inset((L_SHAPE.buffer(-D / 2),), L_SHAPE, D)
    assert not is_inset((box(9000, 0, 15000, 4000),), L_SHAPE, D)


def test_outline_that_defeats_every_way_is_reported_with_a_remedy(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(shapely, "buffer", lambda *_args, **_options: Polygon())
    with pytest.raises(LayoutError, match="LAY-123"):
        inset(L_SHAPE, D)
