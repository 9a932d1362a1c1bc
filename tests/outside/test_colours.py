"""Colours of the outputs as colour-blind readers and grey prints have them.

Simulation: Machado, Oliveira, Fernandes, "A Physiologically-based Model for Simulation of Color Vision
Deficiency", IEEE TVCG 15(6), 2009, doi:10.1109/TVCG.2009.113, their matrices for severity 1.0, which act
on linear RGB. Colour differences: CIE 1976 L*a*b* (CIE 15) from sRGB (IEC 61966-2-1), white point D65.
Contrast: WCAG 2.2, relative luminance. Limits are our own; values of DXF colour indices are ezdxf's.
"""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from ezdxf.colors import DXF_DEFAULT_COLORS, int2rgb
from numpy.typing import NDArray

from layout.writers.dxf.scheme import LOOKS, Content
from layout.writers.page import render
from layout.writers.sheets import style

Floats = NDArray[np.float64]

SIMULATIONS = {
    "none": np.eye(3),
    "protan": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deutan": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritan": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)
WHITE_XYZ = np.array([0.95047, 1.0, 1.08883])
APART = 25.0
"""Least difference of two inks that mean different things: ten times what is just seen side by side."""
GREY_APART = 20.0
"""Least difference in L* of two greys that are to be told apart on a print."""
ISO_STEP = 1.35
"""Line widths of ISO 128-2 go in steps of 1.4, rounded."""


