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
from stovergeo.residue.production import laid_down, mass_of, surviving
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
    >>> options.full_width, 0 < options.surviving() < 1
    (False, True)
    """

    crop: Crop
    limits: Limits
    coefficients: Handbook
    method: Method | None = None  #: None: no stubble is counted on, all stover that is left lies flat
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

    def surviving(self) -> Number:
        """Return the share of flat stover still on the surface after winter and the plan's passes."""
        passes = [self.number(f"tillage.{name}") for name in self.crop.tillage]
        return surviving(self.number("retention.cover.overwinter"), passes)

    def standing(self) -> Number:
        """Return the share of all stover that still stands after the plan's passes (0 where no method is given)."""
        if self.method is None or self.method.stands == 0:
            return 0.0
        laid = laid_down([self.number(f"flattening.{name}") for name in self.crop.tillage])
        return self.method.stands * (1 - laid)

    def to_leave(self, flat_kg_ha: Number, stover_mg_ha: xr.DataArray) -> xr.DataArray:
        """Return the stover (Mg/ha) to leave at harvest so that `flat_kg_ha` lies on the surface after planting.

        What stands does not lie flat, so it comes on top.
        """
        return self.standing() * stover_mg_ha + flat_kg_ha / self.surviving() / KG_PER_MG

    def to_leave_for_cover(self, cover_pct: xr.DataArray, stover_mg_ha: xr.DataArray) -> xr.DataArray:
        """Return the stover (Mg/ha) to leave for a cover (%) after planting; all of it where no amount suffices.

        Ground that needs no cover asks for nothing. Unknown where the cover is.
        """
        most = self.number("retention.cover.most")
        flat = mass_of(np.minimum(cover_pct, most) / 100, self.number("retention.cover.k"))
        asked = xr.where(cover_pct > 0, self.to_leave(flat, stover_mg_ha), 0.0).where(cover_pct.notnull())
        return xr.where(cover_pct > most, np.maximum(asked, stover_mg_ha), asked)

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


def check_passes(crop: Crop, coefficients: Handbook, report: Report) -> None:
    """Report every tillage pass the handbook does not know."""
    known = coefficients.group("tillage")
    for name in crop.tillage:
        if name not in known:
            cure = f"Use names from: {', '.join(known)}."
            report.add("residue.unknown_pass", "plan file, crop.tillage", unknown_value(name, known), cure)
