"""Combines in clusters of fields far apart: compared on the soils that both cut, or named as never compared."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from as_user import write_plan
from least_farm import SOIL
from shapely.geometry import box

from stovergeo.core.errors import Report
from stovergeo.core.printing import render
from stovergeo.workflow import run_season

CRS = "EPSG:32615"
SIDE_M, SWATH_M, STEP_M = 160.0, 8.0, 4.0
#: west and south edge of three fields at home, and of three 30 km east of them
CORNERS = [(500_000 + 30_000 * (k // 3) + 260 * (k % 3), 4_650_000) for k in range(6)]
NAMES = ["Home 1", "Home 2", "Home 3", "Away 1", "Away 2", "Away 3"]
SURVEY = {"drainagecl": "Well drained", "hydgrp": "B", "claytotal_r": 24, "kwfact": 0.32, "tfact": 5, "wei": 48,
          "flodfreqcl": "None", "pondfreqcl": "None", "wtdepannmin": 200, "hydricrating": "No"}  # fmt: skip


def records(corner: tuple[float, float], level: float, seed: int) -> pd.DataFrame:
    """Return a field's records, up and down: yields about a level, t/ha dry."""
    rng = np.random.default_rng(seed)
    along = np.arange(STEP_M / 2, SIDE_M, STEP_M)
    passes = np.arange(SWATH_M / 2, SIDE_M, SWATH_M)
    x = np.repeat(passes, len(along))
    y = np.concatenate([along if k % 2 == 0 else along[::-1] for k in range(len(passes))])
    grain = level * (1 + 0.06 * np.sin(x / 30) * np.cos(y / 40)) * (1 + rng.normal(0, 0.03, len(x)))
    return pd.DataFrame({"x": corner[0] + x, "y": corner[1] + y, "grain": grain, "way": STEP_M, "s": 2.0})


def run(folder: Path, machines: list[str], gains: dict[str, float], soils: list[str] | None) -> tuple[list, list[str]]:
    """Plan a farm of six fields, each cut by a machine; return the warnings of machines and what was not compared."""
    shapes = [box(x, y, x + SIDE_M, y + SIDE_M) for x, y in CORNERS]
    gpd.GeoDataFrame({"name": NAMES}, geometry=shapes, crs=CRS).to_file(folder / "fields.gpkg")
    fields = []
    for k, (corner, machine) in enumerate(zip(CORNERS, machines, strict=True)):
        level = 9.0 * (1.04, 0.96, 1.0)[k % 3] * gains[machine]  # fields differ by some percent
        fields.append(records(corner, level, k).assign(machine=machine, t=10_000 * k + 2.0 * np.arange(800)))
    pd.concat(fields).to_csv(folder / "points.csv", index=False)
    columns = {
        "x": "x",
        "y": "y",
        "yield": "grain",
        "distance": "way",
        "seconds": "s",
        "machine": "machine",
        "time": "t",
    }
    plan = {
        "farm": {"name": "Far", "season": 2026, "cell": "10 m", "units": "metric"},
        "layers": {
            "fields": {"path": "fields.gpkg", "name_column": "name"},
            "yield_points": {
                "path": "points.csv",
                "crs": CRS,
                "columns": columns,
                "units": {"yield": "t/ha dry", "distance": "m", "seconds": "s", "time": "s"},
                "swath": f"{SWATH_M} m",
            },
        },
        "odds": {"samples": 20},
    }
    if soils is None:
        plan["soil"] = SOIL
    else:
        wide = [shape.buffer(40) for shape in shapes]
        table = {"musym": soils, "muname": [f"Soil {s}" for s in soils]} | SURVEY
        gpd.GeoDataFrame(table, geometry=wide, crs=CRS).to_file(folder / "soils.gpkg")
        plan["layers"]["soils"] = {"path": "soils.gpkg"}
    report = Report()
    result = run_season(write_plan(plan, folder), report)
    assert len(result.clusters) == 2
    told = [p for p in result.problems if p.code.startswith("yield.machines")]
    return told, [render(line, "us") for line in result.words["unknown"]]


SAME, OTHER = ["138B"] * 6, ["138B"] * 3 + ["507"] * 3
APART = "The combines A and B were never compared: they cut no ground beside each other. Give a weighed total of each."


def test_a_machine_that_reads_high_on_the_same_soils_is_told(tmp_path: Path) -> None:
    told, said = run(tmp_path, ["A"] * 3 + ["B"] * 3, {"A": 1.0, "B": 1.25}, SAME)
    assert [(p.code, p.where) for p in told] == [("yield.machines_unlike", "yield points, machines 'B' and 'A'")]
    assert "B recorded 1.25 times as much as A." in told[0].what_in("us")
    assert APART in said
    assert any("On the same soils, but in other fields, B recorded 1.25 times" in line for line in said)


@pytest.mark.parametrize(
    ("machines", "gains", "soils", "named"),
    [
        pytest.param("AAABBB", {"A": 1.0, "B": 1.06}, SAME, True, marks=pytest.mark.long),  # fields differ by as much
        ("AAABBB", {"A": 1.0, "B": 1.25}, OTHER, True),  # no soil that both cut
        pytest.param("AAABBB", {"A": 1.0, "B": 1.25}, None, True, marks=pytest.mark.long),  # whose soils nobody knows
        pytest.param("AAAAAA", {"A": 1.25}, SAME, False, marks=pytest.mark.long),  # one machine
    ],
)
def test_what_cannot_be_told_is_named_as_never_compared(
    tmp_path: Path, machines: str, gains: dict[str, float], soils: list[str] | None, named: bool
) -> None:
    told, said = run(tmp_path, list(machines), gains, soils)
    assert told == []
    assert (APART in said) == named
    assert any("On the same soils" in line for line in said) == (named and soils == SAME)


@pytest.mark.long
def test_a_third_machine_that_cut_in_both_places_is_compared_at_both(tmp_path: Path) -> None:
    """C cut a field in each place, and so nothing joins it with A and B but the soils: three pairs, each on its own."""
    told, said = run(tmp_path, list("AACBBC"), {"A": 1.0, "B": 1.5, "C": 1.0}, SAME)
    assert {p.where for p in told} >= {"yield points, machines 'B' and 'A'"}
    assert not any("'C' and 'A'" in p.where or "'A' and 'C'" in p.where for p in told)
    assert any(line.startswith("The combines A, C and B") for line in said)
