"""What stands beside the plan of a bay: what to bring, stock notes, how to read it, doors, breaches."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import ceil
from typing import Final

from layout.cautions import CAUTIONS, DEFAULT_RULES_NOTE
from layout.floor import Piece, PieceId, Taper
from layout.rules import RuleSet
from layout.writers.dxf.runs_seen import EndSlant, is_ripped
from layout.writers.names import clean
from layout.writers.numbers import m2, whole_mm
from layout.writers.sheets.blocks import Block, Strip, heading, item, paragraph
from layout.writers.sheets.cut_list import TIMES, Stage
from layout.writers.sheets.scene import Scene
from layout.writers.sheets.style import VERMILION

_FIGURE: Final = 19.0
_WORTH_TELLING_MM: Final = 50.0
"""Damage shorter than this is cut off with any end; longer ones are told place by place."""
_MOST_PLACES: Final = 12
_PUSHED_IN: Final = (
    "no room to tilt it: lay it flat, lift its neighbour a little and pull it home; where the lock "
    "needs tilting, trim its lip and glue"
)
"""Common practice, no source."""
LONGEST_SENTENCE: Final = 600


def _block(title: str, strips: Sequence[Strip], *, whole: bool = True) -> Block | None:
    if not strips:
        return None
    return Block(head=(heading(title),), strips=tuple(strips), whole=whole)


def set_out_block(scene: Scene, width: float) -> Block | None:
    """Datum and row widths in words, and the walls that are out of square."""
    out = scene.layout.setting_out
    if not scene.layout.pieces:
        return None
    near, far = (whole_mm(v) for v in out.datum_offset_mm)
    datum = f"{near}" if near == far else f"{near} at the start, {far} at the end"
    facts = [
        (datum, "start wall to datum, the line between rows 1 and 2"),
        (str(whole_mm(out.first_row_mm)), "width of the first row"),
        (str(whole_mm(out.last_row_mm)), "width of the last row"),
    ]
    strips = [s for figure, words in facts for s in item(figure, words, width, indent=_FIGURE)]
    for taper in out.tapers:
        a, b = (whole_mm(w) for w in taper.width_mm)
        strips += paragraph(_taper_words(taper, a, b), width)
    return _block("Set out", strips)


def _taper_words(taper: Taper, a: int, b: int) -> str:
    out = whole_mm(taper.runs_out_mm)
    if taper.crosses:
        return f"The wall at row {taper.row} runs {out} out of line: the rows there end in tips."
    wall = "the start wall" if taper.at_start else "its wall"
    return f"Row {taper.row} tapers along {wall}: {a} wide at the start, {b} at the end."


def bring_block(scene: Scene, rules: RuleSet, width: float) -> Block | None:
    """Planks, packs, area, rips, gap."""
    layout = scene.layout
    own = {p.plank for p in layout.pieces if p.offcut_of is None}
    packs = ceil(len(own) / rules.plank.per_pack)
    left = packs * rules.plank.per_pack - len(own)
    plank = rules.plank
    from_offcuts = sum(p.offcut_of is not None for p in layout.pieces)
    ripped = sorted({p.row for p in layout.pieces if is_ripped(p)})
    facts = [
        (
            str(len(own)),
            f"planks {plank.length:g} {TIMES} {plank.width:g} {TIMES} {plank.thickness:g}",
        ),
        (str(packs), f"packs of {plank.per_pack} for this bay alone, {left} left over"),
        (f"{m2(layout.area_mm2):.2f} m²", "laid"),
        (f"{rules.gap.wall:g}", "clear to walls, frames and pipes; wedges at both ends"),
    ]
    if from_offcuts:
        facts.insert(3, (str(from_offcuts), "pieces are offcuts of others"))
    if ripped:
        rows = ", ".join(map(str, ripped)) if len(ripped) <= _MOST_PLACES else "see the list"
        facts.insert(-1, (str(len(ripped)), f"rows to rip: {rows}"))
    strips = [s for figure, words in facts for s in item(figure, words, width, indent=_FIGURE)]
    return _block("Bring", strips)


def stock_block(scene: Scene, width: float) -> Block | None:
    """Where planks with a damaged end go, and which offcuts are worth keeping."""
    layout = scene.layout
    pieces = {p.id: p for p in layout.pieces}
    strips: list[Strip] = []
    damaged = layout.damaged
    if damaged.in_all:
        words = (
            f"{damaged.in_all} planks may have one end damaged by up to {damaged.up_to_mm:g}: "
            f"{damaged.near} the near end (laid first), {damaged.far} the far end."
        )
        strips += paragraph(words, width, bold=True)
    for side, end, use in ((0, "Near", "first"), (1, "Far", "last")):
        places = list(_damage(scene, pieces, side))
        if places:
            more = "" if len(places) <= _MOST_PLACES else f" and {len(places) - _MOST_PLACES} more"
            told = ", ".join(places[:_MOST_PLACES])
            strips += paragraph(
                f"{end} end damaged: cut the {use} piece of row {told}{more} from it.", width
            )
    kept = [
        f"{whole_mm(p.offcut_mm)} from row {scene.offcuts.labels[p.pieces[-1]]}"
        for p in layout.planks
        if p.offcut_mm > 0 and p.pieces and p.pieces[-1] in pieces
    ]
    if kept:
        more = "" if len(kept) <= _MOST_PLACES else f" and {len(kept) - _MOST_PLACES} more"
        strips += paragraph(
            f"Offcuts left over, worth keeping: {', '.join(kept[:_MOST_PLACES])}{more}.", width
        )
    return _block("Damaged planks, offcuts left", strips)


def _damage(scene: Scene, pieces: Mapping[PieceId, Piece], side: int) -> Iterator[str]:
    """Places for planks damaged at one end, the longest damage first: `4 (up to 310)`."""
    found = [
        (-p.damage_mm[side], pieces[p.pieces[0]].row, scene.offcuts.labels[p.pieces[0]])
        for p in scene.layout.planks
        if p.damage_mm[side] >= _WORTH_TELLING_MM and p.pieces and p.pieces[0] in pieces
    ]
    for damage, _, row in sorted(found):
        yield f"{row} (up to {int(-damage)})"


def reading_block(scene: Scene, stages: Sequence[Stage], width: float) -> Block | None:
    """How to read list and plan: only of what occurs on this sheet."""
    lines = [line for stage in stages for line in stage.lines]
    told: list[tuple[bool, str, str]] = [
        (True, "first, last", "length of the first and last plank; full: a whole one"),
        (any(x.full for x in lines), "full", "planks of full length between them"),
        (any(x.came for x in lines), "from 7", "the first plank is an offcut of row 7"),
        (any(x.keep for x in lines), "keep 9", "write 9 on the offcut, it goes to row 9"),
        (
            any(x.label.endswith("b") for x in lines),
            "7a, 7b",
            "the first and second stretch of row 7, counted from its start",
        ),
        (any("no. " in x.cuts for x in lines), "no. 2", "the second plank of the row"),
        (any("/" in x.came + x.keep for x in lines), "B2/4", "bay B2, row 4"),
        (
            any("/" in x.first + x.last for x in lines),
            "472/462",
            "two edges: start-wall side first",
        ),
        (_any_hatched(scene), "hatched", "ripped to width"),
        (True, "tinted", "sawn"),
        (
            any(p.pushed for p in scene.layout.pieces),
            "pushed in",
            _PUSHED_IN,
        ),
        (
            any(s.is_reversed for s in stages),
            "in reverse",
            "framed; tongue and groove change sides: check that this plank's lock allows it",
        ),
    ]
    strips = [
        s
        for used, mark, words in told
        if used
        for s in item(mark, words, width, indent=20.0, bold=False)
    ]
    for which, slant in (("first", scene.first_slant), ("last", scene.last_slant)):
        if slant is not None:
            strips += paragraph(_slant_words(which, slant), width)
    return _block("Reading the sheet", strips)


def _any_hatched(scene: Scene) -> bool:
    return any(is_ripped(p) for p in scene.layout.pieces)


def _slant_words(which: str, slant: EndSlant) -> str:
    shorter = "towards" if slant.excess > 0 else "away from"
    return (
        f"Angled wall: the edge of {which} planks {shorter} the start wall is "
        f"{abs(slant.excess)} shorter than the length given."
    )


def joints_block(scene: Scene, width: float) -> Block | None:
    """Movement joints and the profiles over them: lengths, then why, each reason once."""
    strips: list[Strip] = []
    reasons: dict[str, list[str]] = {}
    for joint, _ in scene.joints:
        reasons.setdefault(
            f"{joint.kind.value} profile: {clean(joint.why, LONGEST_SENTENCE)}", []
        ).append(str(whole_mm(joint.length_mm)))
    for words, lengths in reasons.items():
        strips += item(", ".join(lengths[:2]), words, width, indent=_FIGURE)
        if len(lengths) > 2:
            strips += paragraph(f"also {', '.join(lengths[2:])}", width, indent=_FIGURE)
    return _block("Movement joints", strips)


def breaches_block(scene: Scene, width: float) -> Block | None:
    """Rules not kept, numbered as on the plan."""
    strips: list[Strip] = []
    for n, b in enumerate(scene.layout.breaches, start=1):
        place = b.where.rpartition("/")[2]
        why = clean(b.why, LONGEST_SENTENCE)
        words = f"Piece {clean(place)}: {why} {b.value:.0f}, limit {b.limit:.0f}."
        strips += item(str(n), words, width, indent=6.0)
    return _block("Rules not kept (triangles)", strips, whole=len(strips) < 12)


def order_block(scene: Scene, width: float) -> Block | None:
    """Where stages end, and why the stretches of the order of laying are as they are."""
    stretches = scene.layout.stretches
    strips: list[Strip] = []
    for border in scene.layout.stage_borders:
        strips += paragraph(clean(border.why, LONGEST_SENTENCE), width, bold=True)
    if len(stretches) < 2:
        return _block("Stages", strips)
    for s in stretches:
        strips += item(str(s.number), clean(s.why, LONGEST_SENTENCE), width, indent=6.0)
    return _block("Order of laying (discs)", strips, whole=len(strips) < 12)


def site_block(scene: Scene, width: float) -> Block | None:
    """What measures from the site changed."""
    site = scene.layout.site
    return (
        None
        if site is None
        else _block("Site measures", paragraph(clean(site.why, LONGEST_SENTENCE), width))
    )


def cautions_block(width: float, *, default_rules: bool) -> Block:
    """The cautions, and that the rules are the packaged ones where they are."""
    strips = [s for c in CAUTIONS for s in paragraph(c, width)]
    if default_rules:
        strips += paragraph(DEFAULT_RULES_NOTE, width, bold=True)
    return Block(head=(heading("Cautions", VERMILION),), strips=tuple(strips))


Make = Callable[[Scene, float], Block | None]
PLAIN_BLOCKS: Final[tuple[Make, ...]] = (
    breaches_block,
    site_block,
    order_block,
    stock_block,
    joints_block,
)
"""Blocks after the cut list, in their order."""
