"""Rooms that came out a little different from the drawing: `python -m tests.bench.site_deviations`.

For random deviations inside the window of each bay the layout must audit clean with the joints, row lines
and planks as planned; just outside each end of the window, the rule that the window names must break.
Prints both counts by kind of bay, and what `site_refit` makes of larger deviations.
"""

from __future__ import annotations

import argparse
import platform
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from random import Random
from time import process_time

from shapely import Polygon

from importer.plan import Plan
from layout.bay_inset import inset
from layout.bays import form_bays
from layout.floor import Bay, BayLayout, Breach
from layout.job import lay_bay
from layout.rules import RuleSet
from layout.site_dimensions import with_dimensions
from layout.site_faces import ACROSS, ALONG, Shift, displaced, faces_of
from layout.site_refit import kept
from tests.bench.generated_bays import KINDS, plan_of, random_rules

OUTSIDE_MM = 0.2
"""How far outside the window a rule has to break: a little more than what lengths are compared to."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A laid bay to try deviations on."""

    kind: str
    layout: BayLayout
    plan: Plan
    rules: RuleSet


def cases(count: int, seed: int, kinds: tuple[str, ...] = ()) -> Iterator[Case]:
    """Generated bays of the kinds in turn, each laid without a breach."""
    names = kinds or tuple(KINDS)
    for number in range(count):
        kind = names[number % len(names)]
        random = Random(f"{seed}/{kind}/{number}")
        shape, rules = KINDS[kind](random), random_rules(random)
        plan = plan_of(shape)
        (bay,) = form_bays(plan, rules).bays
        layout = with_dimensions(lay_bay(bay, plan, rules), (), rules)
        if not layout.breaches:
            yield Case(kind=kind, layout=layout, plan=plan, rules=rules)


def deviating_bay(layout: BayLayout, along: float, across: float) -> Bay | None:
    """The bay with every wall at which rows end `along` further off, and every wall along the rows but the
    start wall `across` further off; None where that is no simple outline any more.
    """
    frame = layout.setting_out.frame
    outline = frame.to_bay(layout.bay.outline)
    stops: Mapping[int, Shift] = {
        f.index: (along, along) for f in faces_of(outline, ALONG) if not f.opens
    }
    sides = [f for f in faces_of(outline, ACROSS) if f.holds]
    starts = {f.index for f in sides if f.opens and abs(f.places + layout.bay.gap_mm).max() < 5.0}
    shifts = {f.index: (across, across) for f in sides if f.index not in starts}
    moved = displaced(outline, stops, shifts)
    return bay_of(layout, moved)


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


def new_breaches(before: BayLayout, after: BayLayout) -> list[Breach]:
    """Breaches that the layout as drawn did not have, by rule and piece."""
    known = {(b.rule, b.where) for b in before.breaches}
    return [b for b in after.breaches if (b.rule, b.where) not in known]


@dataclass(slots=True)
class Count:
    """What came of the deviations of one kind of bay."""

    bays: int = 0
    inside: int = 0
    clean: int = 0
    ends: int = 0
    named: int = 0


def try_inside(case: Case, random: Random, count: Count) -> list[Breach]:
    """One random deviation inside the window; its breaches."""
    window = case.layout.window
    along, across = random.uniform(*window.length_mm), random.uniform(*window.width_mm)
    bay = deviating_bay(case.layout, along, across)
    if bay is None:
        return []
    found = new_breaches(case.layout, kept(case.layout, bay, case.plan, case.rules))
    count.inside += 1
    count.clean += not found
    return found


def try_outside(case: Case, count: Count) -> list[str]:
    """Just outside each end of the window; what was found where the named rule did not break."""
    window, missed = case.layout.window, []
    ends = (
        *zip(window.length_mm, (-1, 1), window.length_rules, (0, 0), strict=True),
        *zip(window.width_mm, (-1, 1), window.width_rules, (1, 1), strict=True),
    )
    for end, way, rule, axis in ends:
        if not rule:
            continue
        step = end + way * (OUTSIDE_MM + (steepest(case.layout) if axis else 0.0))
        shift = (0.0, step) if axis else (step, 0.0)
        bay = deviating_bay(case.layout, *shift)
        if bay is None:
            continue
        found = new_breaches(case.layout, kept(case.layout, bay, case.plan, case.rules))
        count.ends += 1
        count.named += rule in {b.rule for b in found}
        if rule not in {b.rule for b in found}:
            missed.append(f"{rule} at {shift}: {sorted({b.rule for b in found})}")
    return missed


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bays", type=int, default=100)
    parser.add_argument("--deviations", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kind", action="append", default=[])
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    counts: dict[str, Count] = defaultdict(Count)
    each = max(1, args.deviations // args.bays)
    start = process_time()
    for number, case in enumerate(cases(args.bays, args.seed, tuple(args.kind))):
        count = counts[case.kind]
        count.bays += 1
        random = Random(f"{args.seed}/{number}")
        for _ in range(each):
            found = try_inside(case, random, count)
            if found and args.verbose:
                print("inside", number, case.kind, case.layout.window, found[0])
        missed = try_outside(case, count)
        if missed and args.verbose:
            print("outside", number, case.kind, missed)
    print(f"{'kind':15} bays  inside clean  ends  named")
    for kind, c in (*counts.items(), ("all", _sum(counts))):
        print(f"{kind:15} {c.bays:4} {c.inside:7} {c.clean:5} {c.ends:5} {c.named:6}")
    print(f"{process_time() - start:.0f} s of processor on {platform.machine()}")


def _sum(counts: Mapping[str, Count]) -> Count:
    total = Count()
    for c in counts.values():
        for name in ("bays", "inside", "clean", "ends", "named"):
            setattr(total, name, getattr(total, name) + getattr(c, name))
    return total


if __name__ == "__main__":
    main()
