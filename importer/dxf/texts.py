"""Texts as they read: formatting codes taken out, and where their middle is."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from typing import Final

CHARACTER_WIDTH: Final = 0.7
"""Of the height, for an average character of the usual lettering; an estimate by its nature."""

WIDE_CHARACTER: Final = 1.0
LINE_PITCH: Final = 5 / 3
"""Distance of MTEXT baselines over the height at single spacing (DXF reference, MTEXT group 44)."""

_UNICODE: Final = re.compile(r"\\U\+([0-9A-Fa-f]{4,6})")
_MULTIBYTE: Final = re.compile(r"\\M\+([1-5])([0-9A-Fa-f]{4})")
_CODE_PAGES: Final = {"1": "cp932", "2": "big5", "3": "cp949", "4": "johab", "5": "gbk"}
_PERCENT: Final = re.compile(r"%%(\d{3}|[%a-zA-Z])")
_SIGNS: Final = {"c": "Ø", "d": "°", "p": "±", "%": "%"}
_TOGGLES: Final = frozenset("uok")


def decoded(text: str) -> str:
    r"""A string of any DXF entity with `\U+XXXX` and `\M+nXXXX` resolved and bytes that fitted no
    encoding shown as western letters. What cannot be resolved stays as it is.
    """
    if "\\" in text:
        text = _UNICODE.sub(_unicode_sign, text)
        text = _MULTIBYTE.sub(_multibyte_sign, text)
    if text.isascii():
        return text
    return "".join(_legible(char) if "\ud800" <= char <= "\udfff" else char for char in text)


def _legible(surrogate: str) -> str:
    number = ord(surrogate) - 0xDC00
    if 0x80 <= number <= 0xFF:
        return bytes([number]).decode("cp1252", "replace")
    return "\N{REPLACEMENT CHARACTER}"


def _unicode_sign(match: re.Match[str]) -> str:
    number = int(match[1][:4], 16)
    rest = match[1][4:]
    if 0xD800 <= number <= 0xDFFF:
        return match[0]
    return chr(number) + rest


def _multibyte_sign(match: re.Match[str]) -> str:
    try:
        return bytes.fromhex(match[2]).decode(_CODE_PAGES[match[1]])
    except UnicodeDecodeError:
        return match[0]


def plain_text(text: str) -> str:
    """What a TEXT, ATTRIB or ATTDEF reads like: percent codes and control codes resolved."""
    text = _PERCENT.sub(_percent_sign, decoded(text))
    return _tidy(_without_carets(text))


def _percent_sign(match: re.Match[str]) -> str:
    code = match[1].lower()
    if code in _TOGGLES:
        return ""
    if code in _SIGNS:
        return _SIGNS[code]
    if code.isdigit() and 32 <= int(code) < 256:
        return bytes([int(code)]).decode("cp1252", "replace")
    return match[0]


def _without_carets(text: str) -> str:
    """Control characters are written ^I (tab), ^J (new line), ^M (nothing); '^ ' is the caret."""
    if "^" not in text:
        return text
    for code, sign in (("^J", "\n"), ("^M", ""), ("^I", " "), ("^ ", "^")):
        text = text.replace(code, sign)
    return text


def _tidy(text: str) -> str:
    text = "".join(c for c in text if c in "\n\t" or not unicodedata.category(c).startswith("C"))
    lines = (" ".join(line.split()) for line in text.split("\n"))
    return "\n".join(line for line in lines if line)


# --- MTEXT -------------------------------------------------------------------------------------

_MTEXT_CODE: Final = re.compile(
    r"""\\(?:
        (?P<literal>[\\{}])
      | (?P<space>~)
      | (?P<break>[PXN])
      | (?P<toggle>[LlOoKk])
      | S(?P<stack>(?:[^;\\]|\\.)*);?
      | (?P<value>[AaCcFfHhQqTtWwp])[^;\\{}]*;
    )""",
    re.VERBOSE,
)
_LITERALS: Final = {"{": "\ue000", "}": "\ue001", "\\": "\ue002"}
"""Stand-ins (private use characters) that let literal braces survive the grouping ones."""

_WITHOUT_GROUPS: Final = str.maketrans(
    {"{": "", "}": "", **{standin: char for char, standin in _LITERALS.items()}}
)
_PARAGRAPH: Final = re.compile(r"\^J|\n")


def plain_mtext(text: str) -> str:
    r"""What an MTEXT reads like: lines by newlines, fonts, heights and colours taken out, stacked
    parts written on one line (`\S2^ ;` is 2, `\S1/2;` is 1/2). An unknown code stays as it is.
    """
    text = decoded(text)
    text = _MTEXT_CODE.sub(_mtext_sign, _PARAGRAPH.sub("\\\\P", text))
    text = text.translate(_WITHOUT_GROUPS)
    text = _PERCENT.sub(_percent_sign, text)
    return _tidy(_without_carets(text))


def _mtext_sign(match: re.Match[str]) -> str:
    kind = match.lastgroup
    if kind == "literal":
        return _LITERALS[match["literal"]]
    if kind == "space":
        return " "
    if kind == "break":
        return "\n"
    if kind == "stack":
        return _stacked(match["stack"])
    return ""


def _stacked(body: str) -> str:
    """`1/2` and `1#2` are fractions, `a^b` stands a over b; an empty half leaves the other one."""
    body = body.replace("^ ", "^").replace("\\", "")
    for sign, between in (("#", "/"), ("/", "/"), ("^", " ")):
        if sign in body:
            upper, lower = body.split(sign, 1)
            upper, lower = upper.strip(), lower.strip()
            return f"{upper}{between}{lower}" if upper and lower else upper or lower
    return body


# --- where a text stands -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class TextBox:
    """How a text hangs on its point: shares of width and height from the point to the middle of
    the box, in the direction of the text (0.5, 0.5: the point is the lower left corner).
    """

    right: float
    up: float


def text_width(line: str, height: float) -> float:
    """Estimated width of one line."""
    wide = sum(1 for char in line if unicodedata.east_asian_width(char) in "WF")
    return height * (CHARACTER_WIDTH * (len(line) - wide) + WIDE_CHARACTER * wide)


def wrapped(text: str, height: float, limit: float) -> tuple[int, float]:
    """Number of lines and width of the widest, when lines break at `limit` (0: they do not)."""
    lines = 0
    widest = 0.0
    for line in text.split("\n"):
        width = text_width(line, height)
        lines += max(1, math.ceil(width / limit)) if limit > 0 else 1
        widest = max(widest, min(width, limit) if limit > 0 else width)
    return lines, widest


_HORIZONTAL: Final = {0: 0.5, 1: 0.0, 2: -0.5, 3: 0.0, 4: 0.0, 5: 0.0}
_VERTICAL: Final = {0: 0.5, 1: 0.5, 2: 0.0, 3: -0.5}


def text_box(halign: int, valign: int) -> TextBox:
    """How a TEXT hangs on its point; 4 across is "middle", which is so in both directions."""
    up = 0.0 if halign == 4 else _VERTICAL.get(valign, 0.5)
    return TextBox(right=_HORIZONTAL.get(halign, 0.5), up=up)


def mtext_box(attachment: int) -> TextBox:
    """How an MTEXT hangs on its point: 1 top left, 2 top centre ... 9 bottom right."""
    if not 1 <= attachment <= 9:
        attachment = 1
    row, column = divmod(attachment - 1, 3)
    return TextBox(right=0.5 - 0.5 * column, up=-0.5 + 0.5 * row)
