"""Bodies of products as triangles in millimetres, by the geometry kernel.

One pass of the kernel's iterator over just the products that are asked for. The iterator ends in
silence where it cannot go on, so what it brought is held against what was asked for, and what is
missing is tried again on its own with the other engine.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from importer.ifc.model import Entity, IfcModel
from importer.plan import Point

Floats = NDArray[np.float64]
Faces = NDArray[np.int32]

HYBRID: Final = "hybrid-cgal-simple-opencascade"
"""Flat-faced bodies by the quick engine, the rest by the exact one: same areas, four times as fast on
doors and openings. The quick engine alone drops every body with a boolean in it."""

EXACT: Final = "opencascade"

LARGEST_MM: Final = 1e7
"""No product of a building is ten kilometres long."""
FARTHEST_MM: Final = 1e12
"""Nor further from any origin than this, where coordinates begin to lose thousandths of a millimetre."""

_METRE: Final = 1000.0
"""The kernel answers in metres whatever the unit of the file."""


FAR_MM: Final = 1e6
"""A building whose corner is nearer to the model's origin than this (1 km) is left where it is."""
_TRIED: Final = 5


class Mesh(NamedTuple):
    """Triangles of one product: vertices (n, 3) in mm, in the model's world coordinates less the
    model's `origin`; faces (m, 3).
    """

    vertices: Floats
    faces: Faces


def mesh_products(
    model: IfcModel, products: Sequence[Entity], *, cut_openings: bool, engine: str = HYBRID
) -> tuple[dict[int, Mesh], tuple[int, ...]]:
    """The bodies of some products.

    Args:
        model: the opened model; its watch is told of each product.
        products: entities of the model; those without a shape come back as missing.
        cut_openings: whether openings are cut out of walls and slabs (slow).
        engine: `HYBRID` or `EXACT` for the first pass.

    Returns:
        Meshes by step id, mm near the model's origin, in the order of `products`, and the step ids that
        nothing could be made of, in the same order.
    """
    wanted = {p.id(): p for p in products}
    shaped = [
        p
        for k, p in wanted.items()
        if k not in model.watch.skip and getattr(p, "Representation", None) is not None
    ]
    settings = _settings(cut_openings=cut_openings)
    found: dict[int, Mesh] = {}
    if shaped and not model.watch.careful:
        found.update(_iterated(model, settings, shaped, engine))
    for product in shaped:
        if product.id() not in found and (mesh := _alone(model, settings, product)) is not None:
            found[product.id()] = mesh
    ordered = {k: found[k] for k in wanted if k in found}
    return ordered, tuple(k for k in wanted if k not in found)


def _settings(*, cut_openings: bool) -> Any:
    import ifcopenshell.geom

    settings = ifcopenshell.geom.settings()
    settings.set("use-world-coords", True)
    settings.set("weld-vertices", True)
    settings.set("no-normals", True)
    settings.set("apply-default-materials", False)
    settings.set("disable-opening-subtractions", not cut_openings)
    return settings


def _iterated(
    model: IfcModel, settings: Any, products: list[Entity], engine: str
) -> Iterator[tuple[int, Mesh]]:
    """Meshes in the order in which the iterator brings them, as far as it goes."""
    import ifcopenshell.geom

    model.watch.tell("mesh", 0)
    try:
        iterator = ifcopenshell.geom.iterator(
            settings, model.file, 1, include=products, geometry_library=engine
        )
        more = iterator.initialize()
    except RuntimeError:  # not even the first product could be prepared: all are tried alone
        return
    while more:
        shape = iterator.get()
        mesh = _mesh(shape.geometry, model.origin)
        if mesh is not None:
            yield int(shape.id), mesh
        model.watch.tell("mesh", 0)
        try:
            more = iterator.next()
        except RuntimeError:
            return


def _alone(model: IfcModel, settings: Any, product: Entity) -> Mesh | None:
    """One product by itself, with either engine; None when neither makes a body of it."""
    import ifcopenshell.geom

    model.watch.tell("mesh", product.id())
    for engine in (HYBRID, EXACT) if model.watch.careful else (EXACT, HYBRID):
        try:
            shape = ifcopenshell.geom.create_shape(settings, product, geometry_library=engine)
        except RuntimeError:
            continue
        mesh = _mesh(shape.geometry, model.origin)
        if mesh is not None:
            return mesh
    return None


def _mesh(geometry: Any, origin: Point) -> Mesh | None:
    """The triangles of a shape as arrays of their own; None when there are none, or no finite ones, or
    none of a size that anything in a building has: damaged numbers.
    """
    faces = np.frombuffer(geometry.faces_buffer, dtype=np.int32).reshape(-1, 3).copy()
    vertices = np.frombuffer(geometry.verts_buffer, dtype=np.float64).reshape(-1, 3) * _METRE
    if not len(faces) or not np.isfinite(vertices).all():
        return None
    vertices[:, :2] -= origin
    if np.abs(vertices).max() > FARTHEST_MM or np.ptp(vertices, axis=0).max() > LARGEST_MM:
        return None
    return Mesh(vertices, faces)


def near_origin(model: IfcModel) -> IfcModel:
    """The model with an origin near its building, where that lies far from the model's own: models sit
    at national-grid coordinates, where booleans lose their last digits.
    """
    settings = _settings(cut_openings=False)
    candidates = model.all_of("IfcSpace")[:_TRIED] + model.all_of("IfcWall")[:_TRIED]
    for product in candidates:
        if product.id() in model.watch.skip or getattr(product, "Representation", None) is None:
            continue
        mesh = _alone(model, settings, product)
        if mesh is not None:
            x, y = mesh.vertices[:, :2].min(axis=0)
            if max(abs(x), abs(y)) < FAR_MM:
                return model
            return replace(model, origin=(round(x / _METRE) * _METRE, round(y / _METRE) * _METRE))
    return model
