"""A job on a running Dask cluster: its scheduler's address in, an executor out.

The workers read the drawings themselves: they must reach the folder that the job is started in under the
same path, and have the same version of this program.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import contextmanager
from importlib import import_module
from typing import Final, cast

from importer.plan import Finding, PlanError, Severity

_WAIT_S: Final = 10


@contextmanager
def cluster(address: str) -> Iterator[Executor]:
    """An executor on the cluster whose scheduler answers at `address` (tcp://host:port).

    Raises:
        PlanError: the extra `cluster` is not installed, or nobody answers at the address.
    """
    try:
        distributed = import_module("distributed")
    except ImportError as error:
        raise _refused(
            "The packages that speak with a cluster are not installed.",
            "Install setout with its extra: setout[cluster].",
        ) from error
    try:
        client = distributed.Client(address, timeout=_WAIT_S)
    except (OSError, ValueError) as error:
        raise _refused(
            f"No cluster answers at {address}: {error}.",
            "Give the address that the scheduler prints when it starts, such as tcp://host:8786.",
        ) from error
    with client:
        # Two plans may have equal bytes under two names: none is taken for another's result.
        yield cast("Executor", client.get_executor(pure=False, retries=0))


def _refused(what: str, remedy: str) -> PlanError:
    return PlanError(Finding(code="LAY-103", severity=Severity.REFUSED, what=what, remedy=remedy))
