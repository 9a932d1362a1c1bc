"""Which things hang together, from the pairs that touch."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from importer.dxf.wall_faces import Index


def connected_parts(count: int, one: npt.ArrayLike, two: npt.ArrayLike) -> Index:
    """Number of the part that each of `count` things belongs to.

    Args:
        count: how many things there are.
        one: (n,) indices of things that touch another.
        two: (n,) indices of what they touch.

    Returns:
        (count,) part numbers from 0, in the order of each part's first thing.

    Labels are hooked to the lower one and then shortened, so that long chains take few rounds. (The
    same is to be had from SciPy's sparse graphs, whose import takes half a second and 35 MB that reading
    a drawing needs for nothing else.)
    """
    label = np.arange(count, dtype=np.int64)
    a, b = np.asarray(one, dtype=np.int64), np.asarray(two, dtype=np.int64)
    while True:
        la, lb = label[a], label[b]
        apart = la != lb
        if not apart.any():
            break
        np.minimum.at(label, np.maximum(la, lb)[apart], np.minimum(la, lb)[apart])
        shorter = label[label]
        while not np.array_equal(shorter, label):
            label, shorter = shorter, shorter[shorter]
    return np.asarray(np.unique(label, return_inverse=True)[1], dtype=np.int64)
