"""The job record: JSON that other programs read. Its shape is `layout/schemas/record.schema.json`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import shapely

from importer.plan import Finding, Point
from layout.floor import (
    Accessories,
    Alternative,
    BarOrder,
    BayLayout,
    Breach,
    JobResult,
    MovementJoint,
    Piece,
    PlanResult,
    Quantities,
    SheetOrder,
    SiteChange,
    SiteDimension,
)
from layout.floor_order import BayStrips
from layout.writers.numbers import mm

Json = dict[str, Any]

SCHEMA_VERSION = 1


def record_json(job: JobResult) -> bytes:
    """The record as UTF-8, sorted only where order means nothing, one trailing newline."""
    text = json.dumps(record(job), ensure_ascii=False, allow_nan=False, indent=1)
    return (text + "\n").encode("utf-8")


def record(job: JobResult) -> Json:
    """The record as plain data. Lengths mm, areas mm2 unless the key says otherwise."""
    return {
        "schema": SCHEMA_VERSION,
        "rules": {"name": job.rules_name, "packaged_default": job.default_rules},
        "plans": [_plan(p) for p in job.plans],
        "totals": {
            **_quantities(job.totals),
            "by_product": {name: _quantities(q) for name, q in job.by_product.items()},
            "by_flat": {name: _quantities(q) for name, q in job.by_flat.items()},
            "by_storey": {name: _quantities(q) for name, q in job.by_storey.items()},
        },
    }


def _plan(result: PlanResult) -> Json:
    return {
        "file": result.source,
        "name": result.title,
        "status": result.status.value,
        "bays": [_bay(b) for b in result.bays],
        "joints": [_joint(j) for j in result.joints],
        "unlaid": [{"room": u.room, "because": u.because} for u in result.unlaid],
        "findings": [finding_json(f) for f in result.findings],
        "accessories": _accessories(result.accessories or Accessories()),
    }


def finding_json(finding: Finding) -> Json:
    """A finding as the records give it."""
    return {
        "code": finding.code,
        "severity": finding.severity.value,
        "what": finding.what,
        "where": str(finding.where),
        "remedy": finding.remedy,
    }


def _bay(layout: BayLayout) -> Json:
    bay, out = layout.bay, layout.setting_out
    return {
        "id": bay.id,
        "name": bay.name,
        "rooms": list(bay.rooms),
        "storey": bay.storey,
        "flat": bay.flat,
        "along_deg": round(out.frame.along_deg, 6) % 360.0,
        "planks": len(layout.planks),
        "bound": layout.bound,
        "area_mm2": round(layout.area_mm2, 1),
        "gap_mm": bay.gap_mm,
        "setting_out": {
            "origin_mm": _point(out.frame.origin),
            "mirrored": out.frame.mirrored,
            "first_row_mm": mm(out.first_row_mm),
            "last_row_mm": mm(out.last_row_mm),
            "slack_mm": mm(out.slack_mm),
            "reference_mm": [_point(p) for p in out.reference],
            "datum_mm": [_point(p) for p in out.datum],
            "datum_offset_mm": [mm(v) for v in out.datum_offset_mm],
            "why": out.why,
        },
        "window": {
            "length_mm": [mm(v) for v in layout.window.length_mm],
            "width_mm": [mm(v) for v in layout.window.width_mm],
            "length_rules": list(layout.window.length_rules),
            "width_rules": list(layout.window.width_rules),
        },
        "dimensions": [_dimension(d) for d in layout.dimensions],
        "site": None if layout.site is None else _site(layout.site),
        "laying": _laying(layout),
        "rows": _rows(layout),
        "pieces": [_piece(p) for p in layout.pieces],
        "stock": [
            {
                "plank": p.id,
                "pieces": list(p.pieces),
                "offcut_mm": mm(p.offcut_mm),
                "damage_mm": [mm(v) for v in p.damage_mm],
            }
            for p in layout.planks
        ],
        "breaches": [breach_json(b) for b in layout.breaches],
        "alternatives": [_alternative(a) for a in layout.alternatives],
    }


def _laying(layout: BayLayout) -> Json:
    """Where the work begins, its stretches, and how many planks may come with a damaged end."""
    damaged = layout.damaged
    return {
        "start_corner_mm": _point(layout.start_corner) if layout.pieces else None,
        "stretches": [
            {
                "number": s.number,
                "reversed": s.is_reversed,
                "rows": list(s.rows),
                "first": s.first,
                "last": s.last,
                "why": s.why,
            }
            for s in layout.stretches
        ],
        "stage_borders": [
            {
                "stage": b.stage,
                "asked_mm": [_point(p) for p in b.asked],
                "path_mm": [_point(p) for p in b.path],
                "why": b.why,
            }
            for b in layout.stage_borders
        ],
        "damaged_planks": {
            "up_to_mm": mm(damaged.up_to_mm),
            "near_end": damaged.near,
            "far_end": damaged.far,
            "in_all": damaged.in_all,
        },
    }


def _dimension(d: SiteDimension) -> Json:
    return {
        "id": d.id,
        "kind": d.kind.value,
        "line_mm": [_point(p) for p in d.line],
        "drawn_mm": mm(d.drawn_mm),
        "least_mm": mm(d.least_mm),
        "most_mm": mm(d.most_mm),
        "breaks": list(d.breaks),
    }


def _site(change: SiteChange) -> Json:
    """What measures from the site changed."""
    return {
        "measures": [
            {"id": m.id, "drawn_mm": mm(m.drawn_mm), "measured_mm": mm(m.measured_mm)}
            for m in change.measures
        ],
        "recut_rows": list(change.recut_rows),
        "changed_rows": list(change.changed_rows),
        "grid_changed": change.grid_changed,
        "why": change.why,
    }


def _rows(layout: BayLayout) -> list[Json]:
    """Per row, in laying order of its first piece: the pieces by id."""
    rows: dict[int, list[Piece]] = {}
    for piece in layout.pieces:
        rows.setdefault(piece.row, []).append(piece)
    return [
        {"row": number, "pieces": [p.id for p in sorted(members, key=lambda p: (p.run, p.number))]}
        for number, members in sorted(rows.items())
    ]


def _piece(piece: Piece) -> Json:
    entry: Json = {
        "id": piece.id,
        "bay": piece.bay,
        "row": piece.row,
        "run": piece.run,
        "number": piece.number,
        "order": piece.order,
        "reversed": piece.is_reversed,
        "pushed": piece.pushed,
        "stage": piece.stage,
        "role": piece.role.value,
        "length_mm": mm(piece.blank_length_mm),
        "width_mm": mm(piece.blank_width_mm),
        "end_length_mm": mm(piece.end_length_mm),
        "cuts": [
            {"kind": c.kind.value, "measures_mm": [mm(v) for v in c.measures_mm]}
            for c in piece.cuts
        ],
        "plank": piece.plank,
        "plank_at_mm": [mm(piece.plank_x_mm), mm(piece.plank_y_mm)],
        "keeps": {"near_edge": piece.keeps_near_edge, "far_edge": piece.keeps_far_edge},
        "offcut_of": piece.offcut_of,
        "box_mm": [mm(v) for v in piece.shape.bounds],
    }
    if not _is_rectangle(piece):
        rings = [piece.shape.exterior, *piece.shape.interiors]
        entry["shape_mm"] = [[_point(p) for p in ring.coords[:-1]] for ring in rings]
    return entry


def _is_rectangle(piece: Piece) -> bool:
    box = shapely.box(*piece.shape.bounds)
    return abs(box.area - piece.shape.area) <= 1e-6 * box.area


def _joint(joint: MovementJoint) -> Json:
    return {
        "id": joint.id,
        "kind": joint.kind.value,
        "line_mm": [_point(p) for p in joint.line],
        "bays": list(joint.bays),
        "doorway": joint.doorway,
        "why": joint.why,
    }


def breach_json(breach: Breach) -> Json:
    """A breach as the records give it; `where` names the piece or bay, `at_mm` its place."""
    return {
        "rule": breach.rule,
        "where": breach.where,
        "at_mm": _point(breach.at),
        "value": mm(breach.value),
        "limit": mm(breach.limit),
        "why": breach.why,
    }


def _alternative(a: Alternative) -> Json:
    return {
        "along_deg": round(a.along_deg, 6),
        "why": a.why,
        "planks": a.planks,
        "bound": a.bound,
        "breaches": a.breaches,
        "chosen": a.chosen,
    }


def _quantities(q: Quantities) -> Json:
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


def _accessories(things: Accessories) -> Json:
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
                "at_mm": None if c.at is None else _point(c.at),
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


def _point(p: Point | Sequence[float]) -> list[float]:
    return [mm(p[0]), mm(p[1])]
