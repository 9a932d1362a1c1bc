"""Draws the README's picture: the sample storey laid out, its mark-up rendered from the marked DXF.

    python sample_plans/draw_picture.py

Needs the extra `picture` (PyMuPDF).
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from ezdxf import bbox
from ezdxf.addons.drawing import Frontend, RenderContext, config, layout, pymupdf
from ezdxf.document import Drawing
from ezdxf.entities import DXFEntity
from ezdxf.filemanagement import readfile

HERE = Path(__file__).resolve().parent
SAMPLE = HERE / "block_storey.dxf"
PICTURE = HERE / "block_storey_marked.png"
MARGIN_MM = 900.0
LARGEST_MM, DPI = (297, 210), 130


def main() -> int:
    """Lay the sample storey and render the plan part of the marked drawing."""
    from layout.cli import main as setout

    with tempfile.TemporaryDirectory() as folder:
        status = setout(["lay", str(SAMPLE), "--out", folder, "--quiet"])
        if status > 1:
            return status
        marked = readfile(Path(folder) / "block_storey-marked.dxf")
    PICTURE.write_bytes(rendered(marked))
    print(f"{PICTURE.name} drawn")
    return 0


def rendered(marked: Drawing) -> bytes:
    """PNG of the plan itself, without the notes beside it."""
    plan = bbox.extents(readfile(SAMPLE).modelspace(), fast=True)
    left, right = plan.extmin.x - MARGIN_MM, plan.extmax.x + MARGIN_MM

    def on_the_plan(entity: DXFEntity) -> bool:
        box = bbox.extents([entity], fast=True)
        return box.has_data and left < box.center.x < right

    backend = pymupdf.PyMuPdfBackend()
    white = config.Configuration(background_policy=config.BackgroundPolicy.WHITE)
    frontend = Frontend(RenderContext(marked), backend, config=white)
    frontend.draw_layout(marked.modelspace(), filter_func=on_the_plan)
    page = layout.Page(0, 0, layout.Units.mm, layout.Margins.all(4), *LARGEST_MM)
    return bytes(backend.get_pixmap_bytes(page, fmt="png", dpi=DPI))


if __name__ == "__main__":
    sys.exit(main())
