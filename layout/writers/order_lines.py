"""What to order, line by line: said once here for the order, the sheets and the job page."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from layout.floor import BarOrder, Product, Quantities, SheetOrder
from layout.writers.numbers import m2, whole_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLine:
    """One thing to order. A quantity of bars or rolls is whole; `remark` says what it stands on."""

    item: str
    quantity: int | float
    unit: str
    remark: str = ""


def order_lines(q: Quantities) -> Iterator[OrderLine]:
    """Planks and packs, floor, sheets, bars, collars, frames; what is not needed is left out."""
    yield from _planks(q)
    for name, sheet in (("underlay", q.underlay), ("membrane", q.membrane)):
        if sheet is not None:
            yield _sheet(name, sheet)
    yield from _bars("profiles", q.profiles, _profile_words(q))
    yield from _bars("skirting or bead", q.skirting, f"{q.skirting_mm / 1000:.2f} m of wall")
    if q.collars:
        yield OrderLine(item="pipe collars", quantity=q.collars, unit="collars")
    if q.jambs:
        yield OrderLine(
            item="door frames to undercut",
            quantity=q.jambs,
            unit="jambs",
            remark="never those of a fire door",
        )


def plank_size(product: Product, times: str = "x") -> str:
    """The plank's size: `1220 x 180 x 5`."""
    return f" {times} ".join(
        f"{v:g}" for v in (product.length_mm, product.width_mm, product.thickness_mm)
    )


def roll_size(sheet: SheetOrder) -> str:
    """A roll as sold: `1 x 10 m`."""
    wide, long = sheet.roll_mm
    return f"{wide / 1000:g} x {long / 1000:g} m"


def bar_words(counts: Mapping[float, int]) -> str:
    """How many bars of which length: `28 of 2400, 3 of 1800`."""
    return ", ".join(f"{n} of {whole_mm(length)}" for length, n in counts.items())


def _planks(q: Quantities) -> Iterator[OrderLine]:
    own = q.product
    pack = m2(own.length_mm * own.width_mm * own.per_pack)
    yield OrderLine(
        item="planks laid",
        quantity=q.planks,
        unit="planks",
        remark=f"{plank_size(own)} mm; no layout needs fewer than {q.bound}",
    )
    yield OrderLine(
        item="spare planks",
        quantity=q.spare_planks,
        unit="planks",
        remark=f"{100 * own.spare:g} % for damage and later repair",
    )
    yield OrderLine(
        item="packs",
        quantity=q.packs,
        unit="packs",
        remark=f"{own.per_pack} planks a pack, {pack} m2",
    )
    yield OrderLine(
        item="floor laid",
        quantity=round(q.net_area_m2, 2),
        unit="m2",
        remark=f"waste {q.waste_percent:.1f} %",
    )


def _sheet(name: str, sheet: SheetOrder) -> OrderLine:
    lap = f"lapped by {whole_mm(sheet.lap_mm)} mm" if sheet.lap_mm else "edge to edge"
    return OrderLine(
        item=f"{name}, rolls of {roll_size(sheet)}",
        quantity=sheet.rolls,
        unit="rolls",
        remark=f"{sheet.strips} strips {lap}, {sheet.rolled_mm / 1000:.1f} m off the roll, for "
        f"{sheet.net_m2:.2f} m2",
    )


def _profile_words(q: Quantities) -> str:
    lengths = "; ".join(str(whole_mm(length)) for length in q.threshold_mm)
    return f"for {len(q.threshold_mm)}: {lengths} mm"


def _bars(name: str, order: BarOrder, words: str) -> Iterator[OrderLine]:
    """A line for each length that a bar is bought in; the first says what they are for."""
    for n, (length, count) in enumerate(order.counts.items()):
        yield OrderLine(
            item=f"{name}, bars of {whole_mm(length)} mm",
            quantity=count,
            unit="bars",
            remark=words if n == 0 else "",
        )
