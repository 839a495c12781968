"""The least farm: two fields of one soil, of which nothing but the boundary is measured."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
from as_user import write_plan
from shapely.geometry import box

from stovergeo.core.errors import Report
from stovergeo.result import SeasonResult
from stovergeo.workflow import run_season

#: two fields in the UTM zones of central Illinois, the Vojvodina and the Argentine Pampas: CRS, west, south
PLACES = {"Illinois": ("EPSG:32616", 390_000, 4_450_000), "Vojvodina": ("EPSG:32634", 410_000, 5_020_000),
          "Pampas": ("EPSG:32720", 400_000, 6_240_000)}  # fmt: skip
SOIL = {"drainage_class": "well drained", "clay_pct": 24, "erodibility": "0.32 US", "tolerance": "5 ton/ac/yr"}


def boundary(folder: Path, place: str = "Illinois") -> None:
    crs, west, south = PLACES[place]
    shapes = [box(west, south, west + 400, south + 500), box(west + 450, south, west + 800, south + 400)]
    fields = gpd.GeoDataFrame({"name": ["Home", "River"]}, geometry=shapes, crs=crs)
    fields.to_crs(4326).to_file(folder / "fields.geojson")


def least(**sections: object) -> dict:
    """A plan with nothing in it but a boundary, one soil, and what is given."""
    plan = {
        "farm": {"name": "Least", "season": 2026, "cell": "10 m"},
        "layers": {"fields": {"path": "fields.geojson", "name_column": "name"}},
        "soil": SOIL,
        # ground rich in carbon, whose need is known: else nothing leaves without manure
        "soil_test": {"carbon": "200 t/ha"},
        "handbook": {"retention.carbon.factor": 1.08},
        "odds": {"samples": 60},
    }
    for name, section in sections.items():
        plan[name] = {**plan.get(name, {}), **section}
    return plan


def planned(folder: Path, plan: dict) -> tuple[SeasonResult, Report]:
    report = Report()
    return run_season(write_plan(plan, folder), report), report
