"""``[report]``: what the landowner's map may ask a network for; left out, it asks for nothing."""

from __future__ import annotations

import re
from typing import Final

from pydantic import Field, field_validator, model_validator

from stovergeo.inputs.plan.base import Section

_HOST: Final = r"(?:[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?\.)*[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?(?::[0-9]{1,5})?"
#: letters that have no meaning in markup, in a script or in a content-security policy
_REST: Final = r"/[A-Za-z0-9._~/{}?&=%+@:-]*"
_PLACES: Final = ("{z}", "{x}", "{y}")
MAX_LETTERS: Final = 500


class ReportOptions(Section):
    """How the landowner's map is made."""

    tiles: str | None = Field(
        None, description="Background pictures, `https://HOST/.../{z}/{x}/{y}.png`; left out: the map asks no network."
    )
    tiles_credit: str = Field("", max_length=300, description="Whom the pictures belong to, as their owner wants it.")
    tiles_zoom_max: int = Field(19, ge=1, le=24, description="Finest level that the host has pictures of.")

    @field_validator("tiles")
    @classmethod
    def _is_a_plain_template(cls, tiles: str | None) -> str | None:
        if tiles is None:
            return None
        if len(tiles) > MAX_LETTERS:
            raise ValueError(f"it is longer than {MAX_LETTERS} letters")
        if not tiles.startswith("https://"):
            raise ValueError("pictures are asked for by https:// only")
        if re.fullmatch(f"https://{_HOST}{_REST}", tiles) is None:
            raise ValueError("after https:// it must have one plain host in small letters, a / and plain letters")
        if any(tiles.count(p) != 1 for p in _PLACES) or re.search(r"[{}]", re.sub(r"\{[zxy]\}", "", tiles)):
            raise ValueError("it must have {z}, {x} and {y} once each, and no other braces")
        return tiles

    @model_validator(mode="after")
    def _says_whose_they_are(self) -> ReportOptions:
        if self.tiles is not None and not self.tiles_credit.strip():
            raise ValueError("tiles_credit must say whom the background pictures belong to")
        return self

    @property
    def tiles_origin(self) -> str | None:
        """Scheme and host of the pictures, as a content-security policy names them; None where none are asked for."""
        return None if self.tiles is None else "https://" + self.tiles.removeprefix("https://").partition("/")[0]
