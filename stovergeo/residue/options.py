"""What a retention rule gets beside the stack: the plan, the handbook, the method of gathering."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, TypeAlias

import numpy as np
import xarray as xr

from stovergeo.core.coefficients import Handbook
from stovergeo.core.errors import Report
from stovergeo.core.nearest import unknown_value
from stovergeo.core.units import KG_PER_MG
from stovergeo.inputs.plan.crop import Crop, Limits
from stovergeo.residue.collection import Method
from stovergeo.residue.cover_counts import CoverCount
from stovergeo.residue.production import cover_kept, laid_down, mass_for_cover
from stovergeo.residue.wind import silhouette_cm2_m2, standing_ratio

#: passes that leave most of the surface as it was
_NARROW_PASSES: Final = frozenset({"planter", "planter_no_till", "strip_till", "anhydrous_knife"})

Number: TypeAlias = Any  #: a float, or a DataArray of samples


@dataclass(frozen=True)
class RuleOptions:
    """The plan's crop and limits, the handbook's numbers, and the method where one is being judged.

    Rules ask for every coefficient with `number`, so that a Monte Carlo run can put samples
    (arrays along ``draw``) in the place of single numbers.

    Examples
    --------
    >>> from stovergeo import RuleOptions, load_handbook
    >>> from stovergeo.inputs.plan import Crop, Limits
    >>> options = RuleOptions(Crop(tillage=("planter_no_till",)), Limits(cover_pct=40), load_handbook())
    >>> options.full_width, options.passes_keep(("chisel_straight", "planter"))
    (False, 0.7200000000000001)
    """

    crop: Crop
    limits: Limits
    coefficients: Handbook
    method: Method | None = None  #: None: no stubble is counted on, all stover that is left lies flat
    counts: tuple[CoverCount, ...] = ()  #: of the fields on the stack
    drawn: Mapping[str, Number] = field(default_factory=dict, repr=False)
    asked: set[str] = field(default_factory=set, compare=False, repr=False)  #: keys that `number` was asked for

    def number(self, key: str) -> Number:
        """Return a coefficient: its samples where there are any, else the handbook's (or the plan's) number."""
        self.asked.add(key)
        return self.drawn[key] if key in self.drawn else self.coefficients.value(key)

    def with_method(self, method: Method | None) -> RuleOptions:
        """Return the same options for one method of gathering."""
        return replace(self, method=method)

    @property
    def full_width(self) -> bool:
        """True where any pass works the whole width of the ground."""
        return not set(self.crop.tillage) <= _NARROW_PASSES

    @property
    def plowed(self) -> bool:
        """True where the ground is turned over."""
        return "moldboard" in self.crop.tillage

    def cover_k(self) -> Number:
        """Return the cover coefficient of what stays, ha/kg: less where leaf, cob and husk were baled before stalk."""
        k, stalk = self.number("retention.cover.k"), self.coefficients.value("residue.fraction.stalk")
        if self.method is None or self.method.fraction >= 1 or stalk >= 1:
            return k
        baled = self.method.fraction
        left = (stalk - baled * self.method.parts["stalk"]) / (1 - baled)  # share of stalk in what stays
        left = min(max(left, 0.0), 1.0)
        of_stalk = self.number("retention.cover.stalk_k")
        of_rest = (1 - stalk * of_stalk) / (1 - stalk)  # so that the whole plant has k
        return k * np.minimum(left * of_stalk + (1 - left) * of_rest, 1.0)

    def passes_keep(self, names: tuple[str, ...]) -> Number:
        """Return the share of ground cover that passes keep, by the handbook."""
        return cover_kept(self.number(f"tillage.{name}") for name in names)

    def kept(self, stack: xr.Dataset) -> Number:
        """Return the share of ground cover that the plan's passes keep: by the count of a field that has one."""
        planned = self.passes_keep(self.crop.tillage)
        kept = planned
        if "field_number" not in stack:
            return kept
        for count in self.counts:
            counted = count.kept(
                self.number("retention.cover.count_error"),
                self.number("retention.cover.k"),
                self.number("retention.cover.overwinter"),
                planned,
                self.passes_keep(count.tillage),
            )
            kept = xr.where(stack["field_number"] == count.field_number, counted, kept)
        return kept

    def standing(self) -> Number:
        """Return the share of all stover that still stands after the plan's passes (0 where no method is given)."""
        if self.method is None or self.method.stands == 0:
            return 0.0
        laid = laid_down([self.number(f"flattening.{name}") for name in self.crop.tillage])
        return self.method.stands * (1 - laid)

    def to_leave_for_cover(self, cover_pct: Number, stack: xr.Dataset) -> xr.DataArray:
        """Return the stover (Mg/ha) to leave at harvest for a cover (%) after winter and the plan's passes.

        Flat stover is asked for; what stands does not cover, so it comes on top. All of it is asked for where no
        amount suffices: where the cover before the passes would have to be ``retention.cover.most`` or more. Ground
        that needs no cover asks for nothing. Unknown where the cover is.
        """
        # one call for all: array by array, lining up names of dims takes ten times as long as the arithmetic
        return xr.apply_ufunc(
            _to_leave,
            cover_pct,
            self.kept(stack),
            self.number("retention.cover.most"),
            self.cover_k(),
            self.number("retention.cover.overwinter"),
            self.standing(),
            stack["stover_mg_ha"],
        )

    def most_cover_pct(self) -> float:
        """Return the cover (%) after planting that the plan's passes leave at most, by the handbook."""
        kept = cover_kept(self.coefficients.value(f"tillage.{name}") for name in self.crop.tillage)
        return float(kept) * self.coefficients.value("retention.cover.most")

    def stubble_ratio(self) -> Number:
        """Return the share of wind loss that the standing stubble lets through (1 where no method is given)."""
        if self.method is None or self.method.stands == 0:
            return 1.0
        laid = laid_down([self.number(f"flattening.{name}") for name in self.crop.tillage])
        stalks = self.number("residue.stalks") * (1 - laid)
        silhouette = silhouette_cm2_m2(stalks, self.number("residue.stalk_diameter"), self.method.cut_height_m)
        return standing_ratio(
            silhouette, self.number("retention.wind.stubble_effect"), self.number("retention.wind.stubble_power")
        )


def _to_leave(
    cover_pct: np.ndarray,
    kept: np.ndarray,
    most_pct: np.ndarray,
    k: np.ndarray,
    overwinter: np.ndarray,
    stands: np.ndarray,
    stover: np.ndarray,
) -> np.ndarray:
    """Return what to leave for a cover, Mg/ha, from arrays that fit each other."""
    cover = cover_pct + 0.0 * stover  # unknown where the stover is
    before = cover / kept
    flat = mass_for_cover(np.minimum(before, most_pct) / 100, k, overwinter)
    asked = np.where(cover > 0, stands * stover + flat / KG_PER_MG, 0.0)
    asked = np.where(before >= most_pct, np.maximum(asked, stover), asked)
    return np.where(np.isnan(cover), np.nan, asked)


def check_passes(crop: Crop, coefficients: Handbook, report: Report) -> None:
    """Report every tillage pass the handbook does not know."""
    known = coefficients.group("tillage")
    for name in crop.tillage:
        if name not in known:
            cure = f"Use names from: {', '.join(known)}."
            report.add("residue.unknown_pass", "plan file, crop.tillage", unknown_value(name, known), cure)
