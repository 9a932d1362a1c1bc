"""The job file: every mistake with its place, and plans laid as it says."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
import yaml
from shapely import box

from importer.plan import (
    Flat,
    FlatId,
    Plan,
    Room,
    RoomId,
    Storey,
    StoreyId,
    UnitReading,
)
from layout.batch import Running, run_tasks
from layout.batch_job import job_schema
from layout.batch_job_file import is_job_file, load_job
from layout.batch_outputs import LaidPlan, Task
from layout.batch_scope import NOT_LAID, Choice, Exclusion, Scope, flats_without_match, scoped
from layout.batch_sites import sites_of
from layout.bays import form_bays
from layout.cli import main
from layout.config_files import job_text
from layout.floor import PlanStatus, SiteDimension
from layout.floor_site import DimensionKind
from layout.rules_error import RuleError
from layout.rules_file import default_rules
from layout.site_file import load_site_text
from layout.takeoff import combine
from layout.writers.site_form import site_form
from tests.layout.laid import rectangle_result, rules
from tests.layout.small_plans import one_room

REPO = Path(__file__).resolve().parents[2]
RULES = default_rules()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with drawings (here only names matter), a rule set, and something beside it."""
    for name in ("level-0.dxf", "level-1.dxf", "more/a.dxf", "more/b-old.dxf"):
        path = tmp_path / "job" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("0\nEOF\n", encoding="ascii")
    (tmp_path / "outside.dxf").write_text("0\nEOF\n", encoding="ascii")
    own = tmp_path / "job" / "own.yaml"
    own.write_text("name: own\nplank: {length: 1200, width: 200}\n", encoding="utf-8")
    return tmp_path / "job"


def job_in(folder: Path, text: str) -> Path:
    path = folder / "job.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def tasks_of(folder: Path, text: str, *, is_said: bool = False) -> tuple[Task, ...]:
    return load_job(job_in(folder, text)).tasks(RULES, is_default=True, is_said=is_said)


# --- mistakes -----------------------------------------------------------------------------------

PLAN = "plans:\n- file: level-0.dxf\n"

