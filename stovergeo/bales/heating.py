"""Heating in the stack: moisture bands and what to do at which core temperature."""

from __future__ import annotations

import pandas as pd

from stovergeo.core.coefficients import Handbook
from stovergeo.core.messages import Catalog, Message

message = Catalog("stovergeo.bales")


def heating_table(book: Handbook) -> pd.DataFrame:
    """Return actions by core temperature, coolest first.

    Returns
    -------
    pandas.DataFrame
        core_c, core_f (whole degrees, as the bulletins print them), action, note, source.
    """
    rows = [book[f"storage.heat.{name}"] for name in book.group("storage.heat")]
    table = pd.DataFrame(
        {
            "core_c": [c.value for c in rows],
            "core_f": [round(c.value * 1.8 + 32) for c in rows],
            "action": [c.meaning for c in rows],
            "note": [c.note for c in rows],
            "source": [c.source for c in rows],
        }
    )
    return table.sort_values("core_c", ignore_index=True)


def moisture_band(moisture_pct: float, book: Handbook) -> tuple[str, str | Message]:
    """Return the band of a moisture at baling, and what it asks for.

    Returns
    -------
    (band, advice)
        Band "green", "amber", "red" or "too wet".
    """
    for band in ("green", "amber", "red"):
        limit = book[f"storage.band.{band}"]
        if moisture_pct <= limit.value:
            return band, limit.meaning
    return "too wet", message("band.too_wet")
