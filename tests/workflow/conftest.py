"""The sample farm, run once through the command."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

#: the command, which tells its peak of memory in kB, where the system does, as its last line
WITH_PEAK = """
import pathlib, sys
from stovergeo.cli import main
try:
    main()
finally:
    status = pathlib.Path("/proc/self/status")
    lines = status.read_text().splitlines() if status.exists() else []
    print(*(line.split()[1] for line in lines if line.startswith("VmHWM:")), file=sys.stderr)
"""
WAIT_S = 600


@pytest.fixture(scope="session")
def with_peak():
    """Run the command in a process of its own; the last line of its standard error is its peak of memory."""

    def run(*words: object) -> subprocess.CompletedProcess:
        line = [sys.executable, "-c", WITH_PEAK, *map(str, words)]
        wide = {**os.environ, "COLUMNS": "200"}  # so that no word is broken over two lines
        return subprocess.run(line, capture_output=True, text=True, env=wide, timeout=WAIT_S, check=False)

    return run


@pytest.fixture(scope="session")
def sample_run(tmp_path_factory: pytest.TempPathFactory, with_peak) -> tuple[Path, subprocess.CompletedProcess]:
    """The sample farm's outputs, and what the command printed; planned once for all processes of the tests."""
    root = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        root = root.parent  # that of the whole run
    out, told = root / "sample" / "plan", root / "sample" / "told.json"
    try:
        out.parent.mkdir()
    except FileExistsError:  # another process is at it, or was
        until = time.monotonic() + WAIT_S
        while not told.exists():
            assert time.monotonic() < until, "the process that plans the sample farm has not come to an end"
            time.sleep(0.1)
    else:
        said = with_peak("plan", "--out", out)
        part = told.with_suffix(".part")
        part.write_text(json.dumps([said.args, said.returncode, said.stdout, said.stderr]), "utf-8")
        part.replace(told)
    return out, subprocess.CompletedProcess(*json.loads(told.read_text("utf-8")))


@pytest.fixture(scope="session")
def sample_record(sample_run: tuple[Path, subprocess.CompletedProcess]) -> dict:
    """The sample farm's ``plan.json``."""
    return json.loads((sample_run[0] / "plan.json").read_text("utf-8"))
