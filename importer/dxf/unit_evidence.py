"""What a drawing shows of the size of its unit, each kind of evidence by itself.

Each function gives, for every candidate unit, how well the drawing fits it: a share from 0 to 1,
best candidate 1, or nothing at all when the drawing holds no evidence of that kind. Sizes of what
is drawn (leaves, walls, rooms) are common practice, no source; they are wide on purpose, since they
only have to tell units apart, and those differ by 2.5 times and more.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from shapely import STRtree

from importer.dxf.drawing import Drawing, Floats, Ring
from importer.dxf.found import DoorSymbol
from importer.dxf.label_text import read_text
from importer.dxf.layer_words import is_door_name, is_room_name, is_wall_name
from importer.hints import Hints, matches_layer

DoorFinder = Callable[[Drawing, Hints], tuple[DoorSymbol, ...]]
Shares = Mapping[str, float]

LEAF_MM: Final = (480.0, 1400.0)
"""Radius of a door arc."""

USUAL_LEAF_MM: Final = (600.0, 1050.0)
"""Leaves outside of this count half: in a wrong unit the odd one still falls inside `LEAF_MM`."""

WALL_MM: Final = (150.0, 0.5)
"""Thickness of walls, middle and spread of its logarithm: two thirds lie between 90 and 250."""

ROOM_M2: Final = (12.0, 1.0)
"""Area of rooms, middle and spread of its logarithm: two thirds lie between 4 and 33."""

DOOR_BLOCK_MM: Final = (500.0, 2200.0)
"""Longer side of a door block: leaf or pair of leaves, with frame or swing."""

PLAN_MM: Final = (2_500.0, 500_000.0)
"""Diagonal of the middle nine tenths of a plan: a single small room to a large estate."""

USUAL_PLAN_MM: Final = (6_000.0, 120_000.0)
"""The same for one flat to a long block; beyond it a plan is the less usual the further it is."""

ENOUGH_PAIRS: Final = 8
"""Fewer parallel neighbours than this say nothing about walls."""

_MANY: Final = 0.4
_NEIGHBOURS: Final = 12
_PRINTED_SLACK: Final = 1.15
"""Printed and drawn lengths may differ so much (areas by a third) before they count as different."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One kind of evidence: how much it counts, how each unit fits, and how it is told.

    `told` is a clause with a place for the unit's name, as "4 door leaves measure ... in {unit}".
    """

    kind: str
    weight: float
    shares: Shares
    told: Mapping[str, str]

    def best(self) -> str:
        """The unit that fits best; the first of them when several do."""
        return max(self.shares, key=lambda unit: self.shares[unit])


def _relative(scores: Mapping[str, float]) -> dict[str, float]:
    top = max(scores.values(), default=0.0)
    return {unit: score / top for unit, score in scores.items()} if top > 0 else {}


def _likeness(sizes: Floats, middle: float, spread: float) -> Floats:
    """How usual sizes are: 1 at the middle, falling with the logarithm of the ratio."""
    ratio = np.log(np.maximum(sizes, 1e-12) / middle) / spread
    likeness: Floats = np.exp(-0.5 * ratio**2)
    return likeness


# --- doors -------------------------------------------------------------------------------------


def door_leaves(
    drawing: Drawing, units: Mapping[str, float], hints: Hints, finder: DoorFinder
) -> Evidence | None:
    """Arcs with a leaf to them that are door leaves in size: the one decisive kind of evidence."""
    bare = replace(drawing, texts=(), rings=())
    radii = np.array([arc.radius for arc in drawing.arcs])
    exact = {arc.source for arc in drawing.arcs}
    drawn = set(drawing.segments.source[drawing.segments.curved].tolist())
    leaves: dict[str, list[float]] = {}
    for unit, size in units.items():
        fits = (radii * size >= LEAF_MM[0]) & (radii * size <= LEAF_MM[1])
        # Arcs of stretched blocks are chords only: the finder has to look at those in any unit.
        if fits.any() or not drawn <= exact:
            found = finder(bare.in_mm(size), hints)
            leaves[unit] = sorted(symbol.radius_mm for symbol in found if symbol.has_leaf)
    scores = {unit: _leaf_score(leaves.get(unit, [])) for unit in units}
    shares = _relative(scores)
    if not shares:
        return None
    count = max(len(found) for found in leaves.values())
    weight = 1.0 if count == 1 else 2.5 if count < 4 else 4.0
    told = {unit: _leaf_words(leaves.get(unit, [])) for unit in units}
    return Evidence(kind="doors", weight=weight, shares=shares, told=told)


def _leaf_score(radii: list[float]) -> float:
    low, high = USUAL_LEAF_MM
    return sum(1.0 if low <= radius <= high else 0.5 for radius in radii)


def _leaf_words(radii: list[float]) -> str:
    if not radii:
        return "no arc is a door leaf"
    if len(radii) == 1:
        return f"1 door leaf measures {radii[0]:.0f} mm"
    return f"{len(radii)} door leaves measure {radii[0]:.0f} to {radii[-1]:.0f} mm"


def door_blocks(drawing: Drawing, units: Mapping[str, float], hints: Hints) -> Evidence | None:
    """Block references that are doors by name or layer, by the longer side of what they show."""
    sizes = [
        max(insert.box[2] - insert.box[0], insert.box[3] - insert.box[1])
        for insert in drawing.inserts
        if insert.box is not None
        and (is_door_name(insert.block) or _on_door_layer(drawing, insert.source, hints))
    ]
    lengths = np.array([size for size in sizes if size > 0])
    if not len(lengths):
        return None
    low, high = DOOR_BLOCK_MM
    counts = {
        unit: int(((lengths * size >= low) & (lengths * size <= high)).sum())
        for unit, size in units.items()
    }
    shares = _relative({unit: float(count) for unit, count in counts.items()})
    if not shares:
        return None
    told = {
        unit: f"{count} of {len(lengths)} door blocks are of a door's size"
        for unit, count in counts.items()
    }
    return Evidence(kind="door blocks", weight=0.5, shares=shares, told=told)


def _on_door_layer(drawing: Drawing, source: int, hints: Hints) -> bool:
    layer = drawing.layer_of(source)
    return is_door_name(layer) or matches_layer(layer, hints.door_layers)


# --- walls -------------------------------------------------------------------------------------


def wall_thickness(drawing: Drawing, units: Mapping[str, float], hints: Hints) -> Evidence | None:
    """Distances of neighbouring parallel strokes, on wall layers where there are such."""
    straight = ~drawing.segments.curved
    named = straight & _on_wall_layer(drawing, hints)[drawing.segments.source]
    gaps, lengths = parallel_gaps(drawing.segments.ends[named])
    weight = 1.0
    if len(gaps) < ENOUGH_PAIRS:
        gaps, lengths = parallel_gaps(drawing.segments.ends[straight])
        weight = 0.6
    if len(gaps) < ENOUGH_PAIRS:
        return None
    scores = {
        unit: float((_likeness(gaps * size, *WALL_MM) * lengths).sum() / lengths.sum())
        for unit, size in units.items()
    }
    # A drawing whose strokes lie at no distance of walls in any unit shows no walls.
    if max(scores.values()) < 0.1:
        return None
    middle = _weighted_median(gaps, lengths)
    told = {
        unit: f"parallel lines, as the faces of walls, lie {middle * size:.0f} mm apart"
        for unit, size in units.items()
    }
    return Evidence(kind="walls", weight=weight, shares=_relative(scores), told=told)


def _on_wall_layer(drawing: Drawing, hints: Hints) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    known: dict[str, bool] = {}
    for source in drawing.sources:
        if source.layer not in known:
            hinted = matches_layer(source.layer, hints.wall_layers)
            known[source.layer] = hinted or is_wall_name(source.layer)
    return np.array([known[source.layer] for source in drawing.sources], dtype=np.bool_)


def parallel_gaps(ends: Floats) -> tuple[Floats, Floats]:
    """Distance of each stroke to the next parallel one beside it, and the length that they share.

    Strokes are sorted by direction (half a degree) and offset; a pair counts when it is longer
    than it is wide and no nearer stroke lies beside it.
    """
    chord = ends[:, 2:] - ends[:, :2]
    length = np.hypot(chord[:, 0], chord[:, 1])
    ends, chord, length = ends[length > 0], chord[length > 0], length[length > 0]
    if len(ends) < 2:
        return np.empty(0), np.empty(0)
    direction = np.round(np.degrees(np.arctan2(chord[:, 1], chord[:, 0])) * 2).astype(int) % 360
    angle = np.radians(direction / 2)
    across, along = np.cos(angle), np.sin(angle)
    offset = (ends[:, 1] + ends[:, 3]) / 2 * across - (ends[:, 0] + ends[:, 2]) / 2 * along
    run = np.stack(
        (ends[:, 0] * across + ends[:, 1] * along, ends[:, 2] * across + ends[:, 3] * along)
    )
    low, high = run.min(axis=0), run.max(axis=0)
    order = np.lexsort((offset, direction))
    direction, offset, low, high = direction[order], offset[order], low[order], high[order]
    gap = np.full(len(order), math.nan)
    shared = np.zeros(len(order))
    noise = 1e-6 * float(np.median(length))
    for step in range(1, min(_NEIGHBOURS, len(order) - 1) + 1):
        apart = offset[step:] - offset[:-step]
        overlap = np.minimum(high[step:], high[:-step]) - np.maximum(low[step:], low[:-step])
        hit = (direction[step:] == direction[:-step]) & (apart > noise) & (overlap > apart)
        hit &= np.isnan(gap[:-step])
        gap[:-step][hit] = apart[hit]
        shared[:-step][hit] = overlap[hit]
    found = ~np.isnan(gap)
    return gap[found], shared[found]


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])


# --- rooms and what is printed in them ---------------------------------------------------------


def room_outlines(drawing: Drawing, units: Mapping[str, float], hints: Hints) -> Evidence | None:
    """Outlines on layers that are for rooms, by their area."""
    areas = [
        abs(_area(ring))
        for ring in drawing.rings
        if not ring.filled and _on_room_layer(drawing, ring.source, hints)
    ]
    drawn = np.array([area for area in areas if area > 0])
    if not len(drawn):
        return None
    scores = {
        unit: float(np.median(_likeness(drawn * size**2 / 1e6, *ROOM_M2)))
        for unit, size in units.items()
    }
    if max(scores.values()) < 0.1:
        return None
    middle = float(np.median(drawn))
    told = {
        unit: f"the middle one of {len(drawn)} room outlines has {middle * size**2 / 1e6:.3g} m2"
        for unit, size in units.items()
    }
    return Evidence(kind="rooms", weight=1.0, shares=_relative(scores), told=told)


def _on_room_layer(drawing: Drawing, source: int, hints: Hints) -> bool:
    layer = drawing.layer_of(source)
    return is_room_name(layer) or matches_layer(layer, hints.room_layers)


def _area(ring: Ring) -> float:
    """Signed area (shoelace) about the ring's own first point."""
    x, y = (ring.points - ring.points[0]).T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def printed_measures(drawing: Drawing, units: Mapping[str, float]) -> Evidence | None:
    """Areas and sizes printed in outlines, held against the smallest outline about each."""
    factors = np.array(_printed_factors(drawing))
    if not len(factors):
        return None
    counts = {
        unit: int((np.abs(np.log(factors / size)) < math.log(_PRINTED_SLACK)).sum())
        for unit, size in units.items()
    }
    shares = _relative({unit: float(count) for unit, count in counts.items()})
    if not shares:
        return None
    agreeing = max(counts.values())
    # Areas of whole flats and sizes of openings are printed in outlines too: a minority proves little.
    weight = 0.5 if agreeing < _MANY * len(factors) else 1.0 if agreeing == 1 else 2.5
    told = {
        unit: f"{count} of {len(factors)} areas or sizes printed in outlines agree with them"
        for unit, count in counts.items()
    }
    return Evidence(kind="printed areas", weight=weight, shares=shares, told=told)


