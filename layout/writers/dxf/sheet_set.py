"""All sheets of a drawing: numbered, named, and put into it as layouts of its paper space."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts import Paperspace

from layout.floor import PlanResult
from layout.rules import RuleSet
from layout.writers.dxf.compose import Composition
from layout.writers.dxf.key_plan import key_plans, key_sheet
from layout.writers.dxf.paper import FRAME_WIDTH_MM
from layout.writers.dxf.pen import Pen
from layout.writers.dxf.scheme import Content
from layout.writers.dxf.sheets import Sheet, bay_sheet
from layout.writers.dxf.sizes import SMALL_MM
from layout.writers.dxf.styles import Styles
from layout.writers.dxf.title_block import FIELDS, filled, title_block_marks
from layout.writers.dxf.underlay import Underlay
from layout.writers.dxf.xdata import APPID, Kind, entity_tags
from layout.writers.offcuts import offcuts_of

MOST_SHEETS: Final = 200
"""Programs are known to hold some 255 layouts in a drawing; the architect's own are among them."""
_UNSAFE: Final = '<>/\\":;?*|=`,'
"""Characters that the name of a layout may not hold."""
_LONGEST_NAME: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSet:
    """The sheets in order, and how many bays got none because there are too many."""

    sheets: tuple[Sheet, ...]
    left_out: int = 0


def sheet_set(
    drawn: Composition,
    result: PlanResult,
    rules: RuleSet,
    underlay: Underlay,
    *,
    default_rules: bool,
) -> SheetSet:
    """A key plan for each storey, then a sheet for each bay."""
    laid = [t for t in drawn.told if t.sketch.runs]
    storeys = len(key_plans(result, laid, {}))
    with_sheet = laid[: max(0, MOST_SHEETS - storeys)]
    numbers = {t.layout.bay.id: storeys + n for n, t in enumerate(with_sheet, start=1)}
    offcuts = offcuts_of(result.bays)
    keys = key_plans(result, laid, numbers)
    sheets = [
        key_sheet(
            plan,
            result,
            rules,
            underlay,
            name="Setout key" if len(keys) == 1 else f"Setout key {plan.storey.name}",
        )
        for plan in keys
    ]
    sheets += [
        bay_sheet(t, result, rules, offcuts, default_rules=default_rules) for t in with_sheet
    ]
    numbered = tuple(
        replace(s, fields={**s.fields, "SHEET": f"{n} / {len(sheets)}"})
        for n, s in enumerate(sheets, start=1)
    )
    return SheetSet(sheets=numbered, left_out=len(laid) - len(with_sheet))


def add_sheets(doc: Drawing, sheets: Sequence[Sheet], styles: Styles, to_mm: float) -> None:
    """Put the sheets into the drawing as layouts; those that are there stay as they are."""
    if not sheets:
        return
    block = _title_block(doc, styles)
    for sheet in sheets:
        space = doc.layouts.new(_free_name(doc, sheet.name))
        _set_up(space, sheet)
        pen = Pen(doc, styles, 1.0, space)
        x0, y0, x1, y1 = sheet.paper.frame
        frame = space.add_lwpolyline(
            [(x0, y0), (x1, y0), (x1, y1), (x0, y1)],
            close=True,
            dxfattribs={
                "layer": styles.layers[Content.SHEET],
                "const_width": FRAME_WIDTH_MM,
            },
        )
        frame.set_xdata(APPID, entity_tags(Kind.MARK))
        for mark in sheet.marks:
            pen.draw(mark)
        _add_title_block(space, block, sheet, styles)
        _add_view(space, sheet, styles, to_mm)


def _free_name(doc: Drawing, wanted: str) -> str:
    """A name that no layout has yet, whatever letters the storey or the bay is called by."""
    safe = "".join("-" if c in _UNSAFE or not c.isprintable() else c for c in wanted)
    safe = " ".join(safe.split())[:_LONGEST_NAME].rstrip()
    taken = {name.casefold() for name in doc.layouts.names()}
    name, number = safe, 1
    while name.casefold() in taken:
        number += 1
        name = f"{safe} ({number})"
    return name


def _set_up(space: Paperspace, sheet: Sheet) -> None:
    """Paper and plot settings; the sheet is plotted as large as it is."""
    paper = sheet.paper
    space.page_setup(
        size=(paper.width, paper.height),
        units="mm",
        scale=(1, 1),
        name=f"ISO_full_bleed_{paper.name}",
    )


def _add_view(space: Paperspace, sheet: Sheet, styles: Styles, to_mm: float) -> None:
    view = sheet.viewport
    x0, y0, x1, y1 = view.on_paper
    viewport = space.add_viewport(
        center=((x0 + x1) / 2, (y0 + y1) / 2),
        size=(x1 - x0, y1 - y0),
        view_center_point=(view.centre[0] / to_mm, view.centre[1] / to_mm),
        view_height=(y1 - y0) * view.scale.ratio / to_mm,
        dxfattribs={"layer": styles.layers[Content.VIEW]},
    )
    viewport.frozen_layers = [styles.layers[c] for c in view.hidden]
    viewport.set_xdata(APPID, entity_tags(Kind.MARK))


# --- title block --------------------------------------------------------------------------------


def _title_block(doc: Drawing, styles: Styles) -> str:
    """The block with its attributes; its name."""
    name, number = "SETOUT-TITLE", 1
    while name in doc.blocks:
        number += 1
        name = f"SETOUT-TITLE-{number}"
    block = doc.blocks.new(name)
    pen = Pen(doc, styles, 1.0, block)
    for mark in title_block_marks():
        pen.draw(mark)
    for field in FIELDS:
        attribute = block.add_attdef(
            field.tag,
            dxfattribs={
                "layer": styles.layers[Content.SHEET],
                "style": styles.text,
                "height": SMALL_MM,
                "prompt": field.caption,
            },
        )
        attribute.set_placement(field.at, align=TextEntityAlignment.MIDDLE_LEFT)
    return name


def _add_title_block(space: Paperspace, block: str, sheet: Sheet, styles: Styles) -> None:
    insert = space.add_blockref(
        block, sheet.paper.title_block, dxfattribs={"layer": styles.layers[Content.SHEET]}
    )
    values: Mapping[str, str] = filled(sheet.fields)
    insert.add_auto_attribs(dict(values))
    insert.set_xdata(APPID, entity_tags(Kind.MARK))
