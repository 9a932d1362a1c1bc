"""What is mended in an opened model before the kernel sees it, because the kernel would die of it."""

from __future__ import annotations

from typing import Any, Final

from importer.ifc.model import Entity

_RANK: Final = (
    "IfcProject",
    "IfcSite",
    "IfcBuilding",
    "IfcBuildingStorey",
    "IfcSpatialStructureElement",
)
_STARRED: Final = ("IfcProduct", "IfcProductRepresentation", "IfcRepresentation", "IfcProfileDef")


def clear_stray_stars(file: Any) -> None:
    """Write nothing where `*` (derived) stands in ordinary attributes of products and their shapes.

    Such an attribute reads as nothing; the kernel's iterator ends in silence when it meets one.
    """
    for name in _STARRED:
        for entity in file.by_type(name):
            for k in range(len(entity)):
                if entity[k] is None:
                    entity[k] = None


def break_placement_circles(file: Any) -> tuple[Entity, ...]:
    """Part placements that hang on each other in a circle, which kills the kernel.

    The placement of the uppermost thing in a circle is made absolute. Returns what was parted: the
    products placed by it, or the placement itself where no product is.
    """
    safe: set[int] = set()
    parted = []
    for placement in sorted(file.by_type("IfcLocalPlacement"), key=lambda p: p.id()):
        chain: list[Entity] = []
        at: Entity | None = placement
        members: set[int] = set()
        while at is not None and at.id() not in safe and at.id() not in members:
            chain.append(at)
            members.add(at.id())
            at = getattr(at, "PlacementRelTo", None)
        if at is not None and at.id() in members:
            start = next(k for k, p in enumerate(chain) if p.id() == at.id())
            top = min(chain[start:], key=_rank)
            top.PlacementRelTo = None
            parted.append(_placed_by(top) or top)
        safe |= members
    return tuple(parted)


def _placed_by(placement: Entity) -> Entity | None:
    placed = getattr(placement, "PlacesObject", None) or ()
    return min(placed, key=lambda p: p.id()) if placed else None


def _rank(placement: Entity) -> tuple[int, int]:
    product = _placed_by(placement)
    if product is not None:
        for rank, name in enumerate(_RANK):
            if product.is_a(name):
                return rank, placement.id()
    return len(_RANK), placement.id()


def give_profiles_a_position(file: Any) -> tuple[Entity, ...]:
    """Profiles that lack the position which IFC2X3 requires get their own origin, as later schemas have
    it; the kernel refuses them otherwise. Returns the profiles.
    """
    if file.schema != "IFC2X3":
        return ()
    bare = [p for p in file.by_type("IfcParameterizedProfileDef") if p.Position is None]
    if bare:
        origin = file.create_entity("IfcCartesianPoint", (0.0, 0.0))
        position = file.create_entity("IfcAxis2Placement2D", origin)
        for profile in bare:
            profile.Position = position
    return tuple(sorted(bare, key=lambda p: p.id()))


def repeated_guids(file: Any) -> tuple[tuple[str, tuple[Entity, ...]], ...]:
    """GlobalIds that several products carry, with these, by GlobalId."""
    products: dict[str, list[Entity]] = {}
    for product in file.by_type("IfcProduct"):
        guid = product.GlobalId
        if guid:
            products.setdefault(guid, []).append(product)
    return tuple(
        (guid, tuple(sorted(several, key=lambda p: p.id())))
        for guid, several in sorted(products.items())
        if len(several) > 1
    )