def linear(rgb: tuple[float, float, float]) -> Floats:
    v = np.asarray(rgb, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def lab(colour: Floats) -> Floats:
    """L*, a*, b* of linear RGB."""
    x = TO_XYZ @ np.clip(colour, 0.0, 1.0) / WHITE_XYZ
    f = np.where(x > (6 / 29) ** 3, np.cbrt(x), x / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def difference(a: style.Colour, b: style.Colour, sight: str) -> float:
    seen = [lab(SIMULATIONS[sight] @ linear(c)) for c in (a, b)]
    return float(np.linalg.norm(seen[0] - seen[1]))


def lightness(colour: style.Colour) -> float:
    return float(lab(linear(colour))[0])


def contrast(a: style.Colour, b: style.Colour) -> float:
    low, high = sorted(float(TO_XYZ[1] @ linear(c)) for c in (a, b))
    return (high + 0.05) / (low + 0.05)


def index_colour(aci: int, paper: style.Colour) -> style.Colour:
    """A DXF colour index on a ground; 7 is black on white and white on dark."""
    if aci == 7:
        return (0.0, 0.0, 0.0) if lightness(paper) > 50 else (1.0, 1.0, 1.0)
    r, g, b = int2rgb(DXF_DEFAULT_COLORS[aci])
    return r / 255, g / 255, b / 255


PAPER: style.Colour = (1.0, 1.0, 1.0)
SCREEN: style.Colour = (33 / 255, 40 / 255, 48 / 255)
LINES = (
    Content.PLANK,
    Content.CUT,
    Content.EDGE,
    Content.MOVE,
    Content.DATUM,
    Content.DIM,
    Content.BREACH,
)
"""What is drawn as lines in the plan; hatching and lettering have forms of their own."""


@pytest.mark.parametrize("sight", SIMULATIONS)
def test_simulations_leave_white_and_black_as_they_are(sight: str) -> None:
    assert SIMULATIONS[sight] @ np.ones(3) == pytest.approx(np.ones(3), abs=2e-6)
    assert difference((0, 0, 0), (1, 1, 1), sight) == pytest.approx(100.0, abs=0.1)


def test_published_values_of_red_green_blindness_come_out() -> None:
    """Red and green of equal weight are far apart, and near for a deuteranope."""
    red, green = (0.80, 0.25, 0.10), (0.45, 0.50, 0.10)
    assert difference(red, green, "none") > 60
    assert difference(red, green, "deutan") < 25


@pytest.mark.parametrize("ground", [PAPER, SCREEN])
@pytest.mark.parametrize("sight", SIMULATIONS)
def test_inks_of_the_marked_drawing_differ_for_every_sight(
    ground: style.Colour, sight: str
) -> None:
    inks = {aci: index_colour(aci, ground) for aci in sorted({x.aci for x in LOOKS.values()})}
    for (a, first), (b, second) in combinations(inks.items(), 2):
        assert difference(first, second, sight) >= APART, (a, b)


@pytest.mark.parametrize("ground", [PAPER, SCREEN])
def test_inks_of_the_marked_drawing_stand_out_from_paper_and_screen(ground: style.Colour) -> None:
    for look in LOOKS.values():
        assert contrast(index_colour(look.aci, ground), ground) >= 3.0, look


def test_lines_of_a_grey_print_differ_in_grey_width_or_kind() -> None:
    for a, b in combinations(LINES, 2):
        first, second = LOOKS[a], LOOKS[b]
        greys = [lightness(index_colour(x.aci, PAPER)) for x in (first, second)]
        widths = sorted((first.lineweight, second.lineweight))
        assert (
            abs(greys[0] - greys[1]) >= GREY_APART
            or widths[1] / widths[0] >= ISO_STEP
            or first.dash_dot != second.dash_dot
        ), (a, b)


@pytest.mark.parametrize("sight", SIMULATIONS)
def test_inks_of_the_sheets_differ_for_every_sight(sight: str) -> None:
    inks = (style.BLACK, style.BLUE, style.VERMILION)
    for a, b in combinations(inks, 2):
        assert difference(a, b, sight) >= APART, (a, b)


def test_lettering_of_the_sheets_is_read_on_every_ground_it_stands_on() -> None:
    """At least 4.5 : 1 (WCAG 2.2, 1.4.3), on white and on the tint of sawn planks."""
    for ink in (style.BLACK, style.BLUE, style.VERMILION):
        assert contrast(ink, style.WHITE) >= 4.5
    assert contrast(style.BLUE, style.TINT) >= 4.5
    assert contrast(style.GREY, style.WHITE) >= 4.5


def test_fills_of_the_sheets_differ_in_grey() -> None:
    """Walls, sawn planks and whole ones; planks have outlines besides."""
    wall, tint, white = (lightness(c) for c in (style.WALL, style.TINT, style.WHITE))
    assert tint - wall >= GREY_APART
    assert white - tint >= 12.0


CSS = Path(render.__file__).parent / "templates" / "page.css"


def page_colours() -> list[dict[str, style.Colour]]:
    """The variables of the page in the light and in the dark."""
    blocks = re.findall(r":root\{([^}]*)\}", CSS.read_text("utf-8"))
    return [
        {
            name: hex_colour(value)
            for name, value in re.findall(r"--([a-z]+):#([0-9a-f]{3,6})", block)
        }
        for block in blocks
    ]


def hex_colour(digits: str) -> style.Colour:
    full = "".join(c * 2 for c in digits) if len(digits) == 3 else digits
    r, g, b = (int(full[k : k + 2], 16) / 255 for k in (0, 2, 4))
    return r, g, b


@pytest.mark.parametrize("scheme", [0, 1])
def test_page_is_read_by_every_sight_in_light_and_dark(scheme: int) -> None:
    used = page_colours()[scheme]
    assert len(used) >= 14
    for name, ground in (("ink", "bg"), ("ink", "panel"), ("ink", "cur"), ("muted", "bg")):
        assert contrast(used[name], used[ground]) >= 4.5, name
    assert contrast(used["length"], used["bg"]) >= 4.5
    assert contrast(used["accent"], used["bg"]) >= 4.5
    assert contrast(used["edge"], used["plank"]) >= 3.0
    for sight in SIMULATIONS:
        assert difference(used["cur"], used["plank"], sight) >= 10.0, sight
        assert difference(used["accent"], used["length"], sight) >= APART, sight


def test_violet_beside_our_blue_would_not_do() -> None:
    """Why a breach is a shape and not a colour: indices 150 and 200 are one for a deuteranope."""
    blue, violet = index_colour(150, PAPER), index_colour(200, PAPER)
    assert difference(blue, violet, "none") >= APART
    assert difference(blue, violet, "deutan") < APART
