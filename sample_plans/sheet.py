"""The paper: frame, title block with attributes, and one scaled viewport on the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment
from ezdxf.layouts.blocklayout import BlockLayout

from sample_plans.building import Point

WIDTH: Final = 180.0
HEIGHT: Final = 36.0
CELLS: Final = (
    # tag, caption, x, y of the text, height
    ("PROJECT", "Project", 2.0, 26.0, 3.5),
    ("TITLE", "Title", 2.0, 14.0, 3.5),
    ("STATUS", "Status", 2.0, 2.0, 2.5),
    ("SCALE", "Scale", 112.0, 26.0, 3.5),
    ("DATE", "Date", 146.0, 26.0, 2.5),
    ("SHEET", "Drawing no.", 112.0, 14.0, 3.5),
    ("REV", "Revision", 146.0, 14.0, 3.5),
    ("UNITS", "Dimensions in", 112.0, 2.0, 2.5),
    ("PAPER", "Paper", 146.0, 2.0, 2.5),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a sheet shows: the middle of the plan, its height in drawing units, and the words."""

    name: str
    paper: tuple[float, float]
    paper_name: str
    scale: str
    middle: Point
    ratio: float
    words: dict[str, str]


def _title_block(block: BlockLayout) -> None:
    pen = {"layer": "A-ANNO-TTLB"}
    frame = [(0.0, 0.0), (WIDTH, 0.0), (WIDTH, HEIGHT), (0.0, HEIGHT)]
    block.add_lwpolyline(frame, close=True, dxfattribs=pen)
    for y in (12.0, 24.0):
        block.add_line((0.0, y), (WIDTH, y), dxfattribs=pen)
    for x in (110.0, 144.0):
        block.add_line((x, 0.0), (x, HEIGHT), dxfattribs=pen)
    for tag, caption, x, y, height in CELLS:
        small = block.add_text(caption, height=1.8, dxfattribs={**pen, "style": "LETTERING"})
        small.set_placement((x, y + 7.2), align=TextEntityAlignment.LEFT)
        attribs = {**pen, "style": "LETTERING", "height": height}
        block.add_attdef(tag, (x, y), dxfattribs=attribs)


def add_sheet(doc: Drawing, sheet: Sheet) -> None:
    """A paper-space layout named after the sheet; the empty default layout is taken out."""
    block = doc.blocks.new("TITLE-BLOCK")
    _title_block(block)
    layout = doc.layouts.new(sheet.name)
    doc.layouts.delete("Layout1")
    width, height = sheet.paper
    layout.page_setup(size=sheet.paper, margins=(0, 0, 0, 0), units="mm", name=sheet.paper_name)
    pen = {"layer": "A-ANNO-TTLB"}
    frame = [(20.0, 10.0), (width - 10, 10.0), (width - 10, height - 10), (20.0, height - 10)]
    layout.add_lwpolyline(frame, close=True, dxfattribs=pen)
    corner = (width - 10 - WIDTH, 10.0)
    reference = layout.add_blockref("TITLE-BLOCK", corner, dxfattribs=pen)
    reference.add_auto_attribs({"SCALE": sheet.scale, "PAPER": sheet.paper_name, **sheet.words})
    view = (width - 50, height - 40 - HEIGHT)
    layout.add_viewport(
        center=(20 + (width - 30) / 2, 10 + HEIGHT + 10 + view[1] / 2),
        size=view,
        view_center_point=sheet.middle,
        view_height=view[1] * sheet.ratio,
        dxfattribs={"layer": "A-ANNO-NPLT"},
    )
