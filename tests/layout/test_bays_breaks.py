"""Where a floor longer than the limits is broken: the worked examples, and networkx as referee."""

from __future__ import annotations

from dataclasses import replace
from itertools import chain, combinations, pairwise

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon, box

from importer.plan import DoorwayKind, Plan, Room
from layout.bay_breaks import Cells, Link, fewest_breaks
from layout.bays import BayPlan, form_bays
from layout.floor import JointKind
from tests.layout import build
from tests.layout.build import doorway, plan, room, rules

PLAIN = rules(rows={"along": 0})


def kinds(formed: BayPlan) -> list[str]:
    """Doorways that are broken, then joints across rooms."""
    return [j.doorway or j.kind.value for j in formed.joints]


def lengths(formed: BayPlan) -> list[float]:
    return sorted(round(b.outline.bounds[2] - b.outline.bounds[0]) for b in formed.bays)


def in_line(count: int, each: float, wall: float = 200.0) -> Plan:
    """Rooms in line along x with a door between neighbours."""
    step = each + wall
    rooms = [room(box(n * step, 0, n * step + each, 3000), n + 1) for n in range(count)]
    doors = [
        doorway((n * step + each, 1000), ((n + 1) * step, 1860), n + 1, (n + 1, n + 2))
        for n in range(count - 1)
    ]
    return plan(rooms, doors)


# --- worked examples ----------------------------------------------------------------------------


def test_five_rooms_in_line_are_broken_under_one_door() -> None:
    formed = form_bays(in_line(5, 4200), PLAIN)
    assert kinds(formed) == ["D2"]
    # 8.6 m and 13.0 m of rooms, each with half a wall more.
    assert lengths(formed) == [8700, 13_100]
    (joint,) = formed.joints
    assert joint.kind is JointKind.THRESHOLD
    assert joint.bays == ("B1", "B3")
    assert joint.why == (
        "The floor would run 21.80 m along the rows; 15 m are allowed without a joint. "
        "Placed under this door, where the leaf hides it."
    )


@pytest.mark.parametrize(("each", "broken"), [(4900.0, []), (4903.4, ["D1"])])
def test_rooms_in_line_of_15_m_run_on_and_of_15_01_m_do_not(each: float, broken: list[str]) -> None:
    """Three rooms and two walls of 150 mm: 15.00 m, and 15.01 m."""
    assert kinds(form_bays(in_line(3, each, 150.0), PLAIN)) == broken


def corridor(neck: bool, both_ends: bool) -> Plan:
    """A corridor of 18 m, with three rooms on each half; one more room may have a door to each half."""
    shape: Polygon = box(0, 0, 18_000, 1500)
    if neck:
        shape = build.polygon(
            *((0, 0), (18_000, 0), (18_000, 1500), (6100, 1500), (6100, 900), (5900, 900)),
            *((5900, 1500), (0, 1500)),
        )
    xs = [500, 3200, 6400, 9300, 12_000, 14_700]
    rooms = [room(shape, 1)]
    rooms += [room(box(x, 1600, x + 2500, 4600), n) for n, x in enumerate(xs, start=2)]
    doors = [
        doorway((x + 800, 1500), (x + 1660, 1600), n, (1, n)) for n, x in enumerate(xs, start=2)
    ]
    if both_ends:
        rooms.append(room(box(7000, -3100, 11_000, -100), 8))
        doors.append(doorway((7200, -100), (8060, 0), 8, (1, 8)))
        doors.append(doorway((9940, -100), (10_800, 0), 9, (1, 8)))
    return plan(rooms, doors)


def test_corridor_too_long_by_itself_gets_one_joint_across() -> None:
    formed = form_bays(corridor(neck=False, both_ends=False), PLAIN)
    assert kinds(formed) == ["bay joint"]
    (joint,) = formed.joints
    assert joint.length_mm == pytest.approx(1500)
    assert "no doorway and no narrow part serves" in joint.why
    assert [len(b.rooms) for b in formed.bays] == [4, 4]


def test_neck_of_a_corridor_is_taken_before_a_line_across_it() -> None:
    formed = form_bays(corridor(neck=True, both_ends=False), PLAIN)
    (joint,) = formed.joints
    assert joint.kind is JointKind.BAY_JOINT
    assert joint.length_mm == pytest.approx(900)
    assert lengths(formed) == [6000, 12_000]
    assert "narrowest part" in joint.why


def test_room_with_a_door_to_each_half_of_a_corridor_loses_one_of_them_too() -> None:
    formed = form_bays(corridor(neck=False, both_ends=True), PLAIN)
    (cut,) = [j for j in formed.joints if j.kind is JointKind.BAY_JOINT]
    x = cut.line[0][0]
    broken = [j.doorway for j in formed.joints if j.doorway]
    assert broken == ([] if x < 7200 or x > 10_800 else ["D8"] if x > 9000 else ["D9"])
    # A line beside the room costs one joint; between its doors it would cost two.
    assert len(formed.joints) == 1


