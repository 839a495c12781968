"""The field stack: true areas, known names, units that agree."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from hypothesis import given
from hypothesis import strategies as st
from odc.geo.geobox import GeoBox
from pyproj import Geod, Transformer

from stovergeo.core.errors import ContractError
from stovergeo.core.stack import grid_of, need, new_stack, put, summary, total


def grid(crs: str = "EPSG:32615", west: float = 436_000, south: float = 4_652_000, cell: float = 5) -> GeoBox:
    return GeoBox.from_bbox((west, south, west + 300, south + 200), crs=crs, resolution=cell)


@given(st.sampled_from([("EPSG:32615", 300_000.0), ("EPSG:32615", 700_000.0), ("EPSG:5070", 200_000.0)]))
def test_cell_area_is_geodesic(place: tuple[str, float]) -> None:
    """Against pyproj's geodesic polygon area (Karney 2013, J. Geodesy 87:43-55)."""
    crs, west = place
    box = grid(crs, west, 2_100_000 if crs == "EPSG:5070" else 4_652_000)
    to_lonlat = Transformer.from_crs(crs, 4326, always_xy=True)
    left, bottom, right, top = box.boundingbox
    edge = np.linspace(0, 1, 50)
    x = np.concatenate(
        [left + (right - left) * edge, np.full(50, right), right - (right - left) * edge, np.full(50, left)]
    )
    y = np.concatenate(
        [np.full(50, bottom), bottom + (top - bottom) * edge, np.full(50, top), top - (top - bottom) * edge]
    )
    true_ha = abs(Geod(ellps="GRS80").polygon_area_perimeter(*to_lonlat.transform(x, y))[0]) / 1e4
    assert float(new_stack(box)["cell_area_ha"].sum(dtype=float)) == pytest.approx(true_ha, rel=2e-6)


def test_a_total_uses_true_area_and_leaves_unknown_cells_out() -> None:
    stack = new_stack(grid())
    mass = np.full((40, 60), 4.0)
    mass[0] = np.nan
    stack = put(stack, stover_mg_ha=mass)
    expected = 4 * float(stack["cell_area_ha"][1:].sum(dtype=float))
    assert total(stack, "stover_mg_ha") == pytest.approx(expected, rel=1e-6)


def test_the_grid_comes_back_from_the_stack() -> None:
    stack = new_stack(grid())
    assert grid_of(stack) == grid()
    assert stack["cell_area_ha"].dtype == np.float32
    assert stack.y[0] > stack.y[-1]


def test_unknown_names_and_wrong_shapes_are_refused() -> None:
    stack = new_stack(grid())
    with pytest.raises(ContractError, match="slope_percent"):
        put(stack, slope_percent=np.zeros((40, 60)))
    with pytest.raises(ContractError, match=r"\(3, 3\)"):
        put(stack, slope_pct=np.zeros((3, 3)))


def test_an_error_names_what_a_step_lacks_and_which_unit_it_wants() -> None:
    stack = put(new_stack(grid()), slope_pct=np.ones((40, 60)))
    need(stack, ["slope_pct"], "a rule")
    with pytest.raises(ContractError, match="a rule reads 'ponding_m'"):
        need(stack, ["ponding_m"], "a rule")
    stack["slope_pct"].attrs["units"] = "degree"
    with pytest.raises(ContractError, match="in %, but it is in degree"):
        need(stack, ["slope_pct"], "a rule")


def test_summary_gives_unit_and_range() -> None:
    stack = put(new_stack(grid()), slope_pct=np.linspace(0, 9, 2400).reshape(40, 60))
    assert summary(stack)["slope_pct"] == ("%", 0.0, 9.0)


def test_a_plug_in_may_bring_its_own_keep_and_score() -> None:
    stack = put(new_stack(grid()), retention_quail_mg_ha=np.ones((40, 60)), score_view=np.ones((40, 60)))
    assert stack["retention_quail_mg_ha"].attrs == {
        "units": "Mg/ha",
        "long_name": "dry stover asked for by the rule quail",
    }


def test_what_says_another_unit_is_not_put_in() -> None:
    slope = new_stack(grid())["cell_area_ha"].assign_attrs(units="degree")
    with pytest.raises(ContractError, match=r"slope_pct stands in the stack in %, .* says degree; convert"):
        put(new_stack(grid()), slope_pct=slope)
    put(new_stack(grid()), slope_pct=slope.assign_attrs(units="%"))


def metric() -> GeoBox:
    return GeoBox.from_bbox((440_000, 4_650_000, 440_300, 4_650_200), crs="EPSG:32615", resolution=10)


@pytest.mark.parametrize(
    ("crs", "box", "cell"),
    [
        ("EPSG:4326", (-93.0, 42.0, -92.99, 42.01), 0.0001),  # degrees
        ("EPSG:2264", (1_500_000, 500_000, 1_501_000, 501_000), 30),  # US survey feet
        ("EPSG:3417", (5_000_000, 3_000_000, 5_001_000, 3_001_000), 30),
    ],
)
def test_a_grid_that_is_not_in_meters_is_refused_with_the_cure(crs: str, box: tuple, cell: float) -> None:
    with pytest.raises(ContractError, match="UTM"):
        new_stack(GeoBox.from_bbox(box, crs=crs, resolution=cell))


def test_a_grid_turned_or_upside_down_is_refused() -> None:
    for transform in (Affine(10, 0, 440_000, 0, 10, 4_650_000), Affine(10, 2, 440_000, 2, -10, 4_650_000)):
        with pytest.raises(ContractError, match="north-up"):
            new_stack(GeoBox((20, 30), transform, "EPSG:32615"))


def test_an_array_from_other_ground_or_another_system_is_not_put_in() -> None:
    stack = new_stack(metric())
    sound = stack["cell_area_ha"].copy(data=np.full((20, 30), 9.0)).drop_attrs()
    assert float(put(stack, grain_mg_ha=sound)["grain_mg_ha"].mean()) == 9.0
    with pytest.raises(ContractError, match="EPSG:32616"):
        put(stack, grain_mg_ha=sound.rio.write_crs("EPSG:32616"))
    with pytest.raises(ContractError, match="off the stack's grid"):
        put(stack, grain_mg_ha=sound.assign_coords(x=sound.x + 2000))
    with pytest.raises(ContractError, match="off the stack's grid"):
        put(stack, grain_mg_ha=sound.isel(y=slice(None, None, -1)))


def test_a_total_over_degrees_is_refused_not_near_zero() -> None:
    degrees = put(new_stack(metric()), grain_mg_ha=np.full((20, 30), 10.0)).rio.write_crs("EPSG:4326")
    with pytest.raises(ContractError, match="degree"):
        total(degrees, "grain_mg_ha")
    with pytest.raises(ContractError, match="does not hold"):
        total(new_stack(metric()), "grain_mg_ha")
