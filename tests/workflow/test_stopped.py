"""A run that is stopped at any moment leaves nothing, or everything."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import geopandas as gpd
import pytest
from as_user import ask
from long_run import first_short
from shapely.geometry import box, mapping
from small_farm import CRS, PLAN, command, process, write_small_farm

from stovergeo.report import NAMES

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
    assert process("plan", farm / "plan.toml", "--out", farm / "second").returncode == 0
    return time.monotonic() - began


@pytest.mark.row(56)
@pytest.mark.parametrize(
    "share", [pytest.param(0.4, marks=pytest.mark.long), 0.8, pytest.param(0.96, marks=pytest.mark.long)]
)
def test_ctrl_c_leaves_nothing_half_written(farm: Path, whole_s: float, share: float) -> None:
    out = farm / f"out{share}"
    line = [sys.executable, "-m", "stovergeo.cli", "plan", str(farm / "plan.toml"), "--out", str(out)]
    run = subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(share * whole_s)
    run.send_signal(signal.SIGINT)
    _, err = run.communicate(timeout=120)
    assert run.returncode in (0, 130, -signal.SIGINT), err  # a shell tells the last as 130 too
    if out.exists() and list(out.iterdir()):  # it was done before the signal came
        assert sorted(p.name for p in out.iterdir()) == sorted(NAMES)
        return
    assert run.returncode != 0
    assert "nothing was left half-written" in err
    assert "Traceback" not in err
    assert not out.exists() or list(out.iterdir()) == []


@pytest.mark.long
def test_ctrl_c_leaves_the_results_that_stood_there(farm: Path, whole_s: float) -> None:
    before = {p.name: p.read_bytes() for p in (farm / "second").iterdir()}
    line = [sys.executable, "-m", "stovergeo.cli", "plan", str(farm / "plan.toml"), "--out", str(farm / "second")]
    run = subprocess.Popen([*line, "--overwrite"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    time.sleep(0.9 * whole_s)
    os.kill(run.pid, signal.SIGINT)
    run.communicate(timeout=120)
    assert run.returncode in (0, 130, -signal.SIGINT)  # the last: it came when all was done
    # the same plan gives the same bytes: old or new, they are these
    assert {p.name: p.read_bytes() for p in (farm / "second").iterdir()} == before


@pytest.mark.parametrize("stood", [None, "an older one"])
def test_an_answer_whose_plan_is_stopped_leaves_no_layer_behind(farm: Path, tmp_path: Path, monkeypatch, stood) -> None:
    from stovergeo.workflow import answered

    west, south = 440_100.0, 4_650_100.0
    place = gpd.GeoSeries([box(west, south, west + 30, south + 30)], crs=CRS).to_crs(4326)[0]
    mark = {"type": "Feature", "properties": {"kind": "no_go", "note": "old well"}, "geometry": mapping(place)}
    answer = {
        "type": "FeatureCollection",
        "stovergeo_answer": 1,
        "plan_key": "0" * 12,
        "season": 2026,
        "said_by": "Robin",
    }
    (tmp_path / "answer.geojson").write_text(
        json.dumps({**answer, "written": "2026-11-25", "features": [mark]}), "utf-8"
    )
    out = tmp_path / "out"
    if stood is not None:
        out.mkdir()
        (out / "no_go.geojson").write_text(stood, "utf-8")
    whole, calls = answered.run_season, []

    def once(*args, **kwargs):
        calls.append(args)
        if len(calls) > 1:
            assert "old well" in (out / "no_go.geojson").read_text("utf-8")
            raise KeyboardInterrupt
        return whole(*args, **kwargs)

    monkeypatch.setattr(answered, "run_season", once)
    code, _, err = ask("answer", farm / "plan.toml", tmp_path / "answer.geojson", "--out", out, "--overwrite")
    assert code == 130, err
    assert len(calls) == 2
    if stood is None:
        assert not out.exists()
    else:
        assert {p.name: p.read_text("utf-8") for p in out.iterdir()} == {"no_go.geojson": stood}


@pytest.mark.parametrize("closed", first_short(["<&- >&- 2>&-", ">&-", ">&- 2>&-"]))
def test_with_its_output_closed_everything_is_written(farm: Path, tmp_path: Path, closed: str) -> None:
    line = [sys.executable, "-m", "stovergeo.cli", "plan", str(farm / "plan.toml"), "--out", str(tmp_path / "out")]
    run = subprocess.run(["sh", "-c", f'exec "$0" "$@" {closed}', *line], timeout=120, check=False)
    assert run.returncode == 0
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(NAMES)


def test_with_no_reader_left_everything_is_written_and_the_command_ends_as_by_a_closed_pipe(
    farm: Path, tmp_path: Path
) -> None:
    line = [sys.executable, "-m", "stovergeo.cli", "plan", str(farm / "plan.toml"), "--out", str(tmp_path / "out")]
    run = subprocess.Popen(line, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    run.stdout.close()
    run.stderr.close()
    assert run.wait(timeout=120) == 128 + signal.SIGPIPE
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == sorted(NAMES)


def test_what_a_library_prints_is_lost_and_what_the_command_prints_is_not() -> None:
    says = (
        "import ctypes, platform, sys; c = ctypes.CDLL(None); machine = platform.machine;"
        "platform.machine = lambda: (c.printf(b'a solver speaks'), c.fflush(None), machine())[-1];"
        "from stovergeo.cli import main; sys.argv = ['stovergeo', 'versions']; main()"
    )
    run = subprocess.run([sys.executable, "-c", says], capture_output=True, text=True, timeout=120, check=False)
    assert run.returncode == 0, run.stderr
    assert run.stdout.startswith("python 3")
    assert "a solver speaks" not in run.stdout + run.stderr
