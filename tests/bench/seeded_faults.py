"""Does the audit see what is wrong? `python -m tests.bench.seeded_faults`.

Lays generated bays (and, with `--real FOLDER`, rooms of real drawings), seeds one fault at a time into the
finished layout, and counts how many the audit names. Every fault breaks a rule by the way it is made,
which is said beside it; the audit is given nothing but the changed layout. Prints the figures by kind of
fault, which rules told it, and the breaches of the same layouts before anything was changed.
"""

from __future__ import annotations

import argparse
import platform
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Final

import shapely
from shapely import Polygon
from shapely.affinity import scale, translate

from layout.audit import audit
from layout.floor import BayLayout, Piece, PieceId, Plank, PlankId
from layout.job_pools import Sketch, lay_pool
from layout.joints import Effort, solve
from layout.rules import RuleSet
from tests.bench.generated_bays import GeneratedBay, generated_bays

LEAST_MM: Final = 1.0
"""Smallest fault seeded: a misread tick of the tape."""
MOST_MM: Final = 40.0

Fault = Callable[[BayLayout, RuleSet, Random], BayLayout | None]


# --- on the floor -------------------------------------------------------------------------------


def moved(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """One piece out of its place: it leaves bare floor behind."""
    by = random.choice((-1, 1)) * random.uniform(LEAST_MM, MOST_MM)
    along = random.random() < 0.5
    piece = random.choice(layout.pieces)
    shape = translate(piece.shape, by if along else 0.0, 0.0 if along else by)
    return _with(layout, {piece.id: replace(piece, shape=shape)})


def stretched(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """One piece cut too long for its place: it lies on its neighbour or in the wall gap."""
    return _scaled(layout, random, random.uniform(LEAST_MM, MOST_MM))


def shrunk(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """One piece cut too short for its place: an open joint or a wider gap."""
    return _scaled(layout, random, -random.uniform(LEAST_MM, MOST_MM))


def _scaled(layout: BayLayout, random: Random, by: float) -> BayLayout | None:
    some = [p for p in layout.pieces if _length(p) > 2 * MOST_MM]
    if not some:
        return None
    piece = random.choice(some)
    x0, y0, x1, _ = piece.shape.bounds
    factor = (x1 - x0 + by) / (x1 - x0)
    origin = (x0, y0) if random.random() < 0.5 else (x1, y0)
    shape = scale(piece.shape, factor, 1.0, origin=origin)
    length = piece.blank_length_mm + by
    return _with(layout, {piece.id: replace(piece, shape=shape, blank_length_mm=length)})


def swapped(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """Two pieces of different lengths laid in each other's place."""
    a = random.choice(layout.pieces)
    others = [p for p in layout.pieces if abs(_length(p) - _length(a)) > LEAST_MM]
    if not others:
        return None
    b = random.choice(others)
    return _with(
        layout,
        {
            a.id: replace(a, shape=_put(a.shape, b.shape)),
            b.id: replace(b, shape=_put(b.shape, a.shape)),
        },
    )


def _put(shape: Polygon, place: Polygon) -> Polygon:
    return translate(shape, place.bounds[0] - shape.bounds[0], place.bounds[1] - shape.bounds[1])


def dropped(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """One piece lost."""
    gone = random.randrange(len(layout.pieces))
    return replace(layout, pieces=layout.pieces[:gone] + layout.pieces[gone + 1 :])


def doubled(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """One piece there twice."""
    return replace(layout, pieces=(*layout.pieces, random.choice(layout.pieces)))


def row_shifted(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """All joints of a run further along, blanks as they were: an end piece is longer than its blank."""
    by = random.choice((-1, 1)) * random.uniform(LEAST_MM, MOST_MM)
    return _shifted(layout, random.choice(_jointed(layout) or [[]]), by, blanks=False)


def short_end(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """All joints of a run back until the first piece is half the least end, blanks cut to suit."""
    run = random.choice(_jointed(layout) or [[]])
    by = rules.ends.min_length / 2 - _length(run[0]) if run else 0.0
    return _shifted(layout, run, by, blanks=True) if by < -LEAST_MM else None


def close_joints(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """All joints of a run moved until one lies within half the offset of one in the next row."""
    runs = _jointed(layout)
    random.shuffle(runs)
    for run in runs:
        for by in _ways_too_close(layout, run, rules, random):
            found = _shifted(layout, run, by, blanks=True)
            if found is not None:
                return found
    return None


def _ways_too_close(
    layout: BayLayout, run: Sequence[Piece], rules: RuleSet, random: Random
) -> Iterator[float]:
    """Moves that bring a joint of the run near a joint beyond one of its seams, both on the seam."""
    room = (_length(run[0]) - 2 * MOST_MM, _length(run[-1]) - 2 * MOST_MM)
    own = [p.shape.bounds[2] for p in run[:-1]]
    rows = _runs(layout)
    for touched in (p for p in rows if len(p) > 1 and _seam(run, p) is not None):
        seam = _seam(run, touched)
        if seam is None:
            continue
        for theirs in (p.shape.bounds[2] for p in touched[:-1]):
            near = theirs + random.uniform(-0.4, 0.4) * rules.joints.min_offset
            if not (seam[0] + 5 < theirs < seam[1] - 5 and seam[0] + 5 < near < seam[1] - 5):
                continue
            for mine in own:
                if -room[0] < near - mine < room[1] and abs(near - mine) > LEAST_MM:
                    yield near - mine


def _seam(a: Sequence[Piece], b: Sequence[Piece]) -> tuple[float, float] | None:
    """Where two runs of neighbouring rows lie against each other throughout."""
    row = shapely.union_all([p.shape for p in a]), shapely.union_all([p.shape for p in b])
    if a[0].row == b[0].row or abs(a[0].row - b[0].row) > 2:
        return None
    shared = shapely.intersection(row[0], row[1], grid_size=0.01)
    lines = [g for g in shapely.get_parts(shared) if g.geom_type == "LineString"]
    if not lines:
        return None
    x = shapely.get_coordinates(lines)[:, 0]
    x0, x1 = float(x.min()), float(x.max())
    return (x0, x1) if sum(g.length for g in lines) > x1 - x0 - 1.0 else None


def _shifted(
    layout: BayLayout, run: Sequence[Piece], by: float, *, blanks: bool
) -> BayLayout | None:
    """The pieces of a run cut anew with every joint moved; None where that cannot be cut."""
    if not run:
        return None
    whole = shapely.union_all([p.shape for p in run], grid_size=0.001)
    x0, y0, x1, y1 = whole.bounds
    stops = [x0, *(p.shape.bounds[2] + by for p in run[:-1]), x1]
    changed: dict[PieceId, Piece] = {}
    for piece, a, b in zip(run, stops, stops[1:], strict=False):
        if b - a < MOST_MM / 2:
            return None
        shape = shapely.clip_by_rect(whole, a, y0 - 1.0, b, y1 + 1.0)
        if not isinstance(shape, Polygon):
            return None
        length = b - a if blanks else piece.blank_length_mm
        changed[piece.id] = replace(piece, shape=shape, blank_length_mm=length)
    return _with(layout, changed)


# --- in the stock -------------------------------------------------------------------------------


def other_plank(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """A piece said to come from a plank that does not list it."""
    piece = random.choice(layout.pieces)
    others = [p.id for p in layout.planks if p.id != piece.plank]
    if not others:
        return None
    return _with(layout, {piece.id: replace(piece, plank=random.choice(others))})


def taken_twice(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """A piece listed on another plank, out of wood that another piece of it already takes."""
    piece = random.choice(layout.pieces)
    others = sorted(
        {p.plank for p in layout.pieces if p.plank != piece.plank and _overlap(p, piece)}
    )
    if not others:
        return None
    return _listed(_with(layout, {piece.id: replace(piece, plank=random.choice(others))}))


def _overlap(a: Piece, b: Piece) -> bool:
    """Whether their blanks overlap by what can be measured, were they on one plank."""
    along = min(a.plank_x_mm + a.blank_length_mm, b.plank_x_mm + b.blank_length_mm)
    across = min(a.plank_y_mm + a.blank_width_mm, b.plank_y_mm + b.blank_width_mm)
    return (
        along - max(a.plank_x_mm, b.plank_x_mm) > LEAST_MM
        and across - max(a.plank_y_mm, b.plank_y_mm) > LEAST_MM
    )


def wrong_end(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """An end piece cut from the other end of a plank of its own: its joint has no factory end."""
    ends = [
        p
        for run in _jointed(layout)
        for p in (run[0], run[-1])
        if _length(p) < rules.plank.length - LEAST_MM
    ]
    if not ends:
        return None
    piece = random.choice(ends)
    x = rules.plank.length - piece.blank_length_mm
    x = 0.0 if piece.plank_x_mm > x / 2 else x
    return _alone(layout, replace(piece, plank_x_mm=x))


def wrong_edge(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """A ripped piece that locks on one side, cut from the other side of a plank of its own."""
    ripped = [
        p
        for p in layout.pieces
        if p.blank_width_mm < rules.plank.width - LEAST_MM and p.keeps_near_edge != p.keeps_far_edge
    ]
    if not ripped:
        return None
    piece = random.choice(ripped)
    y = rules.plank.width - piece.blank_width_mm if piece.keeps_near_edge else 0.0
    return _alone(layout, replace(piece, plank_y_mm=y))


def no_kerf(layout: BayLayout, rules: RuleSet, random: Random) -> BayLayout | None:
    """A blank that reaches so near the next on its plank that the saw has half its kerf."""
    on_plank: dict[PlankId, list[Piece]] = defaultdict(list)
    for p in sorted(layout.pieces, key=lambda p: p.plank_x_mm):
        on_plank[p.plank].append(p)
    pairs = [
        (a, b)
        for some in on_plank.values()
        for a, b in pairwise(some)
        if b.plank_x_mm > a.plank_x_mm + a.blank_length_mm
    ]
    if not pairs or not rules.cut.kerf:
        return None
    a, b = random.choice(pairs)
    length = b.plank_x_mm - rules.cut.kerf / 2 - a.plank_x_mm
    return _with(layout, {a.id: replace(a, blank_length_mm=length)})


FAULTS: Final[dict[str, Fault]] = {
    "moved": moved,
    "stretched": stretched,
    "shrunk": shrunk,
    "swapped": swapped,
    "dropped": dropped,
    "doubled": doubled,
    "row shifted": row_shifted,
    "short end": short_end,
    "close joints": close_joints,
    "other plank": other_plank,
    "taken twice": taken_twice,
    "wrong end": wrong_end,
    "wrong edge": wrong_edge,
    "no kerf": no_kerf,
}


# --- layouts changed ----------------------------------------------------------------------------


def _length(piece: Piece) -> float:
    return float(piece.shape.bounds[2] - piece.shape.bounds[0])


def _with(layout: BayLayout, changed: dict[PieceId, Piece]) -> BayLayout:
    return replace(layout, pieces=tuple(changed.get(p.id, p) for p in layout.pieces))


def _listed(layout: BayLayout) -> BayLayout:
    """Planks that list what says it comes from them."""
    on: dict[PlankId, list[PieceId]] = defaultdict(list)
    for p in layout.pieces:
        on[p.plank].append(p.id)
    return replace(layout, planks=tuple(replace(k, pieces=tuple(on[k.id])) for k in layout.planks))


def _alone(layout: BayLayout, piece: Piece) -> BayLayout:
    """The piece on a new plank of its own."""
    plank = Plank(id=PlankId("new"), pieces=(), offcut_mm=0.0, waste_mm2=0.0)
    changed = _with(layout, {piece.id: replace(piece, plank=plank.id)})
    return _listed(replace(changed, planks=(*changed.planks, plank)))


def _runs(layout: BayLayout) -> list[list[Piece]]:
    """Pieces of every run, in order; runs whose pieces lie one above the other left out."""
    runs: dict[int, list[Piece]] = defaultdict(list)
    for p in sorted(layout.pieces, key=lambda p: p.shape.bounds[0]):
        runs[p.run].append(p)
    return [
        run
        for _, run in sorted(runs.items())
        if all(abs(a.shape.bounds[2] - b.shape.bounds[0]) < 0.01 for a, b in pairwise(run))
    ]


def _jointed(layout: BayLayout) -> list[list[Piece]]:
    return [run for run in _runs(layout) if len(run) > 1]


# --- figures ------------------------------------------------------------------------------------


@dataclass(slots=True)
class Tally:
    """Faults seeded and told, and by which rules."""

    seeded: int = 0
    told: int = 0
    rules: Counter[str] | None = None


def laid(bay: GeneratedBay) -> BayLayout:
    solved = solve(bay.demand, effort=Effort.QUICK)
    (layout,) = lay_pool([Sketch(bay=bay.bay, grid=bay.grid, solved=solved)], bay.rules)
    return layout


def newly_told(layout: BayLayout, faulty: BayLayout, rules: RuleSet) -> set[str]:
    """Rules by which the audit tells the fault: breaches that the right layout has not."""
    before = Counter((b.rule, b.where) for b in layout.breaches)
    after = Counter((b.rule, b.where) for b in audit(faulty, rules))
    return {rule for rule, _ in after - before}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=48, help="generated bays")
    parser.add_argument("--each", type=int, default=3, help="faults of a kind in each bay")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--real", type=Path, help="folder with drawings")
    parser.add_argument("--missed", action="store_true", help="a line for every fault not told")
    args = parser.parse_args()
    bays = list(generated_bays(args.count, args.seed))
    if args.real is not None:
        from tests.bench.bays import real_bays

        bays += real_bays(args.real)
    found = {name: Tally(rules=Counter()) for name in FAULTS}
    before: Counter[str] = Counter()
    for number, bay in enumerate(bays):
        layout = laid(bay)
        before.update(b.rule for b in layout.breaches)
        for name, fault in FAULTS.items():
            for turn in range(args.each):
                faulty = fault(layout, bay.rules, Random(f"{args.seed}/{number}/{name}/{turn}"))
                if faulty is None:
                    continue
                told = newly_told(layout, faulty, bay.rules)
                tally = found[name]
                tally.seeded += 1
                tally.told += bool(told)
                if tally.rules is not None:
                    tally.rules.update(told)
                if not told and args.missed:
                    print(f"  missed: #{number} {bay.kind} {name} {turn}")
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}")
    print(f"{len(bays)} bays; breaches before: {dict(before) or 'none'}")
    print("fault         seeded  told      %  by")
    for name, tally in found.items():
        share = 100.0 * tally.told / max(1, tally.seeded)
        by = ", ".join(f"{rule} {n}" for rule, n in (tally.rules or Counter()).most_common(4))
        print(f"{name:13} {tally.seeded:6} {tally.told:5} {share:6.1f}  {by}")
    seeded, told = (sum(getattr(t, a) for t in found.values()) for a in ("seeded", "told"))
    print(f"{'all':13} {seeded:6} {told:5} {100.0 * told / max(1, seeded):6.1f}")


if __name__ == "__main__":
    main()
