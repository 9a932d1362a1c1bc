"""`setout lay --site`: the form among the outputs, filled in and given back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from layout.cli import main
from tests.layout.small_plans import one_room


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return one_room(tmp_path_factory.mktemp("plans") / "study.dxf")


@pytest.fixture(scope="module")
def form(plan: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    out = tmp_path_factory.mktemp("drawn")
    assert main(["lay", str(plan), "--out", str(out), "--quiet"]) == 0
    return (out / "study-site.yaml").read_text(encoding="utf-8")


def filled(form: str, size: str, value: object) -> str:
    """The form with one size written into it."""
    lines = form.splitlines(keepends=True)
    (n,) = (n for n, line in enumerate(lines) if line.strip().startswith(f"{size}:"))
    lines[n] = lines[n].replace("site: }", f"site: {value}}}")
    return "".join(lines)


def bay_of(out: Path) -> dict[str, Any]:
    record = json.loads((out / "record.json").read_text(encoding="utf-8"))
    (bay,) = record["plans"][0]["bays"]
    return dict(bay)


def test_measured_size_is_laid_and_told_everywhere(
    plan: Path, form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site, out = tmp_path / "measured.yaml", tmp_path / "out"
    site.write_text(filled(form, "L1", 2603), encoding="utf-8")
    assert main(["lay", str(plan), "--out", str(out), "--site", str(site)]) == 0
    shown = capsys.readouterr().out
    assert "As measured on site:" in shown
    assert "B1 Study: All joints stay. Other cuts in rows" in shown
    bay = bay_of(out)
    assert bay["site"]["measures"] == [{"id": "L1", "drawn_mm": 2600.0, "measured_mm": 2603.0}]
    assert bay["site"]["changed_rows"] == []
    assert {d["id"]: d["drawn_mm"] for d in bay["dimensions"]}["L1"] == 2603.0
    assert "L1 2603 (drawn 2600)" in (out / "index.html").read_text(encoding="utf-8")
    assert not (out / "study-site.yaml").exists()
    assert main(["check", str(out / "study-marked.dxf")]) == 0


def test_form_in_the_folder_of_the_outputs_is_used_and_never_written_over(
    plan: Path, form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "study-site.yaml"
    own.write_text(filled(form, "L1", "2.603 m"), encoding="utf-8")
    measured = own.read_bytes()
    arguments = ["lay", str(plan), "--out", str(tmp_path), "--quiet"]
    assert main([*arguments, "--site", str(own)]) == 0
    assert bay_of(tmp_path)["site"]["measures"][0]["measured_mm"] == 2603.0
    assert own.read_bytes() == measured
    assert capsys.readouterr().err == ""
    assert main(arguments) == 0
    assert own.read_bytes() == measured
    assert "study-site.yaml: there are measures in it" in capsys.readouterr().err
    assert bay_of(tmp_path)["site"] is None


@pytest.mark.parametrize(
    "change",
    [
        ("  B1:", "  B2:", ":8:3: [SIT-301]"),
        ("    L1:", "    L9:", ":9:5: [SIT-302]"),
        ("drawn: 2600", "drawn: 2800", ":9:5: [SIT-303]"),
        ("site: }", "site: 260}", ":9:5: [SIT-304]"),
        ("site: }", "site: wide}", ":9:23: [SIT-202]"),
        ('plan: "study.dxf"', "plan: studio.dxf", ":6:7: [SIT-204]"),
    ],
    ids=str,
)
def test_file_that_does_not_fit_writes_nothing_and_says_where(
    change: tuple[str, str, str],
    plan: Path,
    form: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    old, new, said = change
    site, out = tmp_path / "site.yaml", tmp_path / "out"
    text = form if "site:" in old else filled(form, "L1", 2603)
    site.write_text(text.replace(old, new, 1), encoding="utf-8")
    assert main(["lay", str(plan), "--out", str(out), "--site", str(site)]) == 2
    assert f"site.yaml{said}" in capsys.readouterr().err
    assert not out.exists()


def test_two_files_for_one_drawing_are_refused(
    plan: Path, form: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site.yaml"
    site.write_text(form, encoding="utf-8")
    both = ["--site", str(site), "--site", str(site)]
    assert main(["lay", str(plan), "--out", str(tmp_path / "out"), *both]) == 2
    assert "[SIT-205]" in capsys.readouterr().err


def test_form_fits_the_published_schema(form: str) -> None:
    path = Path(__file__).resolve().parents[2] / "layout" / "schemas" / "site.schema.json"
    schema = json.loads(path.read_text(encoding="utf-8"))
    jsonschema.validate(yaml.safe_load(form), schema)
    jsonschema.validate(yaml.safe_load(filled(form, "L1", "2.6 m")), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(yaml.safe_load(filled(form, "L1", "wide")), schema)
