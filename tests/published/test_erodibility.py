"""Soil erodibility K: nomograph and texture table. READ: seen in the source; CALC: our arithmetic; MEM: from memory."""

import pytest

from stovergeo.layers.erodibility import TEXTURE_K_US, erodibility_of_texture_us, erodibility_us, permeability_class
from stovergeo.units import K_SI_PER_US


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


# K by texture at 0.5, 2 and 4 % organic matter: agricultural engineering text (READ).
PRINTED_K = {
    "fine sand": (0.16, 0.14, 0.10),
    "loamy sand": (0.12, 0.10, 0.08),
    "sandy loam": (0.27, 0.24, 0.19),
    "very fine sandy loam": (0.47, 0.41, 0.33),
    "silt loam": (0.48, 0.42, 0.33),
    "clay loam": (0.28, 0.25, 0.21),
    "silty clay loam": (0.37, 0.32, 0.26),
    "silty clay": (0.25, 0.23, 0.19),
}


@pytest.mark.parametrize("texture", PRINTED_K)
def test_erodibility_by_texture(texture):
    assert [erodibility_of_texture_us(texture, om) for om in (0.5, 2, 4)] == list(PRINTED_K[texture])
    assert set(TEXTURE_K_US) == set(PRINTED_K)


# Limits of the permeability classes: 6, 2, 0.6, 0.2 and 0.06 in/h (READ); 1 micrometre a second is 0.1417 in/h (CALC).
@pytest.mark.parametrize(
    ("inches_per_hour", "cls"), [(7, 1), (5.9, 2), (2.1, 2), (1.9, 3), (0.59, 4), (0.19, 5), (0.07, 5), (0.05, 6)]
)
def test_permeability_class(inches_per_hour, cls):
    assert permeability_class(inches_per_hour / 0.14173228) == cls
