"""Getting the geometry out of a DXF that ezdxf gives up on: what is sick is left out and told."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from ezdxf.document import Drawing as DxfDocument
from ezdxf.entities.dxfentity import DXFTagStorage
from ezdxf.entities.dxfgfx import DXFGraphic
from ezdxf.entities.factory import load as load_entity
from ezdxf.lldxf.const import DXFError, acad_release
from ezdxf.lldxf.extendedtags import ExtendedTags
from ezdxf.lldxf.tagger import ascii_tags_loader, tag_compiler
from ezdxf.lldxf.tags import Tags
from ezdxf.lldxf.validator import entity_structure_validator

from importer.dxf.mend import DRAWN, codes_of
from importer.dxf.rawtext import RawDxf, joined
from importer.plan import Finding, Origin, Severity

READER_FAULTS: Final = (
    DXFError,
    ArithmeticError,
    AssertionError,
    AttributeError,
    LookupError,
    RecursionError,
    StopIteration,
    TypeError,
    ValueError,
)
"""What ezdxf is seen to raise on damaged input; it checks structure, not every value."""

_FRAMEWORK: Final = frozenset({b"SECTION", b"ENDSEC", b"BLOCK", b"ENDBLK", b"EOF"})
_PARTS: Final = {b"POLYLINE": b"VERTEX", b"INSERT": b"ATTRIB"}
_ILLEGAL: Final = bytes.maketrans(b'<>/\\":;?*=`', b"___________")
_REMEDY: Final = "Check the picture of the plan against the drawing."


def with_sick_entities_left_out(raw: RawDxf) -> RawDxf:
    """Without the drawn entities that make ezdxf give up on the whole file, each told by kind, and
    without layer names that it refuses. Vertices and attributes that lost their owner go too.
    """
    lines = raw.body.split(b"\n")[:-1]
    kept: list[bytes] = []
    left_out: Counter[str] = Counter()
    owner = b""
    scratch = DxfDocument.new(raw.version if raw.version in acad_release else "AC1009")
    for kind, group, is_drawn in _entities(lines):
        expected = _PARTS.get(owner, b"")
        if owner and kind not in {expected, b"SEQEND"}:
            kept.extend((b"0", b"SEQEND"))
            owner = expected = b""
        is_part = kind in {b"VERTEX", b"SEQEND"} or kind == b"ATTRIB"
        if is_drawn and (
            (is_part and not owner)
            or (kind not in _FRAMEWORK and not _is_loadable(_renamed(group), raw.encoding, scratch))
        ):
            left_out[kind.decode("ascii", "replace")] += 1
            continue
        kept.extend(_renamed(group) if is_drawn else group)
        if is_drawn and _has_parts(kind, group):
            owner = kind
        elif kind == b"SEQEND":
            owner = b""
    if not left_out and len(kept) == len(lines):
        return replace(raw, body=joined(kept))
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(left_out.items()))
    what = f"entities that are damaged beyond reading are left out: {kinds or 'parts of them'}."
    return _told(replace(raw, body=joined(kept)), "IMP-115", what)


def _told(raw: RawDxf, code: str, what: str) -> RawDxf:
    finding = Finding(
        code=code,
        severity=Severity.SETTLE,
        what=what,
        where=Origin(file=raw.file),
        remedy=_REMEDY,
    )
    return replace(raw, findings=(*raw.findings, finding))


def _entities(lines: list[bytes]) -> Iterator[tuple[bytes, list[bytes], bool]]:
    """Kind and lines of each run of pairs that starts with a 0, and whether it is drawn."""
    section = b""
    for start, stop in _groups(lines):
        kind = lines[start + 1].strip()
        if kind == b"SECTION" and stop > start + 2:
            section = lines[start + 3].strip().upper()
        yield kind, lines[start:stop], section in DRAWN and kind != b"SECTION"


def _has_parts(kind: bytes, group: Sequence[bytes]) -> bool:
    """A POLYLINE always has vertices to follow, an INSERT attributes when its flag 66 says so."""
    if kind == b"INSERT":
        codes = zip(group[0::2], group[1::2], strict=True)
        return any(int(code) == 66 and value.strip() == b"1" for code, value in codes)
    return kind == b"POLYLINE"


def _renamed(group: list[bytes]) -> list[bytes]:
    """The entity with a layer name that ezdxf accepts."""
    out = list(group)
    for at, code in codes_of(out):
        if code == 8:
            out[at] = out[at].translate(_ILLEGAL) if out[at].strip() else b"0"
    return out


def with_geometry_only(raw: RawDxf, *, tables: bool) -> RawDxf:
    """Header reduced to what is known of it, blocks and entities, and `tables` when wanted."""
    lines = raw.body.split(b"\n")[:-1]
    wanted = DRAWN | {b"TABLES"} if tables else DRAWN
    kept = _header(raw)
    section = b""
    for kind, group, _ in _entities(lines):
        if kind == b"SECTION" and len(group) > 3:
            section = group[3].strip().upper()
        if section in wanted:
            kept.extend(group)
        if kind == b"ENDSEC":
            section = b""
    kept.extend((b"0", b"EOF"))
    what = "the header or the objects of the file are damaged; only what is drawn was read."
    if not tables:
        what = "all but the drawn part of the file is damaged; layers that are hidden may show."
    return _told(replace(raw, body=joined(kept)), "IMP-106", what)


def _header(raw: RawDxf) -> list[bytes]:
    head = [b"0", b"SECTION", b"2", b"HEADER", b"9", b"$ACADVER", b"1", raw.version.encode()]
    return [*head, b"0", b"ENDSEC"]


def _groups(lines: list[bytes]) -> Iterator[tuple[int, int]]:
    """First and last index of each run of pairs that starts with a 0: an entity or a mark."""
    starts = [at - 1 for at, code in codes_of(lines) if code == 0]
    return zip(starts, [*starts[1:], len(lines)], strict=True)


def _is_loadable(group: list[bytes], encoding: str, scratch: DxfDocument) -> bool:
    text = joined(group).decode(encoding, "surrogateescape")
    try:
        tags = Tags(tag_compiler(ascii_tags_loader(io.StringIO(text))))
        Tags(entity_structure_validator(tags))
        entity = load_entity(ExtendedTags(tags), scratch)
    except READER_FAULTS:
        return False
    return isinstance(entity, (DXFGraphic, DXFTagStorage))
