"""Lengths, shares, angles, counts and words as people write them."""

from __future__ import annotations

from contextlib import suppress
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from layout.measures import (
    nearest,
    parse_angle,
    parse_count,
    parse_length,
    parse_share,
    parse_yes_no,
    show,
)


@pytest.mark.parametrize(
    ("written", "mm"),
    [
        (8, 8.0),
        (8.5, 8.5),
        ("8 mm", 8.0),
        ("8mm", 8.0),
        ("2 cm", 20.0),
        ("2 dm", 200.0),
        ("1.2 m", 1200.0),
        (".5 m", 500.0),
        ("1 m 20 cm 5 mm", 1205.0),
        ("48 in", 1219.2),
        ("48 inches", 1219.2),
        ('48"', 1219.2),
        ("48\N{DOUBLE PRIME}", 1219.2),
        ("3/8 in", 9.525),
        ("2 3/8 in", 60.325),
        ("2-3/8 in", 60.325),
        ("1 ft", 304.8),
        ("1 foot", 304.8),
        ("6 ft 2 1/2 in", 1892.3),
        ("6'2-1/2\"", 1892.3),
        ("6\N{PRIME} 2\N{DOUBLE PRIME}", 1879.6),
        ("15 M", 15000.0),
        ("48 IN", 1219.2),
        ("  8 mm  ", 8.0),
        ("0 mm", 0.0),
    ],
)
def test_length_is_read_exactly(written: object, mm: float) -> None:
    assert parse_length(written) == mm


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("8", "write '8 mm'"),
        ("", "not a length"),
        (" ", "not a length"),
        ("mm", "not a length"),
        ("8 mn", "not a length"),
        ("8 mmm", "not a length"),
        ("8 mm x", "not a length"),
        ("x 8 mm", "not a length"),
        ("1,220 mm", "write '1220 mm' if the comma parts thousands, else '1.220 mm'"),
        ("8,5 mm", "as a point: '8.5 mm'"),
        ("-8 mm", "has no sign: write '8 mm'"),
        ("1/0 in", "divides by zero"),
        ("2 in 1 ft", "from large to small"),
        ("1 in 2 in", "from large to small"),
        ("9" * 50 + " m", "not a length"),
        ("9" * 5000, "not a length"),
        (True, "yes/true is not a length"),
        (None, "nothing is not a length"),
        ([8], "a list is not a length"),
        (float("nan"), "not a length"),
        (float("-inf"), "not a length"),
        (10**400, "not a length"),
        ("\N{ARABIC-INDIC DIGIT EIGHT} \N{CYRILLIC SMALL LETTER EM}m", "not a length"),
    ],
)
def test_what_is_no_length_is_refused_in_words(written: object, says: str) -> None:
    with pytest.raises(ValueError, match=r"not a length|not one length|divides") as caught:
        parse_length(written)
    assert says in str(caught.value)
    assert len(str(caught.value)) < 250


@given(st.integers(0, 400), st.integers(0, 11), st.integers(0, 15))
def test_feet_inches_and_sixteenths_add_up_exactly(feet: int, inches: int, sixteenths: int) -> None:
    exact = (12 * feet + inches + Fraction(sixteenths, 16)) * Fraction(254, 10)
    assert parse_length(f"{feet} ft {inches} {sixteenths}/16 in") == float(exact)


@given(st.text(max_size=80) | st.floats() | st.integers() | st.booleans() | st.none())
def test_anything_is_a_finite_length_or_a_value_error(written: object) -> None:
    length = 0.0
    with suppress(ValueError):
        length = parse_length(written)
    assert abs(length) <= 1e9


@pytest.mark.parametrize(
    ("written", "share"), [("3 %", 0.03), ("3%", 0.03), ("2.5 %", 0.025), (0.03, 0.03), (0, 0.0)]
)
def test_share_is_read(written: object, share: float) -> None:
    assert parse_share(written) == share


@pytest.mark.parametrize("written", ["3", "3 pc", "%", "", True, None, float("inf"), "3 % 4 %"])
def test_what_is_no_share_is_refused(written: object) -> None:
    with pytest.raises(ValueError, match=r"write it as '3 %' or 0\.03"):
        parse_share(written)


@pytest.mark.parametrize("written", ["30", "deg", "30 rad", "400 deg", 361, True, float("nan"), ""])
def test_what_is_no_angle_is_refused(written: object) -> None:
    with pytest.raises(ValueError, match="write it as '30 deg'"):
        parse_angle(written)


@pytest.mark.parametrize("written", ["10", 10.5, True, None, float("nan"), float("inf"), 10**20])
def test_what_is_no_count_is_refused(written: object) -> None:
    with pytest.raises(ValueError, match="not a whole number"):
        parse_count(written)


def test_yes_and_no_are_read_in_either_yaml() -> None:
    assert [parse_yes_no(v) for v in (True, "yes", "On", "TRUE")] == [True] * 4
    assert [parse_yes_no(v) for v in (False, "no", "Off", "FALSE")] == [False] * 4
    for written in (0, 1, "y", "nope", None, "yEs"):
        with pytest.raises(ValueError, match="neither yes nor no"):
            parse_yes_no(written)


def test_nearest_word_ignores_case_and_signs() -> None:
    assert nearest("Min-Length", ["min_offset", "min_length"]) == "min_length"
    assert nearest("xyzzy", ["min_offset", "min_length"]) is None
    assert nearest("a" * 10_000, ["a" * 10]) is None
    assert nearest("a", []) is None


@given(st.text() | st.integers() | st.floats() | st.lists(st.integers()))
def test_shown_value_stays_on_one_short_line(value: object) -> None:
    shown = show(value)
    assert 0 < len(shown) <= 62
    assert shown.isprintable()
