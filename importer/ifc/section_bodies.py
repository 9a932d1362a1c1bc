"""The bodies that a plan is cut from, by what they are in the plan. Meshed once for all storeys."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Final

from importer.ifc.meshes import EXACT, HYBRID, Mesh, mesh_products
from importer.ifc.model import MOST_STEPS, Entity, IfcModel
from importer.ifc.section_cut import height_range


class Role(Enum):
    """What a body is in a plan. The order decides where one could be two things."""

    WALL = "wall"
    COLUMN = "column"
    CURTAIN = "curtain wall"
    STAIR = "stair"
    RAILING = "railing"
    SLAB = "slab"
    FURNITURE = "furniture"


CLASSES: Final[Mapping[Role, tuple[str, ...]]] = {
    Role.WALL: ("IfcWall",),
    Role.COLUMN: ("IfcColumn",),
    Role.CURTAIN: ("IfcCurtainWall",),
    Role.STAIR: ("IfcStair", "IfcStairFlight", "IfcRamp", "IfcRampFlight"),
    Role.RAILING: ("IfcRailing",),
    Role.SLAB: ("IfcSlab",),
    Role.FURNITURE: ("IfcFurnishingElement", "IfcFlowTerminal"),
}
_OWN_CLASSES: Final = ("IfcDoor", "IfcWindow", "IfcOpeningElement")
"""Parts of a whole that are drawn in a way of their own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A product with its triangles: mm, model coordinates. `low` and `high` are its z range. `whole` is
    the step id of the wall or stair that it is, or is a part of.
    """

    role: Role
    product: Entity
    whole: int
    mesh: Mesh
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Bodies:
    """All bodies in the order of the roles and the file, and the products that no body could be made
    of although they have a shape.
    """

    bodies: tuple[Body, ...]
    missing: tuple[Entity, ...] = ()

    def of(self, *roles: Role) -> tuple[Body, ...]:
        """The bodies with one of the roles."""
        return tuple(b for b in self.bodies if b.role in roles)


def find_bodies(model: IfcModel, roles: Iterable[Role] = tuple(Role)) -> Bodies:
    """Mesh the products with these roles. Openings are cut out of slabs only.

    Returns:
        Bodies; a whole without a shape of its own, such as a wall of layers or a stair, is there by its
        parts.
    """
    wanted = _by_role(model, roles)
    meshes: dict[int, Mesh] = {}
    for cut, engine in ((False, EXACT), (False, HYBRID), (True, EXACT)):
        products = [w.product for w in wanted.values() if (w.cut, w.engine) == (cut, engine)]
        meshes.update(mesh_products(model, products, cut_openings=cut, engine=engine)[0])
    bodies, missing = [], []
    for key, w in wanted.items():
        if key not in meshes:
            missing.append(w.product)
            continue
        low, high = height_range(meshes[key])
        bodies.append(
            Body(
                role=w.role,
                product=w.product,
                whole=w.whole,
                mesh=meshes[key],
                low=low,
                high=high,
            )
        )
    return Bodies(bodies=tuple(bodies), missing=tuple(missing))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wanted:
    """A product to mesh."""

    role: Role
    product: Entity
    whole: int

    @property
    def cut(self) -> bool:
        """Whether openings are cut out: a wall's are taken out in the plan, which is faster."""
        return self.role is Role.SLAB

    @property
    def engine(self) -> str:
        """The quick engine draws a clipped wall now and then too long."""
        return EXACT if self.role in {Role.WALL, Role.COLUMN, Role.SLAB} else HYBRID


def _by_role(model: IfcModel, roles: Iterable[Role]) -> dict[int, _Wanted]:
    """Products to mesh, each once, by step id: the landing of a stair is no floor."""
    wanted: dict[int, _Wanted] = {}
    asked = frozenset(roles)
    for role in Role:
        for whole in model.all_of(*CLASSES[role]):
            for product in _with_parts(whole):
                # Taken by an earlier role although that was not asked for, it is not this one's.
                wanted.setdefault(
                    product.id(), _Wanted(role=role, product=product, whole=whole.id())
                )
    return {k: w for k, w in wanted.items() if w.role in asked}


def _with_parts(whole: Entity) -> Iterator[Entity]:
    """The product itself when it has a shape, else its parts, theirs, and so on. A part that is drawn in
    a way of its own, such as a door in a curtain wall, is left out.
    """
    level: Sequence[Entity] = [whole]
    seen: set[int] = set()
    for _ in range(MOST_STEPS):
        below: list[Entity] = []
        for product in level:
            if product.id() in seen or any(product.is_a(name) for name in _OWN_CLASSES):
                continue
            seen.add(product.id())
            if getattr(product, "Representation", None) is not None:
                yield product
            below += parts_of(product)
        level = below


def parts_of(whole: Entity) -> list[Entity]:
    """What a product is put together of."""
    return [
        part
        for relation in getattr(whole, "IsDecomposedBy", ()) or ()
        for part in relation.RelatedObjects or ()
        if part.is_a("IfcProduct")
    ]
