"""A sheet before its number is known."""

from __future__ import annotations

from dataclasses import dataclass

from layout.floor import BayId
from layout.writers.sheets.border import TitleBlock
from layout.writers.sheets.marks import Mark
from layout.writers.sheets.style import Paper


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What stands on a sheet but for frame and title block; `bay` is None for a sheet of no bay."""

    paper: Paper
    name: str
    marks: tuple[Mark, ...]
    block: TitleBlock
    bay: BayId | None = None
