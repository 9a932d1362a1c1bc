"""The sample model opened once for all tests of this package, and bodies made by hand."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import ifcopenshell
import numpy as np
import shapely
from shapely import Polygon

from importer.ifc.meshes import Mesh
from importer.ifc.model import IfcModel
from importer.ifc.section_bodies import Bodies, find_bodies
from importer.ifc.section_levels import Level
from importer.ifc.section_openings import Opening, find_openings
from importer.plan import StoreyId, UnitReading
from sample_plans.block_model import RISE, STOREYS

BLOCK = Path(__file__).resolve().parents[3] / "sample_plans" / "block.ifc"


@cache
def block() -> IfcModel:
    units = UnitReading(name="mm", to_mm=1.0, because="the file says so")
    return IfcModel(file=ifcopenshell.open(str(BLOCK)), name=BLOCK.name, schema="IFC4", units=units)


@cache
def block_bodies() -> Bodies:
    return find_bodies(block())


@cache
def block_openings() -> tuple[Opening, ...]:
    return find_openings(block())


def block_levels() -> tuple[Level, ...]:
    return tuple(Level(storey=StoreyId(f"S{k + 1}"), floor=k * RISE) for k in range(STOREYS))


def prism(plan: Polygon, low: float, high: float) -> Mesh:
    """A plan drawn up: floor and ceiling in triangles, walls in two each."""
    plan = shapely.orient_polygons(plan)
    rings = [np.asarray(r.coords)[:-1] for r in (plan.exterior, *plan.interiors)]
    flat = np.vstack(rings)
    n = len(flat)
    vertices = np.vstack([np.c_[flat, np.full(n, low)], np.c_[flat, np.full(n, high)]])
    faces, start = [], 0
    for ring in rings:
        k = np.arange(len(ring))
        a, b = start + k, start + (k + 1) % len(ring)
        faces += [np.c_[a, b, b + n], np.c_[a, b + n, a + n]]
        start += len(ring)
    triangles = shapely.orient_polygons(shapely.constrained_delaunay_triangles(plan))
    place = {tuple(p): i for i, p in enumerate(flat.tolist())}
    for triangle in shapely.get_parts(triangles):
        corners = [place[tuple(p)] for p in np.asarray(triangle.exterior.coords)[:3].tolist()]
        faces += [np.array([corners[::-1]]), np.array([corners]) + n]
    return Mesh(vertices.astype(np.float64), np.vstack(faces).astype(np.int32))


def beside(*meshes: Mesh) -> Mesh:
    """Several shells as one body."""
    vertices, faces, start = [], [], 0
    for mesh in meshes:
        vertices.append(mesh.vertices)
        faces.append(mesh.faces + start)
        start += len(mesh.vertices)
    return Mesh(np.vstack(vertices), np.vstack(faces).astype(np.int32))
