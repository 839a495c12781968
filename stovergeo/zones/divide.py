"""One field's cells to zones: classes, settled borders, regions merged the cautious way; the best of several."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from dataclasses import field as field_of

import numpy as np
from scipy import ndimage

from stovergeo.zones.ground import cautious_limit, inscribed_width, natural_breaks, opened, settle

#: cells -> what they give together when gathered evenly, Mg
Gives = Callable[[np.ndarray], float]


@dataclass(slots=True)
class Region:
    """A connected piece of ground of one class."""

    number: int
    cells: np.ndarray  #: flat cell indices
    area_ha: float
    spare_mg: float  #: what it gives when gathered evenly to its cautious limit
    leave: bool  #: ground that is left whole
    border: dict[int, int] = field_of(default_factory=dict)  #: neighbor -> cell edges shared


def regions_of(labels: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Return a number per 4-connected piece of equal label, -1 outside.

    Parameters
    ----------
    labels : int array, shape (rows, columns)
    inside : bool array, same shape
    """
    numbers = np.full(labels.shape, -1, dtype=np.int64)
    start = 0
    for kind in np.unique(labels[inside]):
        pieces, count = ndimage.label(inside & (labels == kind))
        numbers[pieces > 0] = pieces[pieces > 0] - 1 + start
        start += count
    return numbers


def merge_regions(
    numbers: np.ndarray,
    leave: np.ndarray,
    spare: np.ndarray,
    area_ha: np.ndarray,
    *,
    min_ha: float,
    min_width_cells: float,
    over_fraction: float,
    worth_apart: float = 0.0,
) -> np.ndarray:
    """Merge regions until none is smaller than `min_ha` or narrower than `min_width_cells`.

    The smallest faulty region goes first. It joins, of the neighbors that share a good
    length of border with it, the one with which the two together lose least of what they
    could give; the merged limit is computed afresh from the cells (`cautious_limit`), so a
    merger can lower what is taken and never raise it. Strips left whole become one zone of
    several parts where the field's strips together reach `min_ha`, and are merged like
    any other ground where they do not.

    Parameters
    ----------
    numbers : int array, shape (rows, columns)
        Region of each cell, -1 outside.
    leave : bool array, same shape
        Ground that is left whole.
    spare : array, same shape
        Mg/ha, NaN where unknown.
    area_ha : array, same shape

    worth_apart : float
        At the end, neighbors are made one as well where that costs no more than this share
        of what the two give: ground that is worked the same needs no line through it.

    Returns
    -------
    int array
        New numbers, not consecutive.
    """
    shape = numbers.shape
    spare_flat, area_flat = spare.ravel(), area_ha.ravel()

    def gives(cells: np.ndarray) -> float:
        return cautious_limit(spare_flat[cells], area_flat[cells], over_fraction) * float(area_flat[cells].sum())

    regions = _collect(numbers, leave, area_flat, gives)
    leave_ha = sum(r.area_ha for r in regions.values() if r.leave)
    if leave_ha < min_ha:
        for region in regions.values():
            region.leave = False

    def faulty(region: Region) -> bool:
        if region.leave:
            return False
        return region.area_ha < min_ha or _width(region, shape) < min_width_cells

    waiting = {n for n, r in regions.items() if faulty(r)}
    while waiting and len(regions) > 1:
        small = regions[min(waiting, key=lambda n: (regions[n].area_ha, n))]
        other = _partner(small, regions, gives, shape)
        _join(small, other, regions, gives)
        waiting.discard(small.number)
        waiting.discard(other.number)
        if faulty(other):
            waiting.add(other.number)

    _unite(regions, gives, worth_apart)

    merged = np.full(numbers.size, -1, dtype=np.int64)
    together = min((r.number for r in regions.values() if r.leave), default=-1)
    for region in regions.values():
        merged[region.cells] = together if region.leave else region.number
    return merged.reshape(shape)


