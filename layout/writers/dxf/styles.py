"""Our own layers, text style, dimension style, line type and application id in a foreign drawing.

All carry our prefix; nothing that the architect's drawing defines is used or changed. Where it happens
to have a layer or style of the same name already, ours gets a number.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from ezdxf.document import Drawing
from ezdxf.entities.dimstyle import DimStyle

from layout.writers.dxf.scheme import LOOKS, Content, LayerScheme
from layout.writers.dxf.sizes import PLAN
from layout.writers.dxf.xdata import APPID

FONT: Final = "arial.ttf"
_DASH_MM: Final = (8.0, 1.5, 0.5, 1.5)
"""Dash, gap, dot, gap on paper."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Styles:
    """Names under which our things are found in the drawing."""

    layers: Mapping[Content, str]
    text: str
    dimension: str


def add_styles(doc: Drawing, scheme: LayerScheme, to_mm: float) -> Styles:
    """Put everything the mark-up refers to into the drawing's tables. `to_mm` is its unit."""
    if APPID not in doc.appids:
        doc.appids.new(APPID)
    text = _free_name("SETOUT", doc.styles)
    doc.styles.new(text, dxfattribs={"font": FONT})
    linetype = _free_name("SETOUT-DASHDOT", doc.linetypes)
    _add_linetype(doc, linetype, to_mm)
    layers = {}
    for content in Content:
        name = _free_name(scheme.names[content], doc.layers)
        look = LOOKS[content]
        layer = doc.layers.new(
            name,
            dxfattribs={
                "color": look.aci,
                "lineweight": look.lineweight,
                "linetype": linetype if look.dash_dot else "Continuous",
                "plot": int(look.plots),
            },
        )
        layer.dxf.discard("material_handle")
        layers[content] = name
    dimension = _free_name(f"SETOUT-{PLAN.ratio:g}", doc.dimstyles)
    _dress(doc.dimstyles.new(dimension), text, to_mm)
    return Styles(layers=layers, text=text, dimension=dimension)


def _free_name(wanted: str, table: object) -> str:
    name, number = wanted, 1
    while name in table:  # type: ignore[operator]  # ezdxf tables define __contains__ untyped
        number += 1
        name = f"{wanted}-{number}"
    return name


def _add_linetype(doc: Drawing, name: str, to_mm: float) -> None:
    """Dash-dot in building size; the drawing's own line type scale is divided out."""
    factor = float(doc.header.get("$LTSCALE", 1.0)) or 1.0
    dash, gap, dot, space = (PLAN.paper(mm) / to_mm / factor for mm in _DASH_MM)
    pattern = [dash + gap + dot + space, dash, -gap, dot, -space]
    doc.linetypes.add(name, pattern, description="datum: long dash, dot")


def _dress(style: DimStyle, text: str, to_mm: float) -> None:
    """Sizes in drawing units, figures in whole millimetres, oblique ticks."""
    unit = PLAN.ratio / to_mm
    values: dict[str, float | int | str] = {
        "dimscale": 1.0,
        "dimlfac": to_mm,
        "dimtxt": 2.5 * unit,
        "dimtsz": 0.7 * unit,
        "dimasz": 0.9 * unit,
        "dimexo": 1.0 * unit,
        "dimexe": 0.4 * unit,
        "dimdle": 0.4 * unit,
        "dimgap": 0.6 * unit,
        "dimtad": 0,
        "dimtih": 0,
        "dimtoh": 0,
        "dimdec": 0,
        "dimrnd": 0.0,
        "dimzin": 8,
        "dimlunit": 2,
        "dimdsep": ord("."),
        "dimtxsty": text,
        "dimclrd": 256,
        "dimclre": 256,
        "dimclrt": 256,
        "dimtmove": 2,
        "dimtofl": 1,
        "dimtix": 1,
    }
    for name, value in values.items():
        style.dxf.set(name, value)
