"""The block as drawn against the block as modelled: every piece of every storey.

    python -m tests.bench.twins

Both are read and laid by the packaged rules; for each storey of the model the pieces are compared by their
place in the plan, to a thousandth of a millimetre, and by row, role, order and place in their plank.
"""

from __future__ import annotations

import platform
import time
from collections.abc import Iterable
from pathlib import Path

from importer.read import read_plan
from layout.floor import BayLayout
from layout.job import lay_plan
from layout.rules_file import default_rules

SAMPLES = Path(__file__).resolve().parents[2] / "sample_plans"


def pieces(bays: Iterable[BayLayout]) -> set[tuple[object, ...]]:
    """All pieces by what is compared."""
    found = set()
    for bay in bays:
        frame = bay.setting_out.frame
        for p in bay.pieces:
            box = (round(v, 3) for v in frame.to_plan(p.shape).bounds)
            found.add((*box, p.role.value, p.row, p.number, p.order, round(p.plank_x_mm, 3)))
    return found


def main() -> None:
    rules = default_rules()
    print(platform.processor() or platform.machine(), platform.python_version())
    results = []
    for name in ("block_storey.dxf", "block.ifc"):
        start = time.process_time()
        results.append(lay_plan(read_plan(SAMPLES / name), rules))
        print(f"{name}: {time.process_time() - start:.1f} s of this process")
    drawn, modelled = results
    assert modelled.plan is not None
    one = pieces(drawn.bays)
    planks = sum(len(b.planks) for b in drawn.bays)
    print(f"drawn: {len(drawn.bays)} bays, {len(one)} pieces, {planks} planks")
    for storey in modelled.plan.storeys:
        bays = [b for b in modelled.bays if b.bay.storey == storey.id]
        other = pieces(bays)
        planks = sum(len(b.planks) for b in bays)
        print(
            f"{storey.name}: {len(bays)} bays, {len(other)} pieces, {planks} planks; "
            f"{len(one ^ other)} pieces differ"
        )


if __name__ == "__main__":
    main()
