"""Money in the currency of the farm that is printed."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar, cast

from stovergeo.core.printing import printed_in
from stovergeo.result import SeasonResult

Printer = TypeVar("Printer", bound=Callable[..., Any])


def in_its_currency(function: Printer) -> Printer:
    """Let a function whose first argument is a season print its money in the plan's currency."""

    @wraps(function)
    def printing(result: SeasonResult, *args: Any, **kwargs: Any) -> Any:
        with printed_in(result.plan.farm.currency):
            return function(result, *args, **kwargs)

    return cast(Printer, printing)
