"""Highly erodible land as the rule has it (7 CFR 12.21 and 12.22). READ: seen in the source; CALC: our arithmetic."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.printing import printed_in, render
from stovergeo.core.units import HA_PER_ACRE, K_SI_PER_US, M_PER_FT, MG_HA_PER_TON_ACRE
from stovergeo.inputs.plan.crop import Crop
from stovergeo.residue import erodible_land_messages, field_states
from stovergeo.residue.erodible_land import field_state, length_slope, unit_classes, wind_index

COEFFICIENTS = load_handbook()


# LS of AH-537 for the least and the most of a map unit's slopes and lengths, and R K LS / T (CALC).
@pytest.mark.parametrize(
    ("slopes", "feet", "factors", "indices"),
    [
        ((2, 5), (100, 300), (0.2007, 0.9266), (2.055, 9.488)),
        ((6, 10), (100, 250), (0.6722, 2.1643), (6.883, 22.163)),
    ],
)
def test_water_index_of_a_map_unit(slopes, feet, factors, indices):
    found = [float(length_slope(s, f * M_PER_FT)) for s, f in zip(slopes, feet, strict=True)]
    assert found == pytest.approx(factors, abs=5e-5)
    assert [160 * 0.32 * ls / 5 for ls in found] == pytest.approx(indices, abs=1e-3)


@pytest.mark.parametrize(("climate", "erodibility", "index"), [(20, 134, 5.36), (40, 86, 6.88), (50, 220, 22.0)])
def test_wind_index_of_a_map_unit(climate, erodibility, index):
    assert wind_index(climate, erodibility, 5.0) == pytest.approx(index)


def soils(**columns):
    usual = {
        "soil_erodibility": 0.32 * K_SI_PER_US,
        "soil_loss_tolerance": 5 * MG_HA_PER_TON_ACRE,
        "wind_erodibility": 48 * MG_HA_PER_TON_ACRE,
        "slope_high_pct": 2.0,
        "slope_length_high_m": 60.0,
        "erodible_class": np.nan,
    }
    return pd.DataFrame({name: [float(value)] for name, value in {**usual, **columns}.items()})


def class_of(climate=20.0, **columns):
    crop = Crop.model_validate({"erosivity": "160 US", "wind_climate_pct": climate})
    return unit_classes(soils(**columns), crop, COEFFICIENTS)[0]


def test_a_map_unit_may_be_by_water_or_by_wind_each_alone():
    assert class_of() == 0
    assert class_of(slope_high_pct=5, slope_length_high_m=300 * M_PER_FT) == 1
    assert class_of(climate=50, wind_erodibility=220 * MG_HA_PER_TON_ACRE) == 1
    # 6.9 by wind and some 6 by water are not added
    assert class_of(climate=40, wind_erodibility=86 * MG_HA_PER_TON_ACRE, slope_high_pct=4, slope_length_high_m=60) == 0


def test_arithmetic_never_lists_and_never_overrules_the_list():
    assert class_of(slope_high_pct=60, slope_length_high_m=120) == 1
    assert class_of(slope_high_pct=60, slope_length_high_m=120, erodible_class=0) == 0
    assert class_of(erodible_class=2) == 2
    assert class_of(erodible_class=1) == 1


@pytest.mark.parametrize(
    "unknown", ["soil_erodibility", "soil_loss_tolerance", "wind_erodibility", "slope_high_pct", "slope_length_high_m"]
)
def test_what_is_not_known_is_not_below(unknown):
    assert np.isnan(class_of(**{unknown: np.nan}))


def test_without_a_wind_climate_a_unit_is_not_known_or_may_be():
    assert np.isnan(class_of(climate=None))
    assert class_of(climate=None, slope_high_pct=12, slope_length_high_m=60) == 1


# A third of the field or 50 acres (READ); areas CALC.
@pytest.mark.parametrize(
    ("field", "listed", "state"), [(120, 38, "below"), (200, 52, "listed"), (60, 20, "listed"), (60, 19.9, "below")]
)
def test_a_third_of_the_field_or_fifty_acres(field, listed, state):
    area = np.array([listed, field - listed]) * HA_PER_ACRE
    assert field_state(np.array([2.0, 0.0]), area, COEFFICIENTS) == state


@pytest.mark.parametrize(
    ("classes", "state"),
    [
        ([2, 2, 0, 0], "listed"),
        ([2, 1, 0, 0], "may be"),
        ([1, 1, 0, 0], "may be"),
        ([1, np.nan, 0, 0], "not known"),
        ([np.nan] * 4, "not known"),
        ([2, 0, 0, 0], "below"),
        ([0, 0, 0, 0], "below"),
    ],
)
def test_states_of_a_field_of_four_equal_parts(classes, state):
    assert field_state(np.array(classes, dtype=float), np.full(4, 10.0), COEFFICIENTS) == state


@given(
    classes=st.lists(st.sampled_from([0.0, 1.0, 2.0, np.nan]), min_size=1, max_size=8),
    at=st.integers(0, 7),
    size=st.floats(0.5, 60),
)
def test_a_higher_class_never_makes_a_field_stand_lower(classes, at, size):
    order = ["below", "not known", "may be", "listed"]
    area, before = np.full(len(classes), size), np.array(classes)
    after = before.copy()
    after[at % len(classes)] = 2.0
    states = [order.index(field_state(c, area, COEFFICIENTS)) for c in (before, after)]
    assert states[1] >= states[0]


def test_messages_name_fields_and_who_decides_and_find_nothing_in_law():
    shape = ("y", "x")
    stack = xr.Dataset(
        {
            "field_number": (shape, [[0.0, 1.0, 2.0, 3.0, np.nan]]),
            "cell_area_ha": (shape, np.full((1, 5), 10.0)),
            "soil_number": (shape, [[0.0, 1.0, 2.0, np.nan, 0.0]]),
        }
    )
    table = pd.concat([soils(erodible_class=c) for c in (2, 1, 0)], ignore_index=True)
    fields = gpd.GeoDataFrame({"name": ["Hill", "Home", "Flat", "Far"]})
    states = field_states(stack, table, fields, Crop(), COEFFICIENTS)
    assert states == {"Hill": "listed", "Home": "may be", "Flat": "below", "Far": "not known"}
    said = erodible_land_messages(states, COEFFICIENTS)
    american = [render(line, "us") for line in said]
    assert [name for name in states if any(name in line for line in american)] == ["Hill", "Home", "Far"]
    assert "50 ac" in american[0]
    assert all("the conservation office, which decides" in line for line in american)
    assert not any("not highly erodible" in line for line in american)
    with printed_in("$", elsewhere=True):
        assert all("local rules decide" in render(line, "metric") for line in said)


def test_a_message_names_a_few_fields_and_counts_the_rest():
    states = {f"Field {n}": "may be" for n in range(12)}
    (said,) = erodible_land_messages(states, COEFFICIENTS)
    assert "Field 4 and 7 other fields may count" in render(said, "us")
