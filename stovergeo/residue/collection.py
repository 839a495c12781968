"""The methods of gathering stover: what the plant is made of, and what each method takes from a given stand.

A cut height is a share x of the plant's height, 0 at the ground and 1 at the tip.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from stovergeo.core.coefficients import Handbook
from stovergeo.residue.production import Amount

#: parts of the stover, in the order they are listed everywhere
PARTS: Final = ("stalk", "leaf", "cob", "husk")

# Share of the stalk's mass below a share of its height: inverted from 46, 72 and 100 % of
# stover collected with the top half, the top three quarters and the whole stalk
# (Biomass & Bioenergy 31:576-584, 2007), with 21 % leaf spread evenly and the ear always taken.
_CUT: Final = (0.0, 0.25, 0.5, 1.0)
_STALK_BELOW: Final = (0.0, 0.40625, 0.77679, 1.0)


def stalk_below(cut: ArrayLike) -> np.ndarray:
    """Return the share of the stalk's mass that stands below a cut, straight between the measured heights."""
    return np.interp(np.asarray(cut, dtype=float), _CUT, _STALK_BELOW)


def reach(cut: float) -> Mapping[str, float]:
    """Return the share of each part that lies above a cut; cob and husk hang on the ear and are always above."""
    return {"stalk": 1 - float(stalk_below(cut)), "leaf": 1 - cut, "cob": 1.0, "husk": 1.0}


#: the methods of gathering, least removal first, with the name a grower reads
TITLES: Final = {
    "single_pass": "single pass",
    "second_pass": "second pass",
    "rake_bale": "rake and bale",
    "chop_and_rake": "chop, rake and bale",
}


@dataclass(frozen=True, slots=True)
class Method:
    """One method of gathering stover. Shares are of the dry stover standing before harvest."""

    name: str
    title: str
    fraction: float  #: share gathered
    parts: Mapping[str, float]  #: share of what is gathered: stalk, leaf, cob, husk
    cut_fraction: float  #: height of the stubble as a share of the plant's height
    cut_height_m: float  #: the same in meters
    stands: float  #: share of all stover that stands after gathering, before any tillage
    moisture_pct: float  #: at baling, wet basis
    ash_pct: float  #: of the bale's dry matter
    plant_ash_pct: float  #: of the clean plant
    passes: int  #: over the field after the combine

    @property
    def clean_fraction(self) -> float:
        """Plant in the bale's dry matter; the rest is soil, which a buyer of clean dry matter does not pay for."""
        return clean_fraction(self.ash_pct, self.plant_ash_pct)

    @property
    def takes_ear_only(self) -> bool:
        """True where more than half of the bale is cob and husk, with less of each nutrient than stalk and leaf."""
        return self.parts["cob"] + self.parts["husk"] > 0.5


def clean_fraction(ash_pct: Amount, plant_ash_pct: Amount) -> Amount:
    """Return plant matter as a share of a bale's dry matter, from the bale's ash and the clean plant's."""
    return np.minimum((1 - ash_pct / 100) / (1 - plant_ash_pct / 100), 1.0)


def soil_in_bales(removal_mg_ha: Amount, ash_pct: Amount, plant_ash_pct: Amount) -> Amount:
    """Return soil carried off with the stover (Mg/ha), where `removal_mg_ha` is plant matter."""
    return removal_mg_ha * (1 / clean_fraction(ash_pct, plant_ash_pct) - 1)


def recut(
    fraction: float, parts: Mapping[str, float], typical_cut: float, cut: float, whole: Mapping[str, float]
) -> tuple[float, dict[str, float]]:
    """Return share gathered and its make-up when the stubble is cut at another height.

    Stalk and leaf change as more or less of them lies above the cut; cob and husk hang on the ear.

    Parameters
    ----------
    fraction : float
        Share gathered at the typical cut.
    parts : mapping
        Make-up of what is gathered at the typical cut.
    typical_cut, cut : float
        Heights as shares of the plant's.
    whole : mapping
        Make-up of the whole stover; no more of a part is gathered than lies above the cut.
    """
    before, after = reach(typical_cut), reach(cut)
    mass = {p: min(fraction * parts[p] * after[p] / before[p], whole[p] * after[p]) for p in PARTS}
    gathered = sum(mass.values())
    return gathered, {p: m / gathered for p, m in mass.items()}


def methods(
    coefficients: Handbook, names: Iterable[str] | None = None, cut_height_m: float | None = None
) -> dict[str, Method]:
    """Return the methods of gathering by name, with their numbers from the handbook.

    Parameters
    ----------
    coefficients : Handbook
    names : iterable of str, optional
        Only these, in the order of `TITLES`.
    cut_height_m : float, optional
        Height of the stubble the combine leaves; left out, the typical one of each method.
    """
    wanted = set(TITLES if names is None else names)
    return {name: _method(coefficients, name, cut_height_m) for name in TITLES if name in wanted}


def _method(coefficients: Handbook, name: str, cut_height_m: float | None) -> Method:
    key = f"methods.{name}"
    height = coefficients.value("residue.stalk_height")
    typical = coefficients.value(f"{key}.cut_height")
    shredded = coefficients.value(f"{key}.shredded") > 0
    cut = typical if cut_height_m is None or shredded else min(cut_height_m / height, 0.95)
    whole = {p: coefficients.value(f"residue.fraction.{p}") for p in PARTS}
    gathered, parts = coefficients.value(f"{key}.share"), {p: coefficients.value(f"{key}.part.{p}") for p in PARTS}
    if cut != typical:
        gathered, parts = recut(gathered, parts, typical, cut, whole)
    return Method(
        name=name,
        title=TITLES[name],
        fraction=gathered,
        parts=parts,
        cut_fraction=cut,
        cut_height_m=cut * height,
        # only stalk stands: leaves drop, and what is shredded lies flat
        stands=0.0 if shredded else whole["stalk"] * float(stalk_below(cut)),
        moisture_pct=coefficients.value(f"{key}.moisture"),
        ash_pct=coefficients.value(f"{key}.ash"),
        plant_ash_pct=coefficients.value("methods.ash_of_plant"),
        passes=round(coefficients.value(f"{key}.passes")),
    )


def take(stover_mg_ha: Amount, method: Method) -> Amount:
    """Return dry stover gathered by a method, Mg/ha."""
    return method.fraction * stover_mg_ha
