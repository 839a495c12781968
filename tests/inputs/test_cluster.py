"""Fields in clusters: every field in one, touching boxes together, distant ones apart, whatever their order."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, box

from stovergeo.inputs.cluster import NEAR_M, SPARSE, cluster_fields, cluster_of_points

CRS = "EPSG:32615"
MARGIN = 80.0
places = st.lists(
    st.tuples(st.integers(0, 300), st.integers(0, 300), st.integers(2, 12), st.integers(2, 12)), min_size=1, max_size=25
)


def fields_at(where: list[tuple[int, int, int, int]]) -> gpd.GeoDataFrame:
    shapes = [box(100 * x, 100 * y, 100 * (x + w), 100 * (y + h)) for x, y, w, h in where]
    return gpd.GeoDataFrame(geometry=shapes, crs=CRS)


def boxes(fields: gpd.GeoDataFrame, clusters: list[np.ndarray]) -> list:
    return [box(*fields.iloc[rows].total_bounds).buffer(MARGIN, join_style="mitre") for rows in clusters]


@given(places)
def test_each_field_is_in_one_cluster_and_no_ground_is_worked_twice(where: list) -> None:
    fields = fields_at(where)
    clusters = cluster_fields(fields, MARGIN)
    assert sorted(np.concatenate(clusters)) == list(range(len(fields)))
    ground = boxes(fields, clusters)
    for i, one in enumerate(ground):
        for other in ground[i + 1 :]:
            assert one.intersection(other).area == 0


@given(places, st.randoms(use_true_random=False))
def test_the_order_of_the_fields_changes_nothing_where_no_two_pairs_are_alike(where: list, random) -> None:
    # the same rule must hold for any order: apart, or too sparse together
    fields = fields_at(where)
    order = list(range(len(where)))
    random.shuffle(order)
    ground = boxes(fields.iloc[order], cluster_fields(fields.iloc[order], MARGIN))
    for i, one in enumerate(ground):
        for other in ground[i + 1 :]:
            common = box(*one.union(other).bounds).area
            assert one.distance(other) > NEAR_M or common > SPARSE * (one.area + other.area)


def test_a_point_belongs_to_the_nearest_fields_cluster() -> None:
    fields = fields_at([(0, 0, 8, 8), (200, 0, 8, 8), (9, 0, 8, 8)])
    clusters = cluster_fields(fields, MARGIN)
    assert [c.tolist() for c in clusters] == [[0, 2], [1]]
    points = gpd.GeoDataFrame(
        geometry=[Point(100, 100), Point(20_100, 50), Point(1_000, 900), Point(15_000, 0)], crs=CRS
    )
    assert cluster_of_points(points, fields, clusters).tolist() == [0, 1, 0, 1]
