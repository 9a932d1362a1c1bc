from __future__ import annotations

from dataclasses import replace

import pytest
import shapely
from shapely import Polygon, box
from shapely.affinity import scale, translate

from layout.audit import audit
from layout.floor import BayLayout, Piece
from tests.layout.laid import rectangle_layout, rules


def broken(layout: BayLayout, **sections: object) -> set[str]:
    """Names of the rules that the audit finds broken."""
    return {b.rule for b in audit(layout, rules(**sections))}


def with_piece(layout: BayLayout, index: int, piece: Piece) -> BayLayout:
    pieces = list(layout.pieces)
    pieces[index] = piece
    return replace(layout, pieces=tuple(pieces))


def index_of(layout: BayLayout, row: int, number: int) -> int:
    return next(i for i, p in enumerate(layout.pieces) if (p.row, p.number) == (row, number))


def test_right_floor_has_no_breach() -> None:
    assert audit(rectangle_layout(), rules()) == ()


def test_right_floor_far_from_the_origin_has_no_breach() -> None:
    assert audit(rectangle_layout(at=(408_201_584.8, 4_080_928_016.6)), rules()) == ()


@pytest.mark.parametrize(("dx", "dy"), [(20.0, 0.0), (-20.0, 0.0), (0.0, 3.0), (1.0, 0.0)])
def test_moved_piece_is_named(dx: float, dy: float) -> None:
    layout = rectangle_layout()
    i = index_of(layout, 4, 2)
    moved = replace(layout.pieces[i], shape=translate(layout.pieces[i].shape, dx, dy))
    found = audit(with_piece(layout, i, moved), rules())
    assert found
    named = {b.where for b in found} | {w for b in found for w in b.why.split()}
    assert str(moved.id) in named


def test_lost_piece_leaves_bare_floor() -> None:
    layout = rectangle_layout()
    assert "coverage" in broken(replace(layout, pieces=layout.pieces[1:]))


def test_doubled_piece_is_on_its_plank_twice() -> None:
    layout = rectangle_layout()
    found = broken(replace(layout, pieces=(*layout.pieces, layout.pieces[3])))
    assert {"overlap", "stock"} <= found


@pytest.mark.parametrize(
    "corners",
    [
        ((0, 0), (1, 1), (1, 0), (0, 1)),
        ((0, 0), (1, 0), (1, 0), (0, 0)),
        (),
    ],
)
def test_piece_that_is_no_outline_is_named_and_the_rest_judged(
    corners: tuple[tuple[int, int], ...],
) -> None:
    layout = rectangle_layout()
    piece = layout.pieces[5]
    x0, y0, x1, y1 = piece.shape.bounds
    bad = Polygon([(x0 + x * (x1 - x0), y0 + y * (y1 - y0)) for x, y in corners])
    found = audit(with_piece(layout, 5, replace(piece, shape=bad)), rules())
    assert [b.where for b in found if b.rule == "shape"] == [str(piece.id)]
    assert "coverage" in {b.rule for b in found}


def test_joint_that_gapes_is_seen_on_a_large_floor() -> None:
    """A floor of 54 m2 may lack 0.0006 m2 in all; a joint open by 1 mm is a third of that."""
    layout = rectangle_layout(9000.0, 6000.0)
    i = index_of(layout, 4, 2)
    piece = layout.pieces[i]
    x0, y0, x1, y1 = piece.shape.bounds
    short = replace(piece, shape=box(x0 + 1.0, y0, x1, y1))
    assert "coverage" in broken(with_piece(layout, i, short))


def test_piece_over_the_wall_gap_is_seen() -> None:
    layout = rectangle_layout()
    i = index_of(layout, 1, 1)
    stretched = scale(layout.pieces[i].shape, xfact=1.01, yfact=1.0, origin=(900.0, 0.0))
    found = broken(with_piece(layout, i, replace(layout.pieces[i], shape=stretched)))
    assert {"gap.wall", "coverage", "stock"} <= found


def test_shifted_row_breaks_the_offset_or_the_ends() -> None:
    layout = rectangle_layout()
    pieces = tuple(
        replace(p, shape=translate(p.shape, -380.0, 0.0)) if p.row == 5 else p
        for p in layout.pieces
    )
    assert "joints.min_offset" in broken(replace(layout, pieces=pieces))


def test_offset_rule_is_read_from_the_rule_set() -> None:
    assert broken(rectangle_layout(), joints={"min_offset": 330}) == {"joints.min_offset"}


@pytest.mark.parametrize(
    ("minimum", "expected"), [(385.0, {"ends.min_length"}), (380.0, set[str]())]
)
def test_end_rule_is_read_from_the_rule_set(minimum: float, expected: set[str]) -> None:
    """Rows start with 500, 1220 and 900 mm and end with 1100, 380 and 700 mm."""
    layout = rectangle_layout(length=900.0 + 1220.0 + 700.0 + 16.0)
    assert broken(layout, ends={"min_length": minimum, "never_below": 180}) == expected


