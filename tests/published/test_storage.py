"""Storage loss against published trials and handbook ranges, and the cost of loss against worked examples."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.capacity import bales_per_hour
from stovergeo.bales.storage import (
    OutsideGroundError,
    StorageMethod,
    break_even_price_per_mg,
    loss_band,
    respiration_pct,
    storage_loss,
    value_of_loss,
    weather_pct,
)
from stovergeo.bales.trials import trial_residuals
from stovergeo.core import bale_catalog
from stovergeo.core.coefficients import load_handbook
from stovergeo.core.units import MG_PER_TON

COEFFICIENTS = load_handbook()
MM = 25.4
BASES = tuple(bale_catalog.BASES)
PLACE = {"tarp": "tarped rows", "open_shed": "open shed", "closed_shed": "closed shed"}
COVERS = ("sisal_twine", "twine", "net", "tarp", "full_cover", "stretch_film", "open_shed", "closed_shed")


def bale(moisture=18.0, shape="round"):
    return BaleSize(shape, 1.5, 1.8, 1.8, 1.5, 4.0, 117, 90, 152, moisture)


def keeping(cover, base="soil", pattern="single row"):
    return StorageMethod("net" if cover in PLACE else cover, base, PLACE.get(cover, "outside"), pattern)


def loss(cover, base="soil", months=10.0, inches=27.0, crop="stover", moisture=18.0, pattern="single row"):
    way = keeping(cover, base, pattern)
    return storage_loss(way, bale(moisture), months, inches * MM, COEFFICIENTS, crop=crop)


# The calibration, hay on soil, 10 months and 27 in, as the three Wisconsin studies' means: Shinners et al. 2010,
# MSU summary of 293 days on sod, Shinners et al. 2009 -> 16.6, 9.8, 7.9, 5.1, 4.8, cover 4.5, indoors 3.3
@pytest.mark.parametrize(
    ("cover", "model", "wisconsin"),
    [
        ("sisal_twine", 16.0, 16.6),
        ("twine", 10.0, 9.8),
        ("net", 8.0, 7.9),
        ("full_cover", 5.0, 5.1),
        ("stretch_film", 4.7, 4.8),
        ("tarp", 5.8, 4.5),
        ("open_shed", 3.6, None),
        ("closed_shed", 3.0, 3.3),
    ],
)
def test_calibration(cover, model, wisconsin):
    ours = loss(cover, crop="hay").middle
    assert ours == pytest.approx(model, abs=0.01)
    if wisconsin:
        assert ours == pytest.approx(wisconsin, abs=1.4)


# computed: stover, 18 %, single row
@pytest.mark.parametrize(
    ("cover", "base", "months", "inches", "moisture", "percent"),
    [
        ("net", "soil", 6, 14, 18, 5.57),
        ("net", "soil", 10, 27, 18, 9.50),
        ("net", "gravel", 10, 27, 18, 6.12),
        ("full_cover", "soil", 10, 27, 18, 5.60),
        ("full_cover", "gravel", 10, 27, 18, 4.33),
        ("twine", "soil", 10, 27, 18, 12.10),
        ("closed_shed", "soil", 10, 27, 18, 3.00),
        ("net", "soil", 10, 27, 28, 11.90),
    ],
)
def test_worked_losses(cover, base, months, inches, moisture, percent):
    assert loss(cover, base, months, inches, moisture=moisture).middle == pytest.approx(percent, abs=0.006)


def test_the_first_proposed_band():
    # the proposal's band for net on soil, 5.26 to 17.5, with its own multipliers; ours is wider (docs/storage-fit.md)
    breath = respiration_pct(10, 18, start=1, month=0.2, moisture_from=20, moisture_to=35, moisture_point=0.1)
    weather = weather_pct(10, 27, points=(1 + 4) * 1.3, rain_reference=27, age_from=10, age_month=0.08)
    band = loss_band(
        breath, weather, most=60, low_respiration=0.67, low_weather=0.5, high_respiration=1.5, high_weather=2
    )
    assert [float(x) for x in band] == pytest.approx([5.26, 9.50, 17.5], abs=0.005)


def test_net_on_rock():
    # Cundiff & Marsh 1996 assumed 5 % on crushed rock; computed 5.4
    assert loss("net", "gravel", crop="hay").middle == pytest.approx(5.4, abs=0.005)


def test_oklahoma_rows():
    # Huhnke, Oklahoma State BAE-1716: exposed on ground 5 to 20 to nine months, 15 to 50 in 12 to 18 months
    nine = [
        loss("twine", months=9, inches=15, crop="hay").middle,
        loss("sisal_twine", months=9, inches=34, crop="hay").middle,
    ]
    assert nine == pytest.approx([6.7, 19.2], abs=0.05)
    assert 5 <= nine[0] < nine[1] <= 20
    # fifteen months: the driest model row, 13.1, lies just below the printed 15
    fifteen = loss("twine", months=15, inches=25, crop="hay").middle
    assert fifteen == pytest.approx(13.1, abs=0.05)
    assert 15 <= loss("sisal_twine", months=15, inches=52, crop="hay").middle <= 50
    # covered, elevated 2 to 4; under roof 2 to 5; enclosed barn "below 2" is lower than weighed losses indoors
    assert 2 <= loss("tarp", "tires", months=9, inches=25, crop="hay").middle <= 4
    assert 2 <= loss("open_shed", months=9, inches=25, crop="hay").middle <= 5
    assert 5 <= loss("tarp", months=9, inches=25, crop="hay").middle <= 10


def test_pallets_save_about_four_points():
    # Shinners et al. 2009: on pallets instead of soil about 4 points less, averaged over wraps
    saved = [loss(c, crop="hay").middle - loss(c, "tires", crop="hay").middle for c in ("sisal_twine", "twine", "net")]
    assert np.mean(saved) == pytest.approx(4, abs=1)


def test_gravel_saves_more_under_net_than_under_a_cover():
    # computed: 3.4 points under net or twine, 1.3 under a shedding wrap, stover, 10 months, 27 in
    saved = [loss(c).middle - loss(c, "gravel").middle for c in ("net", "twine", "full_cover")]
    assert saved == pytest.approx([3.4, 3.4, 1.3], abs=0.05)


def test_order_of_wraps_on_soil():
    # Shinners et al. 2010 and 2009, MSU summary: sisal, plastic twine, net, respiring film, plastic film, indoors
    ordered = [float(loss(c).middle) for c in COVERS]
    assert ordered == sorted(ordered, reverse=True)
    assert len(set(ordered)) == len(ordered)


def test_order_of_bases():
    for cover in ("twine", "net", "full_cover"):
        ordered = [float(loss(cover, base).middle) for base in BASES]
        assert ordered == sorted(ordered, reverse=True)


def test_alberta_patterns():
    # Yaremcio, Alberta: single row best, mushroom between, pyramid worst, up to 20 %
    single, mushroom, pyramid = (
        loss("twine", crop="hay", pattern=p, months=12).middle for p in ("single row", "mushroom", "pyramid")
    )
    assert single < mushroom < pyramid
    assert pyramid == pytest.approx(20, abs=0.5)


def test_large_squares():
    # Shah et al. 2011 (Iowa stover): tarp 5 to 11, respiring film 14 to 17: film is worse, opposite to round bales
    square = bale(shape="square")
    film = storage_loss(StorageMethod("stretch_film", "soil"), square, 6, 400, COEFFICIENTS)
    assert [float(x) for x in film] == [14, 15.5, 17]
    tarp = storage_loss(StorageMethod("tarp", "soil"), square, 9, 27 * MM, COEFFICIENTS)
    assert 5 <= tarp.middle <= 11
    # English et al.: uncovered large squares up to 50 % at 200 days; Darr: squares must be covered
    for wrap in ("twine", "net", "full_cover"):
        with pytest.raises(OutsideGroundError, match="under a tarp or a roof"):
            storage_loss(StorageMethod(wrap, "gravel"), square, 6, 400, COEFFICIENTS)


def test_wet_bales_are_refused():
    with pytest.raises(OutsideGroundError, match="ensile"):
        loss("net", moisture=38)


def test_published_trials_lie_in_the_band():
    """Round bales, one wrap, weighed: at least three of four in the band, and no study but two misses wholly.

    The two: Harrigan & Rotz 1994 (fixed-chamber baler, far more lost even indoors) and the alfalfa
    study whose place, and so rain, is not given.
    """
    trials = trial_residuals(COEFFICIENTS)
    fitted = trials[trials["use"] == "fit"]
    assert len(fitted) == 29
    assert fitted["inside"].mean() >= 0.75
    assert fitted["residual"].abs().median() < 2
    missed = fitted[~fitted["inside"]]
    assert set(missed["study"]) == {"Harrigan 1994", "alfalfa wraps"}
    # over the studies, the model is off for no wrap by more than the least significant difference, 2.6 points,
    # that the Wisconsin trial prints (MSU summary)
    assert (fitted.groupby("cover")["residual"].mean().abs() < 2.6).all()
    # of the loosely described ones most lie in the band too; Texas, where six months lost more than twelve, does not
    checked = trials[(trials["use"] == "check")]
    assert set(checked.loc[~checked["inside"], "study"]) == {"Sanderson 1997"}


COVER_AND_BASE = st.tuples(st.sampled_from(COVERS), st.sampled_from(BASES))


@given(
    way=COVER_AND_BASE,
    pattern=st.sampled_from(["single row", "mushroom", "touching rows", "pyramid"]),
    months=st.floats(0, 24),
    later=st.floats(0, 12),
    inches=st.floats(0, 60),
    more=st.floats(0, 30),
    moisture=st.floats(8, 30),
)
def test_longer_and_wetter_never_lose_less(way, pattern, months, later, inches, more, moisture):
    cover, base = way
    # the model answers for damp bales outside, and for the dampest in single rows
    most = 20 if cover in ("open_shed", "closed_shed") else 25 if pattern != "single row" else 30
    moisture = min(moisture, most)
    now = loss(cover, base, months, inches, moisture=moisture, pattern=pattern)
    for worse in (
        loss(cover, base, months + later, inches, moisture=moisture, pattern=pattern),
        loss(cover, base, months, inches + more, moisture=moisture, pattern=pattern),
        loss(cover, base, months, inches, moisture=min(most, moisture + more), pattern=pattern),
    ):
        assert all(a <= b + 1e-9 for a, b in zip(now, worse, strict=True))
    assert now.low <= now.middle <= now.high


@given(months=st.floats(0, 24), inches=st.floats(0, 60), base=st.sampled_from(BASES))
def test_poorer_wrap_and_wetter_ground_never_lose_less(months, inches, base):
    # on any ground; a tarp and a full cover change places on dry bases, where wicking hardly counts
    for chain in (
        ("sisal_twine", "twine", "net", "tarp", "stretch_film", "open_shed", "closed_shed"),
        ("net", "full_cover", "stretch_film"),
    ):
        for poorer, better in itertools.pairwise(chain):
            assert loss(poorer, base, months, inches).middle >= loss(better, base, months, inches).middle - 1e-9
    for cover in COVERS:
        ground = [loss(cover, b, months, inches).middle for b in BASES]
        assert all(wet >= dry - 1e-9 for wet, dry in itertools.pairwise(ground))


# Huhnke's value table (BAE-1716): $/ton
@pytest.mark.parametrize(("share", "price", "lost"), [(0.20, 80, 16), (0.15, 60, 9), (0.40, 120, 48)])
def test_value_of_loss(share, price, lost):
    assert value_of_loss(share, price) == pytest.approx(lost)


def test_break_even_of_a_shedding_wrap():
    # computed: 0.504 dry ton, 9.5 against 5.6 %, +$6.00 -> $305/ton; it saves $1.18 at $60 and $1.97 at $100
    bale_mg = 0.504 * MG_PER_TON
    assert break_even_price_per_mg(6, bale_mg, 0.039) * MG_PER_TON == pytest.approx(305.25, abs=0.01)
    assert 0.504 * value_of_loss(0.039, 60) == pytest.approx(1.18, abs=0.005)
    assert 0.504 * value_of_loss(0.039, 100) == pytest.approx(1.97, abs=0.005)
    # with half the spoiled rim rejected (7.9 points): $151; net over twine (12.1 against 9.5 %, +$1.25): $95
    assert break_even_price_per_mg(6, bale_mg, 0.079) * MG_PER_TON == pytest.approx(151, abs=0.5)
    assert break_even_price_per_mg(1.25, bale_mg, 0.026) * MG_PER_TON == pytest.approx(95.4, abs=0.1)
    assert break_even_price_per_mg(6, bale_mg, 0.0) == float("inf")


def test_delivered_cost_example():
    """Delivered cost at the field's edge and after storage, as computed from the stated rates.

    12.40 shred, 7.00 rake a acre, 15.30 bale, 4.00 stage a bale; 1.5 dry ton/ac, 0.516 dry ton a bale.
    """
    per_ton = (12.40 + 7.00) / 1.5 + (15.30 + 4.00) / 0.516
    assert per_ton == pytest.approx(50.34, abs=0.01)
    assert pytest.approx(2.91, abs=0.005) == 1.5 / 0.516
    after = per_ton / (1 - np.array([0.054, 0.095, 0.16]))
    assert after == pytest.approx([53.21, 55.62, 59.92], abs=0.01)
    # with 16.98 of hauling (ATRI hourly cost, 40 mi): 70.19, 72.60, 76.91 (76.90 unrounded)
    assert after + 16.98 == pytest.approx([70.19, 72.60, 76.90], abs=0.011)


def test_ten_seconds_at_the_baler_are_charged():
    # the film's ten seconds: at $300 an hour 83 cents a bale; in output 9 % (see test_bales)
    assert pytest.approx(0.833, abs=0.001) == 10 / 3600 * 300
    assert bales_per_hour(457, 20, 18) > bales_per_hour(457, 20, 28)
