"""Our entities put into the architect's file, every other byte of it left as it is.

A CAD library that reads and writes a whole drawing drops what it does not know (previews, foreign
groups, default values written out) and stamps dates. So ours are exported alone and put at the ends
of the sections and tables; changed are only the head count of the tables, the next free handle, the
extents, the active view and the entry of our dictionary in the root dictionary.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from ezdxf.document import Drawing
from ezdxf.entities.dictionary import Dictionary
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.lldxf.const import DXF2007
from ezdxf.lldxf.tagwriter import TagWriter

from layout.writers.dxf.escapes import encoded
from layout.writers.dxf.tags import RawFile, RawRecord, RawTag

_REFERENCES = frozenset((*range(320, 370), *range(390, 400), 480, 481, 1005))
_OPTIONAL_REFERENCES = frozenset((347, 348, 390))
"""Material, visual style and plot style of a layer: left out where the drawing has no such object."""


class CannotSpliceError(Exception):
    """The file lacks a part that ours would have to be put into; it has to be written anew."""


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What the drawing shows when it is opened, and its extents, in drawing units."""

    centre: tuple[float, float]
    width: float
    height: float
    extents: tuple[float, float, float, float]


@dataclass(slots=True)
class _Edits:
    """Replacements of byte ranges, applied at the end in one go."""

    file: RawFile
    encoding: str
    edits: list[tuple[int, int, bytes]] = field(default_factory=list)

    def replace(self, start: int, end: int, text: str) -> None:
        raw = encoded(text, self.encoding)
        self.edits.append((start, end, raw.replace(b"\n", self.file.eol)))

    def insert(self, before: RawRecord, text: str) -> None:
        place = self.file.start_of(before)
        self.replace(place, place, text)

    def value(self, tag: RawTag, value: object) -> None:
        self.replace(tag.start, tag.end, f"{tag.code:3d}\n{value}\n")

    def applied(self) -> bytes:
        parts, place = [], 0
        for start, end, raw in sorted(self.edits, key=lambda e: (e[0], e[1])):
            parts += [self.file.data[place:start], raw]
            place = end
        return b"".join([*parts, self.file.data[place:]])


def splice(file: RawFile, doc: Drawing, before: frozenset[str], view: View) -> bytes:
    """The file with everything in `doc` whose handle is not in `before` added to it.

    Raises:
        CannotSpliceError: a section, table or referenced object is not in the file.
    """
    new = _new_parts(doc, before)
    known = set(file.handles) | {"0"} | new.handles
    # Before release 2007 the file has a code page, which it may state wrongly: escapes are safe.
    encoding = "utf-8" if doc.dxfversion >= DXF2007 else "ascii"
    edits = _Edits(file=file, encoding=encoding)
    for name, entries in new.tables.items():
        if entries:
            _add_to_table(edits, name, entries, known, doc.dxfversion)
    # Ahead of the sections: a dictionary may be the last object, and what is put in first stands first.
    _add_to_dictionaries(edits, doc, before)
    _link_layouts(edits, doc, before)
    for section, text in (
        ("BLOCKS", new.blocks),
        ("ENTITIES", _export(new.entities, doc.dxfversion)),
        ("OBJECTS", _export(new.objects, doc.dxfversion)),
    ):
        if text:
            _check_references(text, known)
            edits.insert(_end(file, section), text)
    _patch_header(edits, doc, view)
    _patch_views(edits, view)
    return edits.applied()


@dataclass(frozen=True, slots=True, kw_only=True)
class _NewParts:
    tables: Mapping[str, list[DXFEntity]]
    blocks: str
    entities: list[DXFEntity]
    objects: list[DXFEntity]
    handles: frozenset[str]


def _new_parts(doc: Drawing, before: frozenset[str]) -> _NewParts:
    def fresh(entities: Iterable[DXFEntity]) -> list[DXFEntity]:
        return [e for e in entities if e.is_alive and e.dxf.handle not in before]

    tables: dict[str, list[DXFEntity]] = {
        "LTYPE": fresh(doc.linetypes),
        "LAYER": fresh(doc.layers),
        "STYLE": fresh(doc.styles),
        "APPID": fresh(doc.appids),
        "DIMSTYLE": fresh(doc.dimstyles),
        "BLOCK_RECORD": fresh(doc.block_records),
    }
    for table in (
        doc.linetypes,
        doc.layers,
        doc.styles,
        doc.appids,
        doc.dimstyles,
        doc.block_records,
    ):
        table.update_owner_handles()
    stream = io.StringIO()
    writer = TagWriter(stream, dxfversion=doc.dxfversion)
    for record in tables["BLOCK_RECORD"]:
        record.export_block_definition(writer)  # type: ignore[attr-defined]  # a BlockRecord
    handles = frozenset(h for h in doc.entitydb if h not in before)
    return _NewParts(
        tables=tables,
        blocks=stream.getvalue(),
        entities=fresh(doc.modelspace()),
        objects=fresh(doc.objects),
        handles=handles,
    )


def _export(entities: Iterable[DXFEntity], dxfversion: str) -> str:
    stream = io.StringIO()
    writer = TagWriter(stream, dxfversion=dxfversion)
    for entity in entities:
        entity.export_dxf(writer)
    return stream.getvalue()


def _pairs(text: str) -> Iterator[tuple[int, str]]:
    lines = text.split("\n")
    for k in range(0, len(lines) - 1, 2):
        yield int(lines[k]), lines[k + 1]


