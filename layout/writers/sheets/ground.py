"""What is taken on the paper, so that no two texts meet."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import Final

from layout.writers.sheets.marks import Box, Text, overlap

_BAND: Final = 8.0
"""Boxes are kept in bands of this height."""
_APART: Final = 0.4
"""Least distance between two texts."""


@dataclass(slots=True)
class Ground:
    """Boxes on the paper by bands of height."""

    bands: dict[int, list[Box]] = field(default_factory=lambda: defaultdict(list))

    def take(self, box: Box) -> None:
        """Keep a box clear from now on."""
        for band in self._bands(box):
            self.bands[band].append(box)

    def is_free(self, box: Box) -> bool:
        """Whether nothing is near the box."""
        return not any(
            overlap(box, other, _APART) for band in self._bands(box) for other in self.bands[band]
        )

    def place(self, text: Text, inside: Box | None = None) -> bool:
        """Take the place of a text when it is free and, where asked, inside a box."""
        box = text.box
        if inside is not None and not _within(box, inside):
            return False
        if not self.is_free(box):
            return False
        self.take(box)
        return True

    @staticmethod
    def _bands(box: Box) -> range:
        return range(int(box[1] // _BAND), int(box[3] // _BAND) + 1)


def _within(box: Box, outer: Box) -> bool:
    return box[0] >= outer[0] and box[1] >= outer[1] and box[2] <= outer[2] and box[3] <= outer[3]
