"""What a season says of erodible ground and of highly erodible land: a screen of its own, and who decides."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import pytest
from least_farm import boundary, least, planned

from stovergeo.core.printing import printed_in, render
from stovergeo.result import SeasonResult

SURVEY = {"tfact": [5, 5], "kwfact": [".32", ".32"], "drainagecl": "Well drained", "wei": [48, 48]}
CROP = {"rotation": "continuous corn", "tillage": ["planter_no_till"], "manure_c_mg_ha": 2.0, "wind_climate_pct": 20}


def season(folder: Path, soils: dict[str, Any] | None = None, place: str = "Illinois", **sections: Any) -> SeasonResult:
    boundary(folder, place)
    plan = least(yields={"everywhere": "200 bu/ac"}, crop=CROP, **sections)
    if soils is not None:  # one map unit a field, with room round it
        fields = gpd.read_file(folder / "fields.geojson").to_crs("EPSG:32616")
        units = {"musym": ["A", "B"], **SURVEY, **soils}
        gpd.GeoDataFrame(units, geometry=fields.buffer(20), crs=fields.crs).to_file(folder / "soils.gpkg")
        plan["layers"]["soils"] = {"path": "soils.gpkg"}
        del plan["soil"]
    return planned(folder, plan)[0]


def lines(result: SeasonResult) -> str:
    return " ".join(render(line, "us") for line in result.words["soil"])


WORDS = {"listed": "Highly erodible land", "may": "Potentially highly erodible land", "not": "Not highly erodible land"}


@pytest.mark.parametrize(
    ("listed", "said"),
    [
        (("listed", "not"), "On Home, soil that the survey lists as highly erodible covers a third"),
        (("not", "may"), "River may count as highly erodible land"),
        (("not", None), "Whether River may count as highly erodible land is not known here"),
    ],
)
def test_a_season_tells_each_field_by_its_map_units(tmp_path: Path, listed: tuple[str | None, ...], said: str) -> None:
    text = lines(season(tmp_path, {"muhelcl": [WORDS.get(str(one)) for one in listed]}))
    assert said in text
    assert "the conservation office, which decides" in text
    assert text.count("highly erodible") == 1, "nothing is said of a field that the survey does not list"


@pytest.mark.parametrize(("slope", "said"), [(12, "Home may count as highly erodible land"), (1, "")])
def test_unlisted_map_units_are_judged_by_their_slopes(tmp_path: Path, slope: float, said: str) -> None:
    slopes = {"slope_l": [slope / 2, 0], "slope_h": [slope, 1], "slopelenusle_l": 30, "slopelenusle_h": 90}
    text = lines(season(tmp_path, slopes))
    assert said in text
    assert "River" not in text
    assert bool(said) == ("highly erodible" in text)


def test_listed_soil_stays_unless_the_plan_allows_harvest(tmp_path: Path) -> None:
    survey = {"muhelcl": [WORDS["listed"], WORDS["not"]]}
    held = season(tmp_path, survey)
    bound = held.residue.limit_totals.set_index("rule")["binds_ha"]
    assert bound["erodible_ground"] == pytest.approx(20.0, rel=0.02)
    free = season(tmp_path, survey, limits={"take_erodible": True})
    assert "erodible_ground" not in set(free.residue.limit_totals["rule"])


def test_elsewhere_no_office_and_no_survey_is_named(tmp_path: Path) -> None:
    result = season(tmp_path, place="Pampas")
    with printed_in("$", elsewhere=True):
        text = lines(result)
    assert "Whether rules for erodible ground hold on Home and River is not known here: local rules decide." in text
    assert "conservation office" not in text
