"""Ways to keep a bale, what each loses, and what the loss model does not answer.

The form of the model is ours, calibrated to published weighed losses of round bales (docs/storage-fit.md):
respiration, which needs no rain, plus the weather's share, which enters through the skin and
from the ground and grows with the rain.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.bales.bale import BaleSize
from stovergeo.core.bale_catalog import BASES, SHAPES, WRAPS, Cover, covers_of_places
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import StovergeoError
from stovergeo.core.messages import Catalog, Message


class Loss(NamedTuple):
    """Loss in percent of the dry matter baled; each a number or an array."""

    low: np.ndarray
    middle: np.ndarray
    high: np.ndarray


def respiration_pct(
    months: ArrayLike,
    moisture_pct: float,
    *,
    start: float,
    month: float,
    moisture_from: float,
    moisture_to: float,
    moisture_point: float,
) -> np.ndarray:
    """Return loss by respiration, percentage points.

    Parameters
    ----------
    months : float or array
        Time since baling.
    moisture_pct : float
        At baling, wet basis. Above `moisture_from` respiration rises by `moisture_point` a point,
        up to `moisture_to`.
    start, month : float
        Points at once, and points a month.
    """
    wetter = max(0.0, min(moisture_pct, moisture_to) - moisture_from)
    return (start + month * np.asarray(months, dtype=float)) * (1 + moisture_point * wetter)


def weather_pct(
    months: ArrayLike,
    rain_mm: ArrayLike,
    *,
    points: float,
    rain_reference: float,
    age_from: float,
    age_month: float,
) -> np.ndarray:
    """Return loss to rain and ground, percentage points.

    Parameters
    ----------
    months, rain_mm : float or array, same shape
        Time since baling, and the rain that counted in it.
    points : float
        Through the skin and from the ground, of a bale that is not worn, at the reference rain.
    rain_reference : float
        mm.
    age_from, age_month : float
        From this many months on, each month adds this share: a spoiled skin sheds less water.
    """
    worn = 1 + age_month * np.maximum(0, np.asarray(months, dtype=float) - age_from)
    return points * worn * np.asarray(rain_mm, dtype=float) / rain_reference


def loss_band(
    respiration: np.ndarray,
    weather: np.ndarray,
    *,
    most: float,
    low_respiration: float,
    low_weather: float,
    high_respiration: float,
    high_weather: float,
) -> Loss:
    """Return low, middle and high loss from its two parts, none above `most`."""
    return Loss(
        np.minimum(most, low_respiration * respiration + low_weather * weather),
        np.minimum(most, respiration + weather),
        np.minimum(most, high_respiration * respiration + high_weather * weather),
    )


def value_of_loss(loss: ArrayLike, price_per_mg: ArrayLike) -> np.ndarray:
    """Return what a loss costs for each Mg put in, $/Mg: loss (fraction) x price (Huhnke, BAE-1716 table).

    Examples
    --------
    >>> round(float(value_of_loss(0.10, 80.0)), 2)  # $/Mg
    8.0
    """
    return np.asarray(loss, dtype=float) * np.asarray(price_per_mg, dtype=float)


def break_even_price_per_mg(added_cost: float, bale_dry_mg: float, loss_saved: float) -> float:
    """Return the stover price from which a dearer wrap pays, $/Mg; infinite where it saves nothing.

    Parameters
    ----------
    added_cost : float
        What the dearer wrap costs more, $/bale, the baler's longer stop included.
    bale_dry_mg : float
        Dry mass baled, Mg.
    loss_saved : float
        Loss of the cheaper less loss of the dearer, fraction.

    Examples
    --------
    A wrap that costs $2 more and saves a tenth of half a Mg:

    >>> break_even_price_per_mg(2.0, bale_dry_mg=0.5, loss_saved=0.1)
    40.0
    """
    if loss_saved <= 0:
        return 0.0 if added_cost <= 0 else float("inf")
    return added_cost / (bale_dry_mg * loss_saved)


message = Catalog("stovergeo.bales")


class OutsideGroundError(StovergeoError, ValueError):
    """The loss model was asked about bales on which there is no ground to answer."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class StorageMethod:
    """One storage option for bales until they are used."""

    wrap: str  #: one of `stovergeo.core.bale_catalog.WRAPS`
    base: str  #: one of `stovergeo.core.bale_catalog.BASES`: what the bales stand on
    place: str = "outside"  #: as in the plan: outside, tarped rows, open shed, closed shed
    pattern: str = "single row"  #: as in the plan: single row, mushroom, pyramid, touching rows

    @property
    def cover(self) -> Cover:
        """What meets the rain: the place's roof or tarp, else the wrap."""
        return covers_of_places().get(self.place) or WRAPS[self.wrap]

    @property
    def title(self) -> str:
        """Its name: the wrap, what it stands under, and on."""
        below = "" if self.cover.name == self.wrap else f" {self.cover.below}"
        return f"{WRAPS[self.wrap].title}{below} on {BASES[self.base].title}"


