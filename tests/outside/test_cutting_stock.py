"""Cutting stock instances with known optima, as pieces from wall to wall, which need no plank end.

Optima of the list: proven twice, by complete enumeration of patterns and by arc-flow with HiGHS.
Sources: the paper mill of the Wikipedia article "Cutting stock problem"; Chvatal, Linear Programming
(1983), p. 195 is of the same kind; the triplet instance t60_00 of Falkenauer (1996), optimum 20.
FFD: what first fit decreasing needs.
"""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from layout.demand import Blank, StockRules
from layout.floor import Role
from layout.stock import count_planks
from layout.stock_shares import planks_of

T60 = (
    "495 474 473 472 466 450 445 444 439 430 419 414 410 395 372 370 366 366 366 363 361 357 355 351 "
    "350 350 347 320 315 307 303 299 298 298 292 288 287 283 275 275 274 273 273 272 272 271 269 269 "
    "268 263 262 261 259 258 255 254 252 252 252 251"
)
PAPER = (
    "1380x22 1520x25 1560x12 1710x14 1820x18 1880x18 1930x20 2000x10 2050x12 2100x14 2140x16 2150x18 "
    "2200x20"
)


def planks(stock_length: float, lengths: list[float], kerf: float = 0.0) -> tuple[int, int]:
    """Planks cut and their lower bound."""
    stock = StockRules(
        plank_length=stock_length, plank_width=1.0, kerf=kerf, keep_offcut=0.0, tolerance=0.0
    )
    blanks = [
        Blank(
            key=n,
            role=Role.ONLY,
            length_mm=length,
            width_mm=1.0,
            keeps_near_edge=True,
            keeps_far_edge=True,
        )
        for n, length in enumerate(lengths)
    ]
    return count_planks(blanks, stock), planks_of(lengths, stock)


def expanded(text: str) -> list[float]:
    pairs = (word.partition("x") for word in text.split())
    return [float(size) for size, _, times in pairs for _ in range(int(times or 1))]


@pytest.mark.parametrize(
    ("stock_length", "items", "optimum"),
    [
        (10.0, "7x2 5x2 3x4", 4),
        (100.0, "60 30 50 20", 2),
        (132.0, "44x2 33x3 12x6", 3),
        (1000.0, "505x6 260x6 255x6 240x12", 9),  # FFD 11, its worst family
        (1000.0, "505x12 260x12 255x12 240x24", 18),  # FFD 22
        (101.0, "6x7 10x7 16x3 34x10 51x10", 10),  # first fit in this order 17
    ],
)
def test_small_instances_are_cut_with_the_optimum(
    stock_length: float, items: str, optimum: int
) -> None:
    cut, bound = planks(stock_length, expanded(items))
    assert cut == optimum
    assert bound <= optimum


@pytest.mark.parametrize(
    ("stock_length", "items", "optimum", "ffd"), [(1000.0, T60, 20, 23), (5600.0, PAPER, 73, 82)]
)
def test_large_instances_come_close_and_beat_first_fit(
    stock_length: float, items: str, optimum: int, ffd: int
) -> None:
    cut, bound = planks(stock_length, expanded(items))
    assert bound <= optimum <= cut < ffd
    assert cut <= optimum + 1


@pytest.mark.parametrize("seed", range(6))
def test_planks_sawn_up_at_random_are_put_together_again(seed: int) -> None:
    """Known answer: sawn from K planks without loss, so no fewer than K; allowed one more."""
    random = Random(seed)
    lengths = []
    for _ in range(12):
        marks = sorted({0, 1000, *random.sample(range(150, 850), 2)})
        lengths += [float(b - a) for a, b in pairwise(marks)]
    random.shuffle(lengths)
    cut, bound = planks(1000.0, lengths)
    assert bound == 12 <= cut <= 13


@pytest.mark.parametrize(("kerf", "expected"), [(0.0, 1), (3.0, 2)])
def test_kerf_is_lost_between_pieces(kerf: float, expected: int) -> None:
    """n pieces of a bar need their sum and n - 1 kerfs."""
    assert planks(1000.0, [300.0, 300.0, 395.0], kerf=kerf)[0] == expected
    assert planks(1000.0, [300.0, 300.0, 394.0], kerf=3.0)[0] == 1
