"""Ground a landowner keeps free is cut out of the zones, whatever its shape, and what is left is still zones."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from odc.geo.geobox import GeoBox
from shapely.geometry import Polygon, box

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.stack import new_stack, put
from stovergeo.zones import assign_methods, make_zones, zone_options

WEST, SOUTH = 440_000.0, 4_650_000.0
OPTIONS = zone_options(load_handbook())


def at(*bounds: float) -> Polygon:
    """A box in meters from the farm's corner."""
    return shapely.affinity.translate(box(*bounds), WEST, SOUTH)


TWO_FIELDS = (at(0, 0, 400, 300), at(420, 0, 700, 300))


def drawn(refused, outlines=TWO_FIELDS, spare: float = 3.0) -> gpd.GeoDataFrame:
    """Zones of fields that can spare the same everywhere; no zone narrower than 18 m or smaller than 1 ha."""
    columns = {"field_id": [f"F{i + 1}" for i in range(len(outlines))], "name": "home", "area_ha": 1.0}
    fields = gpd.GeoDataFrame(columns, geometry=list(outlines), crs=32615)
    stack = new_stack(GeoBox.from_bbox((WEST - 50, SOUTH - 50, WEST + 750, SOUTH + 350), "EPSG:32615", resolution=5))
    number = np.full(stack["x"].size * stack["y"].size, np.nan).reshape(stack["y"].size, -1)
    x, y = np.meshgrid(stack["x"].values, stack["y"].values)
    for row, outline in enumerate(outlines):
        number[shapely.contains_xy(outline, x, y)] = row
    inside = np.where(np.isfinite(number), 1.0, np.nan)
    stack = put(stack, field_number=number, stover_mg_ha=9 * inside, retention_mg_ha=(9 - spare) * inside)
    stack = put(stack, removable_mg_ha=spare * inside)
    how = {"working_width_m": 9.0, "min_zone_ha": 1.0, "options": OPTIONS}
    return make_zones(stack, fields, refused=refused, **how)


def gathered(zones: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """The zones as worked where every one may give all it can spare."""
    offers = {
        "method": "rake_bale",
        "title": "rake and bale",
        "removal_mg_ha": 3.0,
        "limit_mg_ha": 3.0,
        "allowed": True,
    }
    return assign_methods(zones, pd.DataFrame({"zone_id": zones["zone_id"], **offers, "message": "Takes it all."}))


def test_nothing_refused_changes_nothing():
    before = drawn(None)
    assert not before["kept_free"].any()
    pd.testing.assert_frame_equal(pd.DataFrame(drawn(at(800, 0, 900, 300))), pd.DataFrame(before))
    pd.testing.assert_frame_equal(pd.DataFrame(drawn(at(-50, 0, 0, 300))), pd.DataFrame(before))  # along the line


def test_a_shape_inside_a_field_is_one_zone_of_its_own_and_gives_nothing():
    refused = at(100, 100, 200, 200)
    zones = gathered(drawn(refused))
    kept = zones[zones["kept_free"]]
    assert kept[["field_id", "method", "removal_mg", "removable_mg_ha", "binding_rule"]].to_numpy().tolist() == [
        ["F1", "leave", 0.0, 0.0, "landowner"]
    ]
    assert kept.geometry.iloc[0].equals(refused)
    assert kept["area_ha"].iloc[0] == pytest.approx(1.0, rel=0.002)  # the projection's scale
    assert [m.key for m in kept["reason"].iloc[0]] == ["ground.kept_free"]
    rest = zones[~zones["kept_free"]]
    assert rest.intersection(refused).area.sum() == 0
    assert rest["removal_mg"].sum() == pytest.approx(3.0 * (12 + 8.4 - 1), rel=0.002)


@pytest.mark.parametrize(
    ("refused", "of_the_first"),
    [
        (at(0, 0, 400, 300), 12.0),
        (at(-90, -90, 900, 900), 12.0),
        (at(3, 2, 396, 297), 12.0),  # drawn by hand, a few meters off the line
        (at(0, 0, 400, 280), 12.0),  # 0.8 ha are left, less than the smallest zone
        (at(0, 0, 400, 260), 10.4),
        (at(12, 0, 400, 100), 4.0),  # a strip of 12 m stays at the side, joined to wide ground: it is worked with it
    ],
)
def test_a_field_refused_by_hand_is_refused_whole(refused, of_the_first):
    zones = gathered(drawn(refused))
    first = zones[zones["field_id"] == "F1"]
    kept = first[first["kept_free"]]
    assert len(kept) == 1
    assert kept.area.sum() / 1e4 == pytest.approx(of_the_first, abs=0.13)
    assert first[~first["kept_free"]].empty == (of_the_first == 12.0)
    assert first["area_ha"].sum() == pytest.approx(12, rel=0.002)


def test_a_strip_that_is_cut_off_and_too_narrow_is_kept_free_and_other_parts_stay():
    zones = drawn(at(0, 10, 400, 40))
    first = zones[zones["field_id"] == "F1"]
    assert first[first["kept_free"]].area.sum() == pytest.approx(400 * 40)
    assert first[~first["kept_free"]].area.sum() == pytest.approx(400 * 260)


def test_a_narrow_field_is_still_worked_where_it_is_not_refused():
    zones = drawn(at(0, 0, 400, 300), outlines=(at(0, 0, 800, 16),))
    assert zones["kept_free"].tolist() == [False, True]
    assert zones.area.round().tolist() == [400 * 16, 400 * 16]


def test_less_than_a_cell_is_cut_out_and_makes_no_zone():
    refused = at(-20, 0, 0.05, 300)
    zones = drawn(refused)
    assert not zones["kept_free"].any()
    assert zones.intersection(refused).area.sum() == 0


corner = st.tuples(st.floats(-60, 760), st.floats(-60, 360))


@settings(max_examples=40, deadline=None)
@given(shapes=st.lists(st.lists(corner, min_size=3, max_size=6), min_size=1, max_size=4))
def test_any_shape_is_free_of_gathered_zones_and_zones_and_kept_ground_tile_the_fields(shapes):
    hulls = [Polygon(c).convex_hull for c in shapes]
    refused = shapely.affinity.translate(shapely.union_all([h for h in hulls if h.geom_type == "Polygon"]), WEST, SOUTH)
    if refused.is_empty:
        return
    zones = gathered(drawn(refused))
    worked = zones[zones["removal_mg"] > 0]
    assert zones.geometry.is_valid.all()
    assert worked.intersection(refused).area.sum() < 1e-3
    assert zones.area.sum() == pytest.approx(680 * 300, abs=25 * 2)  # less than a cell of each field may be no zone
    assert shapely.union_all(list(zones.geometry)).area == pytest.approx(zones.area.sum(), abs=1e-3)
    assert not zones.loc[zones["kept_free"], "removal_mg"].any()
