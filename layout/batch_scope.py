"""What of a plan one part of a job lays: storeys, the flats of a rule set, less what is left out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fnmatch import fnmatchcase
from typing import Final

from importer.plan import Finding, FlatId, Origin, Plan, Room, Severity, StoreyId
from layout.bay_joins import is_named
from layout.measures import nearest

NOT_LAID: Final = -1


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Flats by name, and the part of the job that lays them: 0 is the plan's own rule set, NOT_LAID
    none. `own`: written for this plan, so that it should match something.
    """

    match: str
    part: int
    because: str = ""
    own: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Exclusion:
    """Something that is not laid; `of` is `rooms`, `flats` or `storeys`."""

    of: str
    match: str
    because: str = ""
    own: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """What one part lays. `storey` names the storey of a plan that shows one; `storeys` are patterns of
    those to lay, all where empty; `part` is the one of `parts`, the names of rule sets.
    """

    storey: str = ""
    storeys: tuple[str, ...] = ()
    choices: tuple[Choice, ...] = ()
    exclusions: tuple[Exclusion, ...] = ()
    part: int = 0
    parts: tuple[str, ...] = ("",)


@dataclass(slots=True, kw_only=True)
class _Scoping:
    plan: Plan
    scope: Scope
    flats: dict[FlatId, str] = field(default_factory=dict)
    storeys: dict[StoreyId, str] = field(default_factory=dict)


def scoped(plan: Plan, scope: Scope) -> Plan | None:
    """The plan with every room that this part does not lay marked so; None where nothing is left for it
    because other parts lay all of it.
    """
    plan, findings = _named(plan, scope)
    own = _Scoping(
        plan=plan,
        scope=scope,
        flats={f.id: f.name for f in plan.flats},
        storeys={s.id: s.name for s in plan.storeys},
    )
    rooms = tuple(_marked(room, own) for room in plan.rooms)
    laid = any(not r.left_out for r in rooms)
    if not laid and (scope.part or any(r.elsewhere for r in rooms)):
        return None
    if scope.part == 0:
        findings += _unmatched(own)
    return replace(plan, rooms=rooms, findings=(*plan.findings, *findings))


def matches(name: str, patterns: str) -> bool:
    """Whether patterns with | between them name something, in any case."""
    parts = [p.strip().casefold() for p in patterns.split("|")]
    return any(fnmatchcase(name.strip().casefold(), p) for p in parts)


def _named(plan: Plan, scope: Scope) -> tuple[Plan, list[Finding]]:
    """The plan with its storey called as the job calls it."""
    if not scope.storey:
        return plan, []
    if len(plan.storeys) == 1:
        return replace(plan, storeys=(replace(plan.storeys[0], name=scope.storey),)), []
    names = ", ".join(s.name for s in plan.storeys)
    what = f"The job calls its storey '{scope.storey}', but the plan shows {len(plan.storeys)}: {names}."
    return plan, [_finding(plan, "LAY-103", what, "Choose among them with 'storeys:' instead.")]


def _marked(room: Room, own: _Scoping) -> Room:
    """The room as this part sees it."""
    storey = own.storeys.get(room.storey, "")
    scope = own.scope
    if scope.storeys and not any(matches(storey, s) for s in scope.storeys):
        return replace(room, left_out=f"Storey {storey} is not in this job.", elsewhere=True)
    flat = own.flats.get(room.flat, "") if room.flat is not None else ""
    for exclusion in scope.exclusions:
        if _is_excluded(room, exclusion, flat, storey):
            return replace(room, left_out=exclusion.because or "Left out by the job.")
    choice = next((c for c in scope.choices if flat and matches(flat, c.match)), None)
    part = 0 if choice is None else choice.part
    if choice is not None and part == NOT_LAID:
        return replace(room, left_out=choice.because or "Left out by the job.")
    if part != scope.part:
        return replace(room, left_out=f"Laid by {scope.parts[part]}.", elsewhere=True)
    return room


def _is_excluded(room: Room, exclusion: Exclusion, flat: str, storey: str) -> bool:
    if exclusion.of == "rooms":
        return is_named(room, exclusion.match)
    name = flat if exclusion.of == "flats" else storey
    return bool(name) and matches(name, exclusion.match)


# --- names that nothing has ---------------------------------------------------------------------


def _unmatched(own: _Scoping) -> list[Finding]:
    """Patterns written for this plan that match nothing in it: most likely misspelt."""
    scope, plan = own.scope, own.plan
    storeys, flats = list(own.storeys.values()), list(own.flats.values())
    rooms = [name for r in plan.rooms for name in (r.name, r.number) if name]
    known = {"storeys": storeys, "flats": flats, "rooms": rooms}
    asked = [("storeys", pattern) for pattern in scope.storeys]
    asked += [("flats", c.match) for c in scope.choices if c.own]
    asked += [(e.of, e.match) for e in scope.exclusions if e.own]
    named: dict[str, Callable[[str], bool]] = {
        "storeys": lambda m: any(matches(s, m) for s in storeys),
        "flats": lambda m: any(matches(f, m) for f in flats),
        "rooms": lambda m: any(is_named(r, m) for r in plan.rooms),
    }
    return [
        _nothing(plan, of, part, known[of])
        for of, match in asked
        for part in _parts(match)
        if not named[of](part)
    ]


def _parts(match: str) -> Iterator[str]:
    yield from dict.fromkeys(p.strip() for p in match.split("|") if p.strip())


def _nothing(plan: Plan, of: str, match: str, known: Sequence[str]) -> Finding:
    near = nearest(match, known)
    there = ", ".join(dict.fromkeys(known))
    remedy = f"Did you mean '{near}'?" if near else f"There are: {there}." if there else ""
    what = f"The job names {of} '{match}'; the plan has none of that name."
    return _finding(plan, "LAY-104", what, remedy[:300])


def _finding(plan: Plan, code: str, what: str, remedy: str) -> Finding:
    return Finding(
        code=code,
        severity=Severity.SETTLE,
        what=what,
        where=Origin(file=plan.file),
        remedy=remedy,
    )


def flats_without_match(matched: Iterable[str], plans: Iterable[Plan]) -> tuple[str, ...]:
    """Of patterns for flats over the whole job, those that match no flat of any plan."""
    names = [f.name for p in plans for f in p.flats]
    return tuple(
        part
        for match in matched
        for part in _parts(match)
        if not any(matches(n, part) for n in names)
    )
