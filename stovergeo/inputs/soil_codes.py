"""The words of the US soil survey as ordered numbers.

Class words and their order: NASIS domain metadata (USDA-NRCS), as distributed with the soilDB
data set; seen there. Words are compared without regard to case; an unknown word stays unknown.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

#: natural drainage, driest first
DRAINAGE: Final = {
    "excessively drained": 1,
    "somewhat excessively drained": 2,
    "well drained": 3,
    "moderately well drained": 4,
    "somewhat poorly drained": 5,
    "poorly drained": 6,
    "very poorly drained": 7,
    "subaqueous": 8,
    "subaqueous drained": 8,
}
#: flooding frequency; "common" is obsolete and spans occasional and frequent: the wetter is taken
FLOODING: Final = {
    "none": 0,
    "very rare": 1,
    "rare": 2,
    "occasional": 3,
    "common": 4,
    "frequent": 4,
    "very frequent": 5,
}
#: ponding frequency; "common" as above
PONDING: Final = {"none": 0, "rare": 1, "occasional": 2, "common": 3, "frequent": 3}
HYDRIC: Final = {"yes": 1.0, "no": 0.0, "unranked": 0.5}
#: hydrologic group; a dual group (drained/undrained) counts as undrained, the wetter
HYDROLOGIC: Final = {"a": 1, "b": 2, "c": 3, "d": 4, "a/d": 4, "b/d": 4, "c/d": 4}
#: highly erodible land class of the map unit; what only might be highly erodible counts as such
ERODIBLE: Final = {
    "highly erodible land": 1.0,
    "potentially highly erodible land": 1.0,
    "not highly erodible land": 0.0,
    "hel": 1.0,
    "phel": 1.0,
    "nhel": 0.0,
}
POTENTIALLY_ERODIBLE: Final = ("potentially highly erodible land", "phel")


def coded(words: pd.Series, table: Mapping[str, float]) -> tuple[np.ndarray, list[str]]:
    """Return the number of each word, NaN for blanks and unknown words, and the unknown words."""
    # pandas: a column of numbers has no words; its values turn up among the unknown
    plain = words.astype("object").where(words.notna(), "").map(lambda w: " ".join(str(w).split()).casefold())
    numbers = plain.map(table).to_numpy(dtype=np.float64, na_value=np.nan)
    unknown = sorted({w for w in plain[np.isnan(numbers)] if w and w not in ("null", "none assigned", "nan")})
    return numbers, unknown
