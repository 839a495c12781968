"""One field's cells to zones: classes, settled borders, merged pieces; the best of several divisions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stovergeo.zones.ground import cautious_limit, inscribed_width, natural_breaks, opened, settle
from stovergeo.zones.merge import merge_regions, regions_of

#: label of cells left whole; labels below 0 are fixed while classes settle
_LEAVE = -2


@dataclass(frozen=True, slots=True)
class ZoneOptions:
    """How ground is divided. `zone_options` fills it from the handbook."""

    over_share: float  #: share of a zone's known area that may be asked for more than it can spare
    classes: int  #: most classes of removable a farm is divided into
    least_step_mg_ha: float  #: classes closer than this are one
    smoothing_widths: float  #: reach of the averaging before classes are made, in least zone widths
    worth_apart: float  #: neighbours that lose no more than this share by being one are one
    corner_cells: float  #: tolerance of the edge smoothing, in cells


def best_division(
    spare: np.ndarray,
    smooth: np.ndarray,
    left: np.ndarray,
    inside: np.ndarray,
    area_ha: np.ndarray,
    *,
    cell_m: float,
    least_width_m: float,
    least_ha: float,
    options: ZoneOptions,
) -> np.ndarray:
    """Zone number of each cell of one field, -1 outside it: of several divisions, the one that gives most.

    A division into more classes is taken only when each further zone brings its worth.
    """
    told = inside & np.isfinite(smooth) & ~left
    best, most = np.where(inside, 0, -1), -np.inf
    tried: list[tuple[float, ...]] = []
    for classes in range(1, options.classes + 1):
        breaks = np.empty(0)
        if told.any():
            breaks = natural_breaks(smooth[told], area_ha[told], classes, options.least_step_mg_ha)
        if tuple(breaks) in tried:
            continue
        tried.append(tuple(breaks))
        numbers = _divide(
            spare,
            smooth,
            left,
            inside,
            area_ha,
            breaks,
            cell_m=cell_m,
            least_width_m=least_width_m,
            least_ha=least_ha,
            options=options,
        )
        gives, zones = _gives(numbers, np.where(left, 0.0, spare), area_ha, options.over_share)
        worth = gives / (1 + options.worth_apart * zones)
        if worth > most:
            best, most = numbers, worth
    return best


def _gives(numbers: np.ndarray, spare: np.ndarray, area_ha: np.ndarray, over_share: float) -> tuple[float, int]:
    """Return what all zones of a division give together, Mg, and how many they are."""
    names = np.unique(numbers[numbers >= 0])
    total = 0.0
    for name in names:
        own = numbers == name
        total += cautious_limit(spare[own], area_ha[own], over_share) * float(area_ha[own].sum())
    return total, len(names)


def _divide(
    spare: np.ndarray,
    smooth: np.ndarray,
    left: np.ndarray,
    inside: np.ndarray,
    area_ha: np.ndarray,
    breaks: np.ndarray,
    *,
    cell_m: float,
    least_width_m: float,
    least_ha: float,
    options: ZoneOptions,
) -> np.ndarray:
    """Zone number of each cell of one field, -1 outside it."""
    # edges are smoothed after this by about a cell, which must not cost the least width or area
    width_cells = least_width_m / cell_m + 2 * options.corner_cells
    whole = inscribed_width(inside)
    strips = opened(left, width_cells)
    labels = np.digitize(np.where(np.isfinite(smooth), smooth, 0.0), breaks)
    labels = np.where(strips, _LEAVE, labels)
    labels = settle(labels, inside, sigma_cells=0.5 * least_width_m / cell_m, rounds=12)
    numbers = regions_of(labels, inside)
    spare = np.where(left, 0.0, spare)
    return merge_regions(
        numbers,
        strips,
        spare,
        area_ha,
        least_ha=min(1.03 * least_ha, float(area_ha[inside].sum())),
        least_width_cells=min(width_cells, whole),
        over_share=options.over_share,
        worth_apart=options.worth_apart,
    )
