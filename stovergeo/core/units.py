"""Exact unit factors, and quantities written with their unit.

SI is used everywhere inside: dry Mg/ha, m, ha, $/Mg. Bushels, tons, acres and feet
exist only in the readers, in the plan file and in the printers; all of them convert here.

A factor is named ``<TO>_PER_<FROM>``: multiply a value in FROM by it to get TO.
"""

from __future__ import annotations

import math
import re
from typing import Final

# International pound, foot and acre (exact by definition, 1959 agreement; the US survey
# foot is another unit and never used here).
KG_PER_LB: Final = 0.45359237
M_PER_FT: Final = 0.3048
M_PER_IN: Final = M_PER_FT / 12
M_PER_MI: Final = 5280 * M_PER_FT
M2_PER_HA: Final = 10_000.0
M2_PER_ACRE: Final = 43_560 * M_PER_FT**2
HA_PER_ACRE: Final = M2_PER_ACRE / M2_PER_HA
KG_PER_MG: Final = 1000.0
MG_PER_TON: Final = 2000 * KG_PER_LB / KG_PER_MG  # ton = US short ton, 2,000 lb
MG_HA_PER_TON_ACRE: Final = MG_PER_TON / HA_PER_ACRE
KG_HA_PER_LB_ACRE: Final = KG_PER_LB / HA_PER_ACRE
KG_M3_PER_LB_FT3: Final = KG_PER_LB / M_PER_FT**3
KG_MG_PER_LB_TON: Final = 0.5  # lb per short ton -> kg per Mg, exact

# The trade's corn bushel: 56 lb at 15.5 % moisture, wet basis (US grain standards).
LB_PER_BUSHEL_CORN: Final = 56.0
CORN_MARKET_MOISTURE: Final = 0.155
KG_DRY_PER_BUSHEL_CORN: Final = LB_PER_BUSHEL_CORN * KG_PER_LB * (1 - CORN_MARKET_MOISTURE)
MG_HA_DRY_PER_BU_ACRE: Final = KG_DRY_PER_BUSHEL_CORN / KG_PER_MG / HA_PER_ACRE

# Soil-loss handbooks: US customary to SI, exact from the factors above
# (storm energy 1 ft·tonf = 2,000 ft·lbf; 1 lbf = 4.4482216152605 N). Rounded they are those of Foster et al. 1981
# (J. Soil Water Conserv. 36:355-359; from memory): R x 17.02, K x 0.1317, soil loss and tolerance x 2.242.
J_PER_FT_TONF: Final = 2000 * 4.4482216152605 * M_PER_FT
#: erosivity R, 100 ft·tonf·in/(ac·h·yr) -> MJ·mm/(ha·h·yr)
R_SI_PER_US: Final = 100 * J_PER_FT_TONF / 1e6 * 25.4 / HA_PER_ACRE
#: erodibility K, ton·ac·h/(100 ac·ft·tonf·in) -> Mg·ha·h/(ha·MJ·mm)
K_SI_PER_US: Final = MG_HA_PER_TON_ACRE / R_SI_PER_US

