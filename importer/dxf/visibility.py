"""Which layers are drawn. Names of layers are compared without regard to case, as CAD does."""

from __future__ import annotations

from dataclasses import dataclass, field

from ezdxf.document import Drawing as DxfDocument

from importer.dxf.texts import decoded

ZERO = "0"
"""The layer that hands its geometry over to the layer of the block reference."""


@dataclass(slots=True)
class LayerTable:
    """State of the layers. A layer that is used but not in the table is drawn, and keeps its name.

    Frozen and off differ for block references: a frozen layer hides everything the reference
    brings, an off layer only what lies on it or on layer 0 inside the block.
    """

    frozen: frozenset[str]
    off: frozenset[str]
    _names: dict[str, str] = field(default_factory=dict)

    def name(self, raw: str) -> str:
        """The layer's name as the table spells it, or as first used when it is not there."""
        known = self._names.get(raw)
        if known is None:
            text = decoded(raw)
            known = self._names.setdefault(text.casefold(), text)
            self._names[raw] = known
        return known

    def is_frozen(self, layer: str) -> bool:
        """True when nothing on this layer is drawn, and no block placed on it."""
        return layer in self.frozen

    def is_off(self, layer: str) -> bool:
        """True when nothing on this layer is drawn."""
        return layer in self.off

    def is_hidden(self, layer: str) -> bool:
        """True when the layer is frozen or off."""
        return layer in self.frozen or layer in self.off


def layer_table(document: DxfDocument) -> LayerTable:
    """The layer states of a document."""
    table = LayerTable(frozen=frozenset(), off=frozenset())
    frozen: set[str] = set()
    off: set[str] = set()
    for layer in document.layers:
        name = table.name(str(layer.dxf.name))
        if layer.is_frozen():
            frozen.add(name)
        if layer.is_off():
            off.add(name)
    table.frozen, table.off = frozenset(frozen), frozenset(off)
    return table
