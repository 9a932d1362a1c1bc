"""The block drawn and the block modelled are one building: same rooms, same doorways, same floors."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import ifcopenshell
import ifcopenshell.validate
import pytest
import shapely

from importer.hints import Hints
from importer.ifc.model import Watch
from importer.ifc.reading import read_model
from importer.plan import Doorway, Flat, Obstacle, Plan, Room, RoomId, StoreyId
from importer.read import read_plan
from layout.floor import BayLayout, PlanResult
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.writers.ifc.floors import floors_of
from layout.writers.ifc.inside import Errand, write_floors
from sample_plans.block_model import FLATS_A_STOREY, STOREYS
from sample_plans.scenario import MODEL

RULES = default_rules()
LEVELS = range(STOREYS)


@pytest.fixture(scope="module")
def drawn(sample_plans: Path) -> Plan:
    return read_plan(sample_plans / "block_storey.dxf")


@pytest.fixture(scope="module")
def modelled(sample_plans: Path) -> Plan:
    """Read in this process: the child costs half a second more."""
    return read_model(sample_plans / MODEL, Hints(), Watch(), ())


def storey_of(plan: Plan, level: int) -> StoreyId:
    return plan.storeys[level].id


def rooms_on(plan: Plan, level: int) -> list[Room]:
    return [r for r in plan.rooms if r.storey == storey_of(plan, level)]


def numbered(plan: Plan, level: int) -> dict[RoomId, int]:
    """Rooms of a storey by place, so that storeys can be compared."""
    return {r.id: n for n, r in enumerate(rooms_on(plan, level))}


def corners(shape: shapely.Polygon) -> list[list[tuple[float, float]]]:
    return [[tuple(p) for p in r.coords] for r in (shape.exterior, *shape.interiors)]


@pytest.mark.parametrize("level", LEVELS)
def test_rooms_are_the_same_to_the_last_corner(drawn: Plan, modelled: Plan, level: int) -> None:
    twins = list(zip(rooms_on(drawn, 0), rooms_on(modelled, level), strict=True))
    for one, other in twins:
        assert corners(one.shape) == corners(other.shape)
        assert (one.name, one.communal) == (other.name, other.communal)


def passage(doorway: Doorway, numbers: dict[RoomId, int]) -> tuple[object, ...]:
    """All that is known of a doorway, its rooms by place."""
    places = [None if r is None else numbers[r] for r in (*doorway.rooms, doorway.swings_into)]
    return (
        places,
        corners(doorway.shape),
        doorway.leaf_line,
        doorway.width_mm,
        doorway.wall_thickness_mm,
        doorway.kind,
        doorway.flat_entrance,
    )


@pytest.mark.parametrize("level", LEVELS)
def test_doorways_are_the_same(drawn: Plan, modelled: Plan, level: int) -> None:
    def found(plan: Plan, k: int) -> list[tuple[object, ...]]:
        numbers = numbered(plan, k)
        return [passage(d, numbers) for d in plan.doorways if d.storey == storey_of(plan, k)]

    assert found(drawn, 0) == found(modelled, level)


@pytest.mark.parametrize("level", LEVELS)
def test_the_same_stands_in_every_room(drawn: Plan, modelled: Plan, level: int) -> None:
    """But for the stair hall, which gets no planks: the model knows where one walks under a flight, and
    on the top storey it has the hole that the stair comes up through.
    """
    for one, other in zip(rooms_on(drawn, 0), rooms_on(modelled, level), strict=True):
        if one.name == "Stair":
            continue
        here = shapely.union_all([o.shape for o in drawn.obstacles_of(one.id)])
        there = shapely.union_all([o.shape for o in modelled.obstacles_of(other.id)])
        assert here.symmetric_difference(there).area < 1.0, one.name


# --- floors ---------------------------------------------------------------------------------------


def flat_alone(plan: Plan, name: str) -> Plan:
    """The plan of one flat, with the doorways that lead out of it."""
    (flat,) = (f for f in plan.flats if f.name == name)
    kept = {r.id for r in plan.rooms if r.flat == flat.id}
    flats: tuple[Flat, ...] = (flat,)
    obstacles: tuple[Obstacle, ...] = tuple(o for o in plan.obstacles if o.room in kept)
    return replace(
        plan,
        flats=flats,
        rooms=tuple(r for r in plan.rooms if r.id in kept),
        doorways=tuple(d for d in plan.doorways if kept & set(d.rooms)),
        obstacles=obstacles,
    )


@pytest.fixture(scope="module")
def laid_in_model(modelled: Plan) -> PlanResult:
    """Flat 4 of the top storey, the one with a slanted gable."""
    return lay_plan(flat_alone(modelled, f"Flat {4 + FLATS_A_STOREY * (STOREYS - 1)}"), RULES)


def piece_list(layout: BayLayout) -> list[tuple[object, ...]]:
    """Every piece in laying order: its place in the plan to a thousandth, what it is cut to and from."""
    frame = layout.setting_out.frame
    return [
        (
            [round(v, 3) for v in frame.to_plan(p.shape).bounds],
            p.row,
            p.number,
            p.role,
            [(c.kind, [round(m, 3) for m in c.measures_mm]) for c in p.cuts],
            p.plank[len(str(layout.bay.id)) :],
            round(p.plank_x_mm, 3),
        )
        for p in layout.pieces
    ]


def test_floors_are_the_same_to_the_thousandth(drawn: Plan, laid_in_model: PlanResult) -> None:
    """One flat here; `python -m tests.bench.twins` compares whole storeys."""
    one = lay_plan(flat_alone(drawn, "Flat 4"), RULES)
    assert len(one.bays) == len(laid_in_model.bays) > 0
    for here, there in zip(one.bays, laid_in_model.bays, strict=True):
        assert here.bay.name.replace("4.", "") == there.bay.name.replace("12.", "")
        assert piece_list(here) == piece_list(there)


def test_floors_in_the_sample_model_bring_no_error(
    laid_in_model: PlanResult, sample_plans: Path
) -> None:
    path = sample_plans / MODEL
    floors = floors_of(laid_in_model, RULES, default_rules=True)
    copy = write_floors(path, Errand(floors=floors, hints=Hints()), Watch(), ())
    model = ifcopenshell.file.from_string(copy.data.decode("ascii"))
    log = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(model, log)
    assert log.statements == []  # as for the model itself, see test_sample_model
    storeys = Counter(
        c.ContainedInStructure[0].RelatingStructure.Name for c in model.by_type("IfcCovering")
    )
    assert storeys == {"Storey 2": sum(len(b.bay.rooms) for b in laid_in_model.bays)}
