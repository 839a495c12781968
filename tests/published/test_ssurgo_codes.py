"""The words and units of the US soil survey, against the survey's own definitions.

Sources: NASIS domain metadata (USDA-NRCS) as distributed with the soilDB data set, for the class
words and their order [read]; the survey's query guides for null water tables and the 15 % rule
[read second-hand]; unit factors of the soil-loss handbook (Foster et al. 1981, J. Soil Water Conserv.
36:355-359; from memory): K 0.1317, T 2.242.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import CRS

from stovergeo.core.errors import Report
from stovergeo.inputs.place import Place
from stovergeo.inputs.soil_survey import DRAINAGE, ERODIBLE, FLOODING, HYDRIC, HYDROLOGIC, PONDING, coded
from stovergeo.inputs.soils import make_soils

# NASIS domains, in the survey's order [read]
DRAINAGE_WORDS = (
    "Excessively drained",
    "Somewhat excessively drained",
    "Well drained",
    "Moderately well drained",
    "Somewhat poorly drained",
    "Poorly drained",
    "Very poorly drained",
    "Subaqueous",
)
FLOODING_WORDS = ("None", "Very rare", "Rare", "Occasional", "Frequent", "Very frequent")
PONDING_WORDS = ("None", "Rare", "Occasional", "Frequent")
GROUPS = ("A", "B", "C", "D")


@pytest.mark.parametrize(
    ("words", "table", "first"),
    [
        (DRAINAGE_WORDS, DRAINAGE, 1),
        (FLOODING_WORDS, FLOODING, 0),
        (PONDING_WORDS, PONDING, 0),
        (GROUPS, HYDROLOGIC, 1),
    ],
)
def test_classes_are_numbered_in_the_order_of_the_survey(words, table, first):
    numbers, unknown = coded(pd.Series(words), table)
    assert numbers.tolist() == list(range(first, first + len(words)))
    assert unknown == []


@pytest.mark.parametrize("group", ["A/D", "B/D", "C/D"])
def test_a_dual_group_counts_as_undrained(group):
    """The second letter holds where the soil is not drained: NEH part 630, ch. 7 (2009) [from memory]."""
    assert coded(pd.Series([group]), HYDROLOGIC)[0][0] == HYDROLOGIC["d"]


@pytest.mark.parametrize(("table", "lower"), [(FLOODING, "occasional"), (PONDING, "occasional")])
def test_the_obsolete_class_common_is_read_as_the_wetter_of_the_two_it_covered(table, lower):
    """'Common' once covered occasional and frequent, 5 % of years and more [read]."""
    assert table["common"] == table["frequent"] > table[lower]


def test_hydric_ratings():
    assert coded(pd.Series(["Yes", "No", "Unranked"]), HYDRIC)[0].tolist() == [1.0, 0.0, 0.5]


def test_what_only_may_be_highly_erodible_has_a_class_of_its_own():
    """Such map units need measurements on site (7 CFR 12.21, from memory)."""
    words = ["Highly erodible land", "Potentially highly erodible land", "Not highly erodible land"]
    assert coded(pd.Series(words), ERODIBLE)[0].tolist() == [2.0, 1.0, 0.0]


@pytest.mark.parametrize("word", ["", None, np.nan, "None assigned", "NULL"])
def test_a_blank_is_unknown_and_no_word_of_its_own(word):
    numbers, unknown = coded(pd.Series([word], dtype=object), DRAINAGE)
    assert np.isnan(numbers[0])
    assert unknown == []


def test_case_and_spaces_do_not_matter_and_other_words_are_named():
    numbers, unknown = coded(pd.Series(["  WELL   drained ", "Well-drained"]), DRAINAGE)
    assert numbers[0] == 3
    assert np.isnan(numbers[1])
    assert unknown == ["well-drained"]


def soils_of(**columns) -> pd.Series:
    box = shapely.box(420_000, 4_864_000, 420_400, 4_864_400)
    frame = gpd.GeoDataFrame({k: [v] for k, v in columns.items()}, geometry=[box], crs=32615)
    return make_soils(frame, None, box, CRS.from_epsg(32615), Place("soils", Report())).iloc[0]


def test_k_and_t_and_wind_index_in_si():
    """K 0.32 US = 0.32 x 0.1317 SI; T 5 ton/ac = 11.21 Mg/ha; index 86 ton/ac = 193 Mg/ha (Foster et al. 1981)."""
    soil = soils_of(kwfact=".32", tfact=5, wei=86)
    assert soil["soil_erodibility"] == pytest.approx(0.32 * 0.1317, rel=2e-4)
    assert soil["soil_loss_tolerance"] == pytest.approx(5 * 2.242, rel=2e-4)
    assert soil["wind_erodibility"] == pytest.approx(86 * 2.242, rel=2e-4)


def test_a_blank_water_table_means_none_was_seen_within_two_meters():
    assert soils_of(wtdepannmin=np.nan)["water_table_cm"] == 200
    assert soils_of(wtdepannmin=31.0)["water_table_cm"] == 31


def test_a_water_table_nobody_recorded_stays_unknown():
    assert np.isnan(soils_of(drainagecl="Well drained")["water_table_cm"])


@pytest.mark.parametrize("name", ["claytotal_r", "CLAYTOTAL_R", "claytotal_", "ClayTotal_r"])
def test_attributes_are_found_in_any_case_and_cut_to_ten_letters(name):
    """A Shapefile keeps ten letters of a name (Shapefile/dBASE III field descriptor, 11 bytes with its end)."""
    assert soils_of(**{name: 23.0})["clay_pct"] == 23.0
