"""Rooms that come out a little different from the drawing: `python -m tests.bench.site_deviations`.

For random deviations inside the window of each bay, along and across at once, the layout must audit clean
with the joints, row lines and planks as planned; just outside each end of the window, the rule that the
window names must break (with the other axis as drawn, or at either of its own ends: where both together
break a rule, the window holds for both together). The same for each dimension to measure on its own.

Prints the counts by kind of bay. `--real FOLDER` adds every room of the drawings in a folder, `--plan
FILE` the bays of a whole plan, offcuts pooled and rooms joined.
"""

from __future__ import annotations

import argparse
import platform
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from random import Random
from time import process_time

from shapely import Polygon

from importer.plan import Plan, PlanError
from importer.read import read_plan
from layout.bay_edges import least_strip
from layout.bay_error import LayoutError
from layout.bay_inset import inset
from layout.bays import form_bays
from layout.floor import Bay, BayLayout, MovementJoint
from layout.job import lay_bay, lay_plan
from layout.job_pools import others_of
from layout.rules import RuleSet
from layout.rules_file import default_rules
from layout.site_dimensions import Tie, origin_face, ties_of, with_dimensions
from layout.site_faces import ACROSS, ALONG, Shift, displaced, faces_of
from layout.site_refit import kept
from layout.site_walls import moved
from layout.window_shapes import is_start_face
from tests.bench.generated_bays import KINDS, plan_of, random_rules

OUTSIDE_MM = 0.2
"""How far outside the window a rule has to break: a little more than what lengths are compared to."""
FARTHEST = 0.2
"""Deviations beyond this part of a dimension are refused as slips of the pen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A laid bay to try deviations on."""

    kind: str
    layout: BayLayout
    plan: Plan
    rules: RuleSet
    joints: tuple[MovementJoint, ...] = ()
    others: tuple[BayLayout, ...] = ()

    @property
    def ties(self) -> tuple[Tie, ...]:
        beside = others_of(self.layout, [self.layout, *self.others])
        return ties_of(self.layout, self.joints, self.rules, beside=beside)

    def broken(self, outline: Polygon) -> set[str] | None:
        """Rules broken with the walls at another outline (bay frame) that the layout as drawn keeps;
        None where that is no simple outline any more.
        """
        bay = bay_of(self.layout, outline)
        if bay is None:
            return None
        after = kept(self.layout, bay, self.plan, self.rules, self.others)
        known = {(b.rule, b.where) for b in self.layout.breaches}
        found = {b.rule for b in after.breaches if (b.rule, b.where) not in known}
        # The audit judges piece by piece; the row grid the strip along a whole edge.
        if thin_strips(after, self.rules) > thin_strips(self.layout, self.rules):
            found.add("rows.min_width along an edge")
        return found


def thin_strips(layout: BayLayout, rules: RuleSet) -> int:
    return sum(
        s.width_mm < least_strip(s.x1 - s.x0, rules.rows.min_width)
        for s in layout.setting_out.strips
    )


# --- what is laid -------------------------------------------------------------------------------


def generated(count: int, seed: int, kinds: tuple[str, ...] = ()) -> Iterator[Case]:
    """Generated bays of the kinds in turn, each laid without a breach."""
    names = kinds or tuple(KINDS)
    for number in range(count):
        kind = names[number % len(names)]
        random = Random(f"{seed}/{kind}/{number}")
        shape, rules = KINDS[kind](random), random_rules(random)
        yield from _rooms(kind, plan_of(shape), rules)


def _rooms(kind: str, plan: Plan, rules: RuleSet) -> Iterator[Case]:
    for bay in form_bays(plan, rules).bays:
        layout = with_dimensions(lay_bay(bay, plan, rules), (), rules)
        if not layout.breaches:
            yield Case(kind=kind, layout=layout, plan=plan, rules=rules)


def real(folder: Path, count: int) -> Iterator[Case]:
    """Rooms of real drawings, each by itself, as many plans as it takes."""
    found = 0
    for path in sorted(p for p in folder.rglob("*") if p.suffix.lower() in {".dxf", ".ifc"}):
        try:
            plan = read_plan(path)
        except PlanError:
            continue
        for room in plan.rooms[:3]:
            alone = replace(plan, rooms=(room,), doorways=(), obstacles=(), flats=())
            try:
                for case in _rooms("real room", alone, default_rules()):
                    yield case
                    found += 1
            except LayoutError:
                continue
            if found >= count:
                return


