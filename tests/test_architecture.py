"""The one-way imports of the design, held by a test: this file is the live picture of the structure.

`ALLOWED` reads from the bottom up. The first pattern that matches a module decides what it may import
of this project; imports inside functions and for types count as much as those at the top.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parent.parent

IMPORTER_MODEL = r"importer\.(plan|hints|tolerance|alike)"
LAYOUT_MODEL = rf"{IMPORTER_MODEL}|layout\.(floor|floor_\w+|frame|rules|rules_laying|measures)"
GEOMETRY = (
    r"layout\.(bays|bay_\w+|directions|setting_out|row_grid|runs|pieces|piece_\w+|window|window_\w+"
    r"|sequence|laying|laying_\w+|site_(faces|dimensions))"
)
SOLVER = r"layout\.(joints|joint_\w+|stock|stock_\w+|bound|bound_\w+)"

ALLOWED = {
    # The importer: model, pure geometry, readers, then what shows a plan. Never the layout.
    r"importer\.(plan|hints|tolerance|alike)": IMPORTER_MODEL,
    r"importer\.(sniff|outlines|outline_\w+)": rf"{IMPORTER_MODEL}|importer\.outline\w*",
    r"importer\.room_words": r"(?!)",
    r"importer\.dxf(\..+)?": rf"{IMPORTER_MODEL}|importer\.(sniff|outline\w*|room_words)|importer\.dxf\..+",
    r"importer\.ifc(\..+)?": rf"{IMPORTER_MODEL}|importer\.(sniff|outline\w*|room_words)|importer\.ifc\..+"
    r"|importer\.dxf\.layer_words",  # one list of what names of things mean
    r"importer\.(picture\w*|plan_json|plan_table)": rf"{IMPORTER_MODEL}|importer\.(picture\w*|plan_json)",
    r"importer\.read": rf"{IMPORTER_MODEL}|importer\.(sniff|dxf\.reader|ifc\.reader)",
    r"importer": r"importer\..+",
    # The layout: model, then stages side by side, then the pipeline.
    r"layout\.(measures|cautions)": r"(?!)",
    r"layout\.(rules_values|rules_order|rules_laying)": r"layout\.(measures|rules_values)",
    r"layout\.rules": r"importer\.hints|layout\.(measures|rules_values|rules_order|rules_laying)",
    r"layout\.(rules_\w+|config_files)": rf"{LAYOUT_MODEL}|layout\.(rules_\w+|config_files)",
    r"layout\.frame": IMPORTER_MODEL,
    r"layout\.floor_\w+": rf"{IMPORTER_MODEL}|layout\.frame",
    r"layout\.floor": rf"{IMPORTER_MODEL}|layout\.(frame|floor_\w+)",
    r"layout\.demand": LAYOUT_MODEL,
    SOLVER: rf"{LAYOUT_MODEL}|layout\.demand|{SOLVER}",
    # The audit shares no code with what it judges.
    r"layout\.audit\w*": rf"{LAYOUT_MODEL}|layout\.audit\w*",
    r"layout\.takeoff\w*": rf"{LAYOUT_MODEL}|layout\.(takeoff_\w+|bay_joins|stock_bars|rules_order)",
    GEOMETRY: rf"{LAYOUT_MODEL}|layout\.demand|{GEOMETRY}",
    r"layout\.(job|job_\w+)": rf"{LAYOUT_MODEL}|layout\.(demand|audit|takeoff\w*|job_\w+)|{GEOMETRY}"
    rf"|{SOLVER}",
    # What opens a model to write into it knows the reader's ways of opening one.
    r"layout\.writers\.ifc\.(inside|model_copy)": rf"{LAYOUT_MODEL}|layout\.writers\.ifc\..+"
    r"|importer\.(sniff|ifc\.(archive|child|finished|model|opening|step_text|storeys))",
    # Sizes measured on site: read strictly, then the laid plan carried over to them.
    r"layout\.site_file": r"layout\.(measures|rules_\w+)",
    r"layout\.site_\w+": rf"{LAYOUT_MODEL}|layout\.(demand|audit|job|job_\w+|rules_error|site_\w+|takeoff\w*)"
    rf"|{GEOMETRY}|{SOLVER}",
    # Writers know the result and nothing of the solver.
    r"layout\.writers(\..+)?": rf"{LAYOUT_MODEL}|layout\.(cautions|takeoff)|layout\.writers\..+"
    rf"|importer\.(plan_json|dxf\.(load|rawtext))",
    r"layout\.folder_lock": r"(?!)",
    r"layout\.safe_write": r"layout\.folder_lock",
    r"layout\.(batch\w*|cli|commands(\..+)?)": r"importer\..+|layout\..+",
    r"layout": r"importer\..+|layout\..+",
}


def modules() -> dict[str, Path]:
    found = {}
    for top in ("importer", "layout"):
        for path in sorted((REPO / top).rglob("*.py")):
            parts = path.relative_to(REPO).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


MODULES = modules()


def imports_of(name: str) -> set[str]:
    """Modules of this project that a module imports, anywhere in it."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(MODULES[name].read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{name}: relative import of {node.module}"
            full = {f"{node.module}.{a.name}" for a in node.names}
            found |= {f for f in full if f in MODULES} or {node.module}
    return {f for f in found if f.split(".")[0] in {"importer", "layout"}}


@pytest.mark.parametrize("name", sorted(MODULES))
def test_imports_follow_the_arrows(name: str) -> None:
    pattern = next((p for p in ALLOWED if re.fullmatch(p, name)), None)
    assert pattern is not None, f"{name} has no place in the structure: add it to ALLOWED"
    strays = sorted(i for i in imports_of(name) if not re.fullmatch(ALLOWED[pattern], i))
    assert strays == [], f"{name} may not import {strays}"


@pytest.mark.parametrize("name", sorted(MODULES))
def test_module_has_one_subject(name: str) -> None:
    lines = MODULES[name].read_text(encoding="utf-8").count("\n")
    assert lines <= 420, f"{name} has {lines} lines: split it by meaning"


def test_the_rule_table_can_fail() -> None:
    assert not re.fullmatch(ALLOWED[r"layout\.audit\w*"], "layout.joints")
    assert not re.fullmatch(ALLOWED[r"importer\.dxf(\..+)?"], "layout.floor")
    assert re.fullmatch(ALLOWED[r"layout\.(job|job_\w+)"], "layout.joints")


def test_start_up_imports_nothing_heavy() -> None:
    """`setout --help` must not pay for geometry: only the standard library and click at the top."""
    path = MODULES.get("layout.cli")
    if path is None:
        pytest.fail("layout.cli is missing")
    tops = set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.Import):
            tops |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            tops.add(node.module.split(".")[0])
    assert tops.isdisjoint({"ezdxf", "shapely", "numpy", "scipy", "pydantic", "rich", "importer"})
