from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, box

from importer.tolerance import area_slack
from layout.bay_error import LayoutError
from layout.bays import form_bays
from layout.demand import JointPlan, Placed, PlankCut
from layout.floor import BayId, Cut, CutKind, Piece, Role
from layout.piece_cuts import Box, cuts_of
from layout.pieces import Draft, Drafted, Sawn, cut_pieces, on_planks
from layout.runs import cut_runs, demand
from layout.setting_out import floor_in, set_out
from tests.layout import build
from tests.layout.build import polygon, rules
from tests.layout.test_runs import cut

PLAIN = rules()
L, W = 1220.0, 180.0


def cuts(shape: Polygon) -> list[tuple[CutKind, tuple[float, float]]]:
    """Cuts of a piece of a 1220 x 180 plank, measures to the tenth."""
    x0, y0, x1, y1 = shape.bounds
    found = cuts_of(shape, Box(x0=x0, y0=y0, x1=x1, y1=y1, plank_length=L, plank_width=W))
    return [(c.kind, (round(c.measures_mm[0], 1), round(c.measures_mm[1], 1))) for c in found]


# --- kinds of cut -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        pytest.param(box(0, 0, L, W), [], id="whole plank"),
        pytest.param(box(0, 0, 700, W), [(CutKind.CROSS, (700, 700))], id="cross cut"),
        pytest.param(box(0, 0, L, 90), [(CutKind.RIP, (90, 90))], id="rip"),
        pytest.param(
            box(0, 0, 700, 90), [(CutKind.CROSS, (700, 700)), (CutKind.RIP, (90, 90))], id="both"
        ),
        pytest.param(
            polygon((0, 0), (390, 0), (390, W), (180, W)),
            [(CutKind.CROSS, (390, 210))],
            id="angled",
        ),
        pytest.param(
            polygon((0, 0), (L, 0), (L, 140), (0, 100)), [(CutKind.RIP, (100, 140))], id="taper"
        ),
        pytest.param(
            polygon((0, 0), (240, 0), (240, 60), (300, 60), (300, W), (0, W)),
            [(CutKind.CROSS, (300, 300)), (CutKind.NOTCH, (60, 60))],
            id="corner notch",
        ),
        pytest.param(
            polygon((0, 0), (L, 0), (L, W), (700, W), (700, 100), (600, 100), (600, W), (0, W)),
            [(CutKind.NOTCH, (100, 80))],
            id="notch in an edge",
        ),
        pytest.param(
            Polygon(box(0, 0, L, W).exterior, [box(500, 60, 540, 100).exterior]),
            [(CutKind.NOTCH, (40, 40))],
            id="pipe hole",
        ),
        pytest.param(
            polygon((0, 0), (800, 0), (800, 80), (700, W), (0, W)),
            [(CutKind.CROSS, (800, 700))],
            id="corner cut off",
        ),
        pytest.param(
            polygon((0, 0), (900, 0), (800, W), (100, W)),
            [(CutKind.CROSS, (900, 800)), (CutKind.CROSS, (900, 800))],
            id="both ends angled",
        ),
    ],
)
def test_cuts_are_read_from_the_outline(
    shape: Polygon, expected: list[tuple[CutKind, tuple[float, float]]]
) -> None:
    assert cuts(shape) == expected


def test_small_corner_cut_off_is_a_cut_and_snapping_noise_is_none() -> None:
    assert cuts(polygon((0, 0), (L, 0), (L, W - 8), (L - 8, W), (0, W))) != []
    assert cuts(polygon((0, 0), (L, 0), (L, W), (0, W - 0.02))) == []


def test_wavering_wall_makes_no_notch() -> None:
    """An arc drawn in chords leaves corners of less than a degree in the rip."""
    top = [(L - x, 120 + 10 * (1 - ((x - 610) / 610) ** 2)) for x in np.linspace(0, L, 40)]
    kinds = {
        kind for kind, _ in cuts(polygon((0, 0), (L, 0), *[(float(x), float(y)) for x, y in top]))
    }
    assert CutKind.NOTCH not in kinds


# --- roles and edges ----------------------------------------------------------------------------


def pieces_of(
    floor: Polygon, joints: Sequence[Sequence[float]], phase: float = W
) -> tuple[Draft, ...]:
    runs, touches = cut(floor, phase)
    return cut_pieces(runs, touches, JointPlan(joints=tuple(map(tuple, joints)), planks=0), PLAIN)


