"""A plan as tables for a person: rooms, doorways, units and why, findings and what to do.

A terminal gets coloured tables; a pipe or file gets plain aligned text. Both get only characters
that the stream can carry.
"""

from __future__ import annotations

import shutil
import textwrap
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, TextIO

from importer.alike import Alike, told_together
from importer.picture_words import (
    area_text,
    clean,
    is_imperial,
    length_text,
    numbered_findings,
    room_title,
    room_titles,
    severity_word,
)
from importer.plan import Doorway, Plan, Room, Severity

_PLAIN_WIDTH: Final = 100
_STYLE: Final = {Severity.REFUSED: "bold red", Severity.SETTLE: "yellow", Severity.NOTE: "dim"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """One table before it is drawn. `right` marks the columns that hold figures."""

    title: str
    heads: tuple[str, ...]
    right: tuple[bool, ...]
    rows: tuple[tuple[str, ...], ...]


def show_plan(plan: Plan, stream: TextIO, *, every: bool = False) -> None:
    """Write the tables to a stream: in colour when it is a terminal, else as plain text. Findings of one
    kind are told together unless `every` one is to be shown.
    """
    if stream.isatty():
        _show_rich(plan, stream, every=every)
    else:
        stream.write(carried(plan_text(plan, every=every), stream.encoding))


def plan_text(plan: Plan, *, width: int = _PLAIN_WIDTH, every: bool = False) -> str:
    """The tables as plain text ending in a newline, findings wrapped at `width` characters."""
    parts = ["\n".join(headline(plan))]
    parts += [_plain_grid(g) for g in (rooms_grid(plan), doorways_grid(plan)) if g.rows]
    parts.append(_plain_findings(plan, width, every=every))
    return "\n\n".join(parts) + "\n"


def carried(text: str, encoding: str | None) -> str:
    """The text with what the encoding lacks replaced by question marks."""
    name = encoding or "ascii"
    return text.encode(name, "replace").decode(name, "replace")


def headline(plan: Plan) -> tuple[str, ...]:
    """File, unit and why, and totals: three lines."""
    total = sum(r.shape.area for r in plan.rooms)
    counts = (
        _count(len(plan.storeys), "storey", "storeys"),
        _count(len(plan.flats), "flat", "flats"),
        _count(len(plan.rooms), "room", "rooms"),
        _count(len(plan.doorways), "doorway", "doorways"),
        _count(len(plan.obstacles), "obstacle", "obstacles"),
    )
    area = area_text(total, imperial=is_imperial(plan), square="m2")
    return (
        f"{clean(plan.file)} ({clean(plan.format)})",
        f"Unit: {plan.units.name}, because {clean(plan.units.because)}",
        f"{', '.join(c for c in counts if c)}; floor area {area}",
    )


def _count(n: int, one: str, many: str) -> str:
    return "" if n == 0 and one != "room" else f"{n} {one if n == 1 else many}"


# --- tables ----------------------------------------------------------------------------------


def rooms_grid(plan: Plan) -> Grid:
    """A row a room. Columns that would be empty throughout are left out."""
    flats = {f.id: clean(f.name) for f in plan.flats}
    storeys = {s.id: clean(s.name) for s in plan.storeys}
    ends = Counter(end for d in plan.doorways for end in dict.fromkeys(d.rooms))
    imperial = is_imperial(plan)

    def row(room: Room) -> tuple[str, ...]:
        flat = "communal" if room.communal else flats.get(room.flat, "") if room.flat else ""
        printed = room.printed_area_m2
        return (
            room_title(room),
            clean(room.number or ""),
            flat,
            storeys.get(room.storey, "") if len(storeys) > 1 else "",
            area_text(room.shape.area, imperial=imperial, square="m2"),
            "" if printed is None else area_text(printed * 1e6, imperial=imperial, square="m2"),
            str(ends[room.id]),
            str(room.id),
        )

    heads = ("Room", "No.", "Flat", "Storey", "Area", "Printed", "Doorways", "Id")
    right = (False, False, False, False, True, True, True, False)
    grid = Grid(title="Rooms", heads=heads, right=right, rows=tuple(row(r) for r in plan.rooms))
    return _without_empty_columns(grid)


def doorways_grid(plan: Plan) -> Grid:
    """A row a doorway: between which rooms, how wide, what hangs in it."""
    titles = room_titles(plan)
    imperial = is_imperial(plan)

    def row(doorway: Doorway) -> tuple[str, ...]:
        near, far = doorway.rooms
        return (
            titles.get(near, str(near)),
            "outside or not read" if far is None else titles.get(far, str(far)),
            length_text(doorway.width_mm, imperial=imperial),
            length_text(doorway.wall_thickness_mm, imperial=imperial),
            doorway.kind.value,
            "flat entrance" if doorway.flat_entrance else "",
            str(doorway.id),
        )

    unit = "" if imperial else " mm"
    heads = ("From", "To", f"Width{unit}", f"Wall{unit}", "Kind", "", "Id")
    right = (False, False, True, True, False, False, False)
    rows = tuple(row(d) for d in plan.doorways)
    return _without_empty_columns(Grid(title="Doorways", heads=heads, right=right, rows=rows))


def _without_empty_columns(grid: Grid) -> Grid:
    kept = [i for i in range(len(grid.heads)) if i == 0 or any(r[i] for r in grid.rows)]
    return Grid(
        title=grid.title,
        heads=tuple(grid.heads[i] for i in kept),
        right=tuple(grid.right[i] for i in kept),
        rows=tuple(tuple(r[i] for i in kept) for r in grid.rows),
    )


# --- plain -----------------------------------------------------------------------------------


def _plain_grid(grid: Grid) -> str:
    table = (grid.heads, *grid.rows)
    widths = [max(len(r[i]) for r in table) for i in range(len(grid.heads))]

    def line(cells: Sequence[str]) -> str:
        parts = [
            c.rjust(w) if right else c.ljust(w)
            for c, w, right in zip(cells, widths, grid.right, strict=True)
        ]
        return "  ".join(parts).rstrip()

    rule = "  ".join("-" * w for w in widths)
    return "\n".join([grid.title, rule, line(grid.heads), rule, *(line(r) for r in grid.rows)])


def _plain_findings(plan: Plan, width: int, *, every: bool) -> str:
    if not plan.findings:
        return "Findings: none"
    lines = ["Findings"]
    for number, kind in _told(plan, every=every):
        head = f"{number:>3}  "
        lines += textwrap.wrap(
            _finding_sentence(kind),
            width=width,
            initial_indent=head,
            subsequent_indent=" " * len(head),
        )
    return "\n".join(lines)


def _told(plan: Plan, *, every: bool) -> list[tuple[int, Alike]]:
    """Kinds of findings, or every finding, each under its number on the picture."""
    numbered = numbered_findings(plan)
    if every:
        return [(number, Alike(findings=(finding,))) for number, finding in numbered]
    number_of = {id(finding): number for number, finding in numbered}
    kinds = told_together([finding for _, finding in numbered])
    return [(number_of[id(kind.first)], kind) for kind in kinds]


def _finding_sentence(kind: Alike) -> str:
    finding = kind.first
    place = clean(str(finding.where))
    parts = (
        f"[{finding.code}] {severity_word(finding.severity)}: {clean(finding.what)}",
        f"({place})" if place else "",
        clean(finding.remedy),
        clean(kind.others),
    )
    return " ".join(p for p in parts if p)


# --- terminal --------------------------------------------------------------------------------


def _show_rich(plan: Plan, stream: TextIO, *, every: bool) -> None:
    """Cells are `Text`, never markup: a room may be called `[bold]`."""
    from rich.console import Console
    from rich.text import Text

    width = shutil.get_terminal_size((_PLAIN_WIDTH, 24)).columns
    console = Console(file=stream, width=width, highlight=False)

    def text(words: str, style: str = "") -> Text:
        return Text(carried(words, stream.encoding), style=style)

    first, *rest = headline(plan)
    console.print(text(first, "bold"))
    for line in rest:
        console.print(text(line))
    for grid in (rooms_grid(plan), doorways_grid(plan)):
        if grid.rows:
            console.print()
            console.print(_rich_table(grid, stream.encoding))
    console.print()
    if not plan.findings:
        console.print(text("Findings: none"))
    for number, kind in _told(plan, every=every):
        sentence = f"{number:>3}  {_finding_sentence(kind)}"
        console.print(text(sentence, _STYLE[kind.first.severity]))


def _rich_table(grid: Grid, encoding: str | None) -> object:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table
    from rich.text import Text

    title = Text(grid.title, style="bold")
    table = Table(title=title, title_justify="left", box=SIMPLE_HEAD, pad_edge=False)
    for head, right in zip(grid.heads, grid.right, strict=True):
        table.add_column(Text(head), justify="right" if right else "left", no_wrap=right)
    for row in grid.rows:
        table.add_row(*(Text(carried(cell, encoding)) for cell in row))
    return table
