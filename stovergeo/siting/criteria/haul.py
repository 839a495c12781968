"""Distance from the stover to the stack."""

from __future__ import annotations

import numpy as np

from stovergeo.core.messages import Message
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp

_LATTICE = 40  # the mean distance is smooth; it is worked out on so many places each way and spread between them


class Haul:
    """Scores nearness to the ground the bales come from."""

    name = "haul"
    title = "Distance to the bales"
    reads = ("field_number",)
    source = "straight-line mean distance weighed by stover; scores are judgement, handbook, yards.haul"
    order = 65

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Work out the mean distance to the stover, or to the field ground where none is known yet."""
        give = np.isfinite(site.array("field_number")).astype(np.float32)
        if "removable_mg_ha" in site.stack:
            stover = np.nan_to_num(site.array("removable_mg_ha")) * give
            give = stover if stover.sum() > 0 else give
        if not give.any():
            return NotChecked(message("not_checked.no_field"))
        mean = mean_distance_m(give, site.cell_m)
        good, far = options.coefficients.value("yards.haul.good"), options.coefficients.value("yards.haul.far")
        return site.rating(ramp(mean, (good, far), (1, 0.2)), site.everywhere(True), mean, "m")

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Say how far the bales come."""
        return message("haul.mean", value=value)


def mean_distance_m(weight: np.ndarray, cell_m: float) -> np.ndarray:
    """Return each cell's mean distance to all weight on the grid, to about a lattice step's rounding.

    Parameters
    ----------
    weight : float array (rows, cols)
    cell_m : float

    Returns
    -------
    float32 array (rows, cols)
    """
    rows, cols = weight.shape
    step = max(1, -(-max(rows, cols) // _LATTICE))
    padded = np.zeros((-(-rows // step) * step, -(-cols // step) * step))
    padded[:rows, :cols] = weight
    lumps = padded.reshape(padded.shape[0] // step, step, padded.shape[1] // step, step).sum(axis=(1, 3))
    at_y = (np.arange(lumps.shape[0]) + 0.5) * step
    at_x = (np.arange(lumps.shape[1]) + 0.5) * step
    heavy = lumps > 0
    yy, xx = np.meshgrid(at_y, at_x, indexing="ij")
    # one row of the lattice at a time keeps the table of distances small
    coarse = (
        np.stack([np.hypot(y - yy[heavy][:, None], xx[heavy][:, None] - at_x[None, :]).T @ lumps[heavy] for y in at_y])
        / lumps.sum()
    )
    wide = np.stack([np.interp(np.arange(cols) + 0.5, at_x, line) for line in coarse])
    low = np.clip(np.searchsorted(at_y, np.arange(rows) + 0.5) - 1, 0, max(len(at_y) - 2, 0))
    if len(at_y) == 1:
        return (np.repeat(wide, rows, axis=0) * cell_m).astype(np.float32)
    part = np.clip((np.arange(rows) + 0.5 - at_y[low]) / step, 0, 1)[:, None].astype(np.float32)
    wide = wide.astype(np.float32)
    return ((wide[low] * (1 - part) + wide[low + 1] * part) * np.float32(cell_m)).astype(np.float32)


CRITERION = Haul()
