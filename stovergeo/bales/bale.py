"""The bale: its size, its mass dry and as it is, and how sure the density is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from stovergeo.core.bale_catalog import SHAPES, BaleShape
from stovergeo.core.coefficients import Handbook
from stovergeo.core.units import M_PER_FT
from stovergeo.inputs.plan.gather import Bale
from stovergeo.residue import Method

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

#: a number in, a number out; an array in, an array out
Numbers = TypeVar("Numbers", float, np.ndarray)


def round_volume_m3(diameter_m: Numbers, width_m: Numbers) -> Numbers:
    """Return the volume of a round bale, m3: a cylinder of its diameter and its width (axis).

    Examples
    --------
    A 5x6: 5 ft wide, 6 ft across.

    >>> round(round_volume_m3(diameter_m=1.8288, width_m=1.524), 2)
    4.0
    """
    return math.pi / 4 * diameter_m**2 * width_m


def square_volume_m3(height_m: Numbers, width_m: Numbers, length_m: Numbers) -> Numbers:
    """Return the volume of a rectangular bale, m3."""
    return height_m * width_m * length_m


def dry_mass(as_is: Numbers, moisture: Numbers) -> Numbers:
    """Return the oven-dry mass in a mass as it is; moisture as a fraction, wet basis."""
    return as_is * (1 - moisture)


def as_is_mass(dry: Numbers, moisture: Numbers) -> Numbers:
    """Return the mass as it is of an oven-dry mass; moisture as a fraction, wet basis."""
    return dry / (1 - moisture)


def spoiled_fraction(depth_m: ArrayLike, diameter_m: float, width_m: float | None = None) -> np.ndarray:
    """Return the share of a round bale's volume within a spoiled skin.

    Parameters
    ----------
    depth_m : float or array
        Depth of the skin, m; deeper than the radius spoils everything.
    diameter_m : float
    width_m : float, optional
        Given: both flat ends are spoiled to the same depth; left out: the curved side only.
        Bulletins count it both ways, so say which.

    Returns
    -------
    numpy.ndarray
        0 to 1, shape of `depth_m`.

    Examples
    --------
    A skin of 10 cm on a bale of 2 m is nearly a fifth of it:

    >>> round(float(spoiled_fraction(0.1, diameter_m=2.0)), 2)
    0.19
    """
    depth = np.asarray(depth_m, dtype=float)
    sound = np.clip(1 - 2 * depth / diameter_m, 0, 1) ** 2
    if width_m is not None:
        sound = sound * np.clip(1 - 2 * depth / width_m, 0, 1)
    return 1 - sound


@dataclass(frozen=True, slots=True)
class BaleSize:
    """One bale with its masses. Sizes carry the names of the plan's `[bale]`."""

    shape: str  #: name of an entry of `stovergeo.core.bale_catalog.SHAPES`
    width_m: float
    diameter_m: float  #: round; for a square bale its height, so that a row's depth reads the same
    height_m: float  #: as it lies: a round bale's diameter
    length_m: float  #: along the row: a round bale's width (axis)
    volume_m3: float
    density_dry_kg_m3: float
    density_low_kg_m3: float
    density_high_kg_m3: float
    moisture_pct: float  #: at baling, wet basis

    @property
    def kind(self) -> BaleShape:
        """The catalog's entry of its shape."""
        return SHAPES[self.shape]

    @property
    def dry_kg(self) -> float:
        """Oven-dry mass, kg."""
        return self.volume_m3 * self.density_dry_kg_m3

    @property
    def dry_low_kg(self) -> float:
        """Oven-dry mass at the low density, kg."""
        return self.volume_m3 * self.density_low_kg_m3

    @property
    def dry_high_kg(self) -> float:
        """Oven-dry mass at the high density, kg."""
        return self.volume_m3 * self.density_high_kg_m3

    @property
    def as_is_kg(self) -> float:
        """Mass as it leaves the baler, kg."""
        return as_is_mass(self.dry_kg, self.moisture_pct / 100)

    @property
    def name(self) -> str:
        """The trade's name: width x diameter in feet for round, height x width x length for square."""
        return "x".join(f"{getattr(self, f'{measure}_m') / M_PER_FT:.3g}" for measure in self.kind.measures)


def bale_of(bale: Bale, method: Method | None, coefficients: Handbook) -> BaleSize:
    """Return the plan's bale as a method makes it.

    Parameters
    ----------
    bale : Bale
        Section ``[bale]`` of the plan.
    method : Method, optional
        Method of gathering, which brings the moisture; None takes the handbook's dry-baled moisture.
        The plan's own moisture goes before both.
    coefficients : Handbook
        The `bale` group.

    Returns
    -------
    BaleSize
        Measures in m, masses in kg, density as low, default and high.

    Examples
    --------
    >>> from stovergeo import bale_of, load_handbook
    >>> from stovergeo.inputs.plan import Bale
    >>> bale = bale_of(Bale(size="5x6", dry_density="120 kg/m3", moisture_pct=18), None, load_handbook())
    >>> bale.name, round(bale.dry_kg), round(bale.as_is_kg)
    ('5x6', 480, 586)
    """
    if SHAPES[bale.shape].is_cylinder:
        volume = round_volume_m3(bale.diameter_m, bale.width_m)
        diameter, height, length = bale.diameter_m, bale.diameter_m, bale.width_m
    else:
        volume = square_volume_m3(bale.height_m, bale.width_m, bale.length_m)
        diameter, height, length = bale.height_m, bale.height_m, bale.length_m
    low, middle, high = _density(bale, coefficients)
    moisture = bale.moisture_pct
    if moisture is None:
        moisture = method.moisture_pct if method is not None else coefficients.value("bale.moisture")
    return BaleSize(bale.shape, bale.width_m, diameter, height, length, volume, middle, low, high, moisture)


def _density(bale: Bale, coefficients: Handbook) -> tuple[float, float, float]:
    """Return low, default and high dry density, kg/m3, by shape, condition and setting."""
    if bale.density_dry_kg_m3 is not None:
        return (bale.density_dry_kg_m3,) * 3
    shape = coefficients[SHAPES[bale.shape].density]
    factor = coefficients.value(f"bale.condition.{bale.condition}") * coefficients.value(f"bale.setting.{bale.setting}")
    return shape.low * factor, shape.value * factor, shape.high * factor
