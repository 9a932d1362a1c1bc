"""Nothing is fetched and nothing is sent: the product works with every way to the network shut.

A module that Python imports by itself at its start shuts them in the command and in each process that it
starts; a first test makes sure that they are shut.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.importer.ifc.models import saved, step_text
from tests.layout.small_plans import one_room

REPO = Path(__file__).resolve().parents[1]

SHUT = """
import os, socket, sys

def _audit(event, args):
    families = (socket.AF_INET, socket.AF_INET6)
    if event.startswith(("socket.getaddrinfo", "socket.gethostby", "socket.sendto")) or (
        event in ("socket.connect", "socket.bind") and args[0].family in families
    ):
        with open(os.environ["NETWORK_LOG"], "a") as log:
            print(event, args[1:], file=log)
        raise PermissionError(f"the network is shut: {event}")

sys.addaudithook(_audit)
"""


@pytest.fixture
def shut(tmp_path: Path) -> Mapping[str, str]:
    """The environment of a process that cannot reach any network; tries are noted in NETWORK_LOG."""
    hooks = tmp_path / "hooks"
    hooks.mkdir()
    (hooks / "sitecustomize.py").write_text(SHUT, encoding="utf-8")
    log = tmp_path / "network.log"
    log.touch()
    paths = os.pathsep.join([str(hooks), str(REPO)])
    return {**os.environ, "PYTHONPATH": paths, "NETWORK_LOG": str(log)}


def run(arguments: list[str], environment: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize(
    "code",
    [
        "import socket; socket.create_connection(('127.0.0.1', 9))",
        "import urllib.request; urllib.request.urlopen('http://localhost:9/')",
        (
            "import multiprocessing as m\n"
            "import socket\n"
            "if __name__ == '__main__':\n"
            "    p = m.get_context('spawn').Process(target=socket.getaddrinfo, args=('localhost', 80))\n"
            "    p.start(); p.join(); raise SystemExit(p.exitcode)"
        ),
    ],
)
def test_network_is_shut_for_these_tests(
    code: str, shut: Mapping[str, str], tmp_path: Path
) -> None:
    (tmp_path / "reach.py").write_text(code, encoding="utf-8")
    done = run([str(tmp_path / "reach.py")], shut)
    assert done.returncode != 0
    assert "the network is shut" in done.stderr
    assert Path(shut["NETWORK_LOG"]).read_text(encoding="utf-8")


def test_drawing_is_laid_without_any_network(shut: Mapping[str, str], tmp_path: Path) -> None:
    drawing = one_room(tmp_path / "room.dxf")
    out = tmp_path / "out"
    command = ["-m", "layout.cli", "lay", str(drawing), "--out", str(out)]
    done = run(command, shut)
    assert done.returncode in (0, 1), done.stderr
    assert (out / "index.html").exists()
    assert Path(shut["NETWORK_LOG"]).read_text(encoding="utf-8") == ""


def test_model_is_read_without_any_network(shut: Mapping[str, str], tmp_path: Path) -> None:
    model = saved(tmp_path, step_text())
    done = run(
        ["-m", "layout.cli", "read", str(model), "--json", str(tmp_path / "plan.json")], shut
    )
    assert done.returncode in (0, 1), done.stderr
    assert (tmp_path / "plan.json").exists()
    assert Path(shut["NETWORK_LOG"]).read_text(encoding="utf-8") == ""
