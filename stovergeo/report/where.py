"""What of a farm's country shows in print: its currency, and what holds in the United States alone."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from pyproj import Transformer

from stovergeo.core.printing import printed_in
from stovergeo.core.regions import lies_in
from stovergeo.result import SeasonResult

Printer = TypeVar("Printer", bound=Callable[..., Any])


def as_where_it_lies(function: Printer) -> Printer:
    """Let a function whose first argument is a season print its money and its sentences as the farm's country asks."""

    @wraps(function)
    def printing(result: SeasonResult, *args: Any, **kwargs: Any) -> Any:
        with printed_in(result.plan.farm.currency, elsewhere=not in_united_states(result)):
            return function(result, *args, **kwargs)

    return cast(Printer, printing)


def in_united_states(result: SeasonResult) -> bool:
    """Return whether the middle of any field lies in the United States."""
    middles = result.fields.geometry.representative_point()
    lonlat = Transformer.from_crs(result.fields.crs or result.crs, 4326, always_xy=True)
    longitude, latitude = lonlat.transform(middles.x.to_numpy(), middles.y.to_numpy())
    return any(lies_in("united_states", x, y) for x, y in zip(longitude, latitude, strict=True))
