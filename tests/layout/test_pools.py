"""Offcuts shared by the bays of a flat or a storey."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import ceil
from random import Random

import pytest
from shapely import box

from importer.plan import FlatId, Plan, StoreyId
from layout.audit import audit
from layout.commands.check import checked
from layout.demand import BayDemand, Blank, JointPlan
from layout.floor import BayLayout, PlanResult, Role
from layout.job import lay_plan
from layout.job_pools import pools_of
from layout.joint_pool import joined
from layout.joints import Effort, solve, solve_pool
from layout.rules import RuleSet
from layout.stock import count_planks, cut_planks
from layout.writers.dxf.reread import MarkedDrawing
from layout.writers.tables import cuts_csv
from tests.bench.generated_bays import generated_bays
from tests.layout import build
from tests.layout.build import plan, room, rules


def by(pool: str) -> RuleSet:
    return rules(cut={"kerf": 2, "pool": pool})


def rooms_of_two_flats() -> Plan:
    """Rooms in line without doorways: two of one flat, two of another."""
    random = Random(0)
    rooms, x = [], 0.0
    for k in range(1, 5):
        wide, deep = random.uniform(2300, 4200), random.uniform(1500, 2400)
        flat = FlatId("A" if k < 3 else "B")
        rooms.append(room(box(x, 0, x + wide, deep), k, name=f"Room {k}", flat=flat))
        x += wide + 120
    return plan(rooms)


@cache
def laid(pool: str) -> PlanResult:
    return lay_plan(rooms_of_two_flats(), by(pool))


def planks(result: PlanResult) -> int:
    return sum(len(b.planks) for b in result.bays)


def bays_of_planks(result: PlanResult) -> list[set[str]]:
    bay_of = {p.id: p.bay for b in result.bays for p in b.pieces}
    return [{bay_of[i] for i in plank.pieces} for b in result.bays for plank in b.planks]


# --- what may be shared -------------------------------------------------------------------------


def test_offcuts_stay_in_their_bay_their_flat_or_their_storey() -> None:
    assert all(len(bays) == 1 for bays in bays_of_planks(laid("bay")))
    assert any(len(bays) > 1 for bays in bays_of_planks(laid("flat")))
    for bays in bays_of_planks(laid("flat")):
        assert bays <= {"B1", "B2"} or bays <= {"B3", "B4"}
    across = [b for b in bays_of_planks(laid("storey")) if b & {"B1", "B2"} and b & {"B3", "B4"}]
    assert across


def test_pools_follow_flat_and_storey() -> None:
    bays = [b.bay for b in laid("bay").bays]
    upstairs = [replace(b, storey=StoreyId("S2")) for b in bays[:1]]
    no_flat = [replace(b, flat=None) for b in bays[:2]]
    assert pools_of(bays, by("bay")) == [[0], [1], [2], [3]]
    assert pools_of(bays, by("flat")) == [[0, 1], [2, 3]]
    assert pools_of([*bays, *upstairs, *no_flat], by("flat")) == [[0, 1], [2, 3], [4], [5, 6]]
    assert pools_of([*bays, *upstairs], by("storey")) == [[0, 1, 2, 3], [4]]


def test_pooling_saves_planks_and_never_costs_one() -> None:
    alone, flats, storey = (planks(laid(pool)) for pool in ("bay", "flat", "storey"))
    assert storey <= flats <= alone
    assert storey < alone


@pytest.mark.parametrize("pool", ["flat", "storey"])
def test_pool_keeps_every_rule_and_its_bounds_add_up(pool: str) -> None:
    result = laid(pool)
    laid_area = sum(b.area_mm2 for b in result.bays)
    assert [b.breaches for b in result.bays] == [()] * 4
    assert all(b.bound <= len(b.planks) for b in result.bays)
    assert ceil(laid_area / (1220 * 180)) <= sum(b.bound for b in result.bays) <= planks(result)
    listed = [i for b in result.bays for p in b.planks for i in p.pieces]
    assert sorted(listed) == sorted(p.id for b in result.bays for p in b.pieces)
    names = [p.id for b in result.bays for p in b.planks]
    assert len(names) == len(set(names))
    assert all(p.id.startswith(f"{b.bay.id}/P") for b in result.bays for p in b.planks)


def test_plank_belongs_to_the_bay_that_opens_it() -> None:
    for bay in laid("storey").bays:
        for plank in bay.planks:
            assert plank.pieces[0].startswith(f"{bay.bay.id}/")
    pieces = {p.id: p for b in laid("storey").bays for p in b.pieces}
    for piece in pieces.values():
        if piece.offcut_of is not None:
            assert pieces[piece.offcut_of].plank == piece.plank


def test_figures_of_the_direction_are_those_of_the_bay_alone() -> None:
    for pooled, alone in zip(laid("flat").bays, laid("bay").bays, strict=True):
        assert pooled.alternatives[0].planks == len(alone.planks)
        assert pooled.alternatives[0].bound == alone.bound


# --- the audit sees over the whole pool ---------------------------------------------------------


def audited(bays: Sequence[BayLayout], pool: str = "storey") -> list[str]:
    return [
        breach.rule
        for bay in bays
        for breach in audit(bay, by(pool), pool=[o for o in bays if o is not bay])
    ]


def test_narrower_pool_than_laid_by_is_a_breach() -> None:
    assert audited(laid("storey").bays, "storey") == []
    assert set(audited(laid("storey").bays, "flat")) == {"cut.pool"}
    assert set(audited(laid("flat").bays, "bay")) == {"cut.pool"}


def test_piece_that_another_bay_lost_is_missed() -> None:
    first, *others = laid("storey").bays
    shared = {i for plank in first.planks for i in plank.pieces if not i.startswith("B1/")}
    victim = min(shared)
    bays = [
        replace(b, pieces=tuple(p for p in b.pieces if p.id != victim)) for b in (first, *others)
    ]
    assert "stock" in audited(bays)


def test_blanks_of_two_bays_that_overlap_on_their_plank_are_found() -> None:
    bays = list(laid("storey").bays)
    n, i = next(
        (n, i)
        for n, b in enumerate(bays)
        for i, p in enumerate(b.pieces)
        if p.offcut_of is not None and not p.offcut_of.startswith(f"{b.bay.id}/")
    )
    pieces = list(bays[n].pieces)
    step = 40.0 if pieces[i].role is Role.LAST else -40.0
    pieces[i] = replace(pieces[i], plank_x_mm=pieces[i].plank_x_mm + step)
    bays[n] = replace(bays[n], pieces=tuple(pieces))
    assert {"stock.hand"} <= set(audited(bays))


# --- outputs agree ------------------------------------------------------------------------------


def test_cut_list_names_planks_of_other_bays() -> None:
    result = laid("storey")
    text = cuts_csv(result, by("storey")).decode("utf-8-sig")
    rows = {row["id"]: row for row in csv.DictReader(io.StringIO(text))}
    carried = [
        p
        for b in result.bays
        for p in b.pieces
        if p.offcut_of is not None and not p.offcut_of.startswith(f"{b.bay.id}/")
    ]
    assert carried
    for piece in carried:
        assert rows[piece.id]["plank"] == piece.plank
        assert rows[piece.id]["cut from"] == f"offcut of {piece.offcut_of}"


def test_check_of_a_pooled_drawing_counts_each_plank_once() -> None:
    result = laid("storey")
    drawing = MarkedDrawing(file="a.dxf", rules=by("storey"), bays=result.bays, written=())
    bays = checked(drawing, by("storey"))
    assert [b.planks for b in bays] == [len(b.planks) for b in result.bays]
    assert all(b.breaches == () for b in bays)


# --- the solver ---------------------------------------------------------------------------------


def demands(seed: int) -> list[BayDemand]:
    """Three bays by the same rules."""
    bays = list(generated_bays(3, seed, ("rectangle", "L", "alcove")))
    first = bays[0].demand
    return [
        replace(
            b.demand,
            stock=first.stock,
            min_length=first.min_length,
            never_below=first.never_below,
            min_offset=first.min_offset,
        )
        for b in bays
    ]


@pytest.mark.parametrize("seed", range(4))
def test_pool_needs_no_more_planks_than_its_bays_and_no_fewer_than_its_bound(seed: int) -> None:
    bays = demands(seed)
    alone = [solve(d, effort=Effort.QUICK) for d in bays]
    pooled = solve_pool(bays, alone, effort=Effort.QUICK)
    assert pooled.bound <= pooled.planks <= sum(s.plan.planks for s in alone)
    area = sum((r.x1 - r.x0) * r.width_mm for d in bays for r in d.runs)
    stock = bays[0].stock
    assert pooled.bound >= area / (stock.plank_length * stock.plank_width) - 1


def test_pool_of_one_bay_twice_is_the_bay_of_twice_the_rows() -> None:
    (bay,) = generated_bays(1, 5, ("rectangle",))
    alone = solve(bay.demand)
    pooled = solve_pool([bay.demand] * 2, [alone] * 2)
    assert pooled.planks <= 2 * alone.plan.planks
    twice = joined([bay.demand] * 2)
    assert [r.index for r in twice.runs] == list(range(len(twice.runs)))
    assert len({r.row for r in twice.runs}) == 2 * len({r.row for r in bay.demand.runs})


def test_order_and_hand_of_the_bays_change_nothing() -> None:
    bays = demands(7)
    turned = [mirrored(d) for d in reversed(bays)]
    results = []
    for some in (bays, bays[::-1], turned):
        pooled = solve_pool(some, [solve(d, effort=Effort.QUICK) for d in some])
        results.append((pooled.planks, pooled.bound))
    assert results[0] == results[1] == results[2]


def mirrored(demand: BayDemand) -> BayDemand:
    """The bay with its rows running the other way."""
    return replace(
        demand,
        runs=tuple(
            replace(
                r,
                x0=-r.x1,
                x1=-r.x0,
                void_start_mm=r.void_end_mm,
                void_end_mm=r.void_start_mm,
                breadths=tuple(replace(b, x0=-b.x1, x1=-b.x0) for b in reversed(r.breadths)),
            )
            for r in demand.runs
        ),
        touches=tuple(replace(t, x0=-t.x1, x1=-t.x0) for t in demand.touches),
    )


def test_nothing_to_lay_is_nothing_to_pool() -> None:
    bay = replace(demands(0)[0], runs=(), touches=())
    pooled = solve_pool([bay, bay], [solve(bay), solve(bay)])
    assert pooled.plans == (JointPlan(joints=(), planks=0),) * 2
    assert (pooled.planks, pooled.bound) == (0, 0)


# --- the stock ----------------------------------------------------------------------------------


def test_offcut_goes_to_its_own_bay_where_that_costs_nothing() -> None:
    stock = demands(0)[0].stock
    half = stock.plank_length / 2 - stock.kerf - stock.tolerance
    blanks = [
        Blank(
            key=k,
            role=role,
            length_mm=half - k,
            width_mm=stock.plank_width,
            keeps_near_edge=True,
            keeps_far_edge=True,
            bay=bay,
        )
        for k, (role, bay) in enumerate(
            [(Role.LAST, 1), (Role.FIRST, 2), (Role.LAST, 2), (Role.FIRST, 1)]
        )
    ]
    assert count_planks(blanks, stock) == 2
    for plank in cut_planks(blanks, stock):
        assert len({blanks[p.key].bay for p in plank.placed}) == 1


def test_flat_with_doorways_between_its_rooms_is_laid_clean() -> None:
    result = lay_plan(build.flat_of_three(), rules(doorways={"default": "break"}))
    assert [b.breaches for b in result.bays] == [()] * 3
