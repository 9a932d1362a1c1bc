"""The command line as a user meets it: what it says, what it leaves, how it ends."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
import yaml
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.filemanagement import readfile

from layout import batch
from layout.batch_kept import FOLDER as KEPT
from layout.cli import cli, main
from layout.commands.status import ExitStatus
from layout.rules_file import default_rules, load_rules, load_rules_text
from layout.rules_schema import rules_schema
from tests.layout.small_plans import NOT_DRAWINGS, lines_only, one_room, truncated

REPO = Path(__file__).resolve().parents[2]
DEFAULT_SAID = "No rule set was given: the packaged default"


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return one_room(tmp_path_factory.mktemp("plans") / "study.dxf")


@pytest.fixture(scope="module")
def laid(plan: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the outputs of the small plan."""
    out = tmp_path_factory.mktemp("laid") / "out"
    assert main(["lay", str(plan), "--out", str(out), "--quiet"]) == 0
    return out


def tree(folder: Path) -> list[str]:
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*"))


def run(
    arguments: Sequence[object], *, env: dict[str, str] | None = None, out: Any = subprocess.PIPE
) -> subprocess.CompletedProcess[bytes]:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "layout.cli", *map(str, arguments)],
        cwd=REPO,
        env={**os.environ, **(env or {})},
        check=False,
        timeout=120,
        stdout=out,
        stderr=subprocess.PIPE,
    )


# --- lay ----------------------------------------------------------------------------------------


def test_lay_writes_every_output_and_sums_up(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["lay", str(plan), "--out", str(tmp_path / "out")]) == 0
    assert tree(tmp_path / "out") == [
        "index.html",
        "job.xlsx",
        "order.csv",
        "record.json",
        "study-cuts.csv",
        "study-marked.dxf",
        "study-sheets.pdf",
        "study-site.yaml",
    ]
    shown = capsys.readouterr()
    record = json.loads((tmp_path / "out" / "record.json").read_text(encoding="utf-8"))
    (bay,) = record["plans"][0]["bays"]
    assert DEFAULT_SAID in shown.out
    assert "Study" in shown.out
    assert f"{bay['planks']} / {bay['bound']}" in shown.out
    assert f"Order {record['totals']['packs']} pack" in shown.out
    assert f"{len(tree(tmp_path / 'out'))} files written to" in shown.out
    assert shown.err == ""