def _check_references(text: str, known: set[str]) -> None:
    for code, value in _pairs(text):
        if code in _REFERENCES and value.strip().upper() not in known:
            raise CannotSpliceError(f"reference {value} of group {code} is not in the file")


def _end(file: RawFile, section: str) -> RawRecord:
    end = file.end_of(section)
    if end is None:
        raise CannotSpliceError(f"no section {section}")
    return end


def _add_to_table(
    edits: _Edits, name: str, entries: list[DXFEntity], known: set[str], dxfversion: str
) -> None:
    records = list(edits.file.in_section("TABLES"))
    head = next(
        (r for r in records if r.kind == "TABLE" and _table_name(edits.file, r) == name), None
    )
    if head is None:
        raise CannotSpliceError(f"no table {name}")
    end = next((r for r in records if r.kind == "ENDTAB" and r.first > head.first), None)
    if end is None:
        raise CannotSpliceError(f"table {name} has no end")
    pairs = [
        (code, value)
        for code, value in _pairs(_export(entries, dxfversion))
        if code not in _OPTIONAL_REFERENCES or value.strip().upper() in known
    ]
    text = "".join(f"{code:3d}\n{value}\n" for code, value in pairs)
    _check_references(text, known)
    edits.insert(end, text)
    count = next((t for t in edits.file.tags_of(head) if t.code == 70), None)
    if count is not None and count.value.strip().isdigit():
        edits.value(count, int(count.value) + len(entries))


def _table_name(file: RawFile, head: RawRecord) -> str:
    name = next((t.value for t in file.tags_of(head) if t.code == 2), b"")
    return name.strip().decode("ascii", "replace").upper()


def _add_to_dictionaries(edits: _Edits, doc: Drawing, before: frozenset[str]) -> None:
    """New entries of dictionaries that were there before."""
    records = {r.handle: r for r in edits.file.in_section("OBJECTS") if r.kind == "DICTIONARY"}
    for dictionary in doc.objects:
        if not isinstance(dictionary, Dictionary) or dictionary.dxf.handle not in before:
            continue
        added = [
            (key, entry.dxf.handle)
            for key, entry in dictionary.items()  # type: ignore[no-untyped-call]
            if isinstance(entry, DXFEntity) and entry.dxf.handle not in before
        ]
        if not added:
            continue
        record = records.get(dictionary.dxf.handle.upper())
        if record is None:
            raise CannotSpliceError("no root dictionary")
        tags = edits.file.tags_of(record)
        place = next((t.start for t in tags if t.code >= 1000), tags[-1].end)
        edits.replace(place, place, "".join(f"  3\n{k}\n350\n{h}\n" for k, h in added))


def _link_layouts(edits: _Edits, doc: Drawing, before: frozenset[str]) -> None:
    """Block records that were there before and now have a layout learn which."""
    records = {r.handle: r for r in edits.file.in_section("TABLES") if r.kind == "BLOCK_RECORD"}
    for layout in doc.layouts:
        own, block = layout.dxf_layout.dxf.handle, layout.block_record_handle
        if own in before or block not in before:
            continue
        record = records.get(block.upper())
        if record is None:
            raise CannotSpliceError(f"no block record {block}")
        tags = edits.file.tags_of(record)
        link = next((t for t in tags if t.code == 340), None)
        name = next((t for t in tags if t.code == 2), tags[-1])
        if link is not None:
            edits.value(link, own)
        else:
            edits.replace(name.end, name.end, f"340\n{own}\n")


def _patch_header(edits: _Edits, doc: Drawing, view: View) -> None:
    file = edits.file
    end = _end(file, "HEADER")
    section = next(r for r in file.records if r.section == "HEADER")
    tags = [file.groups.tag(k) for k in range(section.first, end.first)]
    x0, y0, x1, y1 = view.extents
    wanted = {
        b"$EXTMIN": f" 10\n{x0}\n 20\n{y0}\n 30\n0.0\n",
        b"$EXTMAX": f" 10\n{x1}\n 20\n{y1}\n 30\n0.0\n",
        b"$HANDSEED": f"  5\n{doc.entitydb.handles}\n",
    }
    names = [(k, t.value.strip()) for k, t in enumerate(tags) if t.code == 9]
    spans = {
        name: (tags[k].end, tags[names[n + 1][0]].start if n + 1 < len(names) else tags[-1].end)
        for n, (k, name) in enumerate(names)
    }
    for name, text in wanted.items():
        if name in spans:
            edits.replace(*spans[name], text)
        else:
            edits.insert(end, f"  9\n{name.decode()}\n{text}")


def _patch_views(edits: _Edits, view: View) -> None:
    """Every active viewport configuration looks from above at the whole of the marked drawing."""
    for record in edits.file.in_section("TABLES"):
        tags = edits.file.tags_of(record)
        if record.kind != "VPORT" or not any(
            t.code == 2 and t.value.strip().upper() == b"*ACTIVE" for t in tags
        ):
            continue
        aspect = next((_number(t.value) for t in tags if t.code == 41), 0.0) or 1.0
        values = {
            12: view.centre[0],
            22: view.centre[1],
            40: max(view.height, view.width / aspect),
            16: 0.0,
            26: 0.0,
            36: 1.0,
            17: 0.0,
            27: 0.0,
            37: 0.0,
            51: 0.0,
        }
        for tag in tags:
            if tag.code in values:
                edits.value(tag, values.pop(tag.code))


def _number(value: bytes) -> float:
    try:
        return float(value)
    except ValueError:
        return 0.0