def whole(path: Path) -> Iterator[Case]:
    """The bays of a plan as it is laid."""
    rules = default_rules()
    plan = read_plan(path)
    result = lay_plan(plan, rules)
    for layout in result.bays:
        yield Case(
            kind=path.name,
            layout=layout,
            plan=plan,
            rules=rules,
            joints=result.joints,
            others=tuple(o for o in result.bays if o is not layout),
        )


# --- deviations ---------------------------------------------------------------------------------


def deviating(layout: BayLayout, along: float, across: float) -> Polygon:
    """The outline (bay frame) with every wall at which rows end `along` further off, and every wall along
    the rows but the start wall `across` further off.
    """
    outline = layout.setting_out.frame.to_bay(layout.bay.outline)
    stops: Mapping[int, Shift] = {
        f.index: (along, along) for f in faces_of(outline, ALONG) if not f.opens
    }
    sides = [f for f in faces_of(outline, ACROSS) if f.holds]
    starts = {f.index for f in sides if f.opens and abs(f.places + layout.bay.gap_mm).max() < 5.0}
    shifts = {f.index: (across, across) for f in sides if f.index not in starts}
    return displaced(outline, stops, shifts)


def bay_of(layout: BayLayout, outline: Polygon) -> Bay | None:
    """The bay with another outline (bay frame), set back by its gap."""
    if not outline.is_valid or outline.is_empty:
        return None
    floors = inset(outline, layout.bay.gap_mm)
    if len(floors) != 1:
        return None
    to_plan = layout.setting_out.frame.to_plan
    return replace(layout.bay, outline=to_plan(outline), floor=to_plan(floors[0]))


def steepest(layout: BayLayout) -> float:
    """What a tapering strip gains over the length of its tip that the rules do not look at."""
    strips = layout.setting_out.strips
    return max((100.0 * (s.y_high - s.y_low) / (s.x1 - s.x0) for s in strips), default=0.0)


@dataclass(slots=True)
class Count:
    """What came of the deviations of one kind of bay: of windows, then of single dimensions."""

    bays: int = 0
    inside: int = 0
    clean: int = 0
    ends: int = 0
    named: int = 0
    one_inside: int = 0
    one_clean: int = 0
    one_ends: int = 0
    one_named: int = 0


def try_inside(case: Case, random: Random, count: Count) -> str:
    """One random deviation inside the window; what it broke."""
    window = case.layout.window
    along, across = random.uniform(*window.length_mm), random.uniform(*window.width_mm)
    found = case.broken(deviating(case.layout, along, across))
    if found is None:
        return ""
    count.inside += 1
    broken = found - {"rows.min_width along an edge"}
    count.clean += not broken
    return f"{sorted(broken)} at ({along:.3f}, {across:.3f})" if broken else ""


def try_outside(case: Case, count: Count) -> Iterator[str]:
    """Just outside each end of the window; where the named rule did not break."""
    window = case.layout.window
    for axis, (ends, rules) in enumerate(
        ((window.length_mm, window.length_rules), (window.width_mm, window.width_rules))
    ):
        others = (0.0, *(window.width_mm, window.length_mm)[axis])
        for end, way, rule in zip(ends, (-1, 1), rules, strict=True):
            if not rule:
                continue
            step = end + way * (OUTSIDE_MM + (steepest(case.layout) if axis else 0.0))
            places = [(other, step) if axis else (step, other) for other in others]
            found = [case.broken(deviating(case.layout, *place)) for place in places[:1]]
            if not _names(rule, found):
                found += [case.broken(deviating(case.layout, *place)) for place in places[1:]]
            if all(f is None for f in found):
                continue
            count.ends += 1
            count.named += _names(rule, found)
            if not _names(rule, found):
                yield f"{rule} at {places[0]}: {found}"


def _names(rule: str, found: list[set[str] | None]) -> bool:
    return any(f is not None and any(r.startswith(rule) for r in f) for f in found)


