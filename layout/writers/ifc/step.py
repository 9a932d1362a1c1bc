r"""Statements of a model as text (ISO 10303-21): numbered, escaped, the same every time.

>>> written((1e-05, 1200.0, -0.25))
'(1.E-05,1200.,-0.25)'
>>> text = Statements(first=10)
>>> point = text.add("IFCCARTESIANPOINT", (0.0, 2.5))
>>> text.add("IFCWALL", "O'Hara \\ Süd", None, Word("ELEMENT"), point)
11
>>> print("\n".join(text.lines))
#10=IFCCARTESIANPOINT((0.,2.5));
#11=IFCWALL('O''Hara \\ S\X2\00FC\X0\d',$,.ELEMENT.,#10);
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Mapping
from typing import Final, NamedTuple, TypeAlias

_END: Final = re.compile(rb"ENDSEC\s*;", re.IGNORECASE)
_STATEMENT: Final = re.compile(
    rb"/\*.*?\*/|#(\d+)\s*=(?:/\*.*?\*/|'(?:[^']|'')*'|[^';])*;[ \t]*\r?\n?", re.DOTALL
)
_OUTSIDE: Final = re.compile(r"[^\x20-\x7e]+")
_HEAD: Final = 1 << 16


class Ref(int):
    """A reference to a statement by its number."""

    __slots__ = ()


class Word(str):
    """A value of an enumeration."""

    __slots__ = ()


class Typed(NamedTuple):
    """A value with the name of its type, as a select wants it."""

    kind: str
    value: str | float


Value: TypeAlias = "bool | float | str | Typed | tuple[Value, ...] | None"
"""Whole numbers, references and words of enumerations are among them."""


class Statements:
    """Statements in the order in which they are added, numbered from `first`."""

    def __init__(self, first: int) -> None:
        self._next = first
        self.lines: list[str] = []

    def add(self, kind: str, *values: Value) -> Ref:
        """Write an instance of a class; its reference."""
        ref = Ref(self._next)
        self._next += 1
        self.lines.append(f"#{ref}={kind}({','.join(map(written, values))});")
        return ref


def written(value: Value) -> str:
    """A value as the format has it."""
    for kinds, write in _WRITERS:
        if isinstance(value, kinds):
            return write(value)
    msg = f"no value of a statement: {value!r}"
    raise TypeError(msg)


def _real(value: float) -> str:
    mantissa, mark, exponent = repr(float(value) + 0.0).upper().partition("E")
    whole, _, rest = mantissa.partition(".")
    return f"{whole}.{rest.rstrip('0')}{mark}{exponent}"


def _string(text: str) -> str:
    plain = text.replace("\\", "\\\\").replace("'", "''")
    return f"'{_OUTSIDE.sub(_escaped, plain)}'"


def _escaped(found: re.Match[str]) -> str:
    """Letters outside ASCII: two bytes each, or four where one of them needs them."""
    letters = found.group().encode("utf-16-be", "replace").decode("utf-16-be")
    if any(ord(c) > 0xFFFF for c in letters):
        return f"\\X4\\{letters.encode('utf-32-be').hex().upper()}\\X0\\"
    return f"\\X2\\{letters.encode('utf-16-be').hex().upper()}\\X0\\"


_WRITERS: Final[tuple[tuple[type | tuple[type, ...], Callable[..., str]], ...]] = (
    (type(None), lambda _: "$"),
    (bool, lambda v: ".T." if v else ".F."),
    (Ref, lambda v: f"#{int(v)}"),
    (int, str),
    (float, _real),
    (Word, lambda v: f".{v}."),
    (str, _string),
    (Typed, lambda v: f"{v.kind}({written(v.value)})"),
    (tuple, lambda v: f"({','.join(map(written, v))})"),
)
"""How values are written; the first kind that fits counts."""


# --- into the text of a model -------------------------------------------------------------------


def without(data: bytes, gone: Collection[int], changed: Mapping[int, str]) -> bytes:
    """The text without some statements, and with others in place of some; the rest byte for byte.

    Args:
        data: text of a model.
        gone: numbers of statements to take out, each with the end of its line.
        changed: statements by number as they are to read, without their semicolon.
    """
    if not gone and not changed:
        return data

    def kept(found: re.Match[bytes]) -> bytes:
        number = int(found.group(1)) if found.group(1) else -1
        if number in gone:
            return b""
        if number in changed:
            whole = found.group()
            return changed[number].encode("ascii") + b";" + whole[len(whole.rstrip()) :]
        return found.group()

    return _STATEMENT.sub(kept, data)


def appended(data: bytes, lines: Collection[str]) -> bytes:
    """The text with statements after its last one, in the file's own manner of ending lines.

    Raises:
        ValueError: the text has no end of its data.
    """
    ends = [end.start() for end in _END.finditer(data, max(0, len(data) - _HEAD))]
    if not ends:
        msg = "no end of the data section"
        raise ValueError(msg)
    line_end = b"\r\n" if b"\r\n" in data[:_HEAD] else b"\n"
    head, tail = data[: ends[-1]], data[ends[-1] :]
    between = b"" if head.endswith((b"\n", b"\r")) or not lines else line_end
    block = b"".join(line.encode("ascii") + line_end for line in lines)
    return head + between + block + tail
