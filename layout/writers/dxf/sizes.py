"""Sizes on paper and in the building: lettering from ISO 3098, scales from ISO 5455."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

PLAN_SCALE: Final = 50.0
"""Lettering on the planks is made for 1:50: at 1:100 no figure fits on a plank."""
TABLE_SCALES: Final = (50.0, 100.0)
A0_MM: Final = (1189.0, 841.0)
"""Largest sheet (ISO 216): a storey that does not fit on it at 1:50 gets its tables for 1:100."""

SMALL_MM: Final = 2.5
"""Capital height of lengths, row numbers, tables, mm on paper."""
MEDIUM_MM: Final = 3.5
LARGE_MM: Final = 5.0
THINNEST_ROW_MM: Final = 3.0
"""A row thinner than this on paper carries no text; its figures go to the table."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """Plot scale 1 : `ratio`."""

    ratio: float = PLAN_SCALE

    def paper(self, mm_on_paper: float) -> float:
        """Length in the building of a length on paper."""
        return mm_on_paper * self.ratio

    @property
    def words(self) -> str:
        """As it is written on a drawing."""
        return f"1:{self.ratio:g}"

    @property
    def small(self) -> float:
        """Capital height of lengths, row numbers and tables."""
        return self.paper(SMALL_MM)

    @property
    def medium(self) -> float:
        """Capital height of headings."""
        return self.paper(MEDIUM_MM)

    @property
    def large(self) -> float:
        """Capital height of titles."""
        return self.paper(LARGE_MM)


PLAN: Final = Scale()


def table_scale(width: float, height: float) -> Scale:
    """Scale for tables beside a storey of that size, mm: the larger one that fits the largest sheet."""
    long, short = max(width, height), min(width, height)
    for ratio in TABLE_SCALES:
        if long / ratio <= A0_MM[0] and short / ratio <= A0_MM[1]:
            return Scale(ratio=ratio)
    return Scale(ratio=TABLE_SCALES[-1])
