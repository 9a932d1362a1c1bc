"""The packaged rule sets: sound, sourced line by line, and reaching an installed wheel."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pytest

from layout import config_files
from layout.config_files import DEFAULT_CONFIG, config_names, config_text
from layout.rules_file import load_rules_text

REPO = Path(__file__).resolve().parents[2]


def test_there_is_one_for_each_kind_of_floor() -> None:
    assert config_names() == ("engineered_wood", "laminate", "rigid_vinyl", "rigid_vinyl_inches")
    assert DEFAULT_CONFIG in config_names()
    with pytest.raises(KeyError):
        config_text("herringbone")


@pytest.mark.parametrize("name", config_names())
def test_every_rule_set_writes_every_setting_it_needs(name: str) -> None:
    rules = load_rules_text(config_text(name), name)
    expected = set(type(rules).model_fields) - {"drawing", "job", "per_plan", "stages"}
    assert expected <= rules.model_fields_set
    assert rules.ends.min_length >= rules.plank.width
    assert rules.gap.wall <= rules.gap.cover


@pytest.mark.parametrize("name", config_names())
def test_every_number_says_where_it_comes_from(name: str) -> None:
    """A number's comment names a source, says that there is none, or what the number follows from."""
    lines = config_text(name).splitlines()
    numbered = [i for i, line in enumerate(lines) if re.match(r"\s+\w+: [0-9]", line)]
    assert len(numbered) >= 14
    for i in numbered:
        comment = lines[i].partition("#")[2]
        for line in lines[i + 1 :]:
            if not re.match(r"\s+#", line):
                break
            comment += line.partition("#")[2]
        assert re.search(
            r"no source|\.com|\.fr|EN \d|read it off|\(ends\.min_length\)|third", comment
        ), f"{name}.yaml:{i + 1}: {lines[i]}"


@pytest.mark.parametrize("name", config_names())
def test_lines_fit_the_screen(name: str) -> None:
    assert max(map(len, config_text(name).splitlines())) <= 120


def test_twins_in_inches_and_millimetres_agree_within_a_tenth() -> None:
    metric = load_rules_text(config_text("rigid_vinyl"), "")
    inches = load_rules_text(config_text("rigid_vinyl_inches"), "")
    for section, key in (
        ("plank", "length"),
        ("plank", "width"),
        ("gap", "wall"),
        ("gap", "cover"),
        ("ends", "min_length"),
        ("joints", "min_offset"),
        ("rows", "min_width"),
        ("limits", "run"),
        ("site", "tolerance"),
        ("order", "spare"),
    ):
        ours, theirs = (getattr(getattr(r, section), key) for r in (metric, inches))
        assert theirs == pytest.approx(ours, rel=0.1), f"{section}.{key}"


def test_wheel_is_searched_before_the_checkout(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "_configs").mkdir()
    (tmp_path / "_configs" / "own.yaml").write_text("name: own\n", encoding="utf-8")
    (tmp_path / "_configs" / "notes.txt").write_text("x", encoding="utf-8")
    monkeypatch.setattr(config_files, "files", lambda _: tmp_path)
    assert config_names() == ("own",)
    assert config_text("own") == "name: own\n"
    monkeypatch.setattr(config_files, "files", lambda _: tmp_path / "elsewhere")
    assert DEFAULT_CONFIG in config_names()


def test_rule_sets_are_built_into_the_wheel(tmp_path: Path) -> None:
    build = pytest.importorskip("hatchling.build", reason="hatchling builds the wheel")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(REPO)
        wheel = build.build_wheel(str(tmp_path))
    names = zipfile.ZipFile(tmp_path / wheel).namelist()
    for name in config_names():
        assert f"layout/_configs/{name}.yaml" in names
