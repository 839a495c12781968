"""The same plan gives the same bytes, however many threads work on it and however Python orders its sets."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from pathlib import Path

import pytest
from long_run import first_short

from stovergeo.report import NAMES

#: the command with as many threads as its first argument says, in every package that has some
WITH_THREADS = """
import os, sys
threads = int(sys.argv.pop(1))
os.cpu_count = lambda: threads
from stovergeo.terrain import sun
from stovergeo.siting import directions, rate
sun.THREADS = directions._THREADS = rate._THREADS = threads
from stovergeo.cli import main
main()
"""


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


@pytest.mark.parametrize(
    ("threads", "seed"),
    first_short([(3, 4242), (1, 0), (2, 77)], 0),
)
def test_every_file_is_the_same_to_the_byte(
    sample_run: tuple[Path, subprocess.CompletedProcess], tmp_path: Path, threads: int, seed: int
) -> None:
    """The sample farm as the command plans it here, and with so many threads and such a seed of Python's hashes."""
    out = tmp_path / "out"
    names = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "GDAL_NUM_THREADS")
    env = {**os.environ, **dict.fromkeys(names, str(threads)), "PYTHONHASHSEED": str(seed)}
    line = [sys.executable, "-c", WITH_THREADS, str(threads), "plan", "--out", str(out)]
    run = subprocess.run(line, capture_output=True, text=True, env=env, timeout=900, check=False)
    assert run.returncode in (0, 3), run.stderr
    first, found = digests(sample_run[0]), digests(out)
    assert sorted(found) == sorted(NAMES)
    assert [name for name in NAMES if found[name] != first[name]] == []