_DIMENSIONS: Final[dict[str, dict[str, float]]] = {
    "length": {"m": 1, "km": 1000, "cm": 0.01, "mm": 0.001, "ft": M_PER_FT, "in": M_PER_IN, "mi": M_PER_MI},
    "area": {"m2": 1e-4, "ha": 1, "ac": HA_PER_ACRE, "acre": HA_PER_ACRE, "acres": HA_PER_ACRE},
    "mass": {
        "kg": 0.001,
        "Mg": 1,
        "t": 1,
        "lb": KG_PER_LB / KG_PER_MG,
        "ton": MG_PER_TON,
        "tons": MG_PER_TON,
    },
    "mass per area": {
        "Mg/ha": 1,
        "t/ha": 1,
        "kg/ha": 0.001,
        "kg/m2": 10,
        "g/m2": 0.01,
        "ton/ac": MG_HA_PER_TON_ACRE,
        "lb/ac": KG_HA_PER_LB_ACRE / KG_PER_MG,
    },
    # as it was weighed; a bushel is 56 lb of it at the market's moisture
    "weighed grain": {
        **dict.fromkeys(("Mg", "t"), 1),
        "kg": 0.001,
        "lb": KG_PER_LB / KG_PER_MG,
        **dict.fromkeys(("ton", "tons"), MG_PER_TON),
        "bu": LB_PER_BUSHEL_CORN * KG_PER_LB / KG_PER_MG,
    },
    "grain per area": {"Mg/ha": 1, "t/ha": 1, "bu/ac": MG_HA_DRY_PER_BU_ACRE},  # dry grain; the bushel at 15.5 %
    "density": {"kg/m3": 1, "lb/ft3": KG_M3_PER_LB_FT3},
    "speed": {"m/s": 1, "km/h": 1 / 3.6, "mph": M_PER_MI / 3600},
    "money per mass": {
        "$/Mg": 1,
        "$/t": 1,
        "$/kg": 1000,
        "$/ton": 1 / MG_PER_TON,
        "$/lb": KG_PER_MG / KG_PER_LB,
    },
    "money per area": {"$/ha": 1, "$/ac": 1 / HA_PER_ACRE, "$/m2": M2_PER_HA},
    "money per length": {"$/m": 1, "$/ft": 1 / M_PER_FT, "$/km": 0.001, "$/mi": 1 / M_PER_MI},
    "time": {"s": 1, "min": 60, "h": 3600, "d": 86_400},
    "mass per mass": {"kg/Mg": 1, "kg/t": 1, "lb/ton": KG_MG_PER_LB_TON},
    # of the soil-loss equation; "US" is the unit of the US handbooks, which nobody spells out
    "rainfall erosivity": {**dict.fromkeys(("MJ mm/(ha h yr)", "MJ mm/ha/h/yr"), 1), "US": R_SI_PER_US},
    "soil erodibility": {
        **dict.fromkeys(("t ha h/(ha MJ mm)", "Mg ha h/(ha MJ mm)", "t h/(MJ mm)", "Mg h/(MJ mm)"), 1),
        "US": K_SI_PER_US,
    },
    "soil loss": {**dict.fromkeys(("t/ha/yr", "Mg/ha/yr"), 1), "ton/ac/yr": MG_HA_PER_TON_ACRE},
}
#: what a quantity looks like, where "12" of it would be none that occurs
_EXAMPLES: Final = {"rainfall erosivity": "160 US", "soil erodibility": "0.32 US", "soil loss": "5 ton/ac/yr"}
#: the unit in which each dimension is kept inside
SI_UNIT: Final = {
    "length": "m",
    "area": "ha",
    "mass": "Mg",
    "mass per area": "Mg/ha",
    "weighed grain": "Mg",
    "grain per area": "Mg/ha",
    "density": "kg/m3",
    "speed": "m/s",
    "money per mass": "$/Mg",
    "money per area": "$/ha",
    "money per length": "$/m",
    "time": "s",
    "mass per mass": "kg/Mg",
    "rainfall erosivity": "MJ mm/(ha h yr)",
    "soil erodibility": "Mg ha h/(ha MJ mm)",
    "soil loss": "Mg/ha/yr",
}
#: a comma stands between thousands only: "1,5 m" would else be read as 15 m
_NUMBER = r"(?:\d{1,3}(?:,\d{3})+|\d[\d_]*)(?:\.\d*)?(?:[eE][-+]?\d+)?|\.\d+"
_QUANTITY = re.compile(rf"\s*([-+]?(?:{_NUMBER}))\s*([^\d\s,.].*?)\s*", re.ASCII)
_DECIMAL_COMMA = re.compile(r"\s*[-+$]?\s*\d+,\d+\b.*")


