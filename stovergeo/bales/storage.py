"""Ways to keep a bale, what each loses, and what the loss model does not answer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.loss import Loss, loss_band, respiration_pct, weather_pct
from stovergeo.core.bale_catalog import BASES, SHAPES, WRAPS, Cover, covers_of_places
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import StovergeoError
from stovergeo.core.messages import Catalog, Message

message = Catalog("stovergeo.bales")


class OutsideGroundError(StovergeoError, ValueError):
    """The loss model was asked about bales on which there is no ground to answer."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Keeping:
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


def base_of_ground(drainage_class: float, clay_pct: float, book: Handbook) -> str:
    """Return what bare ground is to a bale: "clay" for heavy clay or wet ground, else "soil".

    Unknown values (NaN) do not make the ground wet.
    """
    heavy = clay_pct >= book.value("storage.heavy_clay_pct")
    wet = drainage_class >= book.value("storage.wet_drainage_class")
    return "clay" if heavy or wet else "soil"


def why_not_kept(keeping: Keeping, shape: str, moisture_pct: float, book: Handbook) -> Message | None:
    """Return why bales cannot be kept this way; None where they can.

    Bales too wet, and large squares without a roof or tarp, are outside the ground on which
    the loss model stands; advice against them is published, a loss figure to rely on is not.
    Damp bales heat, so they stand in no building, and the dampest in single rows only.
    """
    wettest = min(book.value("storage.moisture_most"), book.value("storage.breath.moisture_to"))
    if moisture_pct > wettest:
        return message("refused.too_wet", moisture=moisture_pct, limit=wettest)
    damp, damper = book.value("storage.band.green"), book.value("storage.band.amber")
    if moisture_pct > damp and keeping.cover.roof:
        return message("refused.damp_under_roof", moisture=moisture_pct, limit=damp)
    if moisture_pct > damper and keeping.pattern != "single row":
        return message("refused.damp_in_a_block", moisture=moisture_pct, limit=damper)
    if shape not in keeping.cover.shapes:
        uncovered = book["storage.square_open"]
        why = message("refused.uncovered", low=uncovered.low, high=uncovered.high)
        if keeping.cover.rain_cover:
            made_for = tuple(SHAPES[s].title for s in keeping.cover.shapes)
            return message("refused.unsuited", wrap=keeping.cover.title, shapes=made_for, why=why)
        return why
    return None


def storage_loss(
    keeping: Keeping,
    bale: BaleSize,
    months: ArrayLike,
    rain_mm: ArrayLike,
    book: Handbook,
    crop: str = "stover",
) -> Loss:
    """Return dry matter lost in storage, percent of what was baled.

    Parameters
    ----------
    keeping : Keeping
    bale : BaleSize
        Its shape and its moisture at baling count.
    months : float or array
        Time since baling.
    rain_mm : float or array of the same shape
        Rain that counted in that time (`rain_by_mm`).
    book : Handbook
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
    refused = why_not_kept(keeping, bale.shape, bale.moisture_pct, book)
    if refused is not None:
        raise OutsideGroundError(refused)
    cover = keeping.cover
    if bale.shape in cover.flat_loss:
        flat = book[cover.flat_loss[bale.shape]]
        same = np.ones_like(np.asarray(months, dtype=float))
        return Loss(flat.low * same, flat.value * same, flat.high * same)
    pattern = "single_row" if cover.over_row else keeping.pattern.replace(" ", "_")
    breath = respiration_pct(
        months,
        bale.moisture_pct,
        start=book.value("storage.breath.start"),
        month=book.value("storage.breath.month"),
        moisture_from=book.value("storage.breath.moisture_from"),
        moisture_to=book.value("storage.breath.moisture_to"),
        moisture_point=book.value("storage.breath.moisture_point"),
    )
    weather = weather_pct(
        months,
        rain_mm,
        through=book.value(cover.loss_key("through")),
        wick=book.value(cover.loss_key("wick")),
        base=book.value(f"storage.base.{keeping.base}"),
        pattern=book.value(f"storage.pattern.{pattern}"),
        crop=book.value(f"storage.crop.{crop}"),
        rain_reference=book.value("storage.rain_reference"),
        age_from=book.value("storage.age.from_months"),
        age_month=book.value("storage.age.month"),
    )
    return loss_band(
        breath,
        weather,
        most=book.value("storage.most"),
        low_breath=book.value("storage.low_breath"),
        low_weather=book.value("storage.low_weather"),
        high_breath=book.value("storage.high_breath"),
        high_weather=book.value("storage.high_weather"),
    )
