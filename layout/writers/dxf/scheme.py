"""Layers of the mark-up: what each carries, how it looks, and what it is called under three schemes.

Colours are those of the 255 indices that can be told apart on white and on a dark screen; a meaning is
always doubled by form, so grey prints and colour-blind readers lose nothing. Line widths are from the
ISO 128 series.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum
from typing import Final


class Content(Enum):
    """What a layer of the mark-up carries. The value is its word in the plain scheme."""

    PLANK = "PLANK"
    CUT = "CUT"
    RIP = "RIP"
    EDGE = "EDGE"
    MOVE = "MOVE"
    DATUM = "DATUM"
    START = "START"
    ROW = "ROW"
    LENGTH = "LENGTH"
    DIM = "DIM"
    NOTE = "NOTE"
    TABLE = "TABLE"
    BREACH = "BREACH"
    KEY100 = "KEY100"
    SHEET = "SHEET"
    VIEW = "VIEW"


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerLook:
    """Colour index, line width in 1/100 mm, dash-dotted or not, plotted or not, and what is on it."""

    aci: int
    lineweight: int
    about: str
    dash_dot: bool = False
    plots: bool = True


LOOKS: Final[Mapping[Content, LayerLook]] = {
    Content.PLANK: LayerLook(aci=8, lineweight=13, about="every piece, with its data"),
    Content.CUT: LayerLook(aci=150, lineweight=25, about="sawn edges"),
    Content.RIP: LayerLook(aci=8, lineweight=13, about="hatching of ripped pieces"),
    Content.EDGE: LayerLook(aci=7, lineweight=35, about="edge of the laid floor"),
    Content.MOVE: LayerLook(aci=7, lineweight=70, about="movement joints"),
    Content.DATUM: LayerLook(aci=20, lineweight=50, about="datum lines", dash_dot=True),
    Content.START: LayerLook(aci=20, lineweight=25, about="start, direction, datum words"),
    Content.ROW: LayerLook(aci=7, lineweight=25, about="row numbers"),
    Content.LENGTH: LayerLook(aci=150, lineweight=25, about="lengths to cut"),
    Content.DIM: LayerLook(aci=7, lineweight=18, about="dimensions"),
    Content.NOTE: LayerLook(aci=7, lineweight=18, about="bay titles and notes"),
    Content.TABLE: LayerLook(aci=7, lineweight=18, about="tables"),
    Content.BREACH: LayerLook(aci=7, lineweight=50, about="rules not kept"),
    Content.KEY100: LayerLook(aci=7, lineweight=25, about="row numbers for 1:100"),
    Content.SHEET: LayerLook(aci=7, lineweight=35, about="sheet frames and title blocks"),
    Content.VIEW: LayerLook(
        aci=8, lineweight=0, about="bay outlines and viewports, not plotted", plots=False
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerScheme:
    """Names of our layers. `word` is how the scheme is called in rule sets and messages."""

    word: str
    names: Mapping[Content, str]


PLAIN: Final = LayerScheme(word="plain", names={c: f"SETOUT-{c.value}" for c in Content})

NCS: Final = LayerScheme(
    word="ncs",
    names={
        Content.PLANK: "A-FLOR-PLNK",
        Content.CUT: "A-FLOR-PLNK-CUTS",
        Content.RIP: "A-FLOR-PLNK-PATT",
        Content.EDGE: "A-FLOR-OTLN-PLNK",
        Content.MOVE: "A-FLOR-JNTM",
        Content.DATUM: "A-FLOR-DATM",
        Content.START: "A-FLOR-STRT",
        Content.ROW: "A-FLOR-PLNK-IDEN",
        Content.LENGTH: "A-FLOR-PLNK-TEXT",
        Content.DIM: "A-ANNO-DIMS-FLOR",
        Content.NOTE: "A-ANNO-NOTE-FLOR",
        Content.TABLE: "A-ANNO-SCHD-FLOR",
        Content.BREACH: "A-FLOR-BRCH",
        Content.KEY100: "A-FLOR-KEYN",
        Content.SHEET: "A-ANNO-TTLB-FLOR",
        Content.VIEW: "A-ANNO-NPLT-FLOR",
    },
)
"""US National CAD Standard style; the minor groups PLNK, JNTM, DATM, STRT, BRCH, KEYN are our own."""

_ISO_FORM: Final[Mapping[Content, str]] = {
    Content.RIP: "H",
    Content.START: "T",
    Content.ROW: "T",
    Content.LENGTH: "T",
    Content.DIM: "D",
    Content.NOTE: "T",
    Content.TABLE: "T",
    Content.BREACH: "T",
    Content.KEY100: "T",
    Content.SHEET: "V",
    Content.VIEW: "U",
}
ISO13567: Final = LayerScheme(
    word="iso13567",
    names={c: f"X-43----{_ISO_FORM.get(c, 'E')}-{c.value}" for c in Content},
)
"""ISO 13567: agent X- (subcontractor), element 43---- (floor finishes), presentation, then our word."""

SCHEMES: Final[Mapping[str, LayerScheme]] = {s.word: s for s in (PLAIN, ISO13567, NCS)}
