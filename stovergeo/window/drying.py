"""The constants of drying and wetting, and moisture where both end."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.coefficients import Handbook

#: field -> key of the handbook below ``window``
KEYS: Final = {
    "tissue": "drying.tissue",
    "rain_water": "drying.rain_water",
    "uptake": "drying.uptake",
    "held": "rain.held",
    "fills_mm": "rain.fills",
    "soak": "rain.soak",
    "a_pct": "equilibrium.a",
    "b": "equilibrium.b",
    "most": "humidity.most",
    "dew_offset_c": "humidity.dew_offset",
    "dew_falls": "humidity.dew_falls",
    "standing": "drying.standing",
    "as_combined": "drying.as_combined",
    "windrow": "drying.windrow",
}
#: how stover lies while it dries; shredded and windrowed stover is raked just ahead of the baler
METHODS: Final = ("combined", "shredded", "windrowed")


class Drying(NamedTuple):
    """The constants of one run of the model; each key of the handbook says what it is."""

    tissue: float  #: 1/(d kPa)
    rain_water: float  #: 1/(d kPa)
    uptake: float  #: 1/d
    held: float  #: kg/kg
    fills_mm: float
    soak: float
    a_pct: float  #: by dry mass
    b: float
    most: float
    dew_offset_c: float
    dew_falls: float
    standing: float
    as_combined: float
    windrow: float

    def factors(self) -> tuple[float, float, float]:
        """Return how fast stover dries as combined, shredded and in a windrow, over shredded stover."""
        return self.as_combined, 1.0, self.windrow


def drying_of(coefficients: Handbook) -> Drying:
    """Return the constants as the handbook has them."""
    return Drying(**{name: coefficients.value(f"window.{key}") for name, key in KEYS.items()})


def equilibrium_pct(humidity: ArrayLike, a_pct: float, b: float, most: float = 0.98) -> np.ndarray:
    """Return the moisture, % of the whole, at which stover neither dries nor wets.

    M = a (RH / (1 - RH))^b by dry mass, the Oswin form without temperature (form from memory, constants judgment).

    Examples
    --------
    >>> equilibrium_pct(0.7, 14, 0.22).round(1).item()
    14.4
    """
    capped = np.clip(np.asarray(humidity, dtype=float), 0, most)
    dry_basis = a_pct / 100 * (capped / (1 - capped)) ** b
    return 100 * dry_basis / (1 + dry_basis)


def moisture_at_combining_pct(grain_moisture_pct: ArrayLike, coefficients: Handbook) -> np.ndarray:
    """Return the moisture of stover when its grain is combined, % of the whole; typical where not known."""
    grain = np.asarray(grain_moisture_pct, dtype=float)
    most = coefficients.value("window.start.most")
    by_grain = np.minimum(most, coefficients.value("window.start.ratio") * grain)
    return np.where(np.isfinite(grain), by_grain, coefficients.value("window.start.moisture"))
