"""Jobs for the tests of the page: plain ones, and ones whose names mean harm."""

from __future__ import annotations

from dataclasses import replace

from shapely import Polygon, box

from importer.plan import Finding, Flat, FlatId, Severity
from layout.floor import Breach, JobResult, PlanResult
from layout.rules import RuleSet
from layout.takeoff import combine
from tests.layout.writers.build import STOREY, lay, result_of, rules

L_SHAPE = Polygon([(0, 0), (6000, 0), (6000, 2600), (3200, 2600), (3200, 4400), (0, 4400)])

HOSTILE = (
    "</script><script>window.hit=1</script>",
    '"><img src=x onerror="window.hit=2">',
    "</title></svg><svg onload=window.hit=3>",
    "{{ 7*7 }} & <b>bold</b>",
    "\u202egnivil\u2066 \u05e1\u05dc\u05d5\u05df \u0635\u0627\u0644\u0629",
    "A\x00B\x1b[2J\nC\u2028D",
    "\u53a8\u623f" * 40,
    "W" * 90,
)


def flat_job(rule_set: RuleSet | None = None) -> JobResult:
    """Two flats of one plan: an L-shaped room with a breach, two plain rooms."""
    used = rule_set or rules()
    breach = Breach(
        rule="ends.min_length",
        where="B1/3.1",
        at=(400.0, 500.0),
        value=212.4,
        limit=300.0,
        why="Short.",
    )
    layouts = [
        lay(L_SHAPE, "B1", breaches=[breach], rule_set=used),
        lay(box(7000, 0, 10200, 2900), "B2", rule_set=used),
        lay(box(7000, 4000, 9000, 6000), "B3", along_deg=90.0, mirrored=True, rule_set=used),
    ]
    result = result_of(layouts, names=("Living room", "Bedroom", "Study"))
    return combine([in_flats(result, ("Flat 1", "Flat 1", "Flat 2"))], used, default_rules=True)


def in_flats(result: PlanResult, flats: tuple[str, ...]) -> PlanResult:
    """The bays of a result put into flats of these names, and called after their rooms."""
    assert result.plan is not None
    ids = {name: FlatId(f"F{n}") for n, name in enumerate(dict.fromkeys(flats))}
    names = {r.id: r.name or "" for r in result.plan.rooms}
    plan = replace(
        result.plan,
        flats=tuple(Flat(id=i, name=name, storey=STOREY) for name, i in ids.items()),
    )
    bays = tuple(
        replace(b, bay=replace(b.bay, flat=ids[flat], name=names[b.bay.rooms[0]]))
        for b, flat in zip(result.bays, flats, strict=True)
    )
    return replace(result, plan=plan, bays=bays)


def hostile_job() -> JobResult:
    """Every name that a drawing can carry means harm: rooms, flats, files, findings, the rule set."""
    used = rules(name=HOSTILE[0])
    layouts = [lay(box(0, n * 4000, 3000, n * 4000 + 2000), f"B{n}") for n in range(len(HOSTILE))]
    result = in_flats(result_of(layouts, names=HOSTILE, file=f"{HOSTILE[1]}.dxf"), HOSTILE)
    finding = Finding(code="IMP-301", severity=Severity.SETTLE, what=HOSTILE[2], remedy=HOSTILE[0])
    return combine([replace(result, findings=(finding,))], used)