def _collect(numbers: np.ndarray, leave: np.ndarray, area: np.ndarray, gives: Gives) -> dict[int, Region]:
    flat = numbers.ravel()
    order = np.argsort(flat, kind="stable")
    found, first = np.unique(flat[order], return_index=True)
    ends = [*first[1:], len(order)]
    regions = {}
    for number, a, b in zip(found, first, ends, strict=True):
        if number >= 0:
            cells = order[a:b]
            regions[int(number)] = Region(
                int(number), cells, float(area[cells].sum()), gives(cells), bool(leave.ravel()[cells].all())
            )
    for a, b in ((numbers[:, :-1], numbers[:, 1:]), (numbers[:-1], numbers[1:])):
        meet = (a != b) & (a >= 0) & (b >= 0)
        pairs, counts = np.unique(np.stack([a[meet], b[meet]]), axis=1, return_counts=True)
        for (i, j), count in zip(pairs.T.tolist(), counts.tolist(), strict=True):
            regions[i].border[j] = regions[i].border.get(j, 0) + count
            regions[j].border[i] = regions[j].border.get(i, 0) + count
    return regions


def _width(region: Region, shape: tuple[int, ...]) -> float:
    rows, columns = np.unravel_index(region.cells, shape)
    mask = np.zeros((np.ptp(rows) + 1, np.ptp(columns) + 1), dtype=bool)
    mask[rows - rows.min(), columns - columns.min()] = True
    return inscribed_width(mask)


def _partner(small: Region, regions: dict[int, Region], gives: Gives, shape: tuple[int, ...]) -> Region:
    """Return the neighbor with which a region loses least."""
    if not small.border:  # a part of the field on its own: it joins the nearest ground
        here = np.mean(np.unravel_index(small.cells, shape), axis=1)
        return min(
            (r for r in regions.values() if r is not small),
            key=lambda r: (float(np.hypot(*(np.mean(np.unravel_index(r.cells, shape), axis=1) - here))), r.number),
        )
    longest = max(small.border.values())
    near = [regions[n] for n, shared in small.border.items() if shared >= longest / 4]
    lost = {
        r.number: small.spare_mg + r.spare_mg - (0.0 if r.leave else gives(np.concatenate([small.cells, r.cells])))
        for r in near
    }
    return min(near, key=lambda r: (round(lost[r.number], 9), -small.border[r.number], r.number))


def _unite(regions: dict[int, Region], gives: Gives, worth_apart: float) -> None:
    """Merge neighbors that give nearly as much together, the pair that loses least first."""

    def lost(a: int, b: int) -> float:
        one, two = regions[a], regions[b]
        apart = one.spare_mg + two.spare_mg
        return apart - gives(np.concatenate([one.cells, two.cells])) - worth_apart * apart

    def pairs_of(n: int) -> list[tuple[int, int]]:
        return [(min(n, m), max(n, m)) for m in regions[n].border if not regions[m].leave]

    open_pairs = {pair for n, r in regions.items() if not r.leave for pair in pairs_of(n)}
    losses = {pair: lost(*pair) for pair in open_pairs}
    while losses:
        (a, b), loss = min(losses.items(), key=lambda item: (round(item[1], 9), item[0]))
        if loss > 0:
            return
        small, other = sorted((regions[a], regions[b]), key=lambda r: (r.area_ha, r.number))
        _join(small, other, regions, gives)
        losses = {pair: v for pair, v in losses.items() if not {a, b} & set(pair)}
        losses |= {pair: lost(*pair) for pair in pairs_of(other.number)}


def _join(small: Region, other: Region, regions: dict[int, Region], gives: Gives) -> None:
    """Make a region part of another one, borders and all."""
    other.cells = np.concatenate([other.cells, small.cells])
    other.area_ha += small.area_ha
    other.spare_mg = gives(other.cells)
    for number, shared in small.border.items():
        neighbor = regions[number]
        neighbor.border.pop(small.number)
        if number != other.number:
            neighbor.border[other.number] = neighbor.border.get(other.number, 0) + shared
            other.border[number] = other.border.get(number, 0) + shared
    del regions[small.number]