def test_end_below_the_graver_limit_is_named_so() -> None:
    layout = rectangle_layout()
    assert "ends.never_below" in broken(layout, ends={"min_length": 600, "never_below": 510})


def test_narrow_row_is_seen() -> None:
    layout = rectangle_layout(depth=3260.0)
    assert broken(layout, rows={"min_width": 89}) == set()
    assert "rows.min_width" in broken(layout, rows={"min_width": 110})


def test_run_limit_holds_to_the_millimetre() -> None:
    """Common practice, no source: 15 m without a break, 15.01 m not."""
    assert broken(rectangle_layout(length=15_000.0)) == set()
    assert broken(rectangle_layout(length=15_010.0)) == {"limits.run"}


def test_smaller_gap_than_the_rule_is_seen() -> None:
    assert "gap.wall" in broken(rectangle_layout(), gap={"wall": 10, "cover": 15})


def test_two_pieces_from_the_same_part_of_a_plank_are_seen() -> None:
    layout = rectangle_layout()
    i, j = index_of(layout, 3, 1), index_of(layout, 4, 1)
    shared = replace(layout.pieces[j], plank=layout.pieces[i].plank)
    planks = tuple(
        replace(p, pieces=(layout.pieces[i].id, shared.id)) if p.id == shared.plank else p
        for p in layout.planks
        if p.id != layout.pieces[j].plank
    )
    assert "cut.kerf" in broken(replace(with_piece(layout, j, shared), planks=planks))


def test_first_piece_cut_from_the_near_end_is_seen() -> None:
    layout = rectangle_layout()
    i = index_of(layout, 3, 1)
    assert layout.pieces[i].plank_x_mm > 0
    assert "stock.hand" in broken(with_piece(layout, i, replace(layout.pieces[i], plank_x_mm=0.0)))


def test_strip_that_lost_the_edge_its_neighbour_locks_into_is_seen() -> None:
    layout = rectangle_layout()
    i = index_of(layout, 1, 1)
    assert layout.pieces[i].plank_y_mm > 0
    assert "stock.hand" in broken(with_piece(layout, i, replace(layout.pieces[i], plank_y_mm=0.0)))


def test_whole_plank_cut_short_between_two_joints_is_seen() -> None:
    layout = rectangle_layout()
    i, j = index_of(layout, 3, 2), index_of(layout, 3, 3)
    x0, y0, x1, y1 = layout.pieces[i].shape.bounds
    short = replace(layout.pieces[i], shape=shapely.box(x0, y0, x1 - 400, y1))
    bx0, by0, bx1, by1 = layout.pieces[j].shape.bounds
    long = replace(
        layout.pieces[j],
        shape=shapely.box(bx0 - 400, by0, bx1, by1),
        blank_length_mm=bx1 - bx0 + 400,
    )
    assert "stock.ends" in broken(with_piece(with_piece(layout, i, short), j, long))


def test_plank_changed_without_its_list_is_seen() -> None:
    layout = rectangle_layout()
    odd = replace(layout.pieces[2], plank=layout.pieces[5].plank)
    assert "stock" in broken(with_piece(layout, 2, odd))


def test_corner_that_is_not_quite_square_is_no_narrow_strip() -> None:
    """The end wall leans by 5 degrees: its tip is thin, but only for a few millimetres."""
    layout = rectangle_layout()
    i = max(range(len(layout.pieces)), key=lambda k: layout.pieces[k].shape.bounds[2::-1])
    x0, y0, x1, y1 = layout.pieces[i].shape.bounds
    leaning = shapely.Polygon([(x0, y0), (x1 - 10, y0), (x1, y1), (x0, y1)])
    changed = with_piece(layout, i, replace(layout.pieces[i], shape=leaning))
    assert "rows.min_width" not in broken(changed)


def test_row_that_tapers_below_the_least_width_is_seen() -> None:
    layout = rectangle_layout()
    i = index_of(layout, 1, 1)
    x0, y0, x1, y1 = layout.pieces[i].shape.bounds
    tapered = shapely.Polygon([(x0, y0), (x1, y1 - 75), (x1, y1), (x0, y1)])
    changed = with_piece(layout, i, replace(layout.pieces[i], shape=tapered))
    found = audit(changed, rules(rows={"min_width": 80}))
    named = [b for b in found if b.rule == "rows.min_width"]
    assert [b.where for b in named] == [str(layout.pieces[i].id)]
    assert named[0].value == pytest.approx(92 - 17 * 400 / 500, abs=0.1)
