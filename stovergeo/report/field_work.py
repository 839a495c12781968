"""What the crew sheet lists of a field beside the tables: which stack takes which bales, and what stands near."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, NamedTuple

import pandas as pd
from shapely.geometry.base import BaseGeometry

from stovergeo.result import SeasonResult

_NEAR_M: Final = 150.0  # how far from a field a hazard or gate is still listed on its page
_MAX_OF_A_KIND: Final = 3
#: layers listed, hazards and gates first
_LISTED: Final = ("gates", "overhead_lines", "wells", "water", "buildings", "dwellings", "roads")


class Near(NamedTuple):
    """Something that stands near a field."""

    layer: str
    number: int  #: of its layer at this field, the nearest first
    name: str
    distance_m: float


def load_rows(hauls: pd.DataFrame, stacks: pd.DataFrame) -> pd.DataFrame:
    """Say which row takes which bales: rows of a yard are filled in order, zones in the order of the hauls.

    Returns
    -------
    pandas.DataFrame
        zone_id, yard_id, stack_id, bales. Bales beyond the rows' room stand with an empty stack_id.
    """
    out = []
    for yard_id, part in hauls.groupby("yard_id", sort=False):
        rows = [[s.stack_id, int(s.bales)] for s in stacks[stacks["yard_id"] == yard_id].itertuples()]
        for haul in part.itertuples():
            left = int(haul.bales)
            while left > 0 and rows:
                here = min(left, rows[0][1])
                if here > 0:
                    out.append((haul.zone_id, yard_id, rows[0][0], here))
                left -= here
                rows[0][1] -= here
                if rows[0][1] == 0:
                    rows.pop(0)
            if left > 0:
                out.append((haul.zone_id, yard_id, "", left))
    return pd.DataFrame(out, columns=["zone_id", "yard_id", "stack_id", "bales"])


def near_field(result: SeasonResult, field: BaseGeometry) -> Iterator[Near]:
    """Yield gates and hazards near a field, a few of each kind, the nearest first."""
    for layer in _LISTED:
        things = result.surroundings.get(layer)
        if things is None:
            continue
        away_m = things.distance(field)
        nearest = away_m[away_m <= _NEAR_M].sort_values(kind="stable")[:_MAX_OF_A_KIND]
        for number, (index, distance) in enumerate(nearest.items(), start=1):
            name = things.at[index, "name"] if "name" in things else ""
            yield Near(layer, number, name if isinstance(name, str) else "", float(distance))
