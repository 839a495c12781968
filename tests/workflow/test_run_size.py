"""A run says what it will need, keeps to it, and refuses what cannot fit, with the ways out."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from small_farm import PLAN, command, write_small_farm

pytestmark = pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the peak is read from /proc")


@pytest.fixture
def farm(tmp_path: Path) -> Path:
    write_small_farm(tmp_path)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    return tmp_path


@pytest.fixture
def large_farm(tmp_path: Path) -> Path:
    """Two kilometers of field in cells of 2 m: so many cells that they, not the libraries, fill the memory."""
    write_small_farm(tmp_path, side_m=2000.0, cell_m=4.0)
    text = PLAN.replace("season = 2026", 'season = 2026\ncell = "2 m"').replace(
        '[layers.property]\npath = "property.gpkg"', ""
    )
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    return tmp_path


def check_keeps_to_what_was_said(run: subprocess.CompletedProcess) -> None:
    """Compare the memory a run stated it would need with its true peak."""
    assert run.returncode in (0, 3), run.stderr
    said = float(re.search(r"about ([\d.]+) GB", run.stderr)[1])
    true = int(run.stderr.split()[-1]) * 1024 / 1e9
    assert true <= said + 0.05  # the line rounds to a tenth
    assert said <= 2 * true


def test_a_small_farm_keeps_to_the_stated_memory(farm: Path, with_peak) -> None:
    check_keeps_to_what_was_said(with_peak("plan", farm / "plan.toml", "--out", farm / "out"))


@pytest.mark.long
def test_the_sample_farm_keeps_to_the_stated_memory(sample_run: tuple[Path, subprocess.CompletedProcess]) -> None:
    check_keeps_to_what_was_said(sample_run[1])


@pytest.mark.long
def test_a_farm_of_many_cells_keeps_to_the_stated_memory(large_farm: Path, with_peak) -> None:
    check_keeps_to_what_was_said(with_peak("plan", large_farm / "plan.toml", "--out", large_farm / "out"))


def test_what_cannot_fit_is_refused_with_numbers_and_two_ways_out(large_farm: Path) -> None:
    before = sorted(p.name for p in large_farm.rglob("*"))
    text = (large_farm / "plan.toml").read_text("utf-8")
    (large_farm / "plan.toml").write_text(text.replace("[farm]", "[farm]\nmemory_max_gb = 1.0"), encoding="utf-8")
    run = command("plan", large_farm / "plan.toml", "--out", large_farm / "out")
    said = " ".join(run.stderr.split())
    assert run.returncode == 2
    assert "grid.too_big" in said
    assert re.search(
        r"1,\d{3},\d{3} cells of 2 m, .* need about \d\.\d\d GB; farm\.memory_max_gb allows 1\.00 GB", said
    )
    assert re.search(r"split the farm into \d plans", said)
    assert "memory_max_gb" in said
    assert sorted(p.name for p in large_farm.rglob("*")) == before
    # the cell that is proposed fits
    cell = re.search(r'cell = "([\d.]+ m)" would do', said)[1]
    (large_farm / "plan.toml").write_text(
        text.replace("[farm]", "[farm]\nmemory_max_gb = 1.0").replace('cell = "2 m"', f'cell = "{cell}"'),
        encoding="utf-8",
    )
    assert "grid.too_big" not in command("check", large_farm / "plan.toml").stdout


def test_check_says_the_need_as_text_and_as_json(farm: Path) -> None:
    assert "This run: " in command("check", farm / "plan.toml").stdout
    need = json.loads(command("check", farm / "plan.toml", "--json").stdout)["run"]
    assert (
        need["cells"] == 132 * 132
    )  # 400 m of field, 50 m of property and 80 m of margin on each side, in cells of 5 m
    assert need["memory_bytes"] > 1e8


def test_a_limit_of_the_system_is_seen() -> None:
    """The limit a batch system sets on a process's addresses counts, whatever the machine has free."""
    script = """
import resource
from stovergeo.workflow.run_size import free_memory_bytes
free = free_memory_bytes()
size = [int(line.split()[1]) * 1024 for line in open("/proc/self/status") if line.startswith("VmSize:")][0]
hard = resource.getrlimit(resource.RLIMIT_AS)[1]
resource.setrlimit(resource.RLIMIT_AS, (size + 200_000_000, hard))
rss = [int(line.split()[1]) * 1024 for line in open("/proc/self/status") if line.startswith("VmRSS:")][0]
print(free, free_memory_bytes() - rss)
"""
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True)
    free, left = map(float, run.stdout.split())
    assert left < 201e6
    assert free > left
