"""JSON: values as it holds them, and files from elsewhere that may hold anything."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from stovergeo.core.errors import Report
from stovergeo.inputs.text import clean_text


def json_values(value: Any) -> Any:
    """Return a value as JSON holds it: NaN, inf and missing become null, numpy scalars plain numbers."""
    if isinstance(value, dict):
        return {str(k): json_values(v) for k, v in value.items()}
    if isinstance(value, list | tuple | np.ndarray):
        return [json_values(v) for v in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, str | int | bool) else str(value)


def read_json(path: Path, max_bytes: int, codes: tuple[str, str], where: str, report: Report) -> Any:
    """Read an untrusted JSON file; NaN and infinity are no numbers of it.

    Raises
    ------
    InputError
        With the first code where it cannot be read, with the second where it has more than `max_bytes`.
    """
    unreadable, too_big = codes
    try:
        with path.open("rb") as file:
            content = file.read(max_bytes + 1)
    except OSError as error:
        raise report.refuse(unreadable, where, f"{error.strerror}.") from None
    if len(content) > max_bytes:
        raise report.refuse(too_big, where, f"It has over {max_bytes / 1e6:,.0f} MB.")
    try:
        return json.loads(content.decode("utf-8-sig"), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise report.refuse(unreadable, where, f"It is not JSON text: {clean_text(error)}.") from None


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is not a number of JSON")
