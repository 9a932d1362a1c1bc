"""The walk through modelspace and blocks. Each block is flattened once, in its own coordinates and
with everything nested in it, and then placed by one matrix per reference.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final

from ezdxf.document import Drawing as DxfDocument
from ezdxf.dynblkhelper import get_dynamic_block_record_handle
from ezdxf.entities.dxfentity import DXFEntity, DXFTagStorage
from ezdxf.entities.insert import Insert
from ezdxf.layouts.blocklayout import BlockLayout

from importer.dxf.clips import UnclearClipError, cropped, window_of
from importer.dxf.lettering import draw_attribute, draw_mtext, draw_text
from importer.dxf.salvage import READER_FAULTS
from importer.dxf.shapes import Affine, InsertRow, Shapes, Sheet, SourceRow
from importer.dxf.strokes import (
    DRAW,
    Attributes,
    DamagedError,
    check_numbers,
    level_of,
    plane_of,
)
from importer.dxf.tally import ANNOTATION, SILENT, Tally
from importer.dxf.texts import decoded
from importer.dxf.visibility import ZERO, LayerTable, layer_table

MAX_DEPTH: Final = 40
"""Blocks nested deeper than this come from a damaged or hostile file, no draughtsman does it."""

MAX_COPIES: Final = 10_000
"""Copies that one reference may make by rows and columns."""

MAX_WEIGHT: Final = 6_000_000
"""Strokes, points and sources that are placed in all, at every level of nesting; about 1 GB of
memory. Real plans stay below a tenth of it."""

_DRAW: Final = {**DRAW, "TEXT": draw_text, "MTEXT": draw_mtext}
_ATTRIBUTE_HIDDEN: Final = 1
_XREF: Final = 4 | 8


@dataclass(slots=True)
class Walk:
    """State of one flattening: what is hidden, what was counted, the blocks done so far."""

    document: DxfDocument
    layers: LayerTable
    tally: Tally = field(default_factory=Tally)
    _blocks: dict[str, Shapes | None] = field(default_factory=dict)
    _names: dict[str, str] = field(default_factory=dict)
    _open: list[str] = field(default_factory=lambda: ["*model_space"])
    _spent: int = 0

    def modelspace(self) -> Shapes:
        """Everything that is drawn in modelspace."""
        return self._drawn(self.document.modelspace(), top=True)

    def _drawn(self, entities: Iterable[DXFEntity], *, top: bool) -> Shapes:
        sheet = Sheet()
        for entity in entities:
            self._add(sheet, entity, top=top)
        return sheet.finished()

    def _add(self, sheet: Sheet, entity: DXFEntity, *, top: bool) -> None:
        kind = entity.dxftype()
        values: Attributes = entity.dxf.__dict__
        if isinstance(entity, DXFTagStorage):
            values = _stored_values(entity)
        layer = self.layers.name(str(values.get("layer", ZERO)))
        if values.get("invisible"):
            self.tally.invisible += 1
            return
        # Layer 0 inside a block is that of the reference: only that decides.
        is_hidden = self.layers.is_hidden(layer) and (top or layer != ZERO)
        if is_hidden and (kind != "INSERT" or self.layers.is_frozen(layer)):
            self.tally.hidden[layer] += 1
            return
        row = SourceRow(
            kind,
            layer,
            int(values.get("color", 256)),
            str(values.get("handle") or "") if top else "",
            level=level_of(kind, values),
        )
        try:
            self._draw(sheet, entity, row)
        except DamagedError as fault:
            self._damaged(values, row, str(fault))
        except READER_FAULTS:
            self._damaged(values, row, "it could not be understood")

    def _damaged(self, values: Attributes, row: SourceRow, reason: str) -> None:
        handle = str(values.get("handle") or "?")
        self.tally.damaged[handle] = (row.kind, row.layer, reason)

    def _draw(self, sheet: Sheet, entity: DXFEntity, row: SourceRow) -> None:
        draw = _DRAW.get(row.kind)
        if draw is not None:
            draw(sheet, entity, entity.dxf.__dict__, sheet.source(row))
        elif row.kind == "INSERT" and isinstance(entity, Insert):
            self._insert(sheet, entity, row)
        elif not self._draw_parts(sheet, entity, row):
            self.tally.leave_out(row.kind, row.layer)

    def _draw_parts(self, sheet: Sheet, entity: DXFEntity, row: SourceRow) -> bool:
        """Multilines, and foreign objects that carry a picture of themselves; False if nothing."""
        has_parts = row.kind == "MLINE" or bool(entity.proxy_graphic)
        if not has_parts or row.kind in ANNOTATION or row.kind in SILENT:
            return False
        parts = [
            part
            for part in entity.__virtual_entities__()  # type: ignore[attr-defined]
            if part.dxftype() in _DRAW
        ]
        if parts:
            source = sheet.source(row)
            for part in parts:
                _DRAW[part.dxftype()](sheet, part, part.dxf.__dict__, source)
        return bool(parts)

    # --- blocks --------------------------------------------------------------------------------

    def _insert(self, sheet: Sheet, entity: Insert, row: SourceRow) -> None:
        values = entity.dxf.__dict__
        name = str(values.get("name", ""))
        layout = self.document.blocks.get(name)
        shapes = self._block(name, layout)
        true_name = self._true_name(name, layout)
        source = sheet.source(row)
        if shapes is not None and self.layers.is_off(row.layer):
            shapes = shapes.without_layer(ZERO)
        if shapes is not None:
            shapes = self._cropped(shapes, entity, true_name)
        first = len(sheet.inserts)
        if shapes is not None and layout is not None:
            self._place_all(sheet, shapes, values, layout, (true_name, source, row))
        insert = first if len(sheet.inserts) > first else row.insert
        self._attributes(sheet, entity, (true_name, insert, row))

    def _cropped(self, shapes: Shapes, entity: Insert, name: str) -> Shapes:
        try:
            window = window_of(entity)
        except UnclearClipError:
            self.tally.clipped[name] += 1
            return shapes
        return shapes if window is None else cropped(shapes, window)

    def _place_all(
        self,
        sheet: Sheet,
        shapes: Shapes,
        values: Attributes,
        layout: BlockLayout,
        reference: tuple[str, int, SourceRow],
    ) -> None:
        name, source, row = reference
        for matrix, (x, y) in self._placements(name, values, layout):
            if self._spent + shapes.weight > MAX_WEIGHT:
                self.tally.curtailed[name] = "with all its copies there are too many strokes."
                return
            self._spent += shapes.weight
            insert = InsertRow(name, x, y, matrix[:6], source, len(row.blocks))
            sheet.place(shapes, matrix, insert, row)

    def _placements(
        self, name: str, values: Attributes, layout: BlockLayout
    ) -> Iterator[tuple[Affine, tuple[float, float]]]:
        """One matrix for each copy in rows and columns, and the point where it stands."""
        at, base = values["insert"], layout.block.dxf.get("base_point")  # type: ignore[union-attr]
        scale = [float(values.get(key, 1.0)) for key in ("xscale", "yscale", "zscale")]
        angle = math.radians(float(values.get("rotation", 0.0)))
        check_numbers(at.x, at.y, at.z, angle, *scale)
        if base is not None:
            check_numbers(base.x, base.y, base.z)
        if scale[0] == 0 or scale[1] == 0:
            raise DamagedError("its scale is zero")
        across, along = math.cos(angle), math.sin(angle)
        spread = Affine(
            across * scale[0], along * scale[0], -along * scale[1], across * scale[1], 0.0, 0.0
        )
        back = spread.point(-base.x, -base.y) if base is not None else (0.0, 0.0)
        plane = plane_of(values, at.z)
        for column, row in self._copies(name, values):
            x = at.x + column * across - row * along
            y = at.y + column * along + row * across
            rise, level = scale[2], at.z - (base.z * scale[2] if base is not None else 0.0)
            matrix = spread._replace(tx=back[0] + x, ty=back[1] + y, rise=rise, tz=level)
            place = (x, y)
            if plane is not None:
                matrix, place = plane.after(matrix), plane.point(x, y)
            yield matrix, place

    def _copies(self, name: str, values: Attributes) -> Iterator[tuple[float, float]]:
        """Offsets of the copies along and across the reference; a count of 0 means 1."""
        columns = max(int(values.get("column_count", 1)), 1)
        rows = max(int(values.get("row_count", 1)), 1)
        wide, tall = float(values.get("column_spacing", 0.0)), float(values.get("row_spacing", 0.0))
        check_numbers(wide, tall)
        if columns * rows > MAX_COPIES:
            self.tally.curtailed[name] = f"{columns} x {rows} copies; {MAX_COPIES} are drawn."
        for index in range(min(columns * rows, MAX_COPIES)):
            row, column = divmod(index, columns)
            yield column * wide, row * tall

    def _block(self, name: str, layout: BlockLayout | None) -> Shapes | None:
        """Content of a block, or None where there is none to be had; the reason is counted."""
        if layout is None:
            self.tally.undefined[decoded(name)] += 1
            return None
        key = layout.name.casefold()
        if key in self._open:
            self.tally.cycles[decoded(name)] += 1
            return None
        if key not in self._blocks:
            if len(self._open) > MAX_DEPTH:
                self.tally.curtailed[decoded(name)] = f"nested deeper than {MAX_DEPTH} blocks."
                return None
            self._open.append(key)
            self._blocks[key] = self._content(layout)
            self._open.pop()
        return self._blocks[key]

    def _content(self, layout: BlockLayout) -> Shapes | None:
        head = layout.block
        if head is not None and int(head.dxf.get("flags", 0)) & _XREF and not len(layout):
            path = str(head.dxf.get("xref_path", ""))
            self.tally.xrefs[decoded(layout.name)] = decoded(path)
            return None
        return self._drawn(layout, top=False)

    def _true_name(self, name: str, layout: BlockLayout | None) -> str:
        """Name that the draughtsman knows: a changed dynamic block stands as an anonymous copy."""
        known = self._names.get(name)
        if known is None:
            known = name
            if layout is not None and name.startswith("*"):
                handle = get_dynamic_block_record_handle(layout.block_record)
                record = self.document.entitydb.get(handle) if handle else None
                if record is not None and record.dxftype() == "BLOCK_RECORD":
                    known = str(record.dxf.name)
            known = self._names[name] = decoded(known)
        return known

    def _attributes(
        self, sheet: Sheet, entity: Insert, reference: tuple[str, int, SourceRow]
    ) -> None:
        name, insert, row = reference
        for attribute in entity.attribs:
            values = attribute.dxf.__dict__
            layer = self.layers.name(str(values.get("layer", ZERO)))
            if int(values.get("flags", 0)) & _ATTRIBUTE_HIDDEN or values.get("invisible"):
                continue
            is_own = layer != ZERO or bool(row.handle)
            if is_own and self.layers.is_hidden(layer):
                continue
            own = row._replace(
                kind="ATTRIB", layer=layer, blocks=(*row.blocks, name), insert=insert
            )
            draw_attribute(sheet, attribute, sheet.source(own))


def _stored_values(entity: DXFTagStorage) -> Attributes:
    """Attributes of a kind that ezdxf only stores; release 12 keeps them in the first part."""
    shared = entity.graphic_properties()
    if not shared:
        shared = {"layer": entity.base_class.get_first_value(8, ZERO)}
    return {**entity.dxf.__dict__, **shared}


def walk(document: DxfDocument) -> tuple[Shapes, Tally]:
    """Modelspace flattened, and what was counted on the way."""
    state = Walk(document=document, layers=layer_table(document))
    return state.modelspace(), state.tally
