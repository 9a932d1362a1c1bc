"""The job record: JSON that other programs read. Its shape is `layout/schemas/record.schema.json`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from math import atan2, degrees
from typing import Any

import shapely

from importer.plan import Finding, Point
from layout.floor import (
    Accessories,
    Alternative,
    BayLayout,
    Breach,
    JobResult,
    MovementJoint,
    Piece,
    PlanResult,
    SiteChange,
    SiteDimension,
    Taper,
)
from layout.writers.numbers import mm
from layout.writers.record_order import accessories_json, quantities_json
from layout.writers.record_plan import plan_json

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
            **quantities_json(job.totals),
            "by_product": {name: quantities_json(q) for name, q in job.by_product.items()},
            "by_flat": {name: quantities_json(q) for name, q in job.by_flat.items()},
            "by_storey": {name: quantities_json(q) for name, q in job.by_storey.items()},
        },
    }


def _plan(result: PlanResult) -> Json:
    sharing = _sharing(result)
    return {
        "file": result.source,
        "name": result.title,
        "status": result.status.value,
        "plan": plan_json(result.plan),
        "bays": [_bay(b, sharing.get(b.bay.id, ())) for b in result.bays],
        "joints": [_joint(j) for j in result.joints],
        "unlaid": [{"room": u.room, "because": u.because} for u in result.unlaid],
        "findings": [finding_json(f) for f in result.findings],
        "accessories": accessories_json(result.accessories or Accessories()),
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


def _sharing(result: PlanResult) -> dict[str, tuple[str, ...]]:
    """For each bay the others that it has planks in common with, in plan order."""
    bay_of = {p.id: b.bay.id for b in result.bays for p in b.pieces}
    pairs = set()
    for plank in (p for b in result.bays for p in b.planks):
        bays = {bay_of[p] for p in plank.pieces if p in bay_of}
        pairs |= {(a, b) for a in bays for b in bays if a != b}
    order = [b.bay.id for b in result.bays]
    return {a: tuple(b for b in order if (a, b) in pairs) for a in order}


def _bay(layout: BayLayout, shares_with: Sequence[str]) -> Json:
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
        "through": list(bay.through),
        "joints": list(bay.joints),
        "shares_offcuts_with": list(shares_with),
        "limits_kept_along_deg": None if bay.along is None else _degrees(bay.along),
        "outline_mm": _rings(bay.outline),
        "floor_mm": _rings(bay.floor),
        "bare_mm": [_rings(b) for b in bay.bare],
        "setting_out": {
            "origin_mm": _point(out.frame.origin),
            "mirrored": out.frame.mirrored,
            "first_row_mm": mm(out.first_row_mm),
            "last_row_mm": mm(out.last_row_mm),
            "slack_mm": mm(out.slack_mm),
            "reference_mm": [_point(p) for p in out.reference],
            "datum_mm": [_point(p) for p in out.datum],
            "datum_offset_mm": [mm(v) for v in out.datum_offset_mm],
            "tapers": [_taper(t) for t in out.tapers],
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
                "waste_mm2": round(p.waste_mm2, 1) + 0.0,
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
        entry["shape_mm"] = _rings(piece.shape)
    return entry


def _is_rectangle(piece: Piece) -> bool:
    box = shapely.box(*piece.shape.bounds)
    return abs(box.area - piece.shape.area) <= 1e-6 * box.area


def _rings(shape: shapely.Polygon) -> list[list[list[float]]]:
    """Outline and holes, first corners not repeated."""
    return [[_point(p) for p in r.coords[:-1]] for r in (shape.exterior, *shape.interiors)]


def _degrees(way: Point) -> float:
    return round(degrees(atan2(way[1], way[0])), 6) % 360.0


def _taper(taper: Taper) -> Json:
    """A wall out of square with the rows."""
    return {
        "edge_mm": [_point(p) for p in taper.edge],
        "width_mm": [mm(v) for v in taper.width_mm],
        "row": taper.row,
        "crosses": taper.crosses,
        "at_start": taper.at_start,
    }


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
        "rows": a.rows,
        "slack_mm": mm(a.slack_mm),
        "chosen": a.chosen,
    }


def _point(p: Point | Sequence[float]) -> list[float]:
    return [mm(p[0]), mm(p[1])]
