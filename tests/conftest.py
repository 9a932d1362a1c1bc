"""Fixtures shared by all tests."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

REPO = Path(__file__).resolve().parent.parent


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `-n` the tests of a file stay together, unless another way is asked for."""
    if config.getvalue("dist") != "load":
        return None
    from tests.side_by_side import FilesTogether

    return FilesTogether(config, log)


@pytest.fixture(scope="session")
def real_plans() -> Path:
    """Folder of real drawings, kept outside the project; tests that need it are skipped without."""
    folder = Path(os.environ.get("SETOUT_REAL_PLANS", REPO.parent / "shared" / "real_plans"))
    if not folder.is_dir():
        pytest.skip(f"real drawings are not here ({folder}); set SETOUT_REAL_PLANS to their folder")
    return folder


@pytest.fixture(scope="session")
def sample_plans() -> Path:
    """Folder of the sample drawings of the project."""
    return REPO / "sample_plans"


@pytest.fixture(scope="session")
def laid_once(tmp_path_factory: pytest.TempPathFactory) -> Callable[[Path], Path]:
    """Lays a drawing with `setout lay` by the packaged rules, once for all tests and all the processes
    they run in; gives the folder of its outputs, which no test may change.
    """
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent

    def laid(drawing: Path) -> Path:
        return _made_once(shared / f"laid-{drawing.stem}", drawing)

    return laid


def _made_once(out: Path, drawing: Path) -> Path:
    """Whoever can make the folder lays; the others wait for the word that it is done."""
    from layout.cli import main

    done = out / "done"
    try:
        out.mkdir()
    except FileExistsError:
        until = time.monotonic() + 200
        while not done.exists():
            assert time.monotonic() < until, f"{drawing.name} is being laid for too long"
            time.sleep(0.05)
    else:
        try:
            main(["lay", str(drawing), "--out", str(out), "--quiet"])
        finally:
            done.touch()
    assert (out / "record.json").exists(), f"{drawing.name} was not laid"
    return out
