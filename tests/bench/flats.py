"""Whole flats of real plans: `python -m tests.bench.flats FOLDER`.

A flat is all rooms of one flat (of one storey, where the plan knows no flats) that the default rule set
lays. Each is laid five ways by the same rules: room by room by the plain method, every room begun with a
new plank, and with the last offcut taken along; room by room by us, every room from planks of its own, and
with offcuts shared over the flat; and as the rules say, rooms joined through their doorways and offcuts
shared. Prints planks against the bound; saw cuts across, rips and notches of the second and of the last
way; and which flats these are.
"""

from __future__ import annotations

import argparse
import platform
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from time import process_time
from typing import Final

from importer.plan import Plan, PlanError
from importer.read import read_plan
from layout.bay_error import LayoutError
from layout.bays import form_bays
from layout.demand import JointPlan
from layout.floor import Bay, BayLayout, Cut, CutKind, Piece
from layout.job_pools import Sketch, lay_pool
from layout.joints import solve
from layout.pieces import cut_pieces
from layout.rules import RuleSet
from layout.rules_file import default_rules
from tests.bench.bays import drawings
from tests.bench.generated_bays import set_out_bay
from tests.bench.plain_method import plain_layout

LEAST_M2: Final = 25.0
MOST_M2: Final = 250.0
"""Sizes of what is taken for a flat, by the floors that are laid."""
LEAST_ROOMS: Final = 3

FlatKey = tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Flat:
    """A flat of a plan: the storey and flat that its bays are known by."""

    name: str
    plan: Plan
    key: FlatKey


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """A flat laid one way: planks, their bound, what is sawn, and the processor time it took."""

    planks: int
    bound: int
    sawn: Counter[str]
    breaches: int
    seconds: float


def flats_of(path: Path, rules: RuleSet) -> Iterator[Flat]:
    """Flats of a drawing that are large enough, in the order of their rooms."""
    try:
        plan = read_plan(path)
    except PlanError:
        return
    area: Counter[FlatKey] = Counter()
    rooms: Counter[FlatKey] = Counter()
    for bay in form_bays(plan, rules).bays:
        area[_key(bay)] += bay.floor.area / 1e6
        rooms[_key(bay)] += len(bay.rooms)
    for key, size in area.items():
        if LEAST_M2 <= size <= MOST_M2 and rooms[key] >= LEAST_ROOMS:
            name = f"{path.stem} {key[1] or key[0]} ({rooms[key]} rooms, {size:.0f} m2)"
            yield Flat(name=name, plan=plan, key=key)


def _key(bay: Bay) -> FlatKey:
    return bay.storey, bay.flat or ""


def sketches_of(flat: Flat, rules: RuleSet) -> list[Sketch]:
    """Bays of the flat with their joints placed."""
    found = []
    for bay in form_bays(flat.plan, rules).bays:
        if _key(bay) == flat.key:
            try:
                own = set_out_bay("flat", bay, flat.plan, rules)
            except LayoutError:
                continue
            found.append(Sketch(bay=bay, grid=own.grid, solved=solve(own.demand)))
    return found


def laid(flat: Flat, rules: RuleSet) -> Way:
    """The flat laid by us, offcuts shared as the rules say."""
    start = process_time()
    sketches = sketches_of(flat, rules)
    if rules.cut.pool == "bay":
        layouts = [layout for s in sketches for layout in lay_pool([s], rules)]
    else:
        layouts = list(lay_pool(sketches, rules))
    return Way(
        planks=sum(len(b.planks) for b in layouts),
        bound=sum(b.bound for b in layouts),
        sawn=_sawn(layouts, rules),
        breaches=sum(len(b.breaches) for b in layouts),
        seconds=process_time() - start,
    )


def _sawn(layouts: Sequence[BayLayout], rules: RuleSet) -> Counter[str]:
    """Cuts by kind; a saw cut that parts two pieces of a plank is made once."""
    pieces = [p for b in layouts for p in b.pieces]
    sawn = _kinds(c for p in pieces for c in p.cuts)
    on_plank: dict[str, list[Piece]] = {}
    for piece in pieces:
        on_plank.setdefault(piece.plank, []).append(piece)
    near = rules.cut.kerf + 0.5
    shared = sum(
        0.0 <= b.plank_x_mm - a.plank_x_mm - a.blank_length_mm <= near
        for some in on_plank.values()
        for a in some
        for b in some
        if a is not b
    )
    sawn["cross"] -= shared
    return sawn


