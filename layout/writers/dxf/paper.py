"""Sheets of paper: sizes (ISO 216), the frame on them (ISO 5457), scales (ISO 5455).

Millimetres on paper, origin in the lower left corner of the sheet, sheets lie on their long side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from layout.writers.dxf.sizes import Scale

Bounds = tuple[float, float, float, float]
"""xmin, ymin, xmax, ymax."""

BINDING_MM: Final = 20.0
"""Margin on the left, for filing; ISO 5457."""
EDGE_MM: Final = 10.0
"""The other margins; ISO 5457."""
FRAME_WIDTH_MM: Final = 0.7
"""Width of the line of the frame; ISO 5457."""
TITLE_BLOCK_MM: Final = (180.0, 24.0)
"""Size of the title block; ISO 7200 gives its width."""
INSIDE_MM: Final = 4.0
"""What stands on a sheet keeps this far from its frame."""
HEADLINE_MM: Final = 12.0
"""Height of the strip at the top that the headline stands in."""
GAP_MM: Final = 6.0
"""Distance between what stands side by side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """A sheet."""

    name: str
    width: float
    height: float

    @property
    def frame(self) -> Bounds:
        """The line around the drawing."""
        return BINDING_MM, EDGE_MM, self.width - EDGE_MM, self.height - EDGE_MM

    @property
    def body(self) -> Bounds:
        """Where views and lists may stand: under the headline, above the title block."""
        x0, y0, x1, y1 = self.frame
        low = y0 + TITLE_BLOCK_MM[1] + INSIDE_MM
        return x0 + INSIDE_MM, low, x1 - INSIDE_MM, y1 - HEADLINE_MM

    @property
    def title_block(self) -> tuple[float, float]:
        """Lower left corner of the title block: it stands in the lower right corner of the frame."""
        _, y0, x1, _ = self.frame
        return x1 - TITLE_BLOCK_MM[0], y0


PAPERS: Final = (
    Paper(name="A4", width=297.0, height=210.0),
    Paper(name="A3", width=420.0, height=297.0),
    Paper(name="A2", width=594.0, height=420.0),
    Paper(name="A1", width=841.0, height=594.0),
    Paper(name="A0", width=1189.0, height=841.0),
)

BAY_SCALES: Final = tuple(Scale(ratio=r) for r in (50.0, 100.0, 200.0, 500.0))
"""For a sheet of one bay: lettering in the plan is made for the first."""
KEY_SCALES: Final = tuple(Scale(ratio=r) for r in (100.0, 200.0, 500.0, 1000.0))
"""For a key plan."""
