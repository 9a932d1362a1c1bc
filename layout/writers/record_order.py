"""What a record says of the order: planks and packs, what goes with them and where."""

from __future__ import annotations

from typing import Any

from layout.floor import Accessories, BarOrder, Quantities, SheetOrder
from layout.floor_order import BayStrips
from layout.writers.numbers import mm

Json = dict[str, Any]


def quantities_json(q: Quantities) -> Json:
    """What a flat, a storey or a job needs."""
    return {
        "planks": q.planks,
        "bound": q.bound,
        "spare_planks": q.spare_planks,
        "packs": q.packs,
        "net_area_m2": round(q.net_area_m2, 4),
        "waste_percent": round(q.waste_percent, 2),
        "underlay_m2": round(q.underlay_m2, 4),
        "threshold_mm": list(q.threshold_mm),
        "skirting_mm": mm(q.skirting_mm),
        "underlay": _sheet(q.underlay),
        "membrane": _sheet(q.membrane),
        "profiles": _bars(q.profiles),
        "skirting": _bars(q.skirting),
        "pipe_collars": q.collars,
        "jambs_to_undercut": q.jambs,
    }


def _sheet(sheet: SheetOrder | None) -> Json | None:
    if sheet is None:
        return None
    return {
        "rolls": sheet.rolls,
        "roll_mm": [mm(v) for v in sheet.roll_mm],
        "lap_mm": mm(sheet.lap_mm),
        "strips": sheet.strips,
        "rolled_mm": mm(sheet.rolled_mm),
        "net_area_m2": round(sheet.net_m2, 4),
    }


def _bars(order: BarOrder) -> Json:
    return {
        "least_mm": mm(order.least_mm),
        "bars": [
            {
                "length_mm": mm(bar.length_mm),
                "offcut_mm": mm(bar.offcut_mm),
                "pieces": [{"length_mm": mm(p.length_mm), "where": p.where} for p in bar.pieces],
            }
            for bar in order.bars
        ],
    }


def accessories_json(things: Accessories) -> Json:
    """What goes with the planks of a plan, each with its place."""
    return {
        "profiles": [
            {
                "joint": p.joint,
                "bay": p.bay,
                "doorway": p.doorway,
                "length_mm": mm(p.length_mm),
                "where": p.where,
                "note": p.note,
            }
            for p in things.profiles
        ],
        "skirting": [
            {
                "bay": w.bay,
                "where": w.where,
                "length_mm": mm(w.length_mm),
                "pieces_mm": [mm(v) for v in w.pieces_mm],
            }
            for w in things.skirting
        ],
        "underlay": [_strips(s) for s in things.underlay],
        "membrane": [_strips(s) for s in things.membrane],
        "pipe_collars": [
            {
                "bay": c.bay,
                "where": c.where,
                "count": c.count,
                "at_mm": None if c.at is None else [mm(v) for v in c.at],
                "across_mm": None if c.across_mm is None else mm(c.across_mm),
            }
            for c in things.collars
        ],
        "frames": [
            {
                "bay": f.bay,
                "doorway": f.doorway,
                "where": f.where,
                "jambs_to_undercut": f.jambs,
                "note": f.note,
            }
            for f in things.frames
        ],
    }


def _strips(sheet: BayStrips) -> Json:
    return {"bay": sheet.bay, "strips": sheet.strips, "length_mm": mm(sheet.length_mm)}
