"""Methods of gathering: shares, passes, moisture, ash, and whole vectors. Tags as before."""

import numpy as np
import pytest

from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import HA_PER_ACRE, KG_PER_LB, MG_HA_DRY_PER_BU_ACRE, MG_HA_PER_TON_ACRE
from stovergeo.residue.collection import clean_fraction, methods, soil_in_bales, take
from stovergeo.residue.production import cover_kept, mass_for_cover, stover

COEFFICIENTS = load_handbook()
WAYS = methods(COEFFICIENTS)


# Shares recommended in the science notes from the published ranges (REC), and ton/ac from 3.9 ton/ac of stover.
@pytest.mark.parametrize(
    ("name", "share", "low", "high", "ton_ac"),
    [
        ("single_pass", 0.22, 0.15, 0.30, 0.9),
        ("second_pass", 0.30, 0.20, 0.50, 1.2),
        ("rake_bale", 0.45, 0.30, 0.65, 1.8),
        ("chop_and_rake", 0.50, 0.35, 0.80, 2.0),
    ],
)
def test_share_gathered(name, share, low, high, ton_ac):
    spread = COEFFICIENTS[f"methods.{name}.share"]
    assert (WAYS[name].fraction, spread.low, spread.high) == pytest.approx((share, low, high), abs=1e-12)
    assert take(3.9, WAYS[name]) == pytest.approx(ton_ac, abs=0.06)


# Shares that were measured or taken as possible (READ) lie at or inside the spread.
@pytest.mark.parametrize(
    ("name", "published"),
    [
        ("single_pass", (0.18, 0.30)),  # ear-snapping head, two papers of the Shinners group, abstracts
        ("second_pass", (0.25, 0.50)),  # Corn & Soybean Digest; Illinois extension
        ("rake_bale", (0.65, 0.37)),  # Illinois extension; dry bales, Shinners et al. 2007
        ("chop_and_rake", (0.80, 0.60, 0.55, 0.36)),  # Illinois; Michigan 2007; Shinners 2007; spring harvest
    ],
)
def test_published_shares_lie_inside_the_spread(name, published):
    spread = COEFFICIENTS[f"methods.{name}.share"]
    assert all(spread.low <= p <= spread.high for p in published)


# Prewitt et al. 2007, Trans. ASAE, abstract (READ): a tailings windrow gave 0.741, far over all others; left outside.
def test_highest_tailings_share_is_not_counted_on():
    assert COEFFICIENTS["methods.second_pass.share"].high < 0.741


@pytest.mark.parametrize(
    ("name", "passes"), [("single_pass", 0), ("second_pass", 1), ("rake_bale", 2), ("chop_and_rake", 3)]
)
def test_passes_after_the_combine(name, passes):  # common practice, no source
    assert WAYS[name].passes == passes


@pytest.mark.parametrize(
    ("name", "ash", "low", "high"),
    [("single_pass", 5, 3, 7), ("second_pass", 7, 5, 9), ("rake_bale", 11, 7, 18), ("chop_and_rake", 10, 6, 15)],
)
def test_ash_by_method(name, ash, low, high):  # Lizotte et al. 2015 and Gould et al. 2015 (READ), single pass inferred
    spread = COEFFICIENTS[f"methods.{name}.ash"]
    assert (WAYS[name].ash_pct, spread.low, spread.high) == (ash, low, high)


# Harvested / standing dry Mg/ha, notes to Table 5.11 of a feedstock textbook after Shinners et al. 2007 (READ): dry
# bales 37 % in the mean, chopped 55 %.
@pytest.mark.parametrize(
    ("name", "pairs", "share"),
    [
        ("rake_bale", [(3.6, 8.9), (2.2, 8.9), (3.1, 8.9), (4.7, 11.6), (4.7, 11.6), (4.7, 11.6)], 0.369),
        ("chop_and_rake", [(5.8, 10.5)], 0.552),
        ("chop_and_rake", [(4.9, 9.2)], 0.533),
    ],
)
def test_shinners_measured_shares(name, pairs, share):
    assert np.mean([h / s for h, s in pairs]) == pytest.approx(share, abs=5e-4)
    spread = COEFFICIENTS[f"methods.{name}.share"]
    assert spread.low <= share <= spread.high
    assert take(pairs[0][1], WAYS[name]) == pytest.approx(pairs[0][0], rel=0.35)


# DM_clean = DM (1 - a) / (1 - a0), a0 = 5 % (CALC).
@pytest.mark.parametrize(("ash", "clean"), [(5, 1.0), (7, 0.9789), (10, 0.9474), (11, 0.9368), (20, 0.8421)])
def test_clean_dry_matter(ash, clean):
    assert clean_fraction(ash, 5.0) == pytest.approx(clean, abs=5.1e-5)


def test_soil_carried_off_closes_the_ash_balance():
    plant, ash, base = 4.0, 11.0, 5.0
    soil = soil_in_bales(plant, ash, base)
    # soil is ash altogether; plant ash is 5 %: the bale's ash must come out again
    assert (soil + plant * base / 100) / (soil + plant) == pytest.approx(ash / 100, abs=1e-12)


# Vectors A and C of the science notes (computed there, not published).
def test_vector_a_soil_carbon_binds():
    S = stover(200 * MG_HA_DRY_PER_BU_ACRE, 0.85, 0.65)
    cover = mass_for_cover(0.30, 0.00032, 0.80, cover_kept((0.90,))) / 1000
    limit = S - max(5.25, cover, 0.296)
    assert limit == pytest.approx(4.417, abs=5e-4)
    H = min(0.60 * S, limit)
    assert pytest.approx(4.417, abs=5e-4) == H
    assert pytest.approx(1.970, abs=5e-4) == H / MG_HA_PER_TON_ACRE
    bale = 1200 * KG_PER_LB * 0.85 / 1000
    assert H * HA_PER_ACRE / bale == pytest.approx(3.863, abs=5e-4)


def test_vector_c_the_method_binds():
    S = stover(230 * MG_HA_DRY_PER_BU_ACRE, 0.85, 0.65)
    assert pytest.approx(11.019, abs=5e-4) == S
    # passes keep shares of the cover: 0.30 / 0.36 before them, so 5.599 Mg/ha lying and 6.999 before winter (by hand)
    cover = mass_for_cover(0.30, 0.00032, 0.80, cover_kept((0.50, 0.80, 0.90))) / 1000
    limit = S - max(5.25, cover)
    assert limit == pytest.approx(11.019 - 6.999, abs=1e-3)
    H = min(0.30 * S, limit)
    assert pytest.approx(3.306, abs=5e-4) == H
    assert pytest.approx(1.475, abs=5e-4) == H / MG_HA_PER_TON_ACRE
    bale = 1200 * KG_PER_LB * 0.85 / 1000
    assert H * HA_PER_ACRE / bale == pytest.approx(2.891, abs=5e-4)