def test_roles_follow_from_what_a_piece_meets() -> None:
    drafts = pieces_of(box(0, 0, 3000, W), [(600, 1820)])
    assert [(d.role, d.number) for d in drafts] == [(Role.FIRST, 1), (Role.FULL, 2), (Role.LAST, 3)]
    assert pieces_of(box(0, 0, 900, W), [()])[0].role is Role.ONLY


def test_uncut_length_is_full_wherever_it_lies() -> None:
    first, last = pieces_of(box(0, 0, 2 * L, W), [(L,)])
    assert first.role is last.role is Role.FULL
    assert pieces_of(box(0, 0, L, W), [()])[0].role is Role.FULL


def test_slanted_piece_as_long_as_a_plank_stays_first_but_takes_the_whole_length() -> None:
    (draft, *_) = pieces_of(polygon((0, 0), (2440, 0), (2440, W), (180, W)), [(L,)])
    assert draft.role is Role.FIRST
    assert draft.blank.role is Role.FULL
    assert draft.end_length_mm == pytest.approx(L - 90)


def test_pieces_keep_the_edges_that_rows_lock_into() -> None:
    drafts = pieces_of(box(0, 0, 900, 460), [(), (), ()], 100)
    assert [(d.keeps_near_edge, d.keeps_far_edge) for d in drafts] == [
        (False, True),
        (True, True),
        (True, False),
    ]
    assert [d.blank_width_mm for d in drafts] == [100, 180, 180]


def test_edge_is_kept_only_where_the_neighbouring_row_reaches() -> None:
    """Row 2 covers only the right half of row 1."""
    floor = polygon((0, 0), (2400, 0), (2400, 360), (1300, 360), (1300, 180), (0, 180))
    left, right, *_ = pieces_of(floor, [(1200,), ()])
    assert not left.keeps_far_edge
    assert right.keeps_far_edge


def test_numbers_go_on_through_all_runs_of_a_row() -> None:
    floor = Polygon(box(0, 0, 3000, 540).exterior, [box(1000, 180, 1400, 360).exterior])
    drafts = pieces_of(floor, [(600, 1820), (), (2000,), (600, 1820)])
    assert [(d.run.row, d.number) for d in drafts] == [
        (1, 1),
        (1, 2),
        (1, 3),
        (2, 1),
        (2, 2),
        (2, 3),
        (3, 1),
        (3, 2),
        (3, 3),
    ]


def test_run_that_a_wall_end_splits_beside_a_joint_gives_two_pieces() -> None:
    """A wall 20 mm thick ends inside the row: right of the joint there is floor above and below it."""
    floor = polygon(
        (0, 0), (2000, 0), (2000, 80), (900, 80), (900, 100), (2000, 100), (2000, 180), (0, 180)
    )
    drafts = pieces_of(floor, [(1000,)])
    assert [(d.role, d.shape.bounds) for d in drafts] == [
        (Role.FIRST, (0, 0, 1000, 180)),
        (Role.LAST, (1000, 0, 2000, 80)),
        (Role.LAST, (1000, 100, 2000, 180)),
    ]


def test_joints_of_another_floor_are_refused() -> None:
    with pytest.raises(LayoutError, match="LAY-129"):
        pieces_of(box(0, 0, 4000, W), [(1300,)])


# --- planks -------------------------------------------------------------------------------------


def on_one(bay: BayId, drafts: Sequence[Draft], cuts: Sequence[PlankCut]) -> Sawn:
    (sawn,) = on_planks([Drafted(bay=bay, drafts=tuple(drafts))], cuts, PLAIN)
    return sawn


def one_plank_each(drafts: Sequence[Draft]) -> list[PlankCut]:
    found = []
    for d in drafts:
        x = L - d.blank_length_mm if d.role is Role.FIRST else 0.0
        y = W - d.blank_width_mm if d.keeps_far_edge else 0.0
        found.append(PlankCut(placed=(Placed(key=d.key, x_mm=x, y_mm=y),), offcut_mm=0.0))
    return found


def test_pieces_know_their_plank_and_what_was_cut_from_it_before() -> None:
    drafts = pieces_of(box(0, 0, 2600, 360), [(600, 1820), (400, 1620)])
    last, first = drafts[2], drafts[3]
    shared = PlankCut(
        placed=(Placed(key=last.key, x_mm=0, y_mm=0), Placed(key=first.key, x_mm=820, y_mm=0)),
        offcut_mm=0.0,
    )
    others = one_plank_each([d for d in drafts if d.key not in {last.key, first.key}])
    sawn = on_one(BayId("B1"), drafts, [*others[:2], shared, *others[2:]])
    by_id = {p.id: p for p in sawn.pieces}
    assert by_id["B1/2.1"].offcut_of == "B1/1.3"  # type: ignore[index]
    assert by_id["B1/2.1"].plank == by_id["B1/1.3"].plank == "B1/P3"  # type: ignore[index]
    assert by_id["B1/1.3"].offcut_of is None  # type: ignore[index]
    assert [p.order for p in sawn.pieces] == [1, 2, 3, 4, 5, 6]
    plank = sawn.planks[2]
    assert plank.pieces == ("B1/1.3", "B1/2.1")
    assert plank.waste_mm2 == pytest.approx((L - 780 - 400) * W)