def quarters(each: float, **limits: str) -> BayPlan:
    """Four rooms in a ring, walls of 200 mm, a door between neighbours."""
    far = each + 200
    rooms = [
        room(box(x, y, x + each, y + each), n)
        for n, (x, y) in enumerate([(0, 0), (far, 0), (far, far), (0, far)], start=1)
    ]
    doors = [
        doorway((each, 1000), (far, 1860), 1, (1, 2)),
        doorway((far + 1000, each), (far + 1860, far), 2, (2, 3)),
        doorway((each, far + 1000), (far, far + 1860), 3, (3, 4)),
        doorway((1000, each), (1860, far), 4, (4, 1)),
    ]
    return form_bays(plan(rooms, doors), rules(rows={"along": 0}, limits=limits))


def test_ring_of_rooms_is_broken_at_every_door_or_at_those_along_the_rows() -> None:
    assert kinds(quarters(9000)) == ["D1", "D2", "D3", "D4"]
    assert kinds(quarters(9000, across="40 m")) == ["D1", "D3"]
    assert kinds(quarters(7400)) == []
    assert kinds(quarters(7500)) == ["D1", "D2", "D3", "D4"]


def test_rooms_joined_twice_are_broken_twice() -> None:
    rooms = [room(box(0, 0, 9000, 4000), 1), room(box(9100, 0, 18_100, 4000), 2)]
    doors = [
        doorway((9000, 500), (9100, 1360), 1, (1, 2)),
        doorway((9000, 2500), (9100, 3360), 2, (1, 2)),
    ]
    formed = form_bays(plan(rooms, doors), PLAIN)
    assert kinds(formed) == ["D1", "D2"]
    assert all("No fewer or better breaks than these 2 serve." in j.why for j in formed.joints)


def test_door_is_broken_before_an_opening_without_a_leaf() -> None:
    drawing = in_line(3, 6000)
    for open_one, broken in ((0, "D2"), (1, "D1")):
        doors = list(drawing.doorways)
        doors[open_one] = replace(doors[open_one], kind=DoorwayKind.OPENING)
        assert kinds(form_bays(plan(drawing.rooms, doors), PLAIN)) == [broken]


def test_line_across_a_room_keeps_off_its_doorways() -> None:
    """In equal parts the joint would lie in front of the door at 9 m."""
    rooms = [room(box(0, 0, 18_000, 2000), 1), room(box(8000, 2100, 11_000, 5000), 2)]
    drawing = plan(rooms, [doorway((8600, 2000), (9500, 2100), 1, (1, 2))])
    (joint,) = form_bays(drawing, PLAIN).joints
    assert joint.kind is JointKind.BAY_JOINT
    assert joint.line[0][0] <= 8500 or joint.line[0][0] >= 9600


def test_rows_of_broken_floors_keep_one_direction() -> None:
    """The last room alone would have its rows along its own longest wall, across the others."""
    drawing = in_line(4, 4700)
    wide = [*drawing.rooms[:3], room(box(3 * 4900, 0, 3 * 4900 + 4700, 9000), 4)]
    formed = form_bays(plan(wide, drawing.doorways), rules())
    assert len(formed.bays) > 1
    assert {b.along for b in formed.bays} in ({(1.0, 0.0)}, {(0.0, 1.0)})


# --- the search itself --------------------------------------------------------------------------


def test_link_within_one_part_is_never_cut() -> None:
    """A and B are joined twice, C hangs on B: cutting B from C is cheaper than both others."""
    boxes = np.array([(0, 0, 5, 5), (5, 0, 10, 5), (10, 0, 19, 5)], dtype=float)
    links = (Link(a=0, b=1, cost=2), Link(a=0, b=1, cost=2), Link(a=1, b=2, cost=3))
    found = fewest_breaks(Cells(boxes=boxes, links=links, limits=(14.5, 9.0)))
    assert found.cut == (2,)
    assert found.part == (0, 0, 1)
    assert found.is_best


