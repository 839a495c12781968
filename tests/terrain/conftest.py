"""The slow yardstick, and a real laser survey that is fetched when it can be and never kept."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path
from types import ModuleType

import pytest
import ray_marching as ray_marching_module


@pytest.fixture(scope="session")
def ray_marching() -> ModuleType:
    """A plain method for the same sun: hour by hour, ray by ray."""
    return ray_marching_module


@pytest.fixture(scope="session")
def laser_tile(request: pytest.FixtureRequest) -> Path:
    """A 1 m laser survey of 400 x 400 m in Minnesota (EPSG:26915), from the package `lidar` 0.8.4 (MIT license)."""
    folder = Path(request.config.cache.mkdir("laser_tile"))
    tile = folder / "lidar" / "data" / "dem.tif"
    if not tile.exists():
        fetch = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest", str(folder), "lidar==0.8.4"]
        try:
            done = subprocess.run(fetch, capture_output=True, text=True, timeout=120, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            pytest.skip(f"the laser tile cannot be fetched: {error}")
        wheels = list(folder.glob("lidar-*.whl"))
        if done.returncode or not wheels:
            pytest.skip(f"the laser tile cannot be fetched: {done.stderr.strip()[-200:]}")
        with zipfile.ZipFile(wheels[0]) as wheel:
            wheel.extract("lidar/data/dem.tif", folder)
        wheels[0].unlink()
    return tile
