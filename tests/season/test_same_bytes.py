"""The same plan gives the same bytes, however many threads work on it and however Python orders its sets."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from stovergeo.share import NAMES

#: the command with as many threads as its first argument says, in every room that has some
WITH_THREADS = """
import os, sys
threads = int(sys.argv.pop(1))
os.cpu_count = lambda: threads
from stovergeo.terrain import sky, sun
from stovergeo.yards import best_fit, rate
sky.THREADS = sun.THREADS = best_fit._THREADS = rate._THREADS = threads
from stovergeo.cli import main
main()
"""


@pytest.fixture(scope="module")
def coarse_sample(tmp_path_factory: pytest.TempPathFactory, sample_farm: Path) -> Path:
    """The sample farm, raw points and all, in coarse cells: every room works, quickly."""
    folder = tmp_path_factory.mktemp("same") / "farm"
    shutil.copytree(sample_farm, folder)
    plan = folder / "plan.toml"
    text = plan.read_text("utf-8").replace('cell = "5 m"', 'cell = "10 m"')
    plan.write_text(f"{text}\n[odds]\ndraws = 40\n", encoding="utf-8")
    return folder


def digests(folder: Path, out: Path, threads: int, seed: int) -> dict[str, str]:
    """Plan with as many threads, also of every library that has its own, and with a seed of Python's hashes."""
    names = ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "GDAL_NUM_THREADS")
    env = {**os.environ, **dict.fromkeys(names, str(threads)), "PYTHONHASHSEED": str(seed)}
    line = [sys.executable, "-c", WITH_THREADS, str(threads), "plan", str(folder / "plan.toml"), "--out", str(out)]
    run = subprocess.run(line, capture_output=True, text=True, env=env, timeout=900, check=False)
    assert run.returncode in (0, 3), run.stderr
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(out.iterdir())}


@pytest.fixture(scope="module")
def first(coarse_sample: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """What comes out on one thread."""
    found = digests(coarse_sample, tmp_path_factory.mktemp("first") / "out", threads=1, seed=0)
    assert sorted(found) == sorted(NAMES)
    return found


@pytest.mark.parametrize(("threads", "seed"), [(4, 4242), pytest.param(2, 77, marks=pytest.mark.long)])
def test_every_file_is_the_same_to_the_byte(
    first: dict[str, str], coarse_sample: Path, tmp_path: Path, threads: int, seed: int
) -> None:
    found = digests(coarse_sample, tmp_path / "out", threads, seed)
    assert [name for name in NAMES if found[name] != first[name]] == []
