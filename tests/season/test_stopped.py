"""A run that is stopped at any moment leaves nothing, or everything."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from small_farm import PLAN, command, write_small_farm

from stovergeo.share import NAMES

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals")


@pytest.fixture(scope="module")
def farm(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stopped")
    write_small_farm(folder, side_m=250.0, cell_m=10.0)
    (folder / "plan.toml").write_text(PLAN.replace("season = 2026", 'season = 2026\ncell = "10 m"'), "utf-8")
    return folder


@pytest.fixture(scope="module")
def whole_s(farm: Path) -> float:
    """How long the run takes here and now, once its kernels are compiled."""
    command("plan", farm / "plan.toml", "--out", farm / "first")
    began = time.monotonic()
    assert command("plan", farm / "plan.toml", "--out", farm / "second").returncode == 0
    return time.monotonic() - began


@pytest.mark.row(56)
@pytest.mark.parametrize("share", [0.4, 0.8, 0.96])
def test_ctrl_c_leaves_nothing_half_written(farm: Path, whole_s: float, share: float) -> None:
    out = farm / f"out{share}"
    line = [sys.executable, "-m", "stovergeo.cli", "plan", str(farm / "plan.toml"), "--out", str(out)]
    run = subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(share * whole_s)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=120)
    if run.returncode == 0:  # it was done before the signal came
        assert sorted(p.name for p in out.iterdir()) == sorted(NAMES)
        return
    assert run.returncode == 130, err
    assert "nothing was left half-written" in err
    assert "Traceback" not in err
    assert not out.exists() or list(out.iterdir()) == []


def test_ctrl_c_leaves_the_results_that_stood_there(farm: Path, whole_s: float) -> None:
    before = {p.name: p.read_bytes() for p in (farm / "second").iterdir()}
    line = [sys.executable, "-m", "stovergeo.cli", "plan", str(farm / "plan.toml"), "--out", str(farm / "second")]
    run = subprocess.Popen([*line, "--overwrite"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(0.9 * whole_s)
    os.kill(run.pid, signal.SIGINT)
    run.communicate(timeout=120)
    assert run.returncode in (0, 130)
    # the same plan gives the same bytes: old or new, they are these
    assert {p.name: p.read_bytes() for p in (farm / "second").iterdir()} == before
