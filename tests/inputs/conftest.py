"""A small made-up farm, written to a temporary folder, for tests to read and to spoil."""

from __future__ import annotations

import copy
import json
import re
import shutil
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from affine import Affine
from as_user import ask, standing, write_plan
from pyproj import Transformer

from stovergeo.core.errors import InputError, Report
from stovergeo.inputs.farm_layers import FarmLayers
from stovergeo.inputs.plan.plan import plan_from
from stovergeo.inputs.read import read_layers

CRS = 32615
WEST, SOUTH = 420_000.0, 4_864_000.0  # south-west corner of the first field, UTM 15 north


@dataclass
class Farm:
    """The folder of a farm and the plan that names its files."""

    folder: Path
    data: dict
    report: Report

    @property
    def layers(self) -> dict:
        return self.data["layers"]

    def plan(self):
        return plan_from(copy.deepcopy(self.data), self.folder, self.report)

    def read(self) -> FarmLayers | None:
        """Read everything; None where nothing could be placed. Problems stand in `report`."""
        self.report = Report()
        plan = self.plan()
        try:
            return read_layers(plan, self.report)
        except InputError:
            return None

    def codes(self) -> set[str]:
        return {p.code for p in self.report}

    def problem(self, code: str):
        found = [p for p in self.report if p.code == code]
        assert found, f"{code} not among {sorted(self.codes())}"
        return found[0]

    def write_fields(self, frame: gpd.GeoDataFrame, name: str = "fields.gpkg") -> None:
        (self.folder / name).unlink(missing_ok=True)
        frame.to_file(self.folder / name)
        self.layers["fields"] = {"path": name}

    def write_points(self, table: pd.DataFrame, name: str = "points.csv") -> None:
        table.to_csv(self.folder / name, index=False)
        self.layers["yield_points"]["path"] = name

    def write_raster(self, values: np.ndarray, name: str = "ground.tif", **changes) -> None:
        bands = values[np.newaxis] if values.ndim == 2 else values
        profile = {
            "driver": "GTiff",
            "height": bands.shape[1],
            "width": bands.shape[2],
            "count": bands.shape[0],
            "dtype": bands.dtype.name,
            "crs": CRS,
            "transform": Affine(5, 0, WEST - 200, 0, -5, SOUTH + 600),
        } | changes
        with rasterio.open(self.folder / name, "w", **profile) as out:
            out.write(bands)


def two_fields() -> gpd.GeoDataFrame:
    boxes = [
        shapely.box(WEST, SOUTH, WEST + 400, SOUTH + 400),
        shapely.box(WEST + 420, SOUTH, WEST + 800, SOUTH + 400),
    ]
    return gpd.GeoDataFrame({"name": ["North forty", "Creek piece"]}, geometry=boxes, crs=CRS)


def combine_table() -> pd.DataFrame:
    """Passes 9 m apart, a record every 10.8 m, in the units of a US monitor."""
    rng = np.random.default_rng(7)
    x, y = np.meshgrid(WEST + np.arange(5, 795, 9.144), SOUTH + np.arange(4, 396, 10.8))
    x, y = x.T.ravel(), y.T.ravel()
    inside = (x < WEST + 400) | (x > WEST + 420)
    x, y = x[inside], y[inside]
    lon, lat = Transformer.from_crs(CRS, 4326, always_xy=True).transform(x, y)
    n = len(x)
    return pd.DataFrame(
        {
            "Longitude": lon,
            "Latitude": lat,
            "Flow": rng.normal(31, 2, n).round(2),  # lb/s; with 6 s, 35.4 ft and 30 ft some 115 bu/ac
            "Cycles": 6,
            "Distance": 425.2,
            "Swath": 360,
            "Moisture": rng.normal(18, 0.5, n).round(1),
            "Altitude": 1000.0,
            "Time": 1_000_000 + 6 * np.arange(n),
            "Crop": "Corn",
        }
    )


def sloping_ground() -> np.ndarray:
    return (300 + np.add.outer(np.arange(180) * 0.1, np.arange(240) * 0.05)).astype("float32")


POINTS = {
    "path": "points.csv",
    "crs": "EPSG:4326",
    "columns": {
        "x": "Longitude",
        "y": "Latitude",
        "flow": "Flow",
        "seconds": "Cycles",
        "distance": "Distance",
        "swath": "Swath",
        "moisture": "Moisture",
    },
    "units": {"flow": "lb/s", "seconds": "s", "distance": "in", "swath": "in", "moisture": "%"},
}
SOIL = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}


@pytest.fixture(scope="session")
def sound_files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files of the sound farm, written once."""
    made = Farm(tmp_path_factory.mktemp("sound"), {"layers": {"yield_points": {}}}, Report())
    made.write_fields(two_fields())
    made.write_points(combine_table())
    made.write_raster(sloping_ground())
    return made.folder


@pytest.fixture
def farm(tmp_path: Path, sound_files: Path) -> Farm:
    """A sound farm with two fields, a few thousand points, heights in meters and one soil."""
    shutil.copytree(sound_files, tmp_path, dirs_exist_ok=True)
    return Farm(
        tmp_path,
        {
            "farm": {"name": "Test farm", "season": 2025},
            "layers": {
                "fields": {"path": "fields.gpkg"},
                "yield_points": copy.deepcopy(POINTS),
                "elevation": {"path": "ground.tif", "vertical_unit": "m"},
            },
            "soil": dict(SOIL),
        },
        Report(),
    )


@pytest.fixture
def table() -> pd.DataFrame:
    return combine_table()


@pytest.fixture
def fields() -> gpd.GeoDataFrame:
    return two_fields()


@pytest.fixture
def ground() -> np.ndarray:
    return sloping_ground()


@pytest.fixture
def given(fields, table, ground) -> dict:
    """The sound layers, to be spoiled."""
    return {"fields": fields, "table": table, "ground": ground}


@pytest.fixture
def hear(farm: Farm, request: pytest.FixtureRequest):
    """Hear one problem by its code from the reader and from the command, and no refusal but that and what follows."""

    def judge(code: str, severity: str, also: str | None = None) -> None:
        farm.read()
        problem = farm.problem(code)
        assert problem.severity == severity
        assert problem.where
        assert all(problem.what_in(system).endswith((".", "?")) for system in ("us", "metric", "both"))
        assert problem.why.endswith(".")
        assert problem.cure.endswith(".")
        refused = ({code} if severity == "refuse" else set()) | ({also} if also else set())
        assert {p.code for p in farm.report.refused} == refused
        _hear_from_the_command(farm, code, severity, refused, bool(list(request.node.iter_markers("row"))))

    return judge


def _hear_from_the_command(farm: Farm, code: str, severity: str, refused: set[str], a_row: bool) -> None:
    """`check` tells the same, most serious first; for a row of the list a plan is refused too, with nothing written."""
    plan = write_plan(farm.data, farm.folder)
    before = standing(farm.folder)
    exit_code, out, _ = ask("check", plan, "--json")
    told = json.loads(out)["problems"]
    assert (code, severity) in {(p["code"], p["severity"]) for p in told}
    assert all(p["where"] and p["what"] and p["why"] and p["cure"] for p in told)
    weights = [["refuse", "warn", "fix"].index(p["severity"]) for p in told]
    assert weights == sorted(weights)
    assert exit_code == (2 if refused else 0)
    if refused and a_row:
        exit_code, _, err = ask("plan", plan, "--out", farm.folder / "out")
        assert exit_code == 2
        assert refused <= set(re.findall(r"[a-z]+\.[a-z_0-9]+", err))
    assert standing(farm.folder) == before
