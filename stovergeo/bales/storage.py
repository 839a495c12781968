"""Ways to keep a bale, what each loses, and what the loss model refuses to answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.loss import Loss, loss_band, respiration_pct, weather_pct
from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import StovergeoError

WRAPS: Final = ("sisal_twine", "twine", "net", "full_cover", "stretch_film", "tarp")
BASES: Final = ("clay", "soil", "gravel", "tires")

TITLES: Final = {
    "sisal_twine": "sisal twine",
    "twine": "twine",
    "net": "net",
    "full_cover": "full cover that sheds rain",
    "stretch_film": "stretch film",
    "tarp": "tarp over the row",
    "open_shed": "open shed",
    "closed_shed": "closed shed",
    "clay": "heavy clay or wet ground",
    "soil": "drained ground",
    "gravel": "gravel",
    "tires": "tires or pallets",
}
_UNDER: Final = {"tarp": "under a tarp", "open_shed": "in an open shed", "closed_shed": "in a closed shed"}
_ROOFS: Final = ("open_shed", "closed_shed")
_COVER_OF_PLACE: Final = {"tarped rows": "tarp", "open shed": "open_shed", "closed shed": "closed_shed"}


class OutsideGroundError(StovergeoError, ValueError):
    """The loss model was asked about bales on which there is no ground to answer."""

    exit_code = 2


@dataclass(frozen=True, slots=True)
class Keeping:
    """One way to keep bales until they are used."""

    wrap: str  #: one of `WRAPS`
    base: str  #: one of `BASES`: what the bales stand on
    place: str = "outside"  #: as in the plan: outside, tarped rows, open shed, closed shed
    pattern: str = "single row"  #: as in the plan: single row, mushroom, pyramid, touching rows

    @property
    def cover(self) -> str:
        """What meets the rain: the place's roof or tarp, else the wrap."""
        return _COVER_OF_PLACE.get(self.place, self.wrap)

    @property
    def title(self) -> str:
        """The same in words."""
        over = "" if self.cover == self.wrap else f" {_UNDER[self.cover]}"
        return f"{TITLES[self.wrap]}{over} on {TITLES[self.base]}"


def base_of_ground(drainage_class: float, clay_pct: float, book: Handbook) -> str:
    """Return what bare ground is to a bale: "clay" for heavy clay or wet ground, else "soil".

    Unknown values (NaN) do not make the ground wet.
    """
    heavy = clay_pct >= book.value("storage.heavy_clay_pct")
    wet = drainage_class >= book.value("storage.wet_drainage_class")
    return "clay" if heavy or wet else "soil"


def why_not_kept(keeping: Keeping, shape: str, moisture_pct: float, book: Handbook) -> str:
    """Return why bales cannot be kept this way, in words; empty where they can.

    Bales too wet, and large squares without a roof or tarp, are outside the ground on which
    the loss model stands; advice against them is published, a loss figure to rely on is not.
    Damp bales heat, so they stand in no building, and the dampest in single rows only.
    """
    wettest = min(book.value("storage.moisture_most"), book.value("storage.breath.moisture_to"))
    if moisture_pct > wettest:
        return (
            f"Baled at {moisture_pct:g} % moisture: above {wettest:g} % stover molds and heats and is not stored dry. "
            "Let it dry, use it at once, or ensile it airtight."
        )
    damp, damper = book.value("storage.band.green"), book.value("storage.band.amber")
    if moisture_pct > damp and keeping.cover in _ROOFS:
        return (
            f"Baled at {moisture_pct:g} % moisture: above {damp:g} % bales heat for weeks and stand in no building. "
            "Keep them outside, spaced and probed, until they are cool and dry."
        )
    if moisture_pct > damper and keeping.pattern != "single row":
        return (
            f"Baled at {moisture_pct:g} % moisture: above {damper:g} % bales heat, and only a single row outside "
            "lets the heat go."
        )
    if shape == "square" and keeping.cover not in ("tarp", "stretch_film", *_ROOFS):
        open_loss = book["storage.square_open"]
        reason = "A full cover is made for round bales. " if keeping.cover == "full_cover" else ""
        return (
            f"{reason}Large square bales without a tarp or roof lose {open_loss.low:g} to {open_loss.high:g} % "
            "and more; put them under a tarp or a roof."
        )
    return ""


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
    if refused:
        raise OutsideGroundError(refused)
    if bale.shape == "square" and keeping.cover == "stretch_film":
        flat = book["storage.square_film"]
        same = np.ones_like(np.asarray(months, dtype=float))
        return Loss(flat.low * same, flat.value * same, flat.high * same)
    covered = keeping.cover in ("tarp", *_ROOFS)
    pattern = "single_row" if covered else keeping.pattern.replace(" ", "_")
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
        through=book.value(f"storage.through.{keeping.cover}"),
        wick=book.value(f"storage.wick.{keeping.cover}"),
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
