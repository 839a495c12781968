"""Soil erodibility K: the nomograph's equation. READ: seen in the source; CALC: our arithmetic; MEM: from memory."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.core.units import K_SI_PER_US
from stovergeo.inputs.erodibility import (
    erodibility_of_layers_us,
    erodibility_us,
    permeability_class,
)


# AH-537 nomograph equation. First row: the handbook's own example, answer 0.31 (MEM; a reprint with 3 % was READ).
@pytest.mark.parametrize(
    ("fine", "clay", "om", "structure", "permeability", "us", "si"),
    [
        (65, 30, 2.8, 2, 4, 0.3109, 0.04094),
        (65, 30, 3.0, 2, 4, 0.3046, 0.04012),
        (70, 20, 4.0, 2, 3, 0.3150, 0.04148),
        (40, 15, 2.0, 3, 3, 0.2554, 0.03364),
    ],
)
def test_nomograph(fine, clay, om, structure, permeability, us, si):
    K = erodibility_us(fine, clay, om, structure, permeability)
    assert pytest.approx(us, abs=6e-5) == K
    assert pytest.approx(si, abs=6e-6) == K * K_SI_PER_US


def test_nomograph_counts_organic_matter_to_four_per_cent():
    assert erodibility_us(65, 30, 7, 2, 4) == erodibility_us(65, 30, 4, 2, 4)


def test_from_layers_the_handbooks_example_comes_back():
    """The first row above, 65 % split into silt and very fine sand, and 1 um/s = 0.142 in/h, class 5 for 4 (CALC)."""
    K = erodibility_of_layers_us(50, 15, 30, 2.8, 1.0, structure=2)
    assert pytest.approx(0.3109 + 0.025, abs=6e-5) == K
    # structure unknown counts as 3, one step of 3.25 % more; conductivity unknown as very slow, one step of 2.5 % more
    assert erodibility_of_layers_us(50, 15, 30, 2.8, 1.0) - K == pytest.approx(0.0325)
    assert erodibility_of_layers_us(50, 15, 30, 2.8, np.nan, structure=2) - K == pytest.approx(0.025)


@pytest.mark.parametrize(
    "layer",
    [
        (np.nan, 15, 30, 2.8),
        (50, np.nan, 30, 2.8),
        (50, 15, np.nan, 2.8),
        (50, 15, 30, np.nan),
        (60, 15, 30, 2.8),  # 105 % of the fine earth
        (-1, 15, 30, 2.8),
        (50, 15, 30, -9999),
        (50, 15, 30, 60),  # peat
    ],
)
def test_what_is_no_mineral_soil_has_no_nomograph(layer):
    assert np.isnan(erodibility_of_layers_us(*layer, 9.0))


@given(silt=st.floats(0, 60), sand=st.floats(0, 20), clay=st.floats(0, 20), om=st.floats(0, 20), ksat=st.floats(0, 700))
def test_erodibility_of_layers_goes_the_right_way(silt, sand, clay, om, ksat):
    """More silt or very fine sand erodes more; organic matter or a faster profile less (the equation's signs)."""
    K = erodibility_of_layers_us(silt, sand, clay, om, ksat)
    assert 0 <= K < 1
    assert erodibility_of_layers_us(silt + 0.5, sand, clay, om, ksat) >= K
    assert erodibility_of_layers_us(silt, sand + 0.5, clay, om, ksat) >= K
    assert erodibility_of_layers_us(silt, sand, clay, om / 2, ksat) >= K
    assert erodibility_of_layers_us(silt, sand, clay, om, ksat / 2) >= K


# Limits of the permeability classes: 6, 2, 0.6, 0.2 and 0.06 in/h (READ); 1 micrometre a second is 0.1417 in/h (CALC).
@pytest.mark.parametrize(
    ("inches_per_hour", "cls"), [(7, 1), (5.9, 2), (2.1, 2), (1.9, 3), (0.59, 4), (0.19, 5), (0.07, 5), (0.05, 6)]
)
def test_permeability_class(inches_per_hour, cls):
    assert permeability_class(inches_per_hour / 0.14173228) == cls
