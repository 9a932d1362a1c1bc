"""Fixtures shared by all tests."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parent.parent


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