class Quantity(float):
    """A number in SI that remembers how it was given, or how a ledger of rounded numbers prints it.

    Arithmetic on it returns a plain float: what is worked out from it was given by nobody.

    Parameters
    ----------
    value : float
        In SI.
    given : float, optional
        The number as a plan file or a source gives it.
    unit : str, optional
        The unit of `given`.
    printed : mapping of str to str, optional
        The number as printed in each unit system, without its unit.
    """

    __slots__ = ("given", "printed", "unit")

    given: float | None
    unit: str
    printed: dict[str, str]

    def __new__(
        cls, value: float, given: float | None = None, unit: str = "", printed: dict[str, str] | None = None
    ) -> Quantity:
        """Make the number."""
        made = super().__new__(cls, value)
        made.given, made.unit, made.printed = given, unit, dict(printed or {})
        return made

    def __reduce__(self) -> tuple[type[Quantity], tuple[float, float | None, str, dict[str, str]]]:
        """Keep what it remembers when it is copied or sent to another process."""
        return Quantity, (float(self), self.given, self.unit, self.printed)


def rescaled(value: float, factor: float) -> float:
    """Return the same amount in another SI unit, `factor` times the number; how it was given stays."""
    changed = value * factor
    return Quantity(changed, value.given, value.unit) if isinstance(value, Quantity) else changed


def unit_names(dimension: str) -> tuple[str, ...]:
    """Return the units a plan file may use for a dimension, e.g. ``("m", "km", ..., "ft")``."""
    return tuple(_DIMENSIONS[dimension])


def to_si(value: float, unit: str, dimension: str) -> float:
    """Convert a value in a named unit to the inside unit of its dimension (`SI_UNIT`).

    Raises
    ------
    ValueError
        When the unit does not belong to the dimension; the message lists those that do.
    """
    factors = _DIMENSIONS[dimension]
    if unit not in factors:
        raise ValueError(f"{unit!r} is not a unit of {dimension}; use one of: {', '.join(factors)}")
    return value * factors[unit]


def per_si_unit(si_unit: str, unit: str, dimension: str) -> tuple[float, float]:
    """Return factor and offset that turn a value in `si_unit` into one in `unit`.

    Raises
    ------
    ValueError
        When either does not belong to the dimension.
    """
    if dimension == "temperature":
        if si_unit != "°C" or unit not in ("°C", "°F"):
            raise ValueError(f"{unit!r} is not a unit of temperature; use °C or °F")
        return (1.8, 32.0) if unit == "°F" else (1.0, 0.0)
    factors = _DIMENSIONS[dimension]
    for name in (si_unit, unit):
        to_si(1.0, name, dimension)  # refuses a unit of something else
    return factors[si_unit] / factors[unit], 0.0


def parse_quantity(text: object, dimension: str, currency: str = "$") -> Quantity:
    """Read ``"100 ft"`` or ``"2.5 ac"`` as a number in the inside unit of `dimension` that remembers how it was given.

    Parameters
    ----------
    text : str
        A number, a space, a unit. A bare number is an error: units are never guessed.
        Money may be written ``"$60/ton"`` or ``"60 $/ton"``.
    dimension : str
        A key of `SI_UNIT`.
    currency : str
        Sign or code of money; inside, its units are those of "$".

    Raises
    ------
    ValueError
        For a bare number, an unknown unit, or text that is not a quantity.
    """
    example = _EXAMPLES.get(dimension, f"12 {unit_names(dimension)[0]}").replace("$", currency)
    if not isinstance(text, str):
        raise ValueError(f"needs a number with its unit in quotes, such as '{example}', not {text!r}")
    money = re.fullmatch(rf"\s*{re.escape(currency)}\s*({_NUMBER})\s*/\s*(\S+)\s*", text, re.ASCII)
    match = _QUANTITY.fullmatch(f"{money[1]} {currency}/{money[2]}" if money else text)
    if not match:
        comma = "; write a decimal point, not a comma" if _DECIMAL_COMMA.fullmatch(text) else ""
        raise ValueError(f"needs a number with its unit, such as '{example}', not {text!r}{comma}")
    given = float(match[1].replace(",", "").replace("_", ""))
    unit = match[2]
    if dimension.startswith("money"):
        if not unit.startswith(currency):
            cure = f"write it such as '{example}', or name the other money as `farm.currency`"
            raise ValueError(f"is not in {currency}, the plan's currency: {text!r}; {cure}")
        unit = f"${unit.removeprefix(currency).lstrip()}"
    number = to_si(given, unit, dimension)
    if not math.isfinite(number):
        raise ValueError(f"is larger than any number: {text!r}")
    return Quantity(number, given, unit)
