"""Draws the sample plans: `python sample_plans/draw_samples.py` rewrites them all, byte for byte.

Everything in them is invented. `truth()` says what a reader must find in each.
"""

from __future__ import annotations

import sys
from pathlib import Path

if not __package__:
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from sample_plans.scenario import truth, write_all

__all__ = ["truth", "write_all"]

if __name__ == "__main__":
    for written in write_all(Path(__file__).resolve().parent):
        print(f"{written.name}: {written.stat().st_size / 1024:.0f} KiB")
