"""What a text says: a room's name, its number, its printed area or size, or nothing of the kind.

Works on the text alone; where it stands is for `labels`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Final

from importer.room_words import is_note, is_title, names_a_room, plain, words

FOOT_MM: Final = 304.8
INCH_MM: Final = 25.4
SQUARE_FOOT_M2: Final = 0.09290304
"""International foot, squared; exact."""

LONGEST_NAME: Final = 36
"""Characters; a longer line is a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What one text says about a room. `area_sure` is False for a bare decimal, which may as well
    be a dimension. All fields empty: a note, a title, a tag, a level.
    """

    name: str | None = None
    number: str | None = None
    area_m2: float | None = None
    area_sure: bool = True
    size_mm: tuple[float, float] | None = None

    def is_empty(self) -> bool:
        """Nothing in it that a label could use."""
        return self.name is None and self.number is None and not self.is_measure()

    def is_measure(self) -> bool:
        """It prints an area or a size."""
        return self.area_m2 is not None or self.size_mm is not None


NOTHING: Final = Reading()

_NUM = r"\d{1,3}(?:[ \u00a0'\u2019.,]\d{3})+(?:[.,]\d{1,2})?|\d+(?:[.,]\d+)?"
_METRIC = (
    r"(?:m\s?(?:²|2\b|\^2)|㎡|qm\b|sqm\b|sq\.?\s?m(?:et(?:er|re)s?)?\b|mq\b|m\.q\.|кв\.?\s?м|平米)"
)
_IMPERIAL = (
    r"(?:sq\.?\s?(?:ft\b|feet\b|foot\b)|s\.?f\.?(?![a-z])|sqft\b|ft\s?(?:²|2\b|\^2)|square\s+feet)"
)
_AREA: Final = re.compile(
    rf"(?:\b[\w ]{{1,14}}[:=]\s*)?(?:ca\.?\s*)?(?P<num>{_NUM})\s*"
    rf"(?:(?P<m>{_METRIC})|(?P<f>{_IMPERIAL}))\.?",
    re.IGNORECASE,
)
_KEYED_AREA: Final = re.compile(
    r"^\s*(?:area|fl(?:ä|ae|a)che|ngf|nf|wfl|wf|[fas]|surface|surf|sup|superficie|pow|plocha|opp)\.?"
    r"\s*[:=]\s*(?P<num>\d{1,4}[.,]\d{1,2})\s*$",
    re.IGNORECASE,
)
_BARE_AREA: Final = re.compile(r"^\s*(?P<num>\d{1,3}[.,]\d{1,2})\s*$")
_TICK = r"['\u2019\u2032]"
_INCHES = rf"(?:\"|\u201d|\u2033|{_TICK}{_TICK})"
_FRACTION = r"(?:\s+(\d)/(\d{1,2}))?"
_FEET = rf"(\d{{1,3}})\s*{_TICK}(?!{_TICK})\s*-?\s*(?:(\d{{1,2}}){_FRACTION}\s*{_INCHES}?)?"
_SIZE_FEET: Final = re.compile(rf"{_FEET}\s*[x\u00d7X]\s*{_FEET}")
_METRES = r"(\d{1,2}[.,]\d{1,3})"
_SIZE_METRES: Final = re.compile(rf"{_METRES}\s*m?\s*[x\u00d7X]\s*{_METRES}\s*m?\b")
_SIZE_MM: Final = re.compile(r"\b(\d{4,5})\s*(?:mm)?\s*[x\u00d7X]\s*(\d{4,5})\s*(?:mm)?\b")
_SUM: Final = re.compile(
    r"\b(total|gesamt|summe|gross|brutto|overall|totale|suma|итого|razem)", re.IGNORECASE
)
_NUMBER: Final = re.compile(
    r"^(?:(?:no|nr|rm|\u2116|#)[.\s]*)?"
    r"(?P<n>[A-Za-z\u0410-\u042f]{0,4}[-. ]?\d{1,4}(?:[.\-/]\d{1,3}){0,3}[A-Za-z]?)$"
)
_DOOR_CODE: Final = re.compile(
    r"^(?:[1-9]\d[4678][068]|(?:D|W|T|P|V|J|F|WD|DR|WIN)[-. ]?\d{1,2}[A-Za-z]?"
    r"|\d{2,3}\s*[/x]\s*\d{2,3}"
    r"|\d{3,5}\s*(?:XO|OX|XOX|SH|DH|FX|SL|CS|BF|BP|PKT|TEMP|S\.?G\.?D|O\.?H)\b.*)$"
)
_MARK: Final = re.compile(r"^[A-Z]\s*[-\u2013]\s*[A-Z]'?$|\d\s*(?:mm|cm|m)\b|[\u00d8\u2205]")
_FUNCTION_WORD: Final = re.compile(
    r"(?<!walk )\b(?:between|in|on|for|from|at|with|by|per|if|not|is|are|be|to|all|each|under|over)\b"
    r"|^(?:and|or|und|et|y|e|und)\b|\b(?:and|or|und|et|w/)$",
    re.IGNORECASE,
)
"""Words of sentences. `walk in` is a closet."""

_LEVEL: Final = re.compile(
    r"[±+\-]\s*\d+[.,]\d|%%p|\b(?:ffl|ofl|okff|okrf|ukd|sfl|el)\b", re.IGNORECASE
)
_KEY: Final = re.compile(r"^(?P<key>[^:=]{1,20})[:=]\s*(?P<rest>.*)$")
_NAME_KEYS: Final = words(
    "room raum name nom nombre bezeichnung nome naam nazwa raumname roomname designation"
)
_NUMBER_KEYS: Final = words("no nr number nummer numero raumnr raumnummer num")
_TRIM: Final = " \t\u00a0,;:-\u2013\u2014|_=*~"
_LEAD_NUMBER: Final = re.compile(
    r"^(?P<n>[A-Z]{0,3}[-.]?\d{2,4}[a-z]?|[A-Z]{0,2}-?\d{1,3}(?:[.\-]\d{1,3})+[a-z]?)[\s:\-\u2013]+(?P<rest>\D.*)$"
)
_TAIL_NUMBER: Final = re.compile(
    r"^(?P<rest>.*\D)[\s\-\u2013]+(?P<n>[A-Z]{0,3}\d{3,4}|\d+\.\d+[a-z]?)$"
)


def read_text(text: str) -> Reading:
    r"""What a text, of one or more lines, says about a room.

    >>> read_text("Wohnzimmer\n24,50 m²").area_m2
    24.5
    >>> read_text("101 KITCHEN 133 sq ft").number
    '101'
    >>> read_text("SEE DETAIL 4 ON SHEET 12").is_empty()
    True
    """
    lines = [line.strip() for line in text.splitlines() if line.strip()]
    if not lines or len(lines) > 8 or _SUM.search(plain(text)):
        return NOTHING
    readings = [_read_line(line) for line in lines]
    wordy = any(len(line) > LONGEST_NAME for line in lines)
    noted = any(is_note(line) for line in lines) and not any(
        r.name and names_a_room(r.name) for r in readings
    )
    if (wordy or noted) and not any(r.area_m2 is not None and r.area_sure for r in readings):
        return NOTHING
    return _stack(readings)


def _stack(readings: list[Reading]) -> Reading:
    """Lines of one text as one reading: names are joined, of the rest the first counts.

    A bare decimal above the name, or beside a sure area, is the room's number (`1.03`).
    """
    names = [r.name for r in readings if r.name]
    first_name = next((i for i, r in enumerate(readings) if r.name), len(readings))
    sure = [r for r in readings if r.area_m2 is not None and r.area_sure]
    bare = [(i, r) for i, r in enumerate(readings) if r.area_m2 is not None and not r.area_sure]
    numbers = [r for r in readings if r.number and r.area_m2 is None]
    numbers += [r for r in readings if r.number and r.area_m2 is not None and r.area_sure]
    numbers += [r for i, r in bare if names and (sure or i < first_name)]
    areas = sure + [r for i, r in bare if i > first_name or not names]
    number = numbers[0].number if numbers else None
    if not names and not numbers and bare:
        number = bare[0][1].number
    return Reading(
        name=tidy_name(" ".join(_leading_names(names))) if names else None,
        number=number,
        area_m2=areas[0].area_m2 if areas else None,
        area_sure=areas[0].area_sure if areas else True,
        size_mm=next((r.size_mm for r in readings if r.size_mm), None),
    )


def _leading_names(names: list[str]) -> list[str]:
    """The name lines that belong to one name: up to three short ones, else the first alone."""
    if len(names) <= 3 and sum(map(len, names)) <= LONGEST_NAME:
        return names
    return names[:1]


def _read_line(line: str) -> Reading:
    if _BARE_AREA.match(line):
        value = parse_number(line.strip(), thousands=False)
        return Reading(number=line.strip(), area_m2=value, area_sure=False)
    area, rest = _take_area(line)
    size, rest = _take_size(rest)
    reading = Reading(area_m2=area, size_mm=size)
    rest, key = _unkey(rest)
    rest = rest.strip(_TRIM)
    if not rest or _LEVEL.search(rest) or key == "drop":
        return reading
    bare = rest.rstrip(".")
    if key == "number" or _is_number(bare):
        return replace(reading, number=bare.lstrip("#\u2116 "))
    number, name = _split_number(rest)
    if not is_name(name):
        return reading
    return replace(reading, name=name, number=number)


def filled(one: Reading, other: Reading) -> Reading:
    """`one` with what it lacks taken from `other`."""
    take_area = one.area_m2 is None and other.area_m2 is not None
    return Reading(
        name=one.name or other.name,
        number=one.number or other.number,
        area_m2=other.area_m2 if take_area else one.area_m2,
        area_sure=other.area_sure if take_area else one.area_sure,
        size_mm=one.size_mm or other.size_mm,
    )


def tidy_name(name: str) -> str:
    """The name with single spaces and without punctuation about it; a full stop stays (`UTIL.`)."""
    return " ".join(name.split()).strip(_TRIM + "()[]")


def is_name(text: str) -> bool:
    """Whether the text can be the name of a room: short, of letters, no note, title, tag or level.

    >>> is_name("MSTR. BATH"), is_name("2 CAR GARAGE"), is_name("2668"), is_name("FLOOR PLAN")
    (True, True, False, False)
    """
    letters = sum(c.isalpha() for c in text)
    if letters < 2 or len(text) > LONGEST_NAME or len(text.split()) > 5:
        return False
    if _MARK.search(text) or _DOOR_CODE.match(text) or any(c in text for c in '"@=<>{}%$'):
        return False
    if is_title(text) or is_note(text) or _FUNCTION_WORD.search(text):
        return False
    cryptic = letters * 2 < len(text.replace(" ", "")) or (letters == 2 and not text.isalpha())
    return not cryptic or names_a_room(text)


def parse_number(text: str, *, thousands: bool) -> float:
    """A printed number; `thousands`: a lone separator before three digits parts thousands.

    >>> parse_number("1.234,50", thousands=False), parse_number("1,234", thousands=True)
    (1234.5, 1234.0)
    >>> parse_number("12,4", thousands=False), parse_number("12.345", thousands=False)
    (12.4, 12.345)
    """
    kept = re.sub(r"[ \u00a0'\u2019]", "", text)
    marks = [c for c in kept if c in ".,"]
    if not marks:
        return float(kept)
    decimal = marks[-1]
    tail = kept.rsplit(decimal, 1)[1]
    lone = len(set(marks)) == 1
    if (lone and len(marks) > 1) or (lone and thousands and len(tail) == 3):
        return float(kept.replace(decimal, ""))
    other = "," if decimal == "." else "."
    return float(kept.replace(other, "").replace(decimal, "."))


def _take_area(line: str) -> tuple[float | None, str]:
    found = _AREA.search(line)
    if found:
        imperial = found["f"] is not None
        value = parse_number(found["num"], thousands=imperial)
        value *= SQUARE_FOOT_M2 if imperial else 1.0
        return value, line[: found.start()] + " " + line[found.end() :]
    keyed = _KEYED_AREA.match(line)
    if keyed:
        return parse_number(keyed["num"], thousands=False), ""
    return None, line


def _take_size(line: str) -> tuple[tuple[float, float] | None, str]:
    feet = _SIZE_FEET.search(line)
    if feet:
        parts = feet.groups()
        size = (_feet(parts[:4]), _feet(parts[4:]))
        return size, line[: feet.start()] + " " + line[feet.end() :]
    for pattern, factor in ((_SIZE_METRES, 1000.0), (_SIZE_MM, 1.0)):
        found = pattern.search(line)
        if found:
            one, two = (parse_number(n, thousands=False) * factor for n in found.groups())
            return (one, two), line[: found.start()] + " " + line[found.end() :]
    return None, line


def _feet(parts: tuple[str | None, ...]) -> float:
    feet, inches, over, under = parts
    fraction = int(over) / int(under) if over and under and int(under) else 0.0
    return int(feet or 0) * FOOT_MM + (int(inches or 0) + fraction) * INCH_MM


def _unkey(line: str) -> tuple[str, str]:
    """Take a leading `key:` off; the second value is what the key says: name, number, drop or ""."""
    found = _KEY.match(line)
    if not found:
        return line, ""
    key = plain(found["key"]).strip(" .")
    if key in _NAME_KEYS:
        return found["rest"], "name"
    if key in _NUMBER_KEYS:
        return found["rest"], "number"
    if not found["rest"].strip() or not names_a_room(found["rest"]):
        return "", "drop"
    return found["rest"], "name"


def _is_number(text: str) -> bool:
    return bool(_NUMBER.match(text)) and not _DOOR_CODE.match(text) and not names_a_room(text)


def _split_number(text: str) -> tuple[str | None, str]:
    """A number before or after a name: `101 KITCHEN`, `Office 101`; `BEDROOM 2` is a name."""
    if _DOOR_CODE.match(text):
        return None, text
    for pattern in (_LEAD_NUMBER, _TAIL_NUMBER):
        found = pattern.match(text)
        if found and not _DOOR_CODE.match(found["n"]) and is_name(found["rest"]):
            return found["n"], found["rest"]
    return None, text