def cheapest(cells: Cells) -> int:
    """The cheapest cut of all sets of links: networkx finds the parts, nothing is shared with the
    search.
    """
    best = sum(link.cost for link in cells.links)
    numbers = range(len(cells.links))
    for chosen in chain.from_iterable(combinations(numbers, k) for k in range(len(numbers))):
        cost = sum(cells.links[i].cost for i in chosen)
        if cost >= best:
            continue
        graph = nx.MultiGraph()
        graph.add_nodes_from(range(len(cells.boxes)))
        graph.add_edges_from((k.a, k.b) for i, k in enumerate(cells.links) if i not in chosen)
        parts = [cells.boxes[sorted(p)] for p in nx.connected_components(graph) if len(p) > 1]
        if all(
            (p[:, 2:].max(axis=0) - p[:, :2].min(axis=0) <= np.array(cells.limits) + 0.05).all()
            for p in parts
        ):
            best = cost
    return best


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_search_finds_the_cheapest_of_all_sets_of_links(data: st.DataObject) -> None:
    count = data.draw(st.integers(2, 7))
    side = st.integers(1, 6)
    place = st.integers(0, 12)
    boxes = []
    for _ in range(count):
        x, y, w, h = (data.draw(s) for s in (place, place, side, side))
        boxes.append((x, y, x + w, y + h))
    pair = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)).filter(
        lambda p: p[0] != p[1]
    )
    pairs = data.draw(st.lists(pair, min_size=1, max_size=9))
    links = tuple(Link(a=a, b=b, cost=data.draw(st.sampled_from([1, 1, 3, 10]))) for a, b in pairs)
    cells = Cells(boxes=np.array(boxes, dtype=float), links=links, limits=(9.0, 11.0))
    found = fewest_breaks(cells)
    assert found.is_best
    assert sum(links[i].cost for i in found.cut) == cheapest(cells)


# --- laws ---------------------------------------------------------------------------------------


def house(widths: list[float], depths: list[float]) -> Plan:
    """A grid of rooms, walls of 100 mm, a door between all neighbours."""
    xs = np.concatenate([[0], np.cumsum(np.array(widths) + 100)])
    ys = np.concatenate([[0], np.cumsum(np.array(depths) + 100)])
    across = len(widths)
    rooms: list[Room] = []
    doors = []
    for j, (low, high) in enumerate(pairwise(ys.tolist())):
        for i, (left, right) in enumerate(pairwise(xs.tolist())):
            n = j * across + i + 1
            rooms.append(room(box(left, low, right - 100, high - 100), n))
            if i:
                door = doorway((left - 100, low + 300), (left, low + 1100), len(doors), (n - 1, n))
                doors.append(door)
            if j:
                pair = (n - across, n)
                doors.append(doorway((left + 300, low - 100), (left + 1100, low), len(doors), pair))
    return plan(rooms, doors)


size = st.floats(2000, 20_000)


@given(
    widths=st.lists(size, min_size=1, max_size=3),
    depths=st.lists(st.floats(2000, 9000), min_size=1, max_size=2),
    degrees=st.sampled_from([0.0, 90.0, 30.0, 211.5]),
    mirrored=st.booleans(),
)
@settings(max_examples=30, deadline=None)
def test_no_bay_of_joined_rooms_exceeds_the_limits_and_no_floor_is_lost(
    widths: list[float], depths: list[float], degrees: float, mirrored: bool
) -> None:
    upright = house(widths, depths)
    turned = build.moved_plan(upright, degrees, build.FAR, mirrored=mirrored)
    along = (180.0 - degrees if mirrored else degrees) % 180.0
    formed = form_bays(turned, rules(rows={"along": along}))
    area = sum(
        s.area for s in (*(r.shape for r in turned.rooms), *(d.shape for d in turned.doorways))
    )
    assert sum(b.outline.area for b in formed.bays) == pytest.approx(area, rel=1e-6)
    for bay in formed.bays:
        near = build.moved(bay.outline, 0.0, (-build.FAR[0], -build.FAR[1]))
        x0, y0, x1, y1 = build.moved(near, -along).bounds
        assert max(x1 - x0, y1 - y0) <= 15_000.06
    joints = [LineString(j.line) for j in formed.joints]
    for bay in formed.bays:
        assert all(j.distance(bay.floor) > 7.9 for j in joints)


def test_search_of_a_storey_of_offices_stays_small() -> None:
    """A corridor of 40 m with ten rooms on either side, all on one floor: two joints across it and two
    rooms broken off under their doors cost less than a third joint across it.
    """
    rooms = [room(box(0, 0, 40_000, 2000), 1)]
    doors = []
    for n in range(20):
        x, low, high = 4000 * (n // 2), (2100, -100)[n % 2], (6000, -4000)[n % 2]
        rooms.append(room(box(x, min(low, high), x + 3900, max(low, high)), n + 2))
        edge = (2000, 2100) if n % 2 == 0 else (-100, 0)
        doors.append(doorway((x + 1000, edge[0]), (x + 1900, edge[1]), n + 1, (1, n + 2)))
    formed = form_bays(plan(rooms, doors), PLAIN)
    assert max(lengths(formed)) <= 15_000
    assert len(formed.bays) == 5
    assert sorted(j.kind.value for j in formed.joints) == ["bay joint"] * 2 + ["threshold"] * 2
    assert all("No fewer or better" in j.why for j in formed.joints)
