"""Texts and attributed blocks that say something, with the room they take on the sheet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from importer.dxf.drawing import Drawing
from importer.dxf.label_text import NOTHING, Reading, filled, read_text
from importer.dxf.layer_words import is_measure_name
from importer.hints import Hints, matches_layer
from importer.plan import Point
from importer.room_words import names_a_room, plain, words

LETTER_WIDTH: Final = 0.75
"""Width of a letter, in text heights, of the fonts drawings use, on average and rather wide."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextPart:
    """A text, or an attributed block, that says something."""

    texts: tuple[int, ...]
    at: Point
    height: float
    width: float
    depth: float
    """Extent across the lines."""
    angle: float
    style: tuple[str, int]
    reading: Reading


def text_parts(drawing: Drawing, hints: Hints) -> list[TextPart]:
    """Every text of the modelspace, dimensions left out, with what it says; the attributes of one
    block are one part. Parts that say nothing are kept: they stand between others.
    """
    parts = []
    grouped: dict[int, list[int]] = {}
    for k, text in enumerate(drawing.texts):
        source = drawing.sources[text.source]
        if matches_layer(source.layer, hints.ignore_layers) or source.kind == "DIMENSION":
            continue
        if text.tag is not None and source.insert >= 0:
            grouped.setdefault(source.insert, []).append(k)
        elif not is_measure_name(source.layer):
            parts.append(_part(drawing, (k,), read_text(text.text)))
    parts += [
        _part(drawing, tuple(members), _read_block(drawing, members))
        for members in grouped.values()
    ]
    return parts


def _part(drawing: Drawing, members: tuple[int, ...], reading: Reading) -> TextPart:
    main = _main_text(drawing, members, reading)
    text = drawing.texts[main]
    lines = text.text.splitlines() or [""]
    return TextPart(
        texts=members,
        at=text.at,
        height=text.height,
        width=max(map(len, lines)) * text.height * LETTER_WIDTH,
        depth=text.height * (1 + 1.6 * (len(lines) - 1)),
        angle=text.angle_deg,
        style=(drawing.layer_of(text.source), round(text.height / 5)),
        reading=reading,
    )


def _main_text(drawing: Drawing, members: tuple[int, ...], reading: Reading) -> int:
    """The text that holds the name, else the number, else the first."""
    for wanted in (reading.name, reading.number):
        for k in members:
            if wanted and wanted in " ".join(drawing.texts[k].text.split()):
                return k
    return members[0]


_NAME_TAGS: Final = words(
    "name raumname roomname room raum nom nome nombre bezeichnung benennung naam desc description "
    "funktion nutzung usage piece local space naziv nazwa"
)
_NUMBER_TAGS: Final = words("number no nr num numero nummer raumnr raumnummer roomno roomnumber id")
_AREA_TAGS: Final = words(
    "area flache flaeche ngf nf surface surf superficie m m2 sqm sqft sf opp pow"
)


def _read_block(drawing: Drawing, members: list[int]) -> Reading:
    """Attributes of one block as one label; of a door, axis or section mark nothing is read.

    Such marks hold letters and numbers too, so a block counts only when one of its tags says what
    the attribute is, or its name holds a known room word.
    """
    merged, told = NOTHING, False
    for k in members:
        text = drawing.texts[k]
        reading = read_text(text.text)
        tag = plain(text.tag or "").strip("0123456789_-. ").replace("_", "").replace("-", "")
        if tag in _AREA_TAGS and reading.area_m2 is not None:
            merged, told = replace(merged, area_m2=reading.area_m2, area_sure=True), True
        elif tag in _NUMBER_TAGS and text.text.strip():
            merged = replace(merged, number=text.text.strip())
        elif tag in _NAME_TAGS and reading.name:
            merged, told = replace(merged, name=reading.name), True
        else:
            told = told or bool(reading.name and names_a_room(reading.name)) or reading.is_measure()
            merged = filled(merged, reading)
    return merged if told else NOTHING
