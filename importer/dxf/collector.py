"""The garbage collector kept out of the way while a document of many entities is built."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def paused_collector() -> Iterator[None]:
    """No garbage collection inside; one full collection after.

    A loading document only grows: each pass over its entities finds nothing and costs as much as the
    loading itself. Afterwards the document, a web of cycles, is dropped before the next stage needs
    the memory.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
        gc.collect()
