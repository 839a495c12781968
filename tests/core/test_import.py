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


def test_a_public_name_imports_its_own_package_and_no_later_one() -> None:
    code = "from stovergeo import slope_aspect; import sys; print(*sys.modules)"
    said = subprocess.check_output([sys.executable, "-c", code], text=True).split()
    packages = {name.split(".")[1] for name in said if name.startswith("stovergeo.")}
    assert "terrain" in packages
    assert not packages & {"residue", "zones", "bales", "siting", "supply", "report", "workflow", "cli"}


def test_the_package_imports_in_under_150_ms() -> None:
    """Processor time of the import alone, the least of three: other work on the machine counts little."""
    code = "import time; start = time.process_time(); import stovergeo; print(time.process_time() - start)"
    took = [float(subprocess.check_output([sys.executable, "-c", code], text=True)) for _ in range(3)]
    assert min(took) < 0.15


def test_the_command_line_imports_no_science_before_a_command_runs() -> None:
    assert not loaded_by("import stovergeo.cli") & {"numpy", "pandas", "geopandas", "rasterio", "numba"}


def test_the_whole_way_runs_without_anything_optional() -> None:
    """Optional packages are made impossible to import; the libraries we need look for some of them by themselves."""
    hide = f"import sys; sys.modules.update(dict.fromkeys({sorted(OPTIONAL)}))"
    assert "stovergeo" in loaded_by(f"{hide}; import stovergeo.workflow")
