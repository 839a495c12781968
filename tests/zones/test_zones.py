"""Zones tile their field, keep their least size and width, and never take more than their cells spare."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
import xarray as xr
from hypothesis import given, settings
from hypothesis import strategies as st
from long_run import examples
from odc.geo.geobox import GeoBox
from pyproj import Geod
from scipy import ndimage
from shapely.geometry import Polygon, box

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.printing import render
from stovergeo.core.schemas import check_table
from stovergeo.core.stack import grid_of, new_stack, put, total
from stovergeo.zones import assign_methods, cautious_limit, make_zones, zone_numbers, zone_options

CRS = "EPSG:26915"
WEST, NORTH = 450_000.0, 4_650_000.0
WIDTH, MIN_HA = 9.144, 2.0
OPTIONS = zone_options(load_handbook())
CASES = [(seed, waterway) for seed in (1, 3, 4, 7, 11) for waterway in (0, 2, 8)]


def smooth_noise(shape: tuple[int, int], seed: int, sigma: float) -> np.ndarray:
    noise = ndimage.gaussian_filter(np.random.default_rng(seed).normal(size=shape), sigma, mode="reflect")
    return (noise - noise.mean()) / noise.std()


def fields_table(*outlines: Polygon) -> gpd.GeoDataFrame:
    table = gpd.GeoDataFrame(
        {"field_id": [f"F{i + 1}" for i in range(len(outlines))], "name": "a field", "area_ha": 0.0},
        geometry=list(outlines),
        crs=CRS,
    )
    return table.assign(area_ha=[true_area_ha(g) for g in outlines])


def made_ground(
    seed: int = 1,
    *,
    cell_m: float = 5.0,
    shape: tuple[int, int] = (130, 170),
    waterway_cells: int = 0,
    outlines: tuple[Polygon, ...] | None = None,
    scale: float = 1.0,
):
    """A rolling farm: two slanting fields on one grid, stover, keep and what may leave."""
    size = cell_m * scale
    grid = GeoBox.from_bbox((WEST, NORTH - shape[0] * size, WEST + shape[1] * size, NORTH), CRS, resolution=size)
    height, width = shape[0] * size, shape[1] * size

    def at(points):
        return Polygon([(WEST + x * width, NORTH - y * height) for x, y in points])

    if outlines is None:
        outlines = (
            at([(0.03, 0.05), (0.55, 0.02), (0.52, 0.93), (0.06, 0.97)]),
            at([(0.58, 0.04), (0.97, 0.08), (0.9, 0.6), (0.75, 0.95), (0.56, 0.9)]),
        )
    fields = fields_table(*outlines)
    stover = 9 + 1.2 * smooth_noise(shape, seed, 12)
    keep = np.clip(6.2 + 1.8 * smooth_noise(shape, seed + 100, 9), 0.5, None)
    if waterway_cells:
        middle = shape[1] // 4
        keep[:, middle : middle + waterway_cells] = 40.0
    stack = new_stack(grid)
    number = zone_numbers(fields, grid).values
    inside = np.isfinite(number)
    stover, keep = np.where(inside, stover, np.nan), np.where(inside, keep, np.nan)
    return (
        put(
            stack,
            field_number=number,
            stover_mg_ha=stover,
            retention_mg_ha=np.clip(keep, 0, None),
            removable_mg_ha=np.clip(stover - keep, 0, None),
        ),
        fields,
    )


def true_area_ha(outline: Polygon) -> float:
    """Geodesic area, as the reader of fields gives it."""
    lonlat = gpd.GeoSeries([outline], crs=CRS).to_crs(4326).iloc[0]
    return abs(Geod(ellps="WGS84").geometry_area_perimeter(lonlat)[0]) / 1e4


def whole_box(width_m: float, height_m: float) -> Polygon:
    return box(WEST, NORTH - height_m, WEST + width_m, NORTH)


def zones_of(seed: int = 1, waterway: int = 0, **kw):
    stack, fields = made_ground(seed, waterway_cells=waterway, **kw)
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=MIN_HA, options=OPTIONS)
    return stack, fields, zones


@pytest.fixture(scope="module", params=CASES, ids=lambda c: f"seed{c[0]}-waterway{c[1]}")
def drawn(request):
    return zones_of(*request.param)


def test_zones_follow_their_schema_and_are_named_after_their_field(drawn):
    _, fields, zones = drawn
    check_table(zones, "zones", "the test")
    assert zones["zone_id"].is_unique
    assert [z.split("-")[0] for z in zones["zone_id"]] == list(zones["field_id"])
    assert list(zones["field_id"].unique()) == list(fields["field_id"])


def test_zones_tile_each_field(drawn):
    _, fields, zones = drawn
    for field in fields.itertuples():
        own = zones[zones["field_id"] == field.field_id]
        assert own["area_ha"].sum() == pytest.approx(field.area_ha, rel=1e-3)
        union = shapely.union_all(own.geometry.values)
        assert shapely.symmetric_difference(union, field.geometry).area < 1e-6 * field.geometry.area
        # no two overlap
        assert shapely.area(own.geometry.values).sum() == pytest.approx(union.area, rel=1e-9)


def test_the_outer_edge_is_the_field_boundary_not_a_stair(drawn):
    _, fields, zones = drawn
    outer = shapely.union_all(zones.geometry.values).boundary
    assert outer.hausdorff_distance(shapely.union_all(fields.geometry.values).boundary) < 0.01


def test_no_zone_is_smaller_or_narrower_than_allowed(drawn):
    _, _, zones = drawn
    assert (zones["area_ha"] >= MIN_HA).all()
    for zone in zones.geometry:
        widest = max(shapely.get_parts(zone), key=lambda p: p.area)
        assert 2 * shapely.maximum_inscribed_circle(widest).length >= 2 * WIDTH


def test_necks_are_rare(drawn):
    """Nearly all ground of a zone lies where a disc two working widths across fits."""
    _, _, zones = drawn
    reach = WIDTH * 0.95
    wide = sum(zone.buffer(-reach).buffer(reach * 1.01).intersection(zone).area for zone in zones.geometry)
    assert wide >= 0.95 * zones.area.sum()


def test_a_zone_never_takes_more_than_its_cells_spare_together(drawn):
    stack, _, zones = drawn
    numbers = zone_numbers(zones, grid_of(stack)).values
    for i, zone in enumerate(zones.itertuples()):
        spare = total(stack, "removable_mg_ha", numbers == i)
        cells_ha = total(stack.assign(one=stack["cell_area_ha"] * 0 + 1), "one", numbers == i)
        assert zone.removable_mg_ha * cells_ha <= spare * (1 + 1e-6) + 1e-9


def test_no_more_than_the_stated_share_of_a_zone_is_asked_for_too_much(drawn):
    stack, _, zones = drawn
    numbers = zone_numbers(zones, grid_of(stack)).values
    spare, area = stack["removable_mg_ha"].values, stack["cell_area_ha"].values
    for i, zone in enumerate(zones.itertuples()):
        own = numbers == i
        short = own & (spare < zone.removable_mg_ha - 1e-5)
        assert area[short].sum() <= OPTIONS.over_fraction * area[own].sum() * (1 + 1e-6)


def test_a_waterway_two_widths_wide_stays_whole():
    stack, _, zones = zones_of(3, waterway=8)  # 40 m
    numbers = zone_numbers(zones, grid_of(stack)).values
    waterway = (stack["retention_mg_ha"].values > 20) & np.isfinite(numbers)
    inside = numbers[waterway].astype(int)
    assert (zones["removable_mg_ha"].to_numpy()[inside] == 0).mean() > 0.95


def test_a_narrow_waterway_lowers_the_ground_it_runs_through():
    _, _, dry = zones_of(4, waterway=0)
    _, _, wet = zones_of(4, waterway=2)  # 10 m, narrower than two widths

    def gives(zones: gpd.GeoDataFrame) -> float:
        return float((zones["removable_mg_ha"] * zones["area_ha"])[zones["field_id"] == "F1"].sum())

    assert 0 < gives(wet) < gives(dry)


def test_gathered_water_is_left_even_where_stover_could_be_spared():
    stack, fields = made_ground(1)
    flow = np.zeros(stack["retention_mg_ha"].shape, np.float32)
    flow[:, 20:40] = 1
    stack["concentrated_flow"] = (("y", "x"), flow)
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=MIN_HA, options=OPTIONS)
    numbers = zone_numbers(zones, grid_of(stack)).values
    inside = numbers[:, 22:38][np.isfinite(numbers[:, 22:38])].astype(int)
    assert (zones["removable_mg_ha"].to_numpy()[inside] == 0).mean() > 0.95


@settings(max_examples=examples(10))
@given(scale=st.sampled_from([0.5, 2.0, 4.0]), seed=st.integers(0, 50))
def test_ground_k_times_as_long_gives_k_squared_times_as_much(scale, seed):
    # the grid, the machines and the least zone grow with the ground; on the plane and with edges
    # between cell middles, as one cell more or the projection's own scale could tip a piece over the least size
    gives = []
    for k in (1.0, scale):
        quarter = 1.25 * k
        outline = box(WEST + 9 * quarter, NORTH - 230 * quarter, WEST + 309 * quarter, NORTH - 9 * quarter)
        stack, fields = made_ground(seed, scale=k, shape=(60, 80), outlines=(outline,))
        stack["cell_area_ha"][:] = (5.0 * k) ** 2 / 1e4
        zones = make_zones(stack, fields, working_width_m=WIDTH * k, min_zone_ha=0.5 * k**2, options=OPTIONS)
        gives.append((zones["removable_mg_ha"] * zones["area_ha"]).sum())
    assert gives[1] == pytest.approx(scale**2 * gives[0], rel=1e-3)  # a cell middle may lie on a line


@settings(max_examples=examples(10))
@given(seed=st.integers(0, 1000), more=st.floats(0.1, 3))
def test_on_the_same_zones_more_keep_never_gives_more(seed, more):
    stack, fields = made_ground(seed, shape=(60, 80))
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=0.5, options=OPTIONS)
    numbers = zone_numbers(zones, grid_of(stack)).values
    spare, area = stack["removable_mg_ha"].values, stack["cell_area_ha"].values
    for i in range(len(zones)):
        own = numbers == i
        kept = np.clip(spare[own] - more, 0, None)
        assert cautious_limit(kept, area[own], 0.1) <= cautious_limit(spare[own], area[own], 0.1)


@settings(max_examples=examples(60))
@given(
    cells=st.lists(st.tuples(st.floats(0, 12), st.floats(0.01, 3)), min_size=2, max_size=30),
    cut=st.integers(1, 29),
    share=st.floats(0, 0.5),
)
def test_merging_two_pieces_never_raises_what_they_give(cells, cut, share):
    """The sum over the parts' cells bounds the merged take; a part's own limit may lie on either side of it."""
    spare, area = np.array(cells).T
    merged = cautious_limit(spare, area, share)
    assert merged * area.sum() <= (spare * area).sum() * (1 + 1e-9) + 1e-12
    assert area[spare < merged - 1e-9].sum() <= share * area.sum() * (1 + 1e-9)
    if share == 0:  # with no share asked too much, merging two pieces takes the lower of their limits
        cut = min(cut, len(spare) - 1)
        parts = [cautious_limit(spare[:cut], area[:cut], 0), cautious_limit(spare[cut:], area[cut:], 0)]
        assert merged == pytest.approx(min(parts))


@pytest.mark.parametrize(
    ("spare", "area", "share", "expected"),
    [
        ([4, 4, 4, 4], [1, 1, 1, 1], 0.1, 4),
        ([0, 4, 4, 4], [1, 1, 1, 1], 0.1, 0),  # a quarter has none to spare, more than the share
        ([0, 4, 4, 4], [1, 1, 1, 1], 0.25, 3),  # within the share, but the mean holds
        ([np.nan, 4, 4, 4], [1, 1, 1, 1], 0.0, 3),  # unknown ground spares nothing and has no vote
        ([np.nan, np.nan], [1, 1], 0.1, 0),
        ([1, 2, 3, 4], [1, 1, 1, 1], 0.0, 1),
    ],
)
def test_cautious_limit_by_hand(spare, area, share, expected):
    assert cautious_limit(np.array(spare, float), np.array(area, float), share) == pytest.approx(expected)


def test_a_field_smaller_than_the_least_zone_is_one_zone():
    outline = whole_box(90, 120)
    stack, fields = made_ground(2, shape=(40, 40), outlines=(outline,))
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=MIN_HA, options=OPTIONS)
    assert len(zones) == 1
    assert zones.geometry.iloc[0].equals(outline)


def test_a_field_smaller_than_a_cell_still_has_its_zone():
    outline = shapely.affinity.translate(whole_box(1, 1), 60.2, -60.2)
    stack, fields = made_ground(2, shape=(40, 40), outlines=(whole_box(50, 50), outline))
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=MIN_HA, options=OPTIONS)
    assert list(zones["zone_id"]) == ["F1-a", "F2-a"]
    assert zones["removable_mg_ha"].iloc[1] == 0


def test_a_field_in_two_parts_tiles_too():
    parts = shapely.union_all([whole_box(150, 300), shapely.affinity.translate(whole_box(60, 60), 300, -100)])
    stack, fields = made_ground(5, shape=(80, 90), outlines=(parts,))
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=1.0, options=OPTIONS)
    union = shapely.union_all(zones.geometry.values)
    assert shapely.symmetric_difference(union, parts).area < 1e-6 * parts.area
    assert (zones["area_ha"] >= 1.0).all()


def test_where_no_yield_is_known_nothing_is_taken_and_it_is_reported():
    stack, fields = made_ground(1)
    for name in ("stover_mg_ha", "retention_mg_ha", "removable_mg_ha"):
        stack[name][:, :60] = np.nan
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=MIN_HA, options=OPTIONS)
    blank = zones[zones["unknown_fraction"] > 0.9]
    assert len(blank)
    assert (blank["removable_mg_ha"] == 0).all()
    assert {m.key for reason in blank["reason"] for m in reason} == {"ground.unknown"}


def test_zone_numbers_are_rows_of_the_table(drawn):
    stack, fields, zones = drawn
    numbers = zone_numbers(zones, grid_of(stack))
    known = np.unique(numbers.values[np.isfinite(numbers.values)])
    assert list(known) == list(range(len(zones)))
    assert np.array_equal(np.isfinite(numbers.values), np.isfinite(stack["field_number"].values))
    fields_of = zones["field_id"].map({f: i for i, f in enumerate(fields["field_id"])}).to_numpy()
    inside = np.isfinite(numbers.values)
    assert np.array_equal(fields_of[numbers.values[inside].astype(int)], stack["field_number"].values[inside])


def offers(zones: gpd.GeoDataFrame) -> pd.DataFrame:
    rows = []
    for zone in zones.itertuples():
        for method, fraction in (("second_pass", 0.3), ("chop_and_rake", 0.5)):
            take = fraction * zone.stover_mg_ha
            limit = zone.removable_mg_ha
            rows.append((zone.zone_id, method, method.replace("_", " "), take, limit, take <= limit, ("Its bar.",)))
    columns = ["zone_id", "method", "title", "removal_mg_ha", "limit_mg_ha", "allowed", "message"]
    return pd.DataFrame(rows, columns=columns)


def test_methods_are_the_greatest_allowed_take(drawn):
    _, _, zones = drawn
    table = offers(zones)
    filled = assign_methods(zones, table)
    best = table[table["allowed"]].groupby("zone_id")["removal_mg_ha"].max()
    expected = zones["zone_id"].map(best).fillna(0)
    assert np.allclose(filled["removal_mg_ha"], expected)
    assert (filled["removal_mg_ha"] <= filled["removable_mg_ha"] + 1e-9).all()
    assert np.allclose(filled["removal_mg"], filled["removal_mg_ha"] * filled["area_ha"])
    assert ((filled["method"] == "leave") == (filled["removal_mg_ha"] == 0)).all()
    used = filled[filled["removal_mg_ha"] > 0]
    assert [reason[-1].values["title"] for reason in used["reason"]] == list(used["method"].str.replace("_", " "))


def test_the_reason_s_figures_are_the_zone_s(drawn):
    _, _, zones = drawn
    able = zones[(zones["removable_mg_ha"] > 0) & (zones["unknown_fraction"] <= 0.5)]
    assert len(able)
    for zone in able.itertuples():
        said = {name: value for message in zone.reason for name, value in message.values.items()}
        figures = {"stover": zone.stover_mg_ha, "keep": zone.retention_mg_ha, "spare": zone.removable_mg_ha}
        assert said == figures | ({"share": zone.left_fraction} if zone.left_fraction > 0.02 else {})


def test_where_no_method_fits_the_first_that_takes_too_much_says_why():
    _, _, zones = zones_of(1)
    zone = zones[zones["removable_mg_ha"] > 0].iloc[:1]
    can = zone["removable_mg_ha"].iloc[0]
    rows = [
        ("rake_bale", "rake and bale", 0.9 * can, 0.8 * can, False, ("Too much.",)),
        ("second_pass", "second pass", 0.7 * can, 0.6 * can, False, ("Not sure to be spare.",)),
        ("single_pass", "single pass", 0.2 * can, 0.9 * can, False, ("Its bales do not keep.",)),
        ("none", "none", np.nan, np.nan, False, ("Not known.",)),
    ]
    table = pd.DataFrame(rows, columns=["method", "title", "removal_mg_ha", "limit_mg_ha", "allowed", "message"])
    filled = assign_methods(zone, table.assign(zone_id=zone["zone_id"].iloc[0]))
    assert render(filled["reason"].iloc[0][-3:], "us") == (
        "Nothing is gathered: no method fits this ground. Single pass: its bales do not keep. "
        "Second pass: not sure to be spare."
    )
    idle = assign_methods(zone, table.assign(zone_id=zone["zone_id"].iloc[0], allowed=True), {})
    assert idle["reason"].iloc[0][-1].key == "left.not_needed"


def test_a_choice_overrides_and_a_forbidden_choice_is_refused():
    _, _, zones = zones_of(1)
    table = offers(zones)
    some = table[table["allowed"]].iloc[0]
    filled = assign_methods(zones, table, {some["zone_id"]: some["method"]}).set_index("zone_id")
    assert filled.loc[some["zone_id"], "method"] == some["method"]
    assert (filled.drop(index=some["zone_id"])["method"] == "leave").all()
    never = table[~table["allowed"]].iloc[0]
    with pytest.raises(ValueError, match="not an allowed method"):
        assign_methods(zones, table, {never["zone_id"]: never["method"]})


@pytest.mark.parametrize("titles", [None, ["Soil carbon", "Steep ground"]])
def test_ground_of_which_all_must_stay_names_the_strictest_rule(titles):
    stack, fields = made_ground(1)
    stack = stack.assign(removable_mg_ha=stack["removable_mg_ha"] * 0)
    steep = xr.ones_like(stack["stover_mg_ha"]).assign_attrs(rules=["soil_carbon", "steep_ground"])
    stack["binding_rule"] = steep if titles is None else steep.assign_attrs(titles=titles)
    zones = make_zones(stack, fields, working_width_m=WIDTH, min_zone_ha=MIN_HA, options=OPTIONS)
    named = "steep ground" if titles else "steep_ground"
    said = f"All that grows here must stay; the strictest rule is {named}."
    assert {render(reason, "us") for reason in zones["reason"]} == {said}