def try_dimensions(case: Case, random: Random, times: int, count: Count) -> Iterator[str]:
    """Single dimensions, inside their range and just outside."""
    ties = case.ties
    for tie in random.sample(ties, min(times, len(ties))):
        size = tie.dimension
        least = max(size.least_mm, (1 - FARTHEST) * size.drawn_mm)
        most = min(size.most_mm, (1 + FARTHEST) * size.drawn_mm)
        value = random.uniform(least, most)
        for outline in _either(case, ties, tie, value):
            found = case.broken(outline)
            if found is not None:
                count.one_inside += 1
                broken = found - {"rows.min_width along an edge"}
                count.one_clean += not broken
                if broken:
                    yield f"{size.id} {size.drawn_mm:.0f} at {value:.2f}: {sorted(broken)}"
        taper = steepest(case.layout) if tie.axis == ACROSS else 0.0
        for end, way, rule in zip((least, most), (-1, 1), size.breaks, strict=True):
            if not rule or end not in (size.least_mm, size.most_mm):
                continue
            value = end + way * (OUTSIDE_MM + taper)
            beyond = [case.broken(o) for o in _either(case, ties, tie, value)]
            if all(b is None for b in beyond):
                continue
            count.one_ends += 1
            count.one_named += _names(rule, beyond)
            if not _names(rule, beyond):
                yield f"{size.id} {size.drawn_mm:.0f} beyond {end:.2f}: {rule}, found {beyond}"


def _either(case: Case, ties: Sequence[Tie], tie: Tie, value: float) -> Iterator[Polygon]:
    """The outlines (bay frame) with one dimension measured: as `site_walls` has it, which moves the far
    face, and with the near face moved instead, unless everything is set out from that.
    """
    yield moved(case.layout, ties, {tie.dimension.id: value}).real
    outline = case.layout.setting_out.frame.to_bay(case.layout.bay.outline)
    faces = faces_of(outline, tie.axis)
    starts = {f.index for f in faces if is_start_face(f, case.layout.bay.gap_mm)}
    origin = origin_face([f for f in faces if f.holds])
    fixed = starts if tie.axis == ACROSS else {origin.index if origin is not None else -1}
    if tie.near not in fixed:
        shift = tie.dimension.drawn_mm - value
        moves = {tie.near: (shift, shift)}
        along, across = ({}, moves) if tie.axis == ACROSS else (moves, {})
        yield displaced(outline, along, across)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bays", type=int, default=100)
    parser.add_argument("--each", type=int, default=10, help="deviations inside each window")
    parser.add_argument("--sizes", type=int, default=5, help="dimensions tried of each bay")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", action="append", default=[])
    parser.add_argument("--real", type=Path)
    parser.add_argument("--rooms", type=int, default=30, help="rooms taken of --real")
    parser.add_argument("--plan", type=Path, action="append", default=[])
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    counts: dict[str, Count] = defaultdict(Count)
    start = process_time()
    for number, case in enumerate(_cases(args)):
        count, random = counts[case.kind], Random(f"{args.seed}/{number}")
        count.bays += 1
        told = [
            f"inside {said}" for _ in range(args.each) if (said := try_inside(case, random, count))
        ]
        told += [f"outside {said}" for said in try_outside(case, count)]
        told += [f"size {said}" for said in try_dimensions(case, random, args.sizes, count)]
        if args.verbose:
            for said in told:
                print(number, case.kind, said)
    _show(counts)
    print(f"{process_time() - start:.0f} s of processor on {platform.machine()}")


def _cases(args: argparse.Namespace) -> Iterator[Case]:
    yield from generated(args.bays, args.seed, tuple(args.kind))
    if args.real is not None:
        yield from real(args.real, args.rooms)
    for path in args.plan:
        yield from whole(path)


def _show(counts: Mapping[str, Count]) -> None:
    total = Count()
    for c in counts.values():
        for f in fields(Count):
            setattr(total, f.name, getattr(total, f.name) + getattr(c, f.name))
    print(f"{'':20}      window:                       one dimension:")
    print(f"{'kind':20} bays inside  clean   ends  named inside  clean   ends  named")
    for kind, c in (*counts.items(), ("all", total)):
        figures = [getattr(c, f.name) for f in fields(Count)]
        print(f"{kind:20} {figures[0]:4}", *(f"{n:6}" for n in figures[1:]))


if __name__ == "__main__":
    main()
