"""The sample farm is what its script writes, and stays small."""

from __future__ import annotations

import runpy
from pathlib import Path

import numpy as np
import rasterio


def test_the_script_writes_what_is_shipped(sample_farm: Path, tmp_path: Path) -> None:
    runpy.run_path(str(sample_farm / "make_farm.py"))["main"](tmp_path)
    written = sorted(p.name for p in tmp_path.iterdir())
    assert set(written) == {p.name for p in sample_farm.iterdir()} - {"make_farm.py", "plan.toml", "__pycache__"}
    for name in written:
        if name.endswith(".tif"):  # another GDAL may pack the same heights into other bytes
            with rasterio.open(tmp_path / name) as new, rasterio.open(sample_farm / name) as shipped:
                assert new.profile == shipped.profile
                np.testing.assert_array_equal(new.read(), shipped.read())
        else:
            assert (tmp_path / name).read_bytes() == (sample_farm / name).read_bytes(), name


def test_the_sample_farm_is_small(sample_farm: Path) -> None:
    assert sum(p.stat().st_size for p in sample_farm.iterdir() if p.is_file()) < 5_000_000
