"""Text from files that others made: cleaned for the results, quoted for messages."""

from __future__ import annotations

import re
import unicodedata
from typing import Final

import numpy as np
import pandas as pd

from stovergeo.inputs.place import Place

MAX_LETTERS: Final = 300
#: marks that turn the direction of the text around them, and other invisible format characters
_INVISIBLE: Final = re.compile(
    "[\u00ad\u061c\u180e\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb\U000e0000-\U000e007f]"
)
_CONTROL: Final = re.compile("[\x00-\x1f\x7f-\x9f]+")
#: UTF-8 read as Latin-1, or letters lost on the way
_MOJIBAKE: Final = re.compile("\u00c3[\u0080-\u00bf]|\u00e2\u20ac|\u00c2[\u00a0-\u00bf]|\ufffd")


def clean_text(text: object) -> str:
    """Return text without control and direction characters, in composed form (NFC), at most 300 letters."""
    if text is None or (isinstance(text, float) and text != text) or text is pd.NA:
        return ""
    plain = _CONTROL.sub(" ", unicodedata.normalize("NFC", str(text)))
    plain = _INVISIBLE.sub("", plain).strip()
    # a lone surrogate cannot be written to any file
    plain = plain.encode("utf-8", "replace").decode("utf-8")
    return plain if len(plain) <= MAX_LETTERS else plain[: MAX_LETTERS - 3] + "..."


def clean_column(column: pd.Series, at: Place) -> pd.Series:
    """Return a text column cleaned; what was changed beyond spaces and letter form is counted and reported."""
    # each different text is cleaned once: a million records name a few loads and crops
    place, texts = pd.factorize(column.astype(object), use_na_sentinel=True)
    cleaned = np.array([*map(clean_text, texts), ""], dtype=object)
    given = np.array([*(unicodedata.normalize("NFC", str(t)).strip() for t in texts), ""], dtype=object)
    changed = int((cleaned != given)[place].sum())
    if changed:
        share = f"{changed:,} of {len(column):,} texts"
        at.add("text.control", f"{share} held control or direction characters, or over {MAX_LETTERS} letters.")
    garbled = np.array([_MOJIBAKE.search(t) is not None for t in cleaned])
    if (count := int(garbled[place].sum())) > 0:
        at.add("text.mojibake", f"{count:,} texts look garbled, such as {cleaned[garbled][0]!r}.")
    return pd.Series(cleaned[place], index=column.index, dtype=object)


def shown(text: str, most: int = 120) -> str:
    """Return text for a message: quoted, control characters escaped, cut to length."""
    return repr(text if len(text) <= most else text[:most] + "...")
