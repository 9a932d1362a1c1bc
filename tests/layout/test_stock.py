"""Blanks out of planks: hands, edges, kerf, tolerance, offcuts."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from layout.demand import Blank, Placed, PlankCut, StockRules
from layout.floor import Role
from layout.stock import count_planks, cut_planks
from tests.layout.demands import stock_rules


def blank(
    key: int,
    role: Role,
    length: float,
    width: float = 180.0,
    *,
    near: bool = True,
    far: bool = True,
) -> Blank:
    return Blank(
        key=key,
        role=role,
        length_mm=length,
        width_mm=width,
        keeps_near_edge=near,
        keeps_far_edge=far,
    )


def test_last_and_first_share_a_plank_from_its_two_ends() -> None:
    cuts = cut_planks([blank(0, Role.LAST, 500.0), blank(1, Role.FIRST, 700.0)], stock_rules())
    assert cuts == (
        PlankCut(
            placed=(Placed(key=0, x_mm=0.0, y_mm=0.0), Placed(key=1, x_mm=520.0, y_mm=0.0)),
            offcut_mm=0.0,
        ),
    )


@pytest.mark.parametrize(
    ("roles", "planks"),
    [
        ((Role.FIRST, Role.FIRST), 2),
        ((Role.LAST, Role.LAST), 2),
        ((Role.FIRST, Role.LAST), 1),
        ((Role.ONLY, Role.ONLY), 1),
        ((Role.ONLY, Role.FIRST), 1),
        ((Role.LAST, Role.ONLY), 1),
        ((Role.LAST, Role.ONLY, Role.FIRST), 1),
    ],
)
def test_a_plank_gives_one_first_and_one_last_piece(roles: tuple[Role, ...], planks: int) -> None:
    blanks = [blank(n, role, 400.0) for n, role in enumerate(roles)]
    assert count_planks(blanks, stock_rules()) == planks


@pytest.mark.parametrize(("first", "planks"), [(718.0, 1), (718.1, 2)])
def test_kerf_decides_what_fits(first: float, planks: int) -> None:
    blanks = [blank(0, Role.LAST, 500.0), blank(1, Role.FIRST, first)]
    assert count_planks(blanks, stock_rules(kerf=2.0)) == planks


@pytest.mark.parametrize(
    ("roles", "length", "planks"),
    [
        ((Role.LAST, Role.FIRST), 604.0, 1),
        ((Role.LAST, Role.FIRST), 604.1, 2),
        ((Role.LAST, Role.ONLY), 599.0, 1),
        ((Role.LAST, Role.ONLY), 599.1, 2),
    ],
)
def test_pieces_cut_to_measure_keep_the_tolerance_in_hand(
    roles: tuple[Role, Role], length: float, planks: int
) -> None:
    blanks = [blank(n, role, length) for n, role in enumerate(roles)]
    assert count_planks(blanks, stock_rules(tolerance=10.0)) == planks


def test_piece_alone_needs_no_tolerance() -> None:
    assert count_planks([blank(0, Role.LAST, 1219.0)], stock_rules(tolerance=10.0)) == 1


def test_strips_of_both_edges_lie_side_by_side() -> None:
    starter = blank(0, Role.FULL, 1220.0, 90.0, near=False)
    closing = blank(1, Role.FULL, 1220.0, 88.0, far=False)
    (cut,) = cut_planks([starter, closing], stock_rules())
    assert {p.key: p.y_mm for p in cut.placed} == {0: 90.0, 1: 0.0}


def test_strips_too_wide_together_lie_apart() -> None:
    starter = blank(0, Role.FULL, 1220.0, 90.0, near=False)
    closing = blank(1, Role.FULL, 1220.0, 88.1, far=False)
    assert count_planks([starter, closing], stock_rules(kerf=2.0)) == 2


def test_strips_of_the_same_edge_never_lie_side_by_side() -> None:
    strips = [blank(n, Role.FULL, 1220.0, 60.0, near=False) for n in range(2)]
    assert count_planks(strips, stock_rules()) == 2


def test_narrow_piece_that_keeps_both_edges_takes_the_full_width() -> None:
    blanks = [blank(0, Role.FULL, 1220.0, 60.0), blank(1, Role.FULL, 1220.0, 60.0, far=False)]
    assert count_planks(blanks, stock_rules()) == 2


def test_first_strip_lies_beside_a_whole_one_at_the_far_end() -> None:
    whole = blank(0, Role.FULL, 1220.0, 90.0, near=False)
    first = blank(1, Role.FIRST, 500.0, 80.0, far=False)
    (cut,) = cut_planks([whole, first], stock_rules())
    assert {p.key: p.x_mm for p in cut.placed} == {0: 0.0, 1: 720.0}


@pytest.mark.parametrize(("length", "offcut"), [(918.0, 300.0), (919.0, 0.0), (400.0, 818.0)])
def test_offcut_counts_from_the_length_worth_keeping(length: float, offcut: float) -> None:
    for role in (Role.FIRST, Role.LAST, Role.ONLY):
        (cut,) = cut_planks([blank(0, role, length)], stock_rules(kerf=2.0))
        assert cut.offcut_mm == offcut


def test_pieces_of_a_plank_come_in_the_order_of_laying() -> None:
    cuts = cut_planks([blank(7, Role.FIRST, 500.0), blank(3, Role.LAST, 500.0)], stock_rules())
    assert [p.key for p in cuts[0].placed] == [7, 3]


edges = st.sampled_from([(True, True), (True, False), (False, True), (False, False)])


@st.composite
def many_blanks(draw: st.DrawFn) -> list[Blank]:
    found = []
    for key in range(draw(st.integers(0, 25))):
        role = draw(st.sampled_from(Role))
        length = 1220.0 if role is Role.FULL else float(draw(st.integers(60, 1220)))
        near, far = draw(edges)
        width = 180.0 if near and far else float(draw(st.integers(30, 180)))
        found.append(blank(key, role, length, width, near=near, far=far))
    return found


def apart(a: tuple[Blank, Placed], b: tuple[Blank, Placed]) -> float:
    (one, p), (two, q) = a, b
    along = max(q.x_mm - p.x_mm - one.length_mm, p.x_mm - q.x_mm - two.length_mm)
    across = max(q.y_mm - p.y_mm - one.width_mm, p.y_mm - q.y_mm - two.width_mm)
    return max(along, across)


def laws(blanks: list[Blank], stock: StockRules, cuts: tuple[PlankCut, ...]) -> None:
    by_key = {b.key: b for b in blanks}
    assert sorted(p.key for cut in cuts for p in cut.placed) == sorted(by_key)
    for cut in cuts:
        placed = [(by_key[p.key], p) for p in cut.placed]
        for piece, p in placed:
            x1, y1 = p.x_mm + piece.length_mm, p.y_mm + piece.width_mm
            assert p.x_mm >= -0.03
            assert p.y_mm >= -0.03
            assert x1 <= stock.plank_length + 0.03
            assert y1 <= stock.plank_width + 0.03
            if piece.role in {Role.LAST, Role.FULL}:
                assert p.x_mm == 0.0
            if piece.role in {Role.FIRST, Role.FULL}:
                assert x1 == pytest.approx(stock.plank_length, abs=0.02)
            if piece.keeps_near_edge:
                assert p.y_mm == 0.0
            if piece.keeps_far_edge:
                assert y1 == pytest.approx(stock.plank_width)
        for n, one in enumerate(placed):
            assert all(apart(one, other) >= stock.kerf - 0.03 for other in placed[n + 1 :])


@settings(max_examples=120, deadline=None)
@given(
    blanks=many_blanks(), kerf=st.sampled_from([0.0, 2.0]), tolerance=st.sampled_from([0.0, 10.0])
)
def test_laws_of_cutting(blanks: list[Blank], kerf: float, tolerance: float) -> None:
    stock = stock_rules(kerf=kerf, tolerance=tolerance)
    cuts = cut_planks(blanks, stock)
    laws(blanks, stock, cuts)
    assert len(cuts) == count_planks(blanks, stock) <= len(blanks)
    area = sum(b.length_mm * b.width_mm for b in blanks)
    assert len(cuts) >= area / (stock.plank_length * stock.plank_width) - 1e-9


def test_a_wrong_assignment_breaks_the_laws() -> None:
    blanks = [blank(0, Role.LAST, 500.0), blank(1, Role.FIRST, 700.0)]
    wrong = PlankCut(
        placed=(Placed(key=0, x_mm=0.0, y_mm=0.0), Placed(key=1, x_mm=501.0, y_mm=0.0)),
        offcut_mm=0.0,
    )
    with pytest.raises(AssertionError):
        laws(blanks, stock_rules(), (wrong,))
