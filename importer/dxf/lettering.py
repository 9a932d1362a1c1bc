"""TEXT, ATTRIB and MTEXT to texts on a sheet: what they read and where their middle is."""

from __future__ import annotations

import math

from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.entities.mtext import MText

from importer.dxf.shapes import Affine, Sheet, TextRow
from importer.dxf.strokes import Attributes, DamagedError, check_numbers, plane_of
from importer.dxf.texts import (
    LINE_PITCH,
    TextBox,
    mtext_box,
    plain_mtext,
    plain_text,
    text_box,
    text_width,
    wrapped,
)

_BACKWARD = 2
_UPSIDE_DOWN = 4


def draw_text(sheet: Sheet, _: DXFEntity, values: Attributes, source: int) -> None:
    """TEXT."""
    add_text(sheet, values, source, tag=None)


def draw_mtext(sheet: Sheet, entity: DXFEntity, _: Attributes, source: int) -> None:
    """MTEXT."""
    if isinstance(entity, MText):
        _add_mtext(sheet, entity, source, tag=None)


def draw_attribute(sheet: Sheet, entity: DXFEntity, source: int) -> None:
    """ATTRIB of a block reference, in one line or with an MTEXT of its own."""
    values = entity.dxf.__dict__
    tag = str(values.get("tag", "")).strip().upper()
    if getattr(entity, "has_embedded_mtext_entity", False):
        _add_mtext(sheet, entity.virtual_mtext_entity(), source, tag=tag)  # type: ignore[attr-defined]
    else:
        add_text(sheet, values, source, tag=tag)


def add_text(sheet: Sheet, values: Attributes, source: int, *, tag: str | None) -> None:
    """A text in one line, hung on its insertion or alignment point."""
    text = plain_text(str(values.get("text", "")))
    if not text:
        return
    height = abs(float(values.get("height", 1.0)))
    angle = float(values.get("rotation", 0.0))
    halign, valign = int(values.get("halign", 0)), int(values.get("valign", 0))
    at, second = values["insert"], values.get("align_point")
    x, y = at.x, at.y
    box = text_box(halign, valign)
    width = text_width(text, height) * abs(float(values.get("width", 1.0)))
    if second is not None and halign in {3, 5}:
        x, y = (at.x + second.x) / 2, (at.y + second.y) / 2
        angle = math.degrees(math.atan2(second.y - at.y, second.x - at.x))
    elif second is not None and (halign or valign):
        x, y = second.x, second.y
    flags = int(values.get("text_generation_flag", 0))
    right = -box.right if flags & _BACKWARD else box.right
    up = -box.up if flags & _UPSIDE_DOWN else box.up
    hung = TextBox(right=right * width, up=up * height)
    row = _hung(text, (x, y, height, angle), hung, source, tag)
    sheet.texts.append(_in_world(row, plane_of(values, at.z)))


def _add_mtext(sheet: Sheet, entity: MText, source: int, *, tag: str | None) -> None:
    text = plain_mtext(entity.text)
    if not text:
        return
    values = entity.dxf.__dict__
    height = abs(float(values.get("char_height", 1.0)))
    at = values["insert"]
    direction = values.get("text_direction")
    angle = float(values.get("rotation", 0.0))
    if direction is not None:
        angle = math.degrees(math.atan2(direction.y, direction.x))
    lines, width = wrapped(text, height, float(values.get("width", 0.0)))
    pitch = LINE_PITCH * float(values.get("line_spacing_factor", 1.0))
    tall = height * (1 + (lines - 1) * pitch)
    box = mtext_box(int(values.get("attachment_point", 1)))
    hung = TextBox(right=box.right * width, up=box.up * tall)
    sheet.texts.append(_hung(text, (at.x, at.y, height, angle), hung, source, tag))


def _hung(
    text: str,
    frame: tuple[float, float, float, float],
    box: TextBox,
    source: int,
    tag: str | None,
) -> TextRow:
    x, y, height, angle = frame
    check_numbers(x, y, height, angle, box.right, box.up)
    if height == 0:
        raise DamagedError("its height is zero")
    across, along = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    return TextRow(
        text,
        x + box.right * across - box.up * along,
        y + box.right * along + box.up * across,
        height,
        angle % 360.0,
        source,
        tag,
    )


def _in_world(row: TextRow, plane: Affine | None) -> TextRow:
    if plane is None:
        return row
    x, y = plane.point(row.x, row.y)
    across, along = math.cos(math.radians(row.angle)), math.sin(math.radians(row.angle))
    right = (plane.a * across + plane.c * along, plane.b * across + plane.d * along)
    angle = math.degrees(math.atan2(right[1], right[0])) % 360.0
    return row._replace(x=x, y=y, angle=angle)
