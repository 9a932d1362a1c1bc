"""Counting the architect's entities before and after: proof that nothing of his was touched.

`census` looks at a drawing as the CAD library holds it, `raw_census` at the file itself.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from ezdxf.document import Drawing
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.lldxf.tagwriter import TagCollector

from layout.writers.dxf.tags import RawFile


def census(doc: Drawing) -> Mapping[str, str]:
    """Handle to a digest of the content, for every entity in modelspace, paper space and blocks, and
    for every entry of the tables that entities refer to.
    """
    counted: dict[str, str] = {}
    for block in doc.blocks:
        for entity in block:
            _count(entity, counted)
    for table in (doc.layers, doc.linetypes, doc.styles, doc.dimstyles, doc.appids):
        for entry in table:
            _count(entry, counted)
    return counted


def _count(entity: DXFEntity, counted: dict[str, str]) -> None:
    handle = entity.dxf.handle
    if handle is None:
        return
    # A table's own handle is given to its entries only on export.
    tags = [tag for tag in TagCollector.dxftags(entity) if tag.code != 330]
    counted[handle] = _digest("\n".join(f"{tag.code} {tag.value}" for tag in tags).encode())


def raw_census(file: RawFile) -> Mapping[str, str]:
    """`section/handle` to a digest of the entity's groups exactly as they stand in the file."""
    return {
        f"{record.section}/{record.handle}": _digest(file.bytes_of(record))
        for record in file.records
        if record.handle is not None
    }


def _digest(content: bytes) -> str:
    return hashlib.blake2b(content, digest_size=16).hexdigest()


def differences(before: Mapping[str, str], after: Mapping[str, str]) -> tuple[str, ...]:
    """Keys that are gone, or stand for another content, in the order of `before`."""
    return tuple(key for key, digest in before.items() if after.get(key) != digest)