def test_quiet_says_nothing(plan: Path, tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert main(["lay", str(plan), "--out", str(tmp_path), "--quiet"]) == 0
    assert capfd.readouterr() == ("", "")


def test_default_rules_are_said_on_every_output(laid: Path) -> None:
    for name in ("order.csv", "study-marked.dxf"):
        data = (laid / name).read_bytes()
        assert b"No rule set was given" in data, name
    record = json.loads((laid / "record.json").read_text(encoding="utf-8"))
    assert record["rules"]["packaged_default"] is True


def test_layer_names_are_as_the_command_line_says(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And a copy of a model is asked for in vain where there is none."""
    arguments = ["lay", str(plan), "--out", str(tmp_path), "--quiet", "--layers", "ncs", "--ifc"]
    assert main(arguments) == 0
    assert "no plan of this job was read from a model" in capsys.readouterr().err
    assert not list(tmp_path.glob("*.ifc"))
    data = (tmp_path / "study-marked.dxf").read_bytes()
    assert b"A-FLOR-PLNK-CUTS" in data
    assert b"SETOUT-CUT" not in data


@pytest.mark.parametrize("option", ["--job", "--date"])
def test_a_title_that_no_title_block_holds_is_refused(
    option: str, plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for text in ("", "x" * 121):
        assert main(["lay", str(plan), "--out", str(tmp_path / "o"), option, text]) == 2
        assert f"'{option}': write a text of 1 to" in capsys.readouterr().err
    assert not (tmp_path / "o").exists()


def test_own_rules_are_used_and_named(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rules = tmp_path / "floor.yaml"
    rules.write_text("name: oak\nplank: {length: 1000, width: 150}\n", encoding="utf-8")
    arguments = ["lay", str(plan), "--rules", str(rules), "--out", str(tmp_path / "out")]
    assert main(arguments) in {0, 1}
    shown = capsys.readouterr().out
    assert "Rules: oak" in shown
    assert DEFAULT_SAID not in shown
    record = json.loads((tmp_path / "out" / "record.json").read_text(encoding="utf-8"))
    assert record["rules"] == {"name": "oak", "packaged_default": False}


def test_breaches_end_with_1_and_are_told_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A row of 1240 in ends of 600 or more has its joint at 600 to 640: none is 600 from the next."""
    plan = one_room(tmp_path / "study.dxf", width=1256.0)
    rules = tmp_path / "floor.yaml"
    rules.write_text(
        "name: a\nplank: {length: 1220, width: 180}\nends: {min_length: 600}\n"
        "joints: {min_offset: 600}\ndrawing: {units: mm}\n",
        encoding="utf-8",
    )
    arguments = ["lay", str(plan), "--rules", str(rules), "--out", str(tmp_path / "out")]
    assert main(arguments) == 1
    shown = capsys.readouterr().out
    assert "Look at first:\n- Study: [" in shown
    capsys.readouterr()
    assert main(["check", str(tmp_path / "out" / "study-marked.dxf")]) == 1
    assert "(as marked)" in capsys.readouterr().out


@pytest.mark.parametrize("kind", [*NOT_DRAWINGS, "lines only", "truncated", "missing", "folder"])
def test_bad_plan_ends_with_2_one_message_and_nothing_left(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "plan.dxf"
    if kind in NOT_DRAWINGS:
        path.write_bytes(NOT_DRAWINGS[kind])
    elif kind == "lines only":
        lines_only(path)
    elif kind == "truncated":
        truncated(path)
    elif kind == "folder":
        path.mkdir()
    before = tree(tmp_path)
    assert main(["lay", str(path), "--out", str(tmp_path / "out")]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert len(shown.err.splitlines()) == 1, shown.err
    assert "plan.dxf" in shown.err
    assert "Traceback" not in shown.err
    assert tree(tmp_path) == before


def test_bad_plan_does_not_stop_the_others(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bad.dxf").write_bytes(NOT_DRAWINGS["pdf"])
    arguments = ["lay", str(tmp_path / "bad.dxf"), str(plan), "--out", str(tmp_path / "out")]
    assert main(arguments) == 2
    shown = capsys.readouterr()
    assert "bad.dxf" in shown.err
    assert "Study" in shown.out
    assert "study-marked.dxf" in tree(tmp_path / "out")
    assert "bad-marked.dxf" not in tree(tmp_path / "out")


def test_rooms_left_out_by_rule_are_told(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rules = tmp_path / "floor.yaml"
    rules.write_text(
        "name: a\nplank: {length: 1220, width: 180}\nrooms: [{match: stud*, lay: no, because: tiled}]\n",
        encoding="utf-8",
    )
    arguments = ["lay", str(plan), "--rules", str(rules), "--out", str(tmp_path / "out")]
    assert main(arguments) == 2
    assert "not laid: Study (tiled)" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("name: a\nplank: {length: 1220, width: 180}\ngaps: {wall: 8}", ":3:1: [RUL-201]"),
        ("name: a\nplank: {length: 1220, width: 180 km}", ":2:30: [RUL-202]"),
        ("name: a\nplank: {length: 1220, width: 180}\ngap: {wall: 30}", ":3:13: [RUL-309]"),
    ],
    ids=["unknown key", "wrong unit", "impossible"],
)
@pytest.mark.parametrize("command", ["lay", "read", "check", "show"])
def test_bad_rules_end_with_2_and_leave_nothing(
    command: str,
    text: str,
    says: str,
    plan: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    rules = tmp_path / "floor.yaml"
    rules.write_text(text, encoding="utf-8")
    out = str(tmp_path / "out")
    arguments = {
        "lay": ["lay", str(plan), "--rules", str(rules), "--out", out],
        "read": ["read", str(plan), "--rules", str(rules), "--json", out],
        "check": ["check", str(plan), "--rules", str(rules), "--json", out],
        "show": ["rules", "show", str(rules)],
    }[command]
    assert main(arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert shown.err.startswith(f"{rules}{says}")
    assert len(shown.err.splitlines()) == 1
    assert tree(tmp_path) == ["floor.yaml"]


@pytest.mark.parametrize("place", ["file", "below a file", "/proc", "file in the way"])
def test_output_folder_that_cannot_be_written_ends_with_3(
    place: str, plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_bytes(b"mine")
    (tmp_path / "taken" / "record.json").mkdir(parents=True)
    out = {
        "file": tmp_path / "file",
        "below a file": tmp_path / "file" / "out",
        "/proc": Path("/proc/setout/out"),
        "file in the way": tmp_path / "taken",
    }[place]
    if place == "/proc" and not Path("/proc/self").is_dir():
        pytest.skip("needs a Linux /proc")
    before = tree(tmp_path)
    assert main(["lay", str(plan), "--out", str(out)]) == 3
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "[OUT-101]" in shown.err
    assert len(shown.err.splitlines()) == 1
    assert tree(tmp_path) == before
    assert (tmp_path / "file").read_bytes() == b"mine"


def test_plan_is_not_overwritten_by_outputs_beside_it(tmp_path: Path) -> None:
    plan = one_room(tmp_path / "study.dxf")
    before = plan.read_bytes()
    assert main(["lay", str(plan), "--out", str(tmp_path), "--quiet"]) == 0
    assert main(["lay", str(tmp_path), "--out", str(tmp_path), "--quiet"]) == 0
    assert plan.read_bytes() == before
    assert [n for n in tree(tmp_path) if n.endswith(".dxf")] == ["study-marked.dxf", "study.dxf"]


def test_marked_drawing_is_refused_as_a_plan(
    laid: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ["lay", str(laid / "study-marked.dxf"), "--out", str(tmp_path / "out")]
    assert main(arguments) == 2
    assert "marked by setout already" in capsys.readouterr().err
    assert tree(tmp_path) == []


# --- read ---------------------------------------------------------------------------------------


def test_read_shows_rooms_and_writes_json_and_picture(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, picture = tmp_path / "plan.json", tmp_path / "plan.svg"
    assert main(["read", str(plan), "--json", str(out), "--picture", str(picture)]) == 0
    shown = capsys.readouterr().out
    assert "Study" in shown
    (room,) = json.loads(out.read_text(encoding="utf-8"))["rooms"]
    assert room["area_m2"] == pytest.approx(3.9)
    assert b"<svg" in picture.read_bytes()


def test_read_gives_nothing_but_json_to_a_program(
    plan: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["read", str(plan), "--json", "-"]) == 0
    shown = capsys.readouterr()
    assert json.loads(shown.out)["schema"] == 1
    assert shown.err == ""


def test_hints_of_the_rules_reach_the_importer(plan: Path, tmp_path: Path) -> None:
    rules = tmp_path / "floor.yaml"
    rules.write_text(
        "name: a\nplank: {length: 1220, width: 180}\ndrawing: {units: cm}\n", encoding="utf-8"
    )
    out = tmp_path / "plan.json"
    main(["read", str(plan), "--rules", str(rules), "--json", str(out)])
    units = json.loads(out.read_text(encoding="utf-8"))["plan"]["units"]
    assert (units["name"], units["to_mm"]) == ("cm", 10.0)


@pytest.mark.parametrize("option", ["--json", "--picture"])
def test_read_never_overwrites_its_plan(
    option: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = one_room(tmp_path / "study.svg")
    before = plan.read_bytes()
    assert main(["read", str(plan), option, str(plan)]) == 3
    assert "would overwrite the input" in capsys.readouterr().err
    assert plan.read_bytes() == before


def test_picture_of_an_unknown_kind_is_bad_usage(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["read", str(plan), "--picture", str(tmp_path / "plan.bmp")]) == 2
    assert ".svg, .png, .pdf" in capsys.readouterr().err
    assert tree(tmp_path) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_full_disk_ends_with_3(plan: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["read", str(plan), "--json", "/dev/full"]) == 3
    assert "The disk is full" in capsys.readouterr().err


# --- check --------------------------------------------------------------------------------------


def test_check_repeats_the_record(
    laid: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marked = laid / "study-marked.dxf"
    assert main(["check", str(marked)]) == 0
    shown = capsys.readouterr().out
    assert "No rule is broken." in shown
    assert DEFAULT_SAID in shown
    assert main(["check", str(marked), "--json", str(tmp_path / "check.json")]) == 0
    checked = json.loads((tmp_path / "check.json").read_text(encoding="utf-8"))
    recorded = json.loads((laid / "record.json").read_text(encoding="utf-8"))
    (now,), (then,) = checked["bays"], recorded["plans"][0]["bays"]
    assert [now[k] for k in ("id", "rooms", "planks", "breaches")] == [
        then[k] for k in ("id", "rooms", "planks", "breaches")
    ]
    assert now["area_mm2"] == pytest.approx(then["area_mm2"], abs=1.0)
    assert now["written"]["planks"] == then["planks"]


def test_check_against_stricter_rules_names_what_they_break(
    laid: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rules = tmp_path / "floor.yaml"
    text = "name: strict\nplank: {length: 1220, width: 180}\njoints: {min_offset: 600}\n"
    rules.write_text(text, encoding="utf-8")
    assert main(["check", str(laid / "study-marked.dxf"), "--rules", str(rules)]) == 1
    shown = capsys.readouterr().out
    assert "joints.min_offset" in shown
    assert "(new)" in shown


def test_piece_moved_in_the_drawing_is_named_first(
    laid: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    doc = readfile(laid / "study-marked.dxf")
    pieces = [e for e in doc.modelspace() if '"plank":' in piece_note(e)]
    piece = pieces[len(pieces) // 2]
    piece_id = json.loads(piece_note(piece))["id"]
    piece.translate(20.0, 0.0, 0.0)
    doc.saveas(tmp_path / "moved.dxf")
    assert main(["check", str(tmp_path / "moved.dxf")]) == 1
    lines = [x for x in capsys.readouterr().out.splitlines() if x.startswith("- ")]
    assert lines[0].endswith("(new)")
    assert any(piece_id in line for line in lines)


def piece_note(entity: DXFEntity) -> str:
    """The data of ours on an entity, joined; empty when there is none."""
    if not entity.has_xdata("SETOUT"):
        return ""
    return "".join(t.value for t in entity.get_xdata("SETOUT")[1:] if t.code == 1000).removeprefix(
        "piece"
    )


def test_check_of_an_unmarked_drawing_ends_with_2(
    plan: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(plan), "--json", str(tmp_path / "x.json")]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
    assert tree(tmp_path) == []


# --- rules --------------------------------------------------------------------------------------


def test_rules_new_gives_a_commented_set_that_loads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "floor.yaml"
    assert main(["rules", "new", str(target)]) == 0
    assert load_rules(target) == default_rules()
    assert "# " in target.read_text(encoding="utf-8")
    target.write_text("mine", encoding="utf-8")
    assert main(["rules", "new", str(target)]) == 3
    assert "there already" in capsys.readouterr().err
    assert target.read_text(encoding="utf-8") == "mine"
    assert main(["rules", "new", "--like", "laminate"]) == 0
    assert load_rules_text(capsys.readouterr().out, "").name == "laminate, 1285 x 192"


def test_every_packaged_rule_set_can_be_started_from() -> None:
    from layout.config_files import config_names

    new = cli.commands["rules"].commands["new"]  # type: ignore[attr-defined]
    (like,) = [p for p in new.params if p.name == "like"]
    assert sorted(like.type.choices) == list(config_names())


def test_rules_schema_is_printed_and_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rules", "schema"]) == 0
    assert json.loads(capsys.readouterr().out) == rules_schema()
    target = tmp_path / "schema.json"
    assert main(["rules", "schema", str(target)]) == 0
    assert main(["rules", "schema", str(target)]) == 0
    assert json.loads(target.read_text(encoding="utf-8")) == rules_schema()


def test_rules_show_prints_a_whole_rule_set(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["rules", "show"]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("# The packaged default (rigid_vinyl)")
    assert load_rules_text(shown, "") == default_rules()
    rules = tmp_path / "floor.yaml"
    rules.write_text("name: a\nplank: {length: 48 in, width: 7 in}\n", encoding="utf-8")
    assert main(["rules", "show", str(rules)]) == 0
    shown = capsys.readouterr().out
    assert not shown.startswith("#")
    assert yaml.safe_load(shown)["plank"]["length"] == 1219.2


# --- how it is called and how it ends -----------------------------------------------------------


@pytest.mark.parametrize(
    "arguments",
    [
        ["lai"],
        ["lay"],
        ["lay", "a.dxf"],
        ["lay", "a.dxf", "--out", "x", "--workers", "0"],
        ["lay", "a.dxf", "--out", "x", "--sight", "y"],
        ["read"],
        ["rules", "new", "--like", "herringbone"],
    ],
    ids=" ".join,
)
def test_bad_usage_ends_with_2(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(arguments) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert "Usage: setout" in shown.err


@pytest.mark.parametrize("command", [[], ["read"], ["lay"], ["check"], ["rules"]], ids=str)
def test_help_documents_every_exit_status(
    command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([*command, "--help"]) == 0
    shown = capsys.readouterr().out
    told = shown[shown.index("Exit status") :]
    for status in ExitStatus:
        assert f"\n  {int(status):<4} " in told.replace("\n    ", "\n  "), status


def test_fault_of_the_program_is_told_without_a_traceback(
    plan: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(batch, "combine", fails)
    monkeypatch.delenv("SETOUT_TRACEBACK", raising=False)
    assert main(["lay", str(plan), "--out", str(tmp_path / "out")]) == 4
    shown = capsys.readouterr()
    assert "setout failed here: ZeroDivisionError (test_cli.py:" in shown.err
    assert "Traceback" not in shown.err
    assert tree(tmp_path) == []
    monkeypatch.setenv("SETOUT_TRACEBACK", "1")
    assert main(["lay", str(plan), "--out", str(tmp_path / "out")]) == 4
    assert "Traceback" in capsys.readouterr().err


def test_broken_installation_is_told_without_a_traceback(
    plan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delitem(sys.modules, "layout.commands.lay", raising=False)
    monkeypatch.setitem(sys.modules, "layout.batch", None)
    assert main(["lay", str(plan), "--out", str(tmp_path / "out")]) == 4
    assert "setout failed here: ModuleNotFoundError (lay.py:" in capsys.readouterr().err


def test_interrupt_ends_with_130_and_leaves_nothing(
    plan: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    assert main(["lay", str(plan), "--out", str(tmp_path / "out")]) == 130
    assert "interrupted" in capsys.readouterr().err
    assert tree(tmp_path) == []


def is_gone(group: int) -> bool:
    """Whether no process of the group is left, a moment given to end."""
    for _ in range(50):
        try:
            os.killpg(group, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.1)
    return False


@pytest.mark.skipif(os.name == "nt", reason="signals")
def test_interrupt_of_many_plans_ends_the_workers(tmp_path: Path) -> None:
    """Ctrl-C goes to the whole process group, as a terminal sends it."""
    for n in range(40):
        one_room(tmp_path / "plans" / f"p{n}.dxf", width=9000.0, depth=7000.0)
    job = subprocess.Popen(
        [
            *(sys.executable, "-m", "layout.cli", "lay", str(tmp_path / "plans")),
            *("--out", str(tmp_path / "out"), "--workers", "2"),
        ],
        cwd=REPO,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
    )
    kept = tmp_path / "out" / KEPT
    until = time.monotonic() + 120.0
    while not (kept.is_dir() and any(kept.iterdir())) and time.monotonic() < until:
        time.sleep(0.05)
    os.killpg(job.pid, signal.SIGINT)
    out, err = job.communicate(timeout=120)
    assert job.returncode == 130, err.decode()
    assert out == b""
    assert err.decode().splitlines()[-1] == "interrupted; no output was written"
    assert [p for p in (tmp_path / "out").glob("*") if p.is_file()] == []
    assert is_gone(job.pid)


def test_pipe_without_the_letters_of_a_room_is_no_error(tmp_path: Path) -> None:
    plan = one_room(tmp_path / "plan.dxf", name="厨房 ²")
    done = run(["read", plan, "--json", "-"], env={"PYTHONIOENCODING": "cp1252"})
    assert json.loads(done.stdout.decode("utf-8"))["rooms"][0]["name"] == "厨房 ²"
    done = run(["lay", plan, "--out", tmp_path / "out"], env={"PYTHONIOENCODING": "cp1252"})
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"?" in done.stdout
    assert b"\r" not in done.stdout
    assert b"\x1b" not in done.stdout


def test_room_name_cannot_steer_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = one_room(tmp_path / "plan.dxf", name="St[red]u[/]dy")
    assert main(["lay", str(plan), "--out", str(tmp_path / "out")]) == 0
    shown = capsys.readouterr().out
    assert "St[red]u[/]dy" in shown
    assert "\x1b" not in shown


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_standard_output_that_cannot_be_written_ends_with_3() -> None:
    with Path("/dev/full").open("wb") as full:
        for arguments in (["--help"], ["rules", "show"]):
            done = run(arguments, out=full)
            assert done.returncode == 3, arguments
            assert done.stderr.decode().startswith("standard output: it cannot be written")


@pytest.mark.skipif(os.name == "nt", reason="needs a shell")
def test_closed_pipes_are_no_fault() -> None:
    command = f"{sys.executable} -m layout.cli rules schema"
    for shell in (f"{command} | head -c 10", f"{command} >&-"):
        done = subprocess.run(shell, shell=True, cwd=REPO, check=False, capture_output=True)
        assert b"Traceback" not in done.stderr
        assert b"Exception ignored" not in done.stderr


def test_start_is_quick() -> None:
    """In seconds of the processor, the best of three: the machine may be busy with others."""
    times = []
    for _ in range(3):
        before = os.times()
        assert run(["--help"]).returncode == 0
        after = os.times()
        times.append(sum(after[2:4]) - sum(before[2:4]))
    assert min(times) < 0.25


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from layout.cli import main; main(['lay', '--help']); "
        "print(sorted({m.split('.')[0] for m in sys.modules} & "
        "{'numpy', 'shapely', 'scipy', 'ezdxf', 'pydantic', 'rich', 'yaml', 'importer'}))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=REPO, check=True, capture_output=True, text=True
    )
    assert done.stdout.splitlines()[-1] == "[]"