MISTAKES = [
    ("plan: []", "1:1", "RUL-201", "Did you mean plans?"),
    ("plans: []", "1:8", "RUL-202", "Nothing stands in plans"),
    ("name: a", "1:1", "RUL-203", "Write 'plans: [{file: level-1.dxf}]'"),
    ("plans:\n- fil: a.dxf", "2:3", "RUL-201", "Did you mean file?"),
    ("plans:\n- {file: level-0.dxf, nmae: x}", "2:23", "RUL-201", "Did you mean name?"),
    ("plans: level-0.dxf", "1:8", "RUL-202", "on a line of its own that starts with '- '"),
    (PLAN + "date: 20261124", "3:7", "RUL-202", 'Put it in quotes: "20261124"'),
    (PLAN + "  file: level-1.dxf", "3:3", "RUL-104", "a second time"),
    ("- a", "1:1", "JOB-301", "Write 'plans:'"),
    ("", "", "JOB-301", "Write 'plans:'"),
    ("plans: [{file: ../outside.dxf}]", "1:16", "JOB-302", "leads out of the folder"),
    ("plans: [{file: more/../../outside.dxf}]", "1:16", "JOB-302", "leads out of the folder"),
    ("plans: [{file: /etc/passwd}]", "1:16", "JOB-302", "does not start from the folder"),
    ("plans: [{file: ~/a.dxf}]", "1:16", "JOB-302", "does not start from the folder"),
    ('plans: [{file: "C:/a.dxf"}]', "1:16", "JOB-302", "does not start from the folder"),
    ("plans: [{file: 'more\\a.dxf'}]", "1:16", "JOB-302", "separated by /"),
    ("plans: [{file: ''}]", "1:16", "JOB-302", "names no file"),
    ("plans: [{file: '.'}]", "1:16", "JOB-302", "names no file"),
    (PLAN + "rules: ../own.yaml", "3:8", "JOB-302", "leads out of the folder"),
    ("plans: [{file: link.dxf}]", "1:16", "JOB-302", "a link that leads elsewhere"),
    ("plans:\n- file: level-O.dxf", "2:9", "JOB-305", "Did you mean level-0.dxf?"),
    (PLAN + "rules: owm.yaml", "3:8", "JOB-305", "Did you mean own.yaml?"),
    (PLAN + "flats: [{match: A, rules: lamniate}]", "3:27", "JOB-305", "laminate"),
    (PLAN + "- file: level-0.dxf", "3:3", "JOB-303", "is in line 2 already"),
    (PLAN + "- {file: level-1.dxf, name: LEVEL-0}", "3:3", "JOB-303", "in line 2 already"),
    ("plans: [{file: level-0.dxf, stands_for: [A, A]}]", "1:9", "JOB-303", "in line 1 already"),
    (PLAN + "  stands_for: [A]\n  storey: B", "3:15", "JOB-304", "Delete storey"),
    ("plans:\n- file: more\n  name: x", "3:9", "JOB-304", "List them one by one"),
    ("plans:\n- file: more\n  leave_out: [{files: '*'}]", "2:9", "JOB-306", "Delete it"),
    (PLAN + "flats: [{match: 'A||B', rules: own.yaml}]", "3:17", "JOB-307", "an empty part"),
    (PLAN + "  storeys: ['|A']", "3:13", "JOB-307", "an empty part"),
    (PLAN + "leave_out: [{rooms: a, flats: b}]", "3:13", "JOB-308", "Write one of rooms"),
    (PLAN + "leave_out: [{because: b}]", "3:13", "JOB-308", "Write one of rooms"),
    (PLAN + "flats: [{match: A, lay: no, rules: own.yaml}]", "3:36", "JOB-308", "not laid"),
]


@pytest.mark.parametrize(("text", "at", "code", "says"), MISTAKES)
def test_a_mistake_is_told_with_its_place_and_what_to_write(
    folder: Path, text: str, at: str, code: str, says: str
) -> None:
    (folder / "link.dxf").symlink_to(folder.parent / "outside.dxf")
    path = job_in(folder, text)
    with pytest.raises(RuleError) as caught:
        load_job(path)
    (problem,) = caught.value.problems
    place = f"{problem.line}:{problem.column}" if problem.line is not None else ""
    assert (problem.code, place) == (code, at), str(problem)
    assert says in str(problem)


def test_all_mistakes_are_told_at_once(folder: Path) -> None:
    text = "plans:\n- file: ../a.dxf\n- file: level-9.dxf\n  storeys: ['']\nrules: none.yaml\n"
    with pytest.raises(RuleError) as caught:
        load_job(job_in(folder, text))
    assert [(p.line, p.code) for p in caught.value.problems] == [
        (2, "JOB-302"),
        (3, "JOB-305"),
        (4, "JOB-307"),
        (5, "JOB-305"),
    ]


def test_a_mistake_in_a_rule_set_is_told_in_that_file(folder: Path) -> None:
    (folder / "own.yaml").write_text("name: own\nplank: {lenght: 1}\n", encoding="utf-8")
    with pytest.raises(RuleError) as caught:
        load_job(job_in(folder, PLAN + "rules: own.yaml"))
    assert "own.yaml:2:9: [RUL-201]" in str(caught.value)


# --- what is laid how ---------------------------------------------------------------------------


