"""Floors written back into models: whether the copy holds them, and no new error.

    python -m tests.bench.ifc_write [FOLDER | MODEL.ifc ...] [--minutes 4]

For every model: the plan is read and laid by the packaged rules, then written back. Then, in the copy:
errors of `ifcopenshell.validate`, with the EXPRESS rules, that the original has not; whether the original's
text is all there; how far the foot of every covering lies from that of its space, and its body's area from
the laid floor; and whether writing into the copy again gives the same bytes. A plan is given up after the
minutes.
"""

from __future__ import annotations

import argparse
import platform
import re
import signal
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.validate
import numpy as np
from ifcopenshell.util.element import get_psets

from importer.ifc.step_text import relabelled, schema_label, schema_to_read
from importer.plan import PlanError
from importer.read import read_plan
from layout.floor import PlanResult
from layout.job import lay_plan
from layout.rules_file import default_rules
from layout.writers.ifc.model_copy import model_with_floors
from layout.writers.ifc.units import area_unit_mm2

HEADS = (
    ("file", -38),
    ("bays", 5),
    ("coverings", 10),
    ("in spaces", 10),
    ("errors", 8),
    ("new", 5),
    ("text kept", 10),
    ("foot off mm", 12),
    ("area off mm2", 13),
    ("again same", 11),
    ("s", 6),
)


def opened(data: bytes) -> Any:
    """A model whose label is spelled as the library wants it."""
    label = schema_label(data) or ""
    schema = schema_to_read(label)
    if schema is not None and label != schema:
        data = relabelled(data, schema)
    return ifcopenshell.file.from_string(data.decode("latin-1"))


def errors(model: Any) -> Counter[str]:
    """What the validator says, by message and instance; addresses in messages are no part of it."""
    log = ifcopenshell.validate.json_logger()
    ifcopenshell.validate.validate(model, log, express_rules=True)
    said = (f"{s.get('message')} {s.get('instance')}" for s in log.statements)
    return Counter(re.sub(r"0x[0-9a-f]+", "", words) for words in said)


def laid(path: Path, minutes: float) -> PlanResult | str:
    """The plan laid by the packaged rules, or why not."""

    def give_up(*_: object) -> None:
        raise TimeoutError(f"given up after {minutes:g} min")

    signal.signal(signal.SIGALRM, give_up)
    signal.setitimer(signal.ITIMER_REAL, 60 * minutes)
    try:
        result = lay_plan(read_plan(path), default_rules())
    except (PlanError, TimeoutError) as error:
        return str(error)
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
    return result if result.bays else str(result.findings[-1])


def feet_and_areas(model: Any) -> tuple[float, float, int]:
    """The worst distance of a covering's foot from its space's, mm; the worst difference of its body's
    plan area from its stated one, mm2; and how many coverings cover a space.
    """
    settings = ifcopenshell.geom.settings()
    settings.set("use-world-coords", True)
    worst_foot = worst_area = 0.0
    in_spaces = 0
    for covering in model.by_type("IfcCovering"):
        if covering.ObjectType != "Plank floor":
            continue
        x = _vertices(settings, covering)
        thick = x[:, 2].max() - x[:, 2].min()
        shape = ifcopenshell.geom.create_shape(settings, covering).geometry
        faces = np.array(shape.faces).reshape(-1, 3)
        corners = x[faces]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = normal[normal[:, 2] > 0.9 * np.linalg.norm(normal, axis=1), 2].sum() / 2
        stated = get_psets(covering)["Qto_CoveringBaseQuantities"]["NetArea"]
        worst_area = max(worst_area, abs(area - stated * area_unit_mm2(model)))
        assert thick > 0
        for relation in covering.CoversSpaces:
            in_spaces += 1
            space = relation[4]  # RelatedSpace in IFC2X3, RelatingSpace later
            foot = _vertices(settings, space)[:, 2].min()
            worst_foot = max(worst_foot, abs(x[:, 2].min() - foot))
    return worst_foot, worst_area, in_spaces


def _vertices(settings: Any, product: Any) -> Any:
    shape = ifcopenshell.geom.create_shape(settings, product).geometry
    return np.array(shape.verts).reshape(-1, 3) * 1000.0


def row(path: Path, result: PlanResult, folder: Path) -> list[str]:
    """The figures of one model."""
    rules = default_rules()
    start = time.perf_counter()
    copy = model_with_floors(path, result, rules, default_rules=True)
    took = time.perf_counter() - start
    if copy.data is None:
        return [path.name, f"no copy: {copy.findings[0].what}"]
    original = path.read_bytes()
    before, model = errors(opened(original)), opened(copy.data)
    new = errors(model) - before
    for words in list(new)[:3]:
        print("   new:", words[:200])
    foot, area, in_spaces = feet_and_areas(model)
    head = original[: original.upper().rfind(b"ENDSEC")]
    second = folder / path.name
    second.write_bytes(copy.data)
    again = model_with_floors(second, result, rules, default_rules=True)
    count = sum(c.ObjectType == "Plank floor" for c in model.by_type("IfcCovering"))
    return [
        path.name,
        str(len(result.bays)),
        str(count),
        str(in_spaces),
        str(sum(before.values())),
        str(sum(new.values())),
        "yes" if copy.data.startswith(head) else "NO",
        f"{foot:.4f}",
        f"{area:.1f}",
        "yes" if again.data == copy.data else "NO",
        f"{took:.1f}",
    ]


def show(cells: list[str]) -> None:
    print(
        " ".join(
            f"{c:{'<' if w < 0 else '>'}{abs(w)}}" for c, (_, w) in zip(cells, HEADS, strict=False)
        ),
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("models", nargs="*", type=Path)
    parser.add_argument("--minutes", type=float, default=4.0)
    args = parser.parse_args()
    here = Path(__file__).resolve().parents[2]
    given = args.models or [here / "sample_plans" / "block.ifc"]
    models = [m for p in given for m in (sorted(p.glob("*.ifc")) if p.is_dir() else [p])]
    print(platform.processor() or platform.machine(), platform.python_version())
    show([name for name, _ in HEADS])
    with tempfile.TemporaryDirectory() as folder:
        for path in models:
            result = laid(path, args.minutes)
            if isinstance(result, str):
                print(f"{path.name:38} not laid: {result[:150]}", flush=True)
            else:
                show(row(path, result, Path(folder)))


if __name__ == "__main__":
    main()