def test_waste_is_what_is_neither_laid_nor_kept() -> None:
    drafts = pieces_of(box(0, 0, 600, W), [()])
    cut_plank = PlankCut(placed=(Placed(key=0, x_mm=0, y_mm=0),), offcut_mm=618.0)
    sawn = on_one(BayId("B1"), drafts, [cut_plank])
    assert sawn.planks[0].waste_mm2 == pytest.approx(2 * W)
    assert sawn.planks[0].offcut_mm == 618.0


def test_uncut_plank_is_whole() -> None:
    drafts = pieces_of(box(0, 0, 2 * L, W), [(L,)])
    sawn = on_one(BayId("B1"), drafts, one_plank_each(drafts))
    assert all(p.is_whole and p.cuts == () for p in sawn.pieces)


# --- laws ---------------------------------------------------------------------------------------


def laid(shape: Polygon) -> tuple[Polygon, Sawn]:
    """Any room laid with plain joints, every piece from its own plank; and its floor."""
    drawing = build.plan(shape)
    (bay,) = form_bays(drawing, PLAIN).bays
    out = set_out(bay, drawing, PLAIN)[0]
    floor = floor_in(bay, out.frame)
    runs, touches = cut_runs(floor, out, PLAIN)
    joints = build.plain_joints(demand(runs, touches, PLAIN))
    drafts = cut_pieces(runs, touches, joints, PLAIN)
    return floor, on_one(bay.id, drafts, one_plank_each(drafts))


def counts(pieces: Sequence[Piece]) -> Counter[tuple[Role, float, float]]:
    return Counter((p.role, round(p.blank_length_mm), round(p.blank_width_mm)) for p in pieces)


@given(
    kind=st.sampled_from(sorted(build.KINDS)),
    degrees=st.floats(0, 360),
    far=st.booleans(),
)
@settings(max_examples=50, deadline=None)
def test_pieces_tile_the_floor_of_any_room_anywhere(kind: str, degrees: float, far: bool) -> None:
    at = build.FAR if far else (0.0, 0.0)
    floor, sawn = laid(build.moved(build.KINDS[kind], degrees, at))
    shapes = np.asarray([p.shape for p in sawn.pieces], dtype=object)
    assert shapely.is_valid(shapes).all()
    assert shapely.area(shapes).sum() == pytest.approx(floor.area, abs=area_slack(floor.area))
    assert shapely.union_all(shapes).area == pytest.approx(
        floor.area, abs=2 * area_slack(floor.area)
    )
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[first], shapes[second]))
    assert shared[first < second].max(initial=0.0) <= 1.0
    for p in sawn.pieces:
        x0, y0, x1, y1 = p.shape.bounds
        assert x1 - x0 <= p.blank_length_mm + 0.05 <= L + 0.05
        assert y1 - y0 <= p.blank_width_mm + 0.05 <= W + 0.05
        assert p.end_length_mm <= p.blank_length_mm + 0.01
        assert p.is_whole == (p.cuts == ())
        assert not p.is_whole or p.shape.area == pytest.approx(L * W, abs=20)
        assert isinstance(p.shape, Polygon)


@pytest.mark.parametrize(
    "kind", ["rectangle", "l_shape", "column_hole", "alcove", "corridor", "z_shape"]
)
@pytest.mark.parametrize("degrees", [90.0, 180.0, 37.0])
def test_turned_room_has_the_same_pieces(kind: str, degrees: float) -> None:
    here = laid(build.KINDS[kind])[1].pieces
    there = laid(build.moved(build.KINDS[kind], degrees, (123_456.0, -98_765.0)))[1].pieces
    assert counts(there) == counts(here)


def test_every_cut_is_a_kind_with_two_measures() -> None:
    for shape in build.KINDS.values():
        for piece in laid(shape)[1].pieces:
            for c in piece.cuts:
                assert isinstance(c, Cut)
                assert all(0 <= m <= L + 0.05 for m in c.measures_mm)
