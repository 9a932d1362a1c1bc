"""How the tests are handed to processes (`pytest -n`): the tests of a file to one process."""

from __future__ import annotations

from typing import Final

import pytest
from xdist.remote import Producer
from xdist.scheduler import LoadScopeScheduling

LONG: Final = ("tests/test_main_job.py", "tests/layout/writers/test_dxf_mark.py")
"""Files that take long and share little between their tests: these go test by test."""


class FilesTogether(LoadScopeScheduling):  # type: ignore[misc]
    """What the tests of a file share (samples laid, drawings read, a referee's verdicts) is made once
    and not in every process. Files go in the order of their names.
    """

    def __init__(self, config: pytest.Config, log: Producer) -> None:
        super().__init__(config, log)
        self.config.option.loadscopereorder = False

    def _split_scope(self, nodeid: str) -> str:
        file = nodeid.split("::", 1)[0]
        return nodeid if file in LONG else file
