"""Flats: by outlines, by labels through doorways, by the communal space between them."""

from __future__ import annotations

from importer.dxf.assemble import assemble
from importer.hints import Hints
from importer.plan import Plan, UnitReading
from tests.importer.build import Sketch


def plan_of(sketch: Sketch) -> Plan:
    return assemble(sketch.build(), UnitReading(name="mm", to_mm=1.0, because="test"), Hints())


class Block:
    """Rooms 3.9 x 3.9 m in a grid of 4 m, outlined and named, joined by doors."""

    def __init__(self) -> None:
        self.sketch = Sketch()

    def room(self, col: int, row: int, name: str, *, wide: int = 1) -> None:
        x, y = 4000.0 * col, 4000.0 * row
        self.sketch.box(x, y, x + 4000 * wide - 100, y + 3900, "ROOMS")
        if name:
            self.sketch.text(name, (x + 1950, y + 1950))

    def door_right(self, col: int, row: int) -> None:
        x = 4000.0 * (col + 1) - 100
        self.sketch.door((x, 4000 * row + 500), (x, 4000 * row + 1400))

    def door_up(self, col: int, row: int) -> None:
        y = 4000.0 * (row + 1) - 100
        self.sketch.door((4000 * col + 500, y), (4000 * col + 1400, y))


def two_flats(corridor: str, *, labels: bool) -> Block:
    """Two flats of three rooms under one corridor, each with a door to it."""
    block = Block()
    for first in (0, 3):
        for k, name in enumerate(("Kitchen", "Bedroom", "Bath")):
            block.room(first + k, 0, name)
        block.door_right(first, 0)
        block.door_right(first + 1, 0)
        block.door_up(first, 0)
    block.room(0, 1, corridor, wide=6)
    if labels:
        block.sketch.text("Flat 1", (1950, 2900))
        block.sketch.text("Flat 2", (13_950, 2900))
    return block


def members(plan: Plan) -> dict[str, list[str | None]]:
    return {f.name: [r.name for r in plan.rooms if r.flat == f.id] for f in plan.flats}


def test_flats_are_told_by_the_communal_space_between_them() -> None:
    plan = plan_of(two_flats("Corridor", labels=False).sketch)
    rooms = ["Kitchen", "Bedroom", "Bath"]
    assert members(plan) == {"Flat 1": rooms, "Flat 2": rooms}
    (corridor,) = [r for r in plan.rooms if r.communal]
    assert corridor.name == "Corridor"
    assert "IMP-510" in [f.code for f in plan.findings]
    assert sum(d.flat_entrance for d in plan.doorways) == 2


def test_labels_name_flats_and_spread_through_doorways() -> None:
    plan = plan_of(two_flats("Corridor", labels=True).sketch)
    assert list(members(plan)) == ["Flat 1", "Flat 2"]
    assert all(len(m) == 3 for m in members(plan).values())
    assert [r.name for r in plan.rooms if r.name and "Flat" in r.name] == []


def test_room_that_several_labelled_flats_hang_on_is_communal_though_not_named_so() -> None:
    plan = plan_of(two_flats("", labels=True).sketch)
    assert all(len(m) == 3 for m in members(plan).values())
    (shared,) = [r for r in plan.rooms if r.communal]
    assert shared.name is None


def test_house_with_a_corridor_has_no_flats() -> None:
    block = Block()
    for k, name in enumerate(("Kitchen", "Living", "Bedroom", "Bath")):
        block.room(k, 0, name)
        block.door_up(k, 0)
    block.room(0, 1, "Corridor", wide=4)
    plan = plan_of(block.sketch)
    assert plan.flats == ()
    assert not any(r.communal or r.flat for r in plan.rooms)
    assert not any(d.flat_entrance for d in plan.doorways)


def test_store_off_the_corridor_belongs_to_nobody() -> None:
    block = two_flats("Corridor", labels=True)
    block.room(2, 2, "Bicycles")
    block.door_up(2, 1)
    plan = plan_of(block.sketch)
    (store,) = [r for r in plan.rooms if r.name == "Bicycles"]
    assert store.communal
    assert store.flat is None


def test_outlines_of_flats_decide() -> None:
    block = two_flats("Corridor", labels=False)
    block.sketch.box(-50, -50, 11_950, 3950, "APARTMENTS")
    block.sketch.box(11_950, -50, 23_950, 3950, "APARTMENTS")
    plan = plan_of(block.sketch)
    assert all(len(m) == 3 for m in members(plan).values())
    assert [r.name for r in plan.rooms if r.communal] == ["Corridor"]


def test_number_over_an_area_too_large_for_its_room_names_the_flat() -> None:
    block = two_flats("Corridor", labels=False)
    for x, number in ((1950, "A101"), (13_950, "A102")):
        block.sketch.text(number, (x, 3200), 250)
        block.sketch.text("52 m²", (x, 2800), 200)
    plan = plan_of(block.sketch)
    assert list(members(plan)) == ["A101", "A102"]
    assert "IMP-507" not in [f.code for f in plan.findings]


def test_flat_whose_rooms_do_not_make_its_printed_area_is_told() -> None:
    block = two_flats("Corridor", labels=False)
    for x, number in ((1950, "A101"), (13_950, "A102")):
        block.sketch.text(number, (x, 3200), 250)
        block.sketch.text("95 m²", (x, 2800), 200)
    assert "IMP-507" in [f.code for f in plan_of(block.sketch).findings]
