"""Writes a block of flats as one DXF a storey: the sample storey over and over, turned and moved.

    python -m tests.bench.big_block FOLDER [--rooms 1000]

Of every four storeys one lies as the sample does, the others are turned by a quarter, a half and three
quarters; each stands at a place of its own and has flats of its own numbers. So every flat occurs in
four places and, since flats 1 and 2 of the sample are mirrored, in both hands.
"""

from __future__ import annotations

import argparse
import io
from functools import cache
from math import ceil, radians
from pathlib import Path

from ezdxf import transform
from ezdxf.filemanagement import read
from ezdxf.math import Matrix44

ROOMS_A_STOREY = 27
SAMPLE = Path(__file__).resolve().parents[2] / "sample_plans" / "block_storey.dxf"


@cache
def turned(quarter: int) -> bytes:
    """The sample storey turned by quarters of a circle and moved, as DXF text."""
    if quarter == 0:
        return SAMPLE.read_bytes()
    doc = read(io.StringIO(SAMPLE.read_text(encoding="utf-8")))
    place = Matrix44.z_rotate(radians(90.0 * quarter)) @ Matrix44.translate(
        31_000.0 * quarter, -7_000.0 * quarter, 0.0
    )
    transform.inplace(list(doc.modelspace()), place)
    stream = io.StringIO()
    doc.write(stream)
    return stream.getvalue().encode()


def storey(number: int) -> bytes:
    """One storey: flats 1 to 4 have its number in front of their own."""
    data = turned(number % 4)
    for flat in b"1234":
        own = bytes([flat])
        data = data.replace(b"Flat " + own, b"Flat %d" % number + own)
    return data


def write_block(folder: Path, rooms: int) -> list[Path]:
    """The files of a block with at least so many rooms."""
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for number in range(1, ceil(rooms / ROOMS_A_STOREY) + 1):
        path = folder / f"storey{number:03}.dxf"
        path.write_bytes(storey(number))
        paths.append(path)
    return paths


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--rooms", type=int, default=1000)
    args = parser.parse_args()
    print(f"{len(write_block(args.folder, args.rooms))} storeys in {args.folder}")
