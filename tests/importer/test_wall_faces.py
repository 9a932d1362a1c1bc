"""Faces of walls: which strokes are one face, and what is seen first beside each."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from importer.dxf.wall_faces import faces_of, ladder_rungs, neighbours
from importer.dxf.wall_strips import THICKEST_MM, strips_of


def rows(*strokes: tuple[float, float, float, float]) -> np.ndarray:
    return np.array(strokes, dtype=float).reshape(-1, 4)


def turned(ends: np.ndarray, angle: float) -> np.ndarray:
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return (ends.reshape(-1, 2) @ np.array([[c, s], [-s, c]])).reshape(-1, 4)


@pytest.mark.parametrize("angle", [0, 30, 90, 179.9])
def test_strokes_on_one_line_that_touch_are_one_face(angle: float) -> None:
    drawn = rows((0, 0, 1000, 0), (1000, 0, 3000, 0), (2500, 0, 4000, 0), (4500, 0, 5000, 0))
    faces, face_of = faces_of(turned(drawn, angle))
    assert sorted(faces.length()) == pytest.approx([500, 4000])
    assert face_of[0] == face_of[1] == face_of[2] != face_of[3]


def test_direction_of_drawing_a_stroke_does_not_matter() -> None:
    faces, _ = faces_of(rows((0, 0, 1000, 0), (1000, 100, 0, 100)))
    assert len(set(faces.group.tolist())) == 1


def test_stroke_without_length_has_no_face() -> None:
    _, face_of = faces_of(rows((5, 5, 5, 5), (0, 0, 1000, 0)))
    assert face_of[0] == -1


def test_near_stroke_hides_the_far_one_where_it_stands() -> None:
    faces, _ = faces_of(rows((0, 0, 3000, 0), (1000, 100, 2000, 100), (0, 300, 3000, 300)))
    seen = neighbours(faces, 450)
    table = sorted(
        (round(float(g)), round(float(a)), round(float(b)))
        for g, a, b in zip(seen.gap, seen.start, seen.end, strict=True)
    )
    assert table == [(100, 1000, 2000), (200, 1000, 2000), (300, 0, 1000), (300, 2000, 3000)]


def test_what_is_farther_than_the_reach_is_not_seen() -> None:
    faces, _ = faces_of(rows((0, 0, 1000, 0), (0, 500, 1000, 500)))
    assert len(neighbours(faces, 450)) == 0
    assert len(neighbours(faces, 550)) == 1


@given(
    st.lists(
        st.tuples(st.integers(0, 30), st.integers(0, 40), st.integers(1, 30)),
        min_size=1,
        max_size=14,
        unique_by=lambda t: t[0],
    )
)
def test_neighbours_are_those_of_a_plain_search(strokes: list[tuple[int, int, int]]) -> None:
    drawn = rows(*[(x * 100.0, y * 37.0, (x + w) * 100.0, y * 37.0) for y, x, w in strokes])
    faces, _ = faces_of(drawn)
    seen = neighbours(faces, 1e6)
    level = (faces.low + faces.high) / 2
    for middle in np.arange(50.0, 7000.0, 100.0):
        over = [k for k in range(len(faces)) if faces.start[k] < middle < faces.end[k]]
        over.sort(key=lambda k: level[k])
        wanted = set(itertools.pairwise(over))
        found = {
            (int(a), int(b))
            for a, b, x0, x1 in zip(seen.lower, seen.upper, seen.start, seen.end, strict=True)
            if x0 < middle < x1
        }
        assert found == wanted


def test_even_rows_are_ladders_and_walls_are_not() -> None:
    treads = [(0, k * 270.0, 1000, k * 270.0) for k in range(8)]
    walls = [(3000, y, 9000, y) for y in (0.0, 100.0, 350.0, 450.0)]
    faces, face_of = faces_of(rows(*treads, *walls))
    rungs = ladder_rungs(faces, neighbours(faces, THICKEST_MM))
    assert rungs[face_of].tolist() == [True] * 8 + [False] * 4


def test_ladder_search_does_not_grow_with_the_square_of_a_hatching() -> None:
    hatch = rows(*[(0, k * 60.0, 1000, k * 60.0) for k in range(5000)])
    faces, _ = faces_of(hatch)
    assert ladder_rungs(faces, neighbours(faces, THICKEST_MM)).all()


def strips(drawn: np.ndarray) -> list[tuple[int, int]]:
    faces, _ = faces_of(drawn)
    found = strips_of(faces, neighbours(faces, THICKEST_MM))
    return sorted(
        zip(
            np.round(found.thickness).astype(int).tolist(),
            np.round(found.length()).astype(int).tolist(),
            strict=True,
        )
    )


def test_closet_between_two_walls_is_no_wall() -> None:
    faces = [(0, y, 4000, y) for y in (0.0, 100.0, 500.0, 600.0)]
    assert strips(rows(*faces)) == [(100, 4000), (100, 4000)]


def test_lining_and_structure_are_both_walls() -> None:
    faces = [(0, y, 9000, y) for y in (0.0, 100.0, 400.0)]
    assert strips(rows(*faces)) == [(100, 9000), (300, 9000)]


def test_thick_masonry_is_a_wall() -> None:
    drawn = rows((0, 0, 9000, 0), (0, 700, 9000, 700), (0, 5000, 9000, 5000), (0, 5700, 9000, 5700))
    assert strips(drawn) == [(700, 9000), (700, 9000)]


def test_nib_across_the_end_of_a_wall_is_not_a_wall_of_its_own() -> None:
    """The end of a wall 100 thick stands 154 off another wall's far face."""
    drawn = rows(
        (0, 0, 4000, 0),
        (0, 100, 2000, 100),
        (2100, 100, 4000, 100),
        (2000, 100, 2000, 254),
        (2100, 100, 2100, 254),
        (2000, 254, 2100, 254),
        (0, 5000, 4000, 5000),
        (0, 5100, 4000, 5100),
    )
    assert all(thickness == 100 for thickness, _ in strips(drawn))
