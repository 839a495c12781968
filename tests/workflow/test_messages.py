"""What a season says of itself: the figures of a sentence are the values of its tables, in the reader's units."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from affine import Affine
from made_up import made_result
from odc.geo.geobox import GeoBox
from shapely.geometry import box

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.printing import render
from stovergeo.core.stack import new_stack, put
from stovergeo.inputs.farm_layers import FarmSize
from stovergeo.workflow import story
from stovergeo.workflow.not_known import unknown_messages
from stovergeo.workflow.run_size import need_of

CRS = "EPSG:32615"


def ground(**variables: np.ndarray):
    """Ten by ten cells of 20 m, 4 ha, all of one field."""
    grid = GeoBox((10, 10), Affine(20, 0, 440_000, 0, -20, 4_650_200), CRS)
    return put(new_stack(grid), field_number=np.zeros((10, 10)), **variables)


def test_soil_is_said_by_its_share_of_the_fields() -> None:
    clay, drainage = np.full((10, 10), 20.0), np.full((10, 10), 3.0)
    clay[:3], drainage[:1], clay[9, :5] = 45.0, 7.0, np.nan
    coefficients = load_handbook()
    said = story.soil_messages(story.cells_of([ground(clay_pct=clay, drainage_class=drainage)]), coefficients)
    assert {m.key: round(m.values["share"], 2) for m in said if "share" in m.values} == {
        "soil.heavy": 0.3,
        "soil.wet": 0.1,
        "soil.unknown": 0.05,
    }
    means = [m.key for m in said if not m.values]
    assert means == ["soil.heavy_wet", "soil.heavy_soft", "soil.wet_below", "soil.unknown_assumed"]
    assert render(said[0], "us").startswith(
        f"Heavy clay: 30% of the fields has {coefficients.value('storage.heavy_clay_pct'):g}% clay or more"
    )
    dry = story.soil_messages(
        story.cells_of([ground(clay_pct=clay * 0 + 20, drainage_class=drainage * 0 + 3)]), coefficients
    )
    assert [m.key for m in dry] == ["soil.unknown", "soil.unknown_assumed"]  # cells without clay


def test_waterways_and_years_are_said_in_the_readers_units() -> None:
    flow = np.zeros((10, 10))
    flow[0] = 1
    waterways, stay = story.terrain_messages(story.cells_of([ground(concentrated_flow=flow)]))
    assert stay.key == "terrain.waterways_stay"
    assert waterways.values["area"] == pytest.approx(0.4, rel=1e-3)
    assert render(waterways, "us").startswith("Runoff gathers and flows on 1.0 ac.")
    assert render(waterways, "metric").startswith("Runoff gathers and flows on 0.4 ha.")
    most = np.full((10, 10), 8.0)
    years = ground(
        grain_mean_mg_ha=most, stover_typical_mg_ha=most, stover_mg_ha=most + 1, yield_stability=np.full((10, 10), 1.0)
    )
    above, surplus = story.year_messages(story.cells_of([years]))
    assert above.values == {"area": pytest.approx(4, rel=1e-3)}
    assert surplus.values == {"stover": pytest.approx(4, rel=1e-3)}
    assert "9.9 ac yielded more" in render(above, "us")
    assert "(4 tons)" in render(surplus, "us")
    assert story.year_messages(story.cells_of([ground()])) == story.terrain_messages(story.cells_of([ground()])) == []


def test_what_changed_is_said_from_both_totals(tmp_path: Path) -> None:
    before = made_result(tmp_path)
    totals = {"kept_free_ha": 0.0, "bales": 100.0, "removal_mg": 50.0, "cost": 4000.0, "short_bales": 0.0}
    before = dataclasses.replace(before, totals=before.totals | totals)
    after = dataclasses.replace(
        before, totals=before.totals | {"kept_free_ha": 2.0, "bales": 90.0, "short_bales": 10.0}
    )
    after.totals["cost"] = 4100.4
    assert [render(m, "us") for m in story.changed_messages(before, after)] == [
        "Ground kept free: 0.0 ac before, 4.9 ac now.",
        "Bales made: 100 before, 90 now.",
        "The need is now short by 10 bales.",
    ]
    assert [render(m, "us") for m in story.changed_cost_messages(before, after)] == [
        "Cost of the season: $4,000 before, $4,100 now."
    ]
    assert [m.key for m in story.changed_messages(before, before)] == ["changed.nothing"]
    assert story.changed_cost_messages(before, before) == []
    moved = before.with_tables(hauls=before.supply.hauls.iloc[:0])
    assert [m.key for m in story.changed_messages(before, moved)] == ["changed.gone"]


def test_unknown_ground_is_named_with_its_area() -> None:
    fields = gpd.GeoDataFrame(
        {"field_id": ["F1"], "name": ["12 ha piece {x:length}"]}, geometry=[box(0, 0, 1, 1)], crs=CRS
    )
    zones = pd.DataFrame({"field_id": ["F1", "F1"], "method": ["unknown", "leave"], "area_ha": [4.0468564224, 9.0]})
    (said,) = unknown_messages(zones, fields, {})
    assert render(said, "us").startswith("12 ha piece {x:length}: not known on 10.0 ac: no usable yield data there.")


@pytest.mark.parametrize(("cells", "time"), [(1000, "6 seconds"), (20_000_000, "8 minutes")])
def test_a_run_says_its_size(cells: int, time: str) -> None:
    said = render(need_of(FarmSize(cells, 0, 0), 5.0).as_message(), "metric")
    assert said.startswith(f"This run: {cells:,} cells of 5.0 m; about ")
    assert f"roughly {time}" in said
    assert " and 7 yield records;" in render(need_of(FarmSize(cells, 7, 0), 5.0).as_message(), "metric")
