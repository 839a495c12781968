"""Unit factors against the definitions and the figures print gives."""

from __future__ import annotations

import pytest

from stovergeo.core import units as u

# (what, ours, expected, tolerance, source)
FACTORS = [
    ("ton/ac to Mg/ha", u.MG_HA_PER_TON_ACRE, 2.2417023124, 1e-9, "lb = 0.45359237 kg, ft = 0.3048 m, by definition"),
    ("lb/ac to kg/ha", u.KG_HA_PER_LB_ACRE, 1.1208511562, 1e-9, "the same"),
    ("bushel of corn, dry kg", u.KG_DRY_PER_BUSHEL_CORN, 21.46399, 5e-6, "56 lb at 15.5 %: U. Illinois, ISU Extension"),
    ("bu/ac to kg/ha dry", 1000 * u.MG_HA_DRY_PER_BU_ACRE, 53.03868, 5e-6, "the same"),
    (
        "dry lb in a bushel",
        u.KG_DRY_PER_BUSHEL_CORN / u.KG_PER_LB,
        47.32,
        5e-3,
        "SD Center for Farm/Ranch Management 2013",
    ),
    ("lb/ft3 to kg/m3", u.KG_M3_PER_LB_FT3, 16.0185, 5e-5, "by definition"),
    (
        "R, US to SI",
        u.R_SI_PER_US,
        17.0195194952,
        1e-9,
        "Foster et al. 1981, J. Soil Water Conserv. 36:355-359 (17.02)",
    ),
    ("K, US to SI", u.K_SI_PER_US, 0.1317136076, 1e-9, "the same (0.1317)"),
    ("acre to ha", u.HA_PER_ACRE, 0.40468564224, 1e-12, "international acre, by definition"),
    ("lb/ton to kg/Mg", u.KG_MG_PER_LB_TON, 0.5, 0, "2,000 lb to the short ton"),
]


@pytest.mark.parametrize(("what", "ours", "expected", "tolerance", "source"), FACTORS, ids=[f[0] for f in FACTORS])
def test_factor(what: str, ours: float, expected: float, tolerance: float, source: str) -> None:
    assert ours == pytest.approx(expected, rel=0, abs=tolerance), source


@pytest.mark.parametrize(
    ("us", "si", "dimension", "factor"),
    [
        ("160 US", "2723 MJ mm/(ha h yr)", "rainfall erosivity", 17.02),
        ("0.32 US", "0.0421 t ha h/(ha MJ mm)", "soil erodibility", 0.1317),
        ("5 ton/ac/yr", "11.21 t/ha/yr", "soil loss", 2.242),
    ],
)
def test_soil_loss_quantities_agree_with_the_published_factors(us, si, dimension, factor) -> None:
    """Foster et al. 1981 (J. Soil Water Conserv. 36:355-359), from memory, to their four digits."""
    given = u.parse_quantity(us, dimension)
    assert given / given.given == pytest.approx(factor, rel=2e-4)
    assert u.parse_quantity(si, dimension) == pytest.approx(given, rel=2e-3)


def test_erosivity_times_erodibility_gives_soil_loss() -> None:
    """A = R K LS C P must come out the same in both systems (AH-703, appendix A: R 17.02, K 0.1317, A 2.242)."""
    assert pytest.approx(u.MG_HA_PER_TON_ACRE, abs=1e-9) == u.R_SI_PER_US * u.K_SI_PER_US


@pytest.mark.parametrize(
    ("text", "dimension", "si"),
    [
        ("100 ft", "length", 30.48),
        ("18 in", "length", 0.4572),
        ("5 ac", "area", 2.0234282112),
        ("100 ton", "mass", 90.718474),
        ("1.5 ton/ac", "mass per area", 3.362553468583368),
        ("60 $/ton", "money per mass", 66.13867865),
        ("$60/ton", "money per mass", 66.13867865),
        ("0.55 $/lb", "money per mass", 1212.5424418),
        ("7.3 lb/ft3", "density", 116.93475),
        ("9,840 ft", "length", 2999.232),
    ],
)
def test_quantities_agree_with_a_units_library(text: str, dimension: str, si: float) -> None:
    """The general units library pint is the oracle; the figure beside it guards against reading both wrong."""
    import pint

    registry = pint.UnitRegistry()
    written = text.replace(",", "").replace("$", "").replace("ton", "short_ton").strip()
    names = {
        "length": "m",
        "area": "hectare",
        "mass": "megagram",
        "mass per area": "megagram/hectare",
        "density": "kg/m**3",
    }
    ours = u.parse_quantity(text, dimension)
    assert ours == pytest.approx(si, rel=1e-6)
    if dimension in names:
        quantity = registry.Quantity(written.replace("ac", "acre").replace("ft3", "ft**3"))
        # pint's acre is the survey acre, 4 parts in a million larger than the international one
        assert ours == pytest.approx(quantity.to(names[dimension]).magnitude, rel=5e-6)


@pytest.mark.parametrize("text", ["100", 100, 1.5, "12 furlong", "ft", "", None, "12 ft ft", "nan ft", "1e999 furlong"])
def test_a_number_without_a_known_unit_is_refused(text: object) -> None:
    with pytest.raises(ValueError, match="unit"):
        u.parse_quantity(text, "length")