#: label of cells left whole; labels below 0 are fixed while classes settle
_LEAVE = -2


@dataclass(frozen=True, slots=True)
class ZoneOptions:
    """How ground is divided. `zone_options` fills it from the handbook."""

    over_fraction: float  #: share of a zone's known area that may be asked for more than it can spare
    classes: int  #: most classes of removable a farm is divided into
    min_step_mg_ha: float  #: classes closer than this are one
    smoothing_widths: float  #: reach of the averaging before classes are made, in least zone widths
    worth_apart: float  #: neighbors that lose no more than this share by being one are one
    corner_cells: float  #: tolerance of the edge smoothing, in cells


@dataclass(frozen=True, slots=True)
class FieldCells:
    """The window of the grid in which a field lies; arrays of its shape."""

    spare: np.ndarray  #: Mg/ha, NaN where unknown
    smooth: np.ndarray  #: the same, averaged over the ground around
    left: np.ndarray  #: bool: nothing may leave
    inside: np.ndarray  #: bool: of the field
    area_ha: np.ndarray
    cell_m: float


def best_division(field: FieldCells, *, min_width_m: float, min_ha: float, options: ZoneOptions) -> np.ndarray:
    """Zone number of each cell of one field, -1 outside it: of several divisions, the one that gives most.

    A division into more classes is taken only when each further zone brings its worth.
    """
    known = field.inside & np.isfinite(field.smooth) & ~field.left
    best, most = np.where(field.inside, 0, -1), -np.inf
    tried: list[tuple[float, ...]] = []
    for classes in range(1, options.classes + 1):
        breaks = np.empty(0)
        if known.any():
            breaks = natural_breaks(field.smooth[known], field.area_ha[known], classes, options.min_step_mg_ha)
        if tuple(breaks) in tried:
            continue
        tried.append(tuple(breaks))
        numbers = _divide(field, breaks, min_width_m, min_ha, options)
        gives, zones = _gives(numbers, field, options.over_fraction)
        worth = gives / (1 + options.worth_apart * zones)
        if worth > most:
            best, most = numbers, worth
    return best


def _gives(numbers: np.ndarray, field: FieldCells, over_fraction: float) -> tuple[float, int]:
    """Return what all zones of a division give together, Mg, and how many they are."""
    names, spare, area_ha = np.unique(numbers[numbers >= 0]), np.where(field.left, 0.0, field.spare), field.area_ha
    total = 0.0
    for name in names:
        own = numbers == name
        total += cautious_limit(spare[own], area_ha[own], over_fraction) * float(area_ha[own].sum())
    return total, len(names)


def _divide(
    field: FieldCells, breaks: np.ndarray, min_width_m: float, min_ha: float, options: ZoneOptions
) -> np.ndarray:
    """Zone number of each cell of one field, -1 outside it."""
    # edges are smoothed after this by about a cell, which must not cost the least width or area
    width_cells = min_width_m / field.cell_m + 2 * options.corner_cells
    whole = inscribed_width(field.inside)
    strips = opened(field.left, width_cells)
    labels = np.digitize(np.where(np.isfinite(field.smooth), field.smooth, 0.0), breaks)
    labels = np.where(strips, _LEAVE, labels)
    labels = settle(labels, field.inside, sigma_cells=0.5 * min_width_m / field.cell_m, rounds=12)
    return merge_regions(
        regions_of(labels, field.inside),
        strips,
        np.where(field.left, 0.0, field.spare),
        field.area_ha,
        min_ha=min(1.03 * min_ha, float(field.area_ha[field.inside].sum())),
        min_width_cells=min(width_cells, whole),
        over_fraction=options.over_fraction,
        worth_apart=options.worth_apart,
    )
