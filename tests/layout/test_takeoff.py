from __future__ import annotations

from math import ceil

import pytest

from layout.takeoff import NO_FLAT, combine
from tests.layout.laid import rectangle_result, rules


def test_order_counts_planks_spares_and_packs() -> None:
    result = rectangle_result()
    job = combine([result], rules(order={"spare": "3 %"}))
    planks = len(result.bays[0].planks)
    assert job.totals.planks == planks
    assert job.totals.spare_planks == ceil(planks * 0.03)
    assert job.totals.packs == ceil((planks + ceil(planks * 0.03)) / 10)
    assert list(job.by_flat) == [NO_FLAT]


def test_skirting_is_the_perimeter_less_the_door() -> None:
    """check: 4 x 3.26 m room, one 900 mm opening: 14.52 - 0.9 m."""
    job = combine([rectangle_result()], rules())
    assert job.totals.skirting_mm == pytest.approx(2 * (4000 + 3260) - 900)
    assert job.totals.threshold_mm == (900.0,)


def test_waste_is_what_is_bought_and_not_laid() -> None:
    result = rectangle_result()
    q = combine([result], rules()).totals
    bought = q.planks * 1.220 * 0.180
    assert q.net_area_m2 == pytest.approx(3.984 * 3.244)
    assert q.waste_percent == pytest.approx(100 * (bought - q.net_area_m2) / bought)


def test_flats_of_several_plans_are_told_apart() -> None:
    job = combine([rectangle_result(), rectangle_result()], rules())
    assert list(job.by_flat) == [f"room: {NO_FLAT}"]
    assert job.totals.planks == 2 * len(rectangle_result().bays[0].planks)
