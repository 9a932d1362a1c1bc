"""A model out of its archive: exactly one model in it, and no more bytes than a model may have."""

from __future__ import annotations

import io
import lzma
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Final

from importer.plan import PlanError
from importer.sniff import ARCHIVE, refusal

MOST_BYTES: Final = 250_000_000
"""Largest model that is read. Opening takes about 6 bytes of memory for each byte of it (measured)."""

MOST_MEMBERS: Final = 1000
"""An archive of more files is no model with its side files."""

_CHUNK: Final = 1 << 20

_DAMAGED: Final = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    OSError,  # the data of a bzip2 member
    ValueError,  # names and offsets that are none
    NotImplementedError,  # a way of packing that is not known here
)
"""What reading an archive in memory raises when its bytes are not right."""


def is_archive(data: bytes) -> bool:
    """Whether the bytes are a ZIP archive, as an .ifczip is."""
    return data.startswith(ARCHIVE)


def unpacked(data: bytes, name: str) -> bytes:
    """The one model in an archive, wherever in it. Nothing is written to disk and no name in the archive
    is followed, so that names with `..` or a root in them lead nowhere.

    Args:
        data: the archive.
        name: its file name, for messages.

    Raises:
        PlanError: damaged or encrypted, no model or several in it, or too much in it.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            return _read(archive, _the_model(archive, name), name)
    except _DAMAGED as fault:
        why = _shown(" ".join(str(fault).split()).rstrip(".")) or type(fault).__name__
        raise refusal(
            "IMP-151", f"the archive is damaged: {why}.", name, "Ask for the model again."
        ) from fault


def _the_model(archive: zipfile.ZipFile, name: str) -> zipfile.ZipInfo:
    if len(archive.infolist()) > MOST_MEMBERS:
        raise refusal(
            "IMP-151",
            f"the archive holds {len(archive.infolist())} files, more than a model comes with.",
            name,
            "Give an archive with one .ifc in it, or the .ifc itself.",
        )
    members = [m for m in archive.infolist() if not m.is_dir() and not _is_side_file(m.filename)]
    models = [m for m in members if m.filename.lower().endswith(".ifc")]
    if len(models) == 1:
        return models[0]
    if models:
        raise refusal(
            "IMP-151",
            f"the archive holds {len(models)} models: {_listed([m.filename for m in models])}.",
            name,
            "Unpack it and give the models one by one.",
        )
    held = f": {_listed([m.filename for m in members])}" if members else ""
    if any(m.filename.lower().endswith(".ifcxml") for m in members):
        remedy = "An ifcXML is not read: have the model saved as .ifc (STEP text)."
    else:
        remedy = "Give an archive with one .ifc in it, or the .ifc itself."
    raise refusal("IMP-151", f"the archive holds no .ifc{held}.", name, remedy)


def _is_side_file(filename: str) -> bool:
    """What some systems add to an archive of their own accord."""
    path = PurePosixPath(filename)
    return "__MACOSX" in path.parts or path.name.startswith("._")


def _read(archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> bytes:
    if member.flag_bits & 0x1:
        raise refusal(
            "IMP-151",
            f"{_shown(member.filename)} in the archive is locked with a password.",
            name,
            "Unpack it and give the .ifc itself.",
        )
    parts: list[bytes] = []
    left = MOST_BYTES
    with archive.open(member) as stream:
        # The size an archive states is no evidence: what comes out is counted.
        while chunk := stream.read(_CHUNK):
            left -= len(chunk)
            if left < 0:
                raise too_large(f"{_shown(member.filename)} in the archive", None, name)
            parts.append(chunk)
    return b"".join(parts)


def too_large(what: str, size: int | None, name: str) -> PlanError:
    """The refusal of a model above `MOST_BYTES`; `size` in bytes, None when it is not known."""
    is_of = f"has {size / 1e6:.0f} MB" if size is not None else "unpacks to more"
    limit = f"{MOST_BYTES / 1e6:.0f} MB"
    return refusal(
        "IMP-152",
        f"{what} {is_of}{'' if size is None else ', more'} than the {limit} that are read.",
        name,
        "Have the architecture exported alone, without furniture, site and services, or by storeys.",
    )


def _listed(names: list[str], most: int = 8) -> str:
    shown = ", ".join(_shown(n) for n in names[:most])
    return shown + (f" and {len(names) - most} more" if len(names) > most else "")


def _shown(name: str, most: int = 80) -> str:
    """A name out of an archive, fit to be printed: no control characters, no end to it."""
    plain = "".join(c if c.isprintable() else "?" for c in name)
    return plain if len(plain) <= most else f"...{plain[-most:]}"
