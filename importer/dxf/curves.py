"""Curves as chords. One rule for all: chords turn by no more than `STEP` radians, which keeps the
sagitta within `SAGITTA_SHARE` of the local radius whatever the drawing unit, so that a flattened
curve may be scaled afterwards without doing it again.

Arc rows are (centre x, centre y, radius, start, sweep) in radians, counter-clockwise, sweep > 0.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

import numpy as np
from ezdxf.math import BSpline

from importer.dxf.drawing import Bools, Floats, Ints

SAGITTA_SHARE: Final = 0.0006
"""0.6 mm on a radius of 1 m: less than a wall is true to, and no more than 4 degrees a chord."""

STEP: Final = 2 * math.acos(1 - SAGITTA_SHARE)

STRAIGHT_BULGE: Final = 1e-6
"""Below this a bulge rises by less than 0.01 mm over a chord of 20 m."""

TURN: Final = 2 * math.pi

CLOSE_SHARE: Final = 5e-4
"""A polyline whose ends are nearer than this share of its extent was meant closed: 2.5 mm on a
room of 5 m, whatever the drawing unit."""


def chord_count(sweep: Floats) -> Ints:
    """Number of chords for arcs of that sweep, radians of any sign; at least one each."""
    # The slack keeps a full circle at one count although its sweep came out of rounded angles.
    return np.maximum(np.ceil(np.abs(sweep) / STEP - 1e-9), 1).astype(np.int32)


def arc_chords(rows: Floats) -> tuple[Floats, Ints]:
    """Chords (n, 4) of arc rows (k, 5), and for each chord the index of its row."""
    counts = chord_count(rows[:, 4])
    owner = np.repeat(np.arange(len(rows), dtype=np.int32), counts)
    first = np.repeat(np.cumsum(counts) - counts, counts)
    step = np.arange(len(owner)) - first
    centre_x, centre_y, radius, start, sweep = rows[owner].T
    share = sweep / counts[owner]
    ends = np.empty((len(owner), 4))
    for column, angle in ((0, start + step * share), (2, start + (step + 1) * share)):
        ends[:, column] = centre_x + radius * np.cos(angle)
        ends[:, column + 1] = centre_y + radius * np.sin(angle)
    return ends, owner


def circle_points(centre_x: float, centre_y: float, radius: float) -> Floats:
    """A circle as a ring of points, counter-clockwise from the right, first not repeated."""
    count = int(chord_count(np.array([TURN]))[0])
    angle = np.arange(count) * (TURN / count)
    return np.column_stack((centre_x + radius * np.cos(angle), centre_y + radius * np.sin(angle)))


def bulge_arcs(start: Floats, end: Floats, bulge: Floats) -> Floats:
    """Arc rows of polyline edges; the sweep here keeps the sign of the bulge.

    A bulge is the tangent of a quarter of the included angle, positive when the arc runs
    counter-clockwise, that is bows to the right of its chord (DXF reference, LWPOLYLINE group 42):

        r = c (1 + b^2) / (4 |b|),   centre = middle + left normal * c (1 - b^2) / (4 b)
    """
    chord = end - start
    length = np.hypot(chord[:, 0], chord[:, 1])
    radius = length * (1 + bulge**2) / (4 * np.abs(bulge))
    offset = ((1 - bulge**2) / (4 * bulge))[:, None] * np.column_stack((-chord[:, 1], chord[:, 0]))
    centre = (start + end) / 2 + offset
    angle = np.arctan2(start[:, 1] - centre[:, 1], start[:, 0] - centre[:, 0])
    return np.column_stack((centre, radius, angle, 4 * np.arctan(bulge)))


def bulged_points(points: Floats, bulge: Floats, *, closed: bool) -> tuple[Floats, Bools, Floats]:
    """A polyline with bulges as points; per stroke whether it is a chord; the arc rows.

    The vertices themselves are kept to the bit. An open result has one point more than strokes.
    """
    edges = len(points) if closed else len(points) - 1
    start, end = points[:edges], np.roll(points, -1, axis=0)[:edges]
    bulge = bulge[:edges]
    bent = np.abs(bulge) > STRAIGHT_BULGE
    rows = np.zeros((edges, 5))
    rows[bent] = bulge_arcs(start[bent], end[bent], bulge[bent])
    counts = np.where(bent, chord_count(rows[:, 4]), 1)
    owner = np.repeat(np.arange(edges), counts)
    step = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    angle = rows[owner, 3] + rows[owner, 4] * step / counts[owner]
    out = np.column_stack(
        (
            rows[owner, 0] + rows[owner, 2] * np.cos(angle),
            rows[owner, 1] + rows[owner, 2] * np.sin(angle),
        )
    )
    out[step == 0] = start
    if not closed:
        out = np.vstack((out, points[-1:]))
    return out, bent[owner], counter_clockwise(rows[bent])


def counter_clockwise(rows: Floats) -> Floats:
    """Arc rows with every sweep positive; the same curves."""
    out = rows.copy()
    clockwise = out[:, 4] < 0
    out[clockwise, 3] += out[clockwise, 4]
    out[clockwise, 4] *= -1
    return out


def ellipse_points(
    centre: Floats, major: Floats, minor: Floats, span: tuple[float, float]
) -> Floats:
    """Points c + cos(t) major + sin(t) minor for t through `span` = (start, sweep), in the plane.

    Equal steps of t turn too fast at the sharp ends of a flat ellipse, so that steps of equal
    turning are added to them: tan(turn) = (long / short) tan(t).
    """
    start, sweep = span
    count = int(chord_count(np.array([sweep]))[0])
    steps = start + sweep * np.arange(count + 1) / count
    long, short = math.hypot(*major), math.hypot(*minor)
    if min(long, short) > 0 and abs(long - short) > SAGITTA_SHARE * max(long, short):
        turned = steps - np.round(steps / math.pi) * math.pi
        sharp = np.arctan(np.tan(turned) * (short / long)) + np.round(steps / math.pi) * math.pi
        inside = sharp[(sharp > start) & (sharp < start + sweep)]
        steps = np.union1d(steps, inside)
    points: Floats = centre + np.outer(np.cos(steps), major) + np.outer(np.sin(steps), minor)
    return points


def spline_points(spline: BSpline) -> Floats:
    """A spline as points in the plane, halved until every chord turns by less than `STEP`.

    Raises:
        ValueError: the spline has no length or its knots make no sense.
    """
    spans = np.unique(np.asarray(spline.knots(), dtype=np.float64))
    low, high = spline.knots()[spline.degree], spline.max_t
    spans = spans[(spans >= low) & (spans <= high)]
    if len(spans) < 2:
        raise ValueError("a spline without a span")
    steps = np.unique(np.concatenate([np.linspace(a, b, 5) for a, b in pairwise(spans)]))
    for _ in range(8):
        points = _spline_at(spline, steps)
        sharp = _sharp_strokes(points)
        if not sharp.any() or len(steps) > 20_000:
            break
        middles = (steps[:-1] + steps[1:])[sharp] / 2
        steps = np.union1d(steps, middles)
    return _spline_at(spline, steps)


def _spline_at(spline: BSpline, steps: Floats) -> Floats:
    return np.array([(p.x, p.y) for p in spline.points(steps.tolist())], dtype=np.float64)


def _sharp_strokes(points: Floats) -> Bools:
    """Strokes at either side of a corner that turns too much, unless they are short already."""
    stroke = np.diff(points, axis=0)
    length = np.hypot(stroke[:, 0], stroke[:, 1])
    heading = np.arctan2(stroke[:, 1], stroke[:, 0])
    turn = np.abs((np.diff(heading) + math.pi) % TURN - math.pi)
    sharp = np.zeros(len(stroke), dtype=np.bool_)
    sharp[:-1] |= turn > STEP
    sharp[1:] |= turn > STEP
    extent = float(np.hypot(*np.ptp(points, axis=0)))
    return sharp & (length > 1e-5 * extent)
