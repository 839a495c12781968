"""Names of yards mean one place, also in the plan after an answer."""

from __future__ import annotations

import geopandas as gpd
import shapely

from stovergeo.siting.sheet import yard_names

A, B, C = (shapely.box(200 * k, 0, 200 * k + 80, 80) for k in range(3))


def _before(**places) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"yard_id": list(places)}, geometry=list(places.values()), crs=32615)


def test_first_plan_counts_from_the_best_yard() -> None:
    assert yard_names([A, B, C], None) == ["Y1", "Y2", "Y3"]
    assert yard_names([], None) == []


def test_a_place_keeps_its_name_and_a_new_one_gets_a_new_name() -> None:
    before = _before(Y1=A, Y2=B)
    assert yard_names([C, B], before) == ["Y3", "Y2"]
    assert yard_names([A, B, C], before) == ["Y1", "Y2", "Y3"]
    assert yard_names([], before) == []


def test_most_of_the_ground_decides() -> None:
    before = _before(Y1=A, Y12=B)
    nearly, hardly = shapely.affinity.translate(A, 30), shapely.affinity.translate(B, 50)
    assert yard_names([hardly, nearly], before) == ["Y13", "Y1"]


def test_ground_of_two_yards_in_one_bears_one_name() -> None:
    both = shapely.box(0, 0, 280, 80)
    assert yard_names([both, C], _before(Y1=A, Y2=B)) == ["Y1", "Y3"]
