"""Text to the bytes of a DXF file, whatever its code page."""

from __future__ import annotations


def encoded(text: str, encoding: str) -> bytes:
    r"""The text in an encoding; characters beyond it as DXF escapes, `\U+` and four digits for each
    UTF-16 unit, never as question marks. Bytes that reading could not decode (surrogate escapes) come
    out as they were.

    >>> encoded("K\u00fcche", "ascii"), encoded("K\u00fcche", "cp1252")
    (b'K\\U+00FCche', b'K\xfcche')
    """
    try:
        return text.encode(encoding, "surrogateescape")
    except UnicodeEncodeError:
        return b"".join(_one(char, encoding) for char in text)


def _one(char: str, encoding: str) -> bytes:
    try:
        return char.encode(encoding, "surrogateescape")
    except UnicodeEncodeError:
        units = char.encode("utf-16-be", "replace")
        return b"".join(
            b"\\U+%04X" % int.from_bytes(units[k : k + 2], "big") for k in range(0, len(units), 2)
        )