def _printed_factors(drawing: Drawing) -> list[float]:
    """Millimetres per drawing unit that each printed measure asks for."""
    known = {text: read_text(text) for text in {text.text for text in drawing.texts}}
    measures = [
        (text.at, known[text.text]) for text in drawing.texts if known[text.text].is_measure()
    ]
    rings = [ring for ring in drawing.rings if not ring.filled and _area(ring) != 0]
    if not measures or not rings:
        return []
    outlines = [shapely.Polygon(ring.points) for ring in rings]
    places = shapely.points([at for at, _ in measures])
    about, of = STRtree(outlines).query(places, predicate="within")
    factors = []
    for index, (_, reading) in enumerate(measures):
        around = [rings[i] for i in of[about == index]]
        if not around:
            continue
        ring = min(around, key=lambda candidate: abs(_area(candidate)))
        if reading.area_m2 is not None:
            if reading.area_m2 > 0:
                factors.append(math.sqrt(reading.area_m2 * 1e6 / abs(_area(ring))))
        elif reading.size_mm is not None:
            factors.append(math.sqrt(math.prod(reading.size_mm) / abs(_area(ring))))
    return [factor for factor in factors if factor > 0]


# --- size --------------------------------------------------------------------------------------


def plan_size(size: float, units: Mapping[str, float]) -> Evidence | None:
    """Size of the whole plan, given its `extent`: usual, or of a doll's house or a town."""
    if size <= 0:
        return None
    scores = {}
    for unit, factor in units.items():
        low, high = (limit / (size * factor) for limit in USUAL_PLAN_MM)
        beyond = max(math.log(low), -math.log(high), 0.0) / math.log(2.2)
        scores[unit] = math.exp(-0.5 * beyond**2)
    told = {
        unit: f"the plan is {size * factor / 1000:.3g} m from corner to corner"
        for unit, factor in units.items()
    }
    return Evidence(kind="size", weight=0.6, shares=_relative(scores), told=told)


def extent(drawing: Drawing) -> float:
    """Diagonal of the middle nine tenths of the linework, drawing units; 0 for an empty one."""
    ends = drawing.segments.ends
    if not len(ends):
        points = [ring.points for ring in drawing.rings]
        if not points:
            return 0.0
        corners = np.concatenate(points)
    else:
        corners = np.concatenate((ends[:, :2], ends[:, 2:]))
    low, high = np.percentile(corners, (5, 95), axis=0)
    return float(np.hypot(*(high - low)))
