"""What importing costs, and that it brings nothing optional."""

from __future__ import annotations

import subprocess
import sys

OPTIONAL = {"pyarrow", "matplotlib", "openpyxl", "dask", "distributed"}


def loaded_by(code: str) -> set[str]:
    said = subprocess.run(
        [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"], capture_output=True, text=True, check=True
    )
    return {name.split(".")[0] for name in said.stdout.split()}


def test_the_package_alone_imports_nothing_heavy() -> None:
    assert not loaded_by("import stovergeo") & {"numpy", "pandas", "geopandas", "rasterio", "typer"}


def test_the_command_line_imports_no_science_before_a_command_runs() -> None:
    assert not loaded_by("import stovergeo.cli") & {"numpy", "pandas", "geopandas", "rasterio", "numba"}


def test_the_whole_way_runs_without_anything_optional() -> None:
    """Optional packages are made impossible to import; the libraries we need look for some of them by themselves."""
    hide = f"import sys; sys.modules.update(dict.fromkeys({sorted(OPTIONAL)}))"
    assert "stovergeo" in loaded_by(f"{hide}; import stovergeo.season")
