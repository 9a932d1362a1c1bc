"""Quantities of several products added up: what can be, and nothing that would mean nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from layout.floor import BarOrder, Quantities, SheetOrder


def added(parts: Sequence[Quantities]) -> Quantities:
    """The sum of at least one. Packs, rolls and bars are those of each product by itself; sheets of
    several kinds of roll have no sum and are left out.
    """
    first, *more = parts
    if not more:
        return first
    area = sum(q.net_area_m2 for q in parts)
    total = sum(q.planks * q.product.length_mm * q.product.width_mm for q in parts) / 1e6
    return Quantities(
        product=replace(first.product, rules="; ".join(q.product.rules for q in parts)),
        planks=sum(q.planks for q in parts),
        bound=sum(q.bound for q in parts),
        spare_planks=sum(q.spare_planks for q in parts),
        packs=sum(q.packs for q in parts),
        net_area_m2=area,
        waste_percent=100.0 * (total - area) / total if total else 0.0,
        underlay_m2=sum(q.underlay_m2 for q in parts),
        threshold_mm=tuple(sorted((v for q in parts for v in q.threshold_mm), reverse=True)),
        skirting_mm=sum(q.skirting_mm for q in parts),
        underlay=_sheets([q.underlay for q in parts]),
        membrane=_sheets([q.membrane for q in parts]),
        profiles=_bars([q.profiles for q in parts]),
        skirting=_bars([q.skirting for q in parts]),
        collars=sum(q.collars for q in parts),
        jambs=sum(q.jambs for q in parts),
    )


def _sheets(parts: Sequence[SheetOrder | None]) -> SheetOrder | None:
    own = [p for p in parts if p is not None]
    if not own or len({(p.roll_mm, p.lap_mm) for p in own}) > 1:
        return None
    return replace(
        own[0],
        net_m2=sum(p.net_m2 for p in own),
        strips=sum(p.strips for p in own),
        rolled_mm=sum(p.rolled_mm for p in own),
        rolls=sum(p.rolls for p in own),
    )


def _bars(parts: Sequence[BarOrder]) -> BarOrder:
    return BarOrder(
        bars=tuple(bar for p in parts for bar in p.bars),
        least_mm=sum(p.least_mm for p in parts),
    )