def _kinds(cuts: Iterator[Cut]) -> Counter[str]:
    return Counter(c.kind.value for c in cuts)


def plain(flat: Flat, rules: RuleSet, *, carries: bool) -> Way:
    """The flat laid room by room by the plain method, rooms in the order of the plan; the last offcut of
    a room is taken along to the next one or not.
    """
    start = process_time()
    planks, offcut, sawn = 0, 0.0, Counter[str]()
    for bay in form_bays(flat.plan, rules).bays:
        if _key(bay) != flat.key:
            continue
        try:
            own = set_out_bay("flat", bay, flat.plan, rules)
        except LayoutError:
            continue
        room = plain_layout(own.demand, offcut if carries else 0.0)
        planks, offcut = planks + room.planks, room.offcut
        joints = JointPlan(joints=room.joints, planks=room.planks)
        drafts = cut_pieces(own.grid.runs, own.grid.touches, joints, rules)
        sawn += _kinds(c for d in drafts for c in d.cuts)
        sawn[CutKind.CROSS.value] -= room.as_it_is
    return Way(planks=planks, bound=0, sawn=sawn, breaches=0, seconds=process_time() - start)


def variant(rules: RuleSet, *, through: bool, pool: str) -> RuleSet:
    """The rules with doorways joined or not, and offcuts shared over the flat or not."""
    given = rules.model_dump(mode="json", exclude_unset=True)
    given["cut"] = {**given.get("cut", {}), "pool": pool}
    if not through:
        given["doorways"] = {**given.get("doorways", {}), "default": "break"}
    return RuleSet.model_validate(given)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--count", type=int, default=10)
    parser.add_argument("--per-file", type=int, default=2)
    args = parser.parse_args()
    rules = default_rules()
    rooms, pooled = (variant(rules, through=False, pool=p) for p in ("bay", "flat"))
    chosen: list[Flat] = []
    for path in drawings(args.folder):
        some = list(flats_of(path, rules))
        chosen += some[: args.per_file]
        if len(chosen) >= args.count:
            break
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}")
    print(
        "planks: anew plain rooms pooled joined bound | joined to plain, over bound | cross rip notch"
    )
    total: Counter[str] = Counter()
    for flat in chosen[: args.count]:
        anew = plain(flat, rooms, carries=False)
        by_hand, apart = plain(flat, rooms, carries=True), laid(flat, rooms)
        shared, joined = laid(flat, pooled), laid(flat, rules)
        total.update(
            anew=anew.planks,
            plain=by_hand.planks,
            rooms=apart.planks,
            pooled=shared.planks,
            joined=joined.planks,
            bound=joined.bound,
            worse=shared.planks > apart.planks,
        )
        total.update({f"plain {k}": n for k, n in by_hand.sawn.items()})
        total.update({f"joined {k}": n for k, n in joined.sawn.items()})
        print(
            f"{anew.planks:5} {by_hand.planks:5} {apart.planks:5} {shared.planks:5} {joined.planks:5} "
            f"{joined.bound:5} | {100 * (joined.planks / by_hand.planks - 1):5.1f} % "
            f"{100 * (joined.planks / joined.bound - 1):4.1f} % | {_told(by_hand.sawn)} -> "
            f"{_told(joined.sawn)} | {joined.breaches} breaches, {joined.seconds:.1f} s CPU | "
            f"{flat.name}",
            flush=True,
        )
    print(dict(total))
    for way in ("rooms", "pooled", "joined"):
        share = [100 * (total[way] / max(1, total[hand]) - 1) for hand in ("plain", "anew")]
        print(f"{way}: {share[0]:.1f} % against plain, {share[1]:.1f} % with rooms begun anew")
    print(f"joined over bound: {100 * (total['joined'] / max(1, total['bound']) - 1):.2f} %")


def _told(sawn: Counter[str]) -> str:
    return " ".join(str(sawn[kind.value]) for kind in CutKind)


if __name__ == "__main__":
    main()
