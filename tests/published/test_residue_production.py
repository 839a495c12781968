"""Grain to stover, parts of the plant, cut height and moisture.

Sources are named beside each check. READ: seen in the source (often its abstract). CALC: our arithmetic from
figures that were read. MEM: from memory of the document named.
"""

import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import KG_HA_PER_LB_ACRE, MG_HA_DRY_PER_BU_ACRE, MG_HA_PER_TON_ACRE
from stovergeo.residue.collection import PARTS, stalk_below
from stovergeo.residue.production import stover

COEFFICIENTS = load_handbook()
SLOPE, INTERCEPT = COEFFICIENTS.value("residue.slope"), COEFFICIENTS.value("residue.intercept")


def grain(bushels_per_acre):
    return bushels_per_acre * MG_HA_DRY_PER_BU_ACRE


# Slope 0.85: Wilhelm et al. 2011, BioEnergy Res. 4:11-21, abstract (READ); rows CALC.
@pytest.mark.parametrize(
    ("bushels", "mg_ha", "ton_ac", "index"),
    [(100, 5.158, 2.301, 0.507), (150, 7.412, 3.307, 0.518), (200, 9.667, 4.312, 0.523), (250, 11.921, 5.318, 0.527)],
)
def test_stover_for_grain_by_the_default_line(bushels, mg_ha, ton_ac, index):
    s = stover(grain(bushels), SLOPE, INTERCEPT)
    assert s == pytest.approx(mg_ha, abs=5e-4)
    assert s / MG_HA_PER_TON_ACRE == pytest.approx(ton_ac, abs=5e-4)
    assert grain(bushels) / (grain(bushels) + s) == pytest.approx(index, abs=5e-4)


# Other models as a bracket, ton/ac at 100, 180 and 250 bu/ac (CALC from each source's rule).
@pytest.mark.parametrize(
    ("slope", "intercept", "tons"),
    [
        pytest.param(
            1.0, 0.0, (2.366, 4.259, 5.915), id="harvest index 0.5: Illinois and South Dakota extension (READ)"
        ),
        pytest.param(1.03, 0.61, (2.709, 4.658, 6.364), id="IPCC 2006, Table 11.2, maize (MEM)"),
        pytest.param(
            0.55 / 0.45, 0.0, (2.892, 5.205, 7.229), id="grain 45 % of all dry matter: Michigan State 2007 (READ)"
        ),
        pytest.param(0.85, 0.65, (2.301, 3.910, 5.318), id="the default line"),
    ],
)
def test_models_of_stover_at_three_yields(slope, intercept, tons):
    for bushels, ton_ac in zip((100, 180, 250), tons, strict=True):
        assert stover(grain(bushels), slope, intercept) / MG_HA_PER_TON_ACRE == pytest.approx(ton_ac, abs=1e-3)


# Nebraska: one ton at 10 % moisture for 40 bu (Wortmann, UNL CropWatch 2017, READ); W15: 240 and 120 bu.
@pytest.mark.parametrize(("bushels", "tons_at_10"), [(240, 6), (120, 3)])
def test_nebraska_rule_of_forty_bushels(bushels, tons_at_10):
    assert bushels / 40 == tons_at_10
    dry = tons_at_10 * 0.90 * MG_HA_PER_TON_ACRE
    # 0.951 of dry grain: a harvest index of 0.5126
    assert dry / grain(bushels) == pytest.approx(0.951, abs=5e-4)


# 0.92 near 180 bu/ac: stover 48 % of all dry matter, Biomass & Bioenergy 31:576-584 (2007), abstract (READ).
def test_default_line_meets_the_upper_midwest_share_at_180_bushels():
    s = stover(grain(180), SLOPE, INTERCEPT)
    assert s / grain(180) == pytest.approx(0.92, abs=0.005)
    assert s / (s + grain(180)) == pytest.approx(0.48, abs=0.002)


# Illinois extension (READ): 1:1 over-predicts above about 180 bu/ac and under-predicts below about 100.
def test_stover_per_grain_falls_as_yield_rises():
    ratios = [stover(grain(b), SLOPE, INTERCEPT) / grain(b) for b in (60, 100, 150, 200, 250)]
    assert ratios == sorted(ratios, reverse=True)
    assert 0.64 <= ratios[-1] <= ratios[1] <= 1.0  # 0.64-0.96 over eight locations, Wilhelm et al. 2011 (READ)


# Iowa State (READ): 168 bu -> "4.0", 200 bu -> "4.75" ton/ac at 1:1.
@pytest.mark.parametrize(("bushels", "printed"), [(168, 4.0), (200, 4.75)])
def test_iowa_state_one_to_one(bushels, printed):
    assert stover(grain(bushels), 1.0, 0.0) / MG_HA_PER_TON_ACRE == pytest.approx(printed, abs=0.03)


# W1, Walter, Aberdeen News 2013 (READ): 140 bu x 56 lb x 0.845; 80 and 65 % removal.
def test_south_dakota_example_140_bushels():
    assert 140 * 56 == 7840
    dry_lb = grain(140) * 1000 / KG_HA_PER_LB_ACRE
    assert dry_lb == pytest.approx(6625, abs=0.5)
    tons = stover(grain(140), 1.0, 0.0) / MG_HA_PER_TON_ACRE
    assert tons == pytest.approx(3.31, abs=0.005)
    assert 0.80 * tons == pytest.approx(2.65, abs=0.005)
    assert 0.65 * tons == pytest.approx(2.15, abs=0.005)


# Known error of some bulletins (Illinois Bulletin 23(9) 2007, Ohio State; READ): bushels x 56 / 2000 forgets to dry
# the grain.
def test_undried_one_to_one_is_18_per_cent_too_high():
    wrong = 160 * 56 / 2000
    right = stover(grain(160), 1.0, 0.0) / MG_HA_PER_TON_ACRE
    assert wrong == pytest.approx(4.48)
    assert right == pytest.approx(3.786, abs=5e-4)
    assert wrong / right - 1 == pytest.approx(0.183, abs=5e-4)


# W13, Corn & Soybean Digest (READ): 1 and 2 ton of 180 bu are "25" and "50" %; of 4.259 ton 23.5 and 47.0.
@pytest.mark.parametrize(("ton", "share", "printed"), [(1, 0.235, 0.25), (2, 0.470, 0.50)])
def test_share_that_one_or_two_tons_are_of_180_bushels(ton, share, printed):
    whole = stover(grain(180), 1.0, 0.0) / MG_HA_PER_TON_ACRE
    assert ton / whole == pytest.approx(share, abs=5e-4)
    assert abs(ton / whole - printed) < 0.035  # the printed share is rounded up


# Parts: the same paper (READ): stalk 56, leaf 21, cob 15, husk 8 %.
@pytest.mark.parametrize(("part", "share"), [("stalk", 0.56), ("leaf", 0.21), ("cob", 0.15), ("husk", 0.08)])
def test_parts_of_the_stover(part, share):
    assert COEFFICIENTS.value(f"residue.fraction.{part}") == share


def test_parts_sum_to_the_whole():
    assert sum(COEFFICIENTS.value(f"residue.fraction.{p}") for p in PARTS) == pytest.approx(1, abs=1e-12)


# "Mass and moisture distribution in ... standing corn" (READ): the bottom 1.0 m holds 60.6 % of the stalk.
# Of a plant of 2.5 to 2.75 m that is 37 to 41 % of the height.
def test_bottom_meter_of_the_stalk():
    assert 0.55 < stalk_below(1.016 / 2.75) < stalk_below(1.016 / 2.5) < 0.65