def test_paths_start_from_the_job_file_whatever_the_folder_at_hand(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = job_in(folder, PLAN + "- file: more\n  leave_out: [{files: '*-OLD*'}]")
    monkeypatch.chdir(folder.parent)
    job = load_job(Path("job/job.yaml"))
    tasks = job.tasks(RULES, is_default=True, is_said=False)
    assert [t.path for t in tasks] == [Path("job/level-0.dxf"), Path("job/more/a.dxf")]
    assert job.left_out == ("job/more/b-old.dxf: left out by the job.",)
    assert path in [folder / p.name for p in job.keep]


def test_a_plan_is_laid_for_each_storey_it_stands_for(folder: Path) -> None:
    tasks = tasks_of(folder, PLAN + "  name: Typical\n  stands_for: [L1, L2]\n- file: level-1.dxf")
    assert [(t.called, t.scope.storey if t.scope else None) for t in tasks] == [
        ("Typical, L1", "L1"),
        ("Typical, L2", "L2"),
        ("level-1", ""),
    ]
    assert all(t.default_rules for t in tasks)


def test_rule_sets_go_from_the_flat_to_the_plan_to_the_job(folder: Path) -> None:
    text = (
        "rules: own.yaml\nflats: [{match: 'C*', rules: laminate}]\n"
        "plans:\n- file: level-0.dxf\n- file: level-1.dxf\n  rules: engineered_wood\n"
        "  flats:\n  - {match: A, rules: own.yaml}\n  - {match: B, lay: no, because: sold}\n"
    )
    tasks = tasks_of(folder, text)
    assert [(t.called, t.rules.name.split(",")[0]) for t in tasks] == [
        ("level-0", "own"),
        ("level-0, laminate", "laminate"),
        ("level-1", "engineered wood"),
        ("level-1, own", "own"),
        ("level-1, laminate", "laminate"),
    ]
    assert not any(t.default_rules for t in tasks)
    scope = tasks[-1].scope
    assert scope is not None
    assert [(c.match, c.part, c.own) for c in scope.choices] == [
        ("A", 1, True),
        ("B", NOT_LAID, True),
        ("C*", 2, False),
    ]
    # What the command line says comes before the rule set of the job, not before those of plans.
    said = tasks_of(folder, text, is_said=True)
    assert [t.rules.name.split(",")[0] for t in said][:3] == [
        "rigid vinyl",
        "laminate",
        "engineered wood",
    ]


GROUND, TOP = StoreyId("S1"), StoreyId("S2")
FLATS = (
    Flat(id=FlatId("F1"), name="Flat 1", storey=GROUND),
    Flat(id=FlatId("F2"), name="Flat 2", storey=GROUND),
)


def plan_of_flats() -> Plan:
    rooms = [("Hall", "F1"), ("Bath", "F1"), ("Living", "F2"), ("Corridor", None), ("Loft", None)]
    return Plan(
        file="plan.dxf",
        format="DXF",
        units=UnitReading(name="mm", to_mm=1.0, because="test"),
        storeys=(Storey(id=GROUND, name="Ground"), Storey(id=TOP, name="Top")),
        flats=FLATS,
        rooms=tuple(
            Room(
                id=RoomId(f"R{n}"),
                shape=box(4000 * n, 0, 4000 * n + 3900, 3000),
                storey=TOP if name == "Loft" else GROUND,
                name=name,
                flat=None if flat is None else FlatId(flat),
            )
            for n, (name, flat) in enumerate(rooms)
        ),
        doorways=(),
    )


def laid_rooms(scope: Scope) -> list[str]:
    plan = scoped(plan_of_flats(), scope)
    assert plan is not None
    return [str(r.name) for r in plan.rooms if not r.left_out]


def test_each_part_lays_its_own_flats_and_nothing_twice() -> None:
    choices = (Choice(match="flat 2", part=1), Choice(match="*", part=0))
    parts = [Scope(choices=choices, part=n, parts=("a", "b")) for n in (0, 1)]
    assert [laid_rooms(p) for p in parts] == [["Hall", "Bath", "Corridor", "Loft"], ["Living"]]
    other = scoped(plan_of_flats(), parts[1])
    assert other is not None
    assert other.rooms[0].left_out == "Laid by a."
    assert other.rooms[0].elsewhere
    assert {u.because for u in form_bays(other, rules()).unlaid} == {"Laid by a."}
    # A part that finds nothing is none.
    assert scoped(plan_of_flats(), Scope(choices=(Choice(match="x", part=1),), part=1)) is None


def test_exclusions_take_rooms_flats_and_storeys() -> None:
    out = (
        Exclusion(of="rooms", match="bath*|wc", because="tiled"),
        Exclusion(of="flats", match="FLAT 2"),
        Exclusion(of="storeys", match="top"),
    )
    assert laid_rooms(Scope(exclusions=out)) == ["Hall", "Corridor"]
    assert laid_rooms(Scope(storeys=("gr*",))) == ["Hall", "Bath", "Living", "Corridor"]
    plan = scoped(plan_of_flats(), Scope(exclusions=out))
    assert plan is not None
    assert [r.left_out for r in plan.rooms][1:3] == ["tiled", "Left out by the job."]


def test_names_that_nothing_has_are_to_settle() -> None:
    scope = Scope(
        storeys=("Ground|Tpo",),
        choices=(Choice(match="Flat 1|Flta 2", part=0, own=True), Choice(match="X", part=0)),
        exclusions=(Exclusion(of="rooms", match="Balcony", own=True),),
        storey="Ground floor",
    )
    plan = scoped(plan_of_flats(), scope)
    assert plan is not None
    said = [str(f) for f in plan.findings]
    assert [s.split("[")[1][:7] for s in said] == ["LAY-103", "LAY-104", "LAY-104", "LAY-104"]
    assert "the plan shows 2: Ground, Top" in said[0]
    assert "Did you mean 'Top'?" in said[1]
    assert "Did you mean 'Flat 2'?" in said[2]
    assert "There are: Hall, Bath, Living, Corridor, Loft." in said[3]
    assert flats_without_match(["Flat 1|Flat 9"], [plan]) == ("Flat 9",)


def test_a_storey_gets_the_name_that_the_job_gives_it() -> None:
    plan = plan_of_flats()
    single = replace(plan, storeys=plan.storeys[:1], rooms=plan.rooms[:4])
    named = scoped(single, Scope(storey="Level 3"))
    assert named is not None
    assert [s.name for s in named.storeys] == ["Level 3"]


# --- several products ---------------------------------------------------------------------------


def test_products_are_ordered_each_by_itself() -> None:
    vinyl, wood = rules(), rules(name="wood", plank={"length": 2000, "width": 200, "per_pack": 4})
    results = [replace(rectangle_result(), called=name) for name in ("A", "B", "C")]
    job = combine(results, [vinyl, wood, vinyl])
    assert list(job.by_product) == ["test", "wood"]
    planks = len(results[0].bays[0].planks)
    assert [q.planks for q in job.by_product.values()] == [2 * planks, planks]
    assert job.totals.packs == sum(q.packs for q in job.by_product.values())
    assert job.rules_name == "test; wood"
    assert list(job.by_storey) == ["A: Ground", "B: Ground", "C: Ground"]
    assert job.totals.skirting_mm == pytest.approx(3 * 13_620)
    one_name = combine(results[:2], [vinyl, rules(plank={"length": 900, "width": 100})])
    assert list(one_name.by_product) == ["test", "test (2)"]


def lay_named(task: Task) -> LaidPlan:
    result = replace(rectangle_result(), source=str(task.path), called=task.called)
    if task.scope is not None and task.scope.part == 2:
        return LaidPlan(result=replace(result, bays=()), is_empty=True)
    if task.path.name == "level-1.dxf":
        return LaidPlan(result=replace(result, bays=(), status=PlanStatus.FAILED))
    return LaidPlan(result=result, files={"-cuts.csv": task.called.encode()})


def test_outputs_go_by_the_names_of_the_job(folder: Path, tmp_path: Path) -> None:
    text = (
        "flats: [{match: A, rules: own.yaml}, {match: B, rules: laminate}]\n"
        "plans:\n- {file: level-0.dxf, name: Ground/floor}\n- file: level-1.dxf\n"
    )
    tasks = tasks_of(folder, text)
    out = tmp_path / "out"
    outcome = run_tasks(tasks, RULES, out, how=Running(lay=lay_named))
    names = sorted(p.name for p in outcome.written)
    assert names == [
        "Ground_floor, own-cuts.csv",
        "Ground_floor-cuts.csv",
        "index.html",
        "job.xlsx",
        "order.csv",
        "record.json",
    ]
    # A drawing that cannot be used is told once, not once for each rule set.
    assert [p.title for p in outcome.job.plans] == ["Ground/floor", "Ground/floor, own", "level-1"]
    record = json.loads((out / "record.json").read_text(encoding="utf-8"))
    assert [p["name"] for p in record["plans"]] == [p.title for p in outcome.job.plans]


# --- the command --------------------------------------------------------------------------------


def test_a_job_file_is_laid_from_the_command_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one_room(tmp_path / "study.dxf")
    job = job_in(tmp_path, "name: Harbour\nplans: [{file: study.dxf, name: Attic, storey: Top}]\n")
    assert main(["lay", str(job), "--out", str(tmp_path / "out")]) == 0
    assert (tmp_path / "out" / "Attic-sheets.pdf").is_file()
    said = capsys.readouterr()
    assert "8 files written" in said.out
    assert main(["lay", str(job), str(tmp_path), "--out", str(tmp_path / "out")]) == 2
    assert "Give it alone" in capsys.readouterr().err
    assert main(["lay", str(tmp_path / "jop.yaml"), "--out", str(tmp_path / "out")]) == 2
    assert "Did you mean" in capsys.readouterr().err


def test_each_storey_that_a_plan_stands_for_is_measured_by_itself(folder: Path) -> None:
    tasks = tasks_of(folder, PLAN + "  stands_for: [Up, Down]\n- file: level-1.dxf")
    site = load_site_text("plan: 'level-0, Up'\nbays: {B1: {W1: 3000}}", "up.yaml")
    found = sites_of([t.measured_as for t in tasks], [site])
    assert [found.get(t.measured_as) for t in tasks] == [site, None, None]
    dimension = SiteDimension(
        id="W1",
        kind=DimensionKind.WIDTH,
        line=((0, 0), (0, 3000)),
        drawn_mm=3000,
        least_mm=2990,
        most_mm=3010,
        breaks=("rows.min_width", ""),
    )
    result = rectangle_result()
    bays = (replace(result.bays[0], dimensions=(dimension,)),)
    form = site_form(replace(result, bays=bays, called=tasks[0].called)).decode("utf-8")
    assert load_site_text(form, "form.yaml").plan == "level-0, Up"


def test_schema_takes_the_samples_and_refuses_what_the_reader_refuses(folder: Path) -> None:
    schema = job_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    sample = yaml.safe_load(job_text())
    sample["date"] = str(sample["date"])  # YAML 1.1 makes a date of it; our reader does not
    assert list(validator.iter_errors(sample)) == []
    assert list(validator.iter_errors({"plans": [{"fil": "a"}]}))
    assert list(validator.iter_errors({"plans": []}))


def test_the_sample_job_is_sound(capsys: pytest.CaptureFixture[str]) -> None:
    path = REPO / "sample_plans" / "block_job.yaml"
    assert is_job_file(path)
    tasks = load_job(path).tasks(RULES, is_default=True, is_said=False)
    assert [t.called for t in tasks] == [
        "Typical, Level 1",
        "Typical, Level 1, laminate",
        "Typical, Level 2",
        "Typical, Level 2, laminate",
        "Show flat",
    ]
    assert main(["job", "new"]) == 0
    assert capsys.readouterr().out == job_text()
    assert main(["job", "schema"]) == 0
    assert json.loads(capsys.readouterr().out) == job_schema()
