"""Taking a public name away: it goes on working with a warning until the version that was promised.

Each use is remembered in `PROMISES`; a test fails once the package's version reaches one, so that nothing
is kept longer than was said.
"""

from __future__ import annotations

import functools
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


class StovergeoDeprecationWarning(FutureWarning):
    """Something public will go; a `FutureWarning`, so that users see it and not developers alone."""


@dataclass(frozen=True, slots=True)
class Promise:
    """What goes, and the first version without it."""

    what: str
    gone: str


PROMISES: list[Promise] = []


def deprecated(instead: str, gone: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Return a decorator for a function that will go.

    Parameters
    ----------
    instead : str
        What to call in its place.
    gone : str
        First version without it, such as "0.4".

    Examples
    --------
    >>> import warnings
    >>> from stovergeo.core.deprecation import deprecated
    >>> @deprecated(instead="stovergeo.slope_aspect", gone="99.0")
    ... def slope():
    ...     return 3.0
    >>> with warnings.catch_warnings(record=True) as said:
    ...     warnings.simplefilter("always")
    ...     slope()
    3.0
    >>> print(said[0].message)
    slope will go in version 99.0; call stovergeo.slope_aspect instead
    """

    def mark(function: Callable[P, R]) -> Callable[P, R]:
        PROMISES.append(Promise(f"{function.__module__}.{function.__qualname__}", gone))

        @functools.wraps(function)
        def warned(*args: P.args, **kwargs: P.kwargs) -> R:
            said = f"{function.__name__} will go in version {gone}; call {instead} instead"
            warnings.warn(said, StovergeoDeprecationWarning, stacklevel=2)
            return function(*args, **kwargs)

        return warned

    return mark


def renamed_argument(old: str, new: str, gone: str) -> Callable[[Callable[..., R]], Callable[..., R]]:
    """Return a decorator for a function whose argument has another name now; the old one is passed on.

    Parameters
    ----------
    old, new : str
    gone : str
        First version that no longer knows the old name.
    """

    def mark(function: Callable[..., R]) -> Callable[..., R]:
        PROMISES.append(Promise(f"{function.__module__}.{function.__qualname__}({old}=)", gone))

        @functools.wraps(function)
        def warned(*args: object, **kwargs: object) -> R:
            if old in kwargs:
                if new in kwargs:
                    raise TypeError(f"{function.__name__} was given {old!r} and {new!r}; {new!r} is the name now")
                said = (
                    f"the argument {old!r} of {function.__name__} is called {new!r}; {old!r} will go in version {gone}"
                )
                warnings.warn(said, StovergeoDeprecationWarning, stacklevel=2)
                kwargs[new] = kwargs.pop(old)
            return function(*args, **kwargs)

        return warned

    return mark


def outlived(version: str) -> list[Promise]:
    """Return the promises that a version breaks: what should be gone by then and is still there.

    Parameters
    ----------
    version : str
        Numbers with dots, such as "0.4.0".
    """
    return [promise for promise in PROMISES if _numbers(promise.gone) <= _numbers(version)]


def _numbers(version: str) -> tuple[int, ...]:
    numbers = [int(part) for part in version.split(".")]
    return tuple(numbers + [0] * (3 - len(numbers)))
