"""Storeys side by side on one sheet: clusters of rooms, and the titles that name them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from shapely import Polygon, STRtree

from importer.dxf.arrays import polygon_array
from importer.dxf.connected import connected_parts
from importer.dxf.drawing import Drawing
from importer.plan import Finding, Point, Severity
from importer.room_words import plain, words

APART_MM: Final = 1500.0
"""Rooms of one storey are no further apart than a wall, a shaft or an open stair is wide."""

TITLE_REACH_MM: Final = 6000.0
"""A title stands within this of the storey it names, or within half the storey's height."""

ALIKE: Final = 0.6
"""Outlines laid on each other that share so much are storeys of one house."""

SMALLEST_MM2: Final = 20e6
"""Rooms apart that take up less are an outbuilding, not a storey."""

LEVEL_STEP_MM: Final = (2200.0, 5000.0)
"""Storey heights: titles stacked so far apart in one column are the levels of a section."""

_FLOOR: Final = (
    r"floor|storey|story|level|geschoss|etage|niveau|planta|nivel|piano|piso|pavimento|verdieping|"
    r"bouwlaag|pietro|pietra|podlazi|patro|этаж\w*|plan|rzut|kat|kerros|emelet"
)
_LEVEL_WORDS: Final[dict[int, str]] = {
    -1: """basement cellar kellergeschoss untergeschoss keller kg ug sous-sol sotano seminterrato
        interrato kelder piwnicy suteren suterena подвал подвала""",
    0: """ground erdgeschoss eg rez-de-chaussee rdc baja terra res-do-chao begane parter parteru
        prizemi bottenvaning stueplan foldszint""",
    1: "first 1st 1er 1e premier primera primo primeiro erste eerste pierwsze og obergeschoss",
    2: "second 2nd 2eme deuxieme segunda secondo segundo zweite tweede drugie",
    3: "third 3rd 3eme troisieme tercera terzo terceiro dritte derde trzecie",
    4: "fourth 4th 4eme quatrieme cuarta quarto vierte vierde",
    5: "fifth 5th 5eme cinquieme quinta quinto funfte vijfde",
    90: """attic loft dachgeschoss dg grenier comble combles buhardilla atico sottotetto sotao
        zolder poddasze poddasza podkrovi мансарда мансарды""",
}
_LEVELS: Final = {level: words(names) for level, names in _LEVEL_WORDS.items()}
_STANDING_ALONE: Final = words(
    "eg kg ug dg rdc basement attic erdgeschoss kellergeschoss untergeschoss dachgeschoss "
    "obergeschoss rez-de-chaussee parter prizemi"
)
_STOREY: Final = re.compile(rf"\b(?:{_FLOOR}|grundriss)\b|geschoss|etage|grond")
_NUMBERED: Final = re.compile(
    rf"(?:(?P<a>-?\d{{1,2}})\s*(?:\.|st|nd|rd|th|er|e|eme|o|a|\u00ba|\u00aa|-\w)?\s*"
    rf"(?:{_FLOOR}|og|obergeschoss|ug|untergeschoss)\b|\b(?:{_FLOOR})\s*(?P<b>-?\d{{1,2}})\b"
    rf"|\br\s*\+\s*(?P<c>\d)\b)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreyTitle:
    """A text that names a storey; `level` 0 is the ground floor, None when it does not say."""

    text: str
    level: int | None
    at: Point
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreyDraft:
    """One storey: its name, its level and height if known, and the rooms in it by index. The name is
    None when no title gives one.
    """

    name: str | None
    level: int | None
    rooms: tuple[int, ...]
    elevation_mm: float | None = None


def level_of(text: str) -> int | None:
    """The level a storey title tells: 0 the ground floor, 1 the floor above; None when none.

    >>> level_of("FIRST FLOOR PLAN"), level_of("Grundriss Erdgeschoss"), level_of("2. OG")
    (1, 0, 2)
    >>> level_of("R+1"), level_of("Planta baja"), level_of("KITCHEN")
    (1, 0, None)
    """
    found = plain(text)
    numbered = _NUMBERED.search(found)
    if numbered:
        digits = next(g for g in numbered.groups() if g)
        below = re.search(r"\b(?:ug|untergeschoss|basement|sous-sol)\b", found)
        return -int(digits) if below and int(digits) > 0 else int(digits)
    said = {w for w in re.split(r"[^\w-]+", found) if w}
    storey = bool(_STOREY.search(found))
    for level, names in _LEVELS.items():
        if said & names and (storey or said & _STANDING_ALONE):
            return level
    return None


def storey_titles(drawing_mm: Drawing, label_height: float) -> list[StoreyTitle]:
    """Texts that name a storey, or are titled plan, in letters no smaller than the room labels.

    The levels written up a section (stacked in one column, a storey's height apart) are left out.
    """
    found = []
    for text in drawing_mm.texts:
        line = " ".join(text.text.split())
        if not 2 <= len(line) <= 60 or text.height < 0.95 * label_height:
            continue
        level = level_of(line)
        titled = re.search(r"\b(?:floor ?plan|grundriss|plattegrond|pianta|planta)\b", plain(line))
        if level is None and not (titled and text.height > 1.5 * label_height):
            continue
        found.append(StoreyTitle(text=line, level=level, at=text.at, height=text.height))
    return _without_section_levels(found)


def _without_section_levels(titles: list[StoreyTitle]) -> list[StoreyTitle]:
    stacked: set[int] = set()
    for i, one in enumerate(titles):
        for j, two in enumerate(titles):
            apart = abs(one.at[1] - two.at[1])
            beside = abs(one.at[0] - two.at[0])
            if i != j and LEVEL_STEP_MM[0] <= apart <= LEVEL_STEP_MM[1] and beside < apart:
                stacked |= {i, j}
    return [t for k, t in enumerate(titles) if k not in stacked]


def find_storeys(
    drawing_mm: Drawing, rooms: Sequence[Polygon], label_height: float
) -> tuple[list[StoreyDraft], list[Finding]]:
    """Part the rooms of one sheet into storeys.

    Args:
        drawing_mm: the drawing in millimetres.
        rooms: all rooms of it.
        label_height: usual height of the room labels, mm; titles are not smaller.

    Returns:
        Storeys from the lowest level up, else in reading order, and findings on what was assumed.
        Rooms that stand apart are storeys of their own when titles say so or when their outlines
        are alike; else they are parts of one storey (a house and its garage).
    """
    clusters = _clusters(rooms)
    titles = storey_titles(drawing_mm, label_height)
    hulls = [_hull([rooms[k] for k in c]) for c in clusters]
    named = _titled(hulls, titles)
    whole = [len(c) > 1 and h.area >= SMALLEST_MM2 for c, h in zip(clusters, hulls, strict=True)]
    groups = _grouped(hulls, named, whole)
    storeys = []
    for members in groups:
        title = next((named[m] for m in members if named[m] is not None), None)
        storeys.append(
            StoreyDraft(
                name=title.text if title else None,
                level=title.level if title else None,
                rooms=tuple(sorted(k for m in members for k in clusters[m])),
            )
        )
    if len(storeys) > 1:
        findings = [_several(drawing_mm, storeys, titled=any(named))]
        if all(s.level is not None for s in storeys):
            storeys.sort(key=lambda s: s.level or 0)
        return storeys, findings
    return storeys, []


def _clusters(rooms: Sequence[Polygon]) -> list[list[int]]:
    """Rooms near each other, in reading order of the clusters."""
    if not rooms:
        return []
    one, two = STRtree(rooms).query(rooms, predicate="dwithin", distance=APART_MM)
    part = connected_parts(len(rooms), one, two)
    count = int(part.max()) + 1
    clusters = [np.flatnonzero(part == k).tolist() for k in range(count)]
    boxes = [shapely.total_bounds(polygon_array([rooms[k] for k in c])) for c in clusters]
    order = sorted(range(count), key=lambda k: (-round(boxes[k][3] / 5000), boxes[k][0]))
    return [clusters[k] for k in order]


def _hull(shapes: list[Polygon]) -> Polygon:
    hull = shapely.convex_hull(shapely.union_all(shapes))
    assert isinstance(hull, Polygon)
    return hull


def _titled(hulls: Sequence[Polygon], titles: list[StoreyTitle]) -> list[StoreyTitle | None]:
    """For each cluster the title that stands nearest to it and to no other cluster nearer."""
    named: list[StoreyTitle | None] = [None] * len(hulls)
    best: list[tuple[bool, float]] = [(True, np.inf)] * len(hulls)
    for title in titles:
        place = shapely.Point(title.at)
        far = [float(place.distance(h)) for h in hulls]
        if not far:
            continue
        near = int(np.argmin(far))
        box = hulls[near].bounds
        reach = max(TITLE_REACH_MM, 0.5 * (box[3] - box[1]))
        rank = (title.level is None, far[near])
        if far[near] <= reach and rank < best[near]:
            best[near], named[near] = rank, title
    return named


def _grouped(
    hulls: Sequence[Polygon], named: Sequence[StoreyTitle | None], whole: Sequence[bool]
) -> list[list[int]]:
    """Clusters that make one storey. Titled ones stand alone; others join the nearest titled one,
    unless they are alike, which makes each a storey.
    """
    heads = [k for k, t in enumerate(named) if t is not None]
    if len({(t.level, t.text) for t in named if t is not None}) < 2:
        heads = [k for k in _alike(hulls) if whole[k]]
    if len(heads) < 2:
        return [list(range(len(hulls)))] if hulls else []
    groups: dict[int, list[int]] = {h: [h] for h in heads}
    for k in range(len(hulls)):
        if k not in groups:
            nearest = min(heads, key=lambda h: (hulls[h].distance(hulls[k]), h))
            groups[nearest].append(k)
    return [groups[h] for h in heads]


def _alike(hulls: Sequence[Polygon]) -> list[int]:
    """Clusters whose outline, laid on that of the largest, covers it for the most part."""
    if len(hulls) < 2:
        return []
    largest = max(range(len(hulls)), key=lambda k: (hulls[k].area, -k))
    base = hulls[largest]
    alike = []
    for k, hull in enumerate(hulls):
        dx, dy = (base.bounds[0] - hull.bounds[0], base.bounds[1] - hull.bounds[1])
        moved = shapely.affinity.translate(hull, dx, dy)
        if moved.intersection(base).area >= ALIKE * moved.union(base).area:
            alike.append(k)
    return alike


def _several(drawing: Drawing, storeys: list[StoreyDraft], *, titled: bool) -> Finding:
    names = ", ".join(
        f"'{s.name or n}' ({len(s.rooms)} rooms)" for n, s in enumerate(storeys, start=1)
    )
    told = "by their titles" if titled else "by their alike outlines; no titles were found"
    return Finding(
        code="IMP-520",
        severity=Severity.NOTE if titled else Severity.SETTLE,
        what=f"{len(storeys)} storeys stand side by side on the sheet, told apart {told}: {names}.",
        where=drawing.where(),
        remedy="Draw a title such as 'Ground floor' under each, in letters larger than the labels.",
    )