def way_message(wrap: str, base: str) -> Message:
    """Return the name of a wrap on a base."""
    return message("storage.way", wrap=WRAPS[wrap].title, base=BASES[base].title)


def month_message(month: int, year: int) -> Message:
    """Return the name of a month of use."""
    return message("storage.month_year", month=int(month), year=str(year))  # as text: a year has no thousands


def base_of_ground(drainage_class: float, clay_pct: float, coefficients: Handbook) -> str:
    """Return what bare ground is to a bale: "clay" for heavy clay or wet ground, else "soil".

    Unknown values (NaN) do not make the ground wet.
    """
    heavy = clay_pct >= coefficients.value("storage.heavy_clay_pct")
    wet = drainage_class >= coefficients.value("storage.wet_drainage_class")
    return "clay" if heavy or wet else "soil"


def rejection_reason(option: StorageMethod, shape: str, moisture_pct: float, coefficients: Handbook) -> Message | None:
    """Return why bales cannot be kept this way; None where they can.

    Bales too wet, and large squares without a roof or tarp, are outside the ground on which
    the loss model stands; advice against them is published, a loss figure to rely on is not.
    Damp bales heat, so they stand in no building, and the dampest in single rows only.
    """
    wettest = min(coefficients.value("storage.moisture_max"), coefficients.value("storage.respiration.moisture_to"))
    if moisture_pct > wettest:
        return message("refused.too_wet", moisture=moisture_pct, limit=wettest)
    damp, damper = coefficients.value("storage.band.green"), coefficients.value("storage.band.amber")
    if moisture_pct > damp and option.cover.roof:
        return message("refused.damp_under_roof", moisture=moisture_pct, limit=damp)
    if moisture_pct > damper and option.pattern != "single row":
        return message("refused.damp_in_a_block", moisture=moisture_pct, limit=damper)
    if shape not in option.cover.shapes:
        uncovered = coefficients["storage.square_open"]
        why = message("refused.uncovered", low=uncovered.low, high=uncovered.high)
        if option.cover.rain_cover:
            made_for = tuple(SHAPES[s].title for s in option.cover.shapes)
            return message("refused.unsuited", wrap=option.cover.title, shapes=made_for, why=why)
        return why
    return None


def storage_loss(
    option: StorageMethod,
    bale: BaleSize,
    months: ArrayLike,
    rain_mm: ArrayLike,
    coefficients: Handbook,
    crop: str = "stover",
) -> Loss:
    """Return dry matter lost in storage, percent of what was baled.

    Parameters
    ----------
    option : StorageMethod
    bale : BaleSize
        Its shape and its moisture at baling count.
    months : float or array
        Time since baling.
    rain_mm : float or array of the same shape
        Rain that counted in that time (`rain_by_mm`).
    coefficients : Handbook
    crop : {"stover", "hay"}
        Hay and perennial grass, on which the trials were made, shed water better.

    Returns
    -------
    Loss
        Low, middle and high, each of the shape of `months`.

    Raises
    ------
    OutsideGroundError
        For bales that are too wet, and large squares without a tarp or roof.
    """
    refused = rejection_reason(option, bale.shape, bale.moisture_pct, coefficients)
    if refused is not None:
        raise OutsideGroundError(refused)
    cover = option.cover
    if bale.shape in cover.flat_loss:
        flat = coefficients[cover.flat_loss[bale.shape]]
        same = np.ones_like(np.asarray(months, dtype=float))
        return Loss(flat.low * same, flat.value * same, flat.high * same)
    pattern = "single_row" if cover.over_row else option.pattern.replace(" ", "_")
    asked = ("start", "month", "moisture_from", "moisture_to", "moisture_point")
    breath = respiration_pct(
        months, bale.moisture_pct, **{n: coefficients.value(f"storage.respiration.{n}") for n in asked}
    )
    # through the skin, and from the ground against drained soil; the pattern against single rows, the crop against hay
    ground = coefficients.value(cover.loss_key("ground_wicking")) * coefficients.value(f"storage.base.{option.base}")
    alone = coefficients.value(cover.loss_key("rain_entry")) + ground
    weather = weather_pct(
        months,
        rain_mm,
        points=alone * coefficients.value(f"storage.pattern.{pattern}") * coefficients.value(f"storage.crop.{crop}"),
        rain_reference=coefficients.value("storage.rain_reference"),
        age_from=coefficients.value("storage.age.from_months"),
        age_month=coefficients.value("storage.age.month"),
    )
    asked = ("most", "low_respiration", "low_weather", "high_respiration", "high_weather")
    return loss_band(breath, weather, **{n: coefficients.value(f"storage.{n}") for n in asked})
