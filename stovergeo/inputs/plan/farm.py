"""``[farm]``, ``[landowner]`` and ``[report]``: whose ground, which season, which units, and what the map may fetch."""

from __future__ import annotations

import re
import unicodedata
from typing import Annotated, Final

from pydantic import AfterValidator, Field, field_validator, model_validator

from stovergeo.core.printing import UNIT_SYSTEMS
from stovergeo.inputs.plan.base import LengthM, MoneyPerHa, MoneyPerMg, Section, one_of


def checked_currency(sign: str) -> str:
    """Return a sign or code of money; it must be one to four letters or signs, a small letter does not stand alone.

    Raises
    ------
    ValueError
        When it is anything else.
    """
    kinds = [unicodedata.category(letter) for letter in sign]
    plain = all(unicodedata.bidirectional(letter) in ("L", "ET") for letter in sign)
    if not (1 <= len(sign) <= 4 and plain and all(kind == "Sc" or kind[0] == "L" for kind in kinds)):
        raise ValueError('needs one to four letters or signs, such as "€" or "EUR"')
    if kinds == ["Ll"]:  # it would read as a unit
        raise ValueError('needs a capital letter, two letters or a sign, such as "R", "kr" or "€"')
    return sign


class Farm(Section):
    """The farm and the season."""

    name: str = Field(description="Farm name, as it shall stand on the map.")
    season: int = Field(ge=1950, le=2100, description="Year of the grain harvest.")
    units: Annotated[str, one_of(lambda: UNIT_SYSTEMS)] = Field("us", description="Units of tables and map.")
    crs: str | None = Field(
        None, description="Working CRS, projected and in meters; left out: the UTM zone of the fields."
    )
    cell_m: LengthM = Field(5.0, alias="cell", ge=0.5, le=100, description='Grid cell, e.g. "5 m".')
    margin_m: LengthM = Field(
        80.0, alias="margin", le=5000, description="Ground looked at beyond the fields and the property."
    )
    memory_max_gb: float | None = Field(
        None, gt=0, description="Memory that a run may take, GB; left out: what this machine has free."
    )
    market_moisture_pct: float = Field(
        15.5, ge=5, le=30, description="Moisture of the grain that yields at market moisture are stated for, percent."
    )
    currency: Annotated[str, AfterValidator(checked_currency)] = Field(
        "$",
        description='Sign or code of all money, such as "€", "R$" or "EUR"; prices of the plan are written with it.',
    )
    ask: str = Field("", description="Whom to ask about this plan: name and telephone, printed on the map.")


class Landowner(Section):
    """What the landowner is offered and shown."""

    name: str = Field("", description="Who is asked.")
    price_per_mg: MoneyPerMg | None = Field(
        None, alias="price", description='Offered for the dry ton, e.g. "15 $/ton".'
    )
    price_per_ha: MoneyPerHa | None = Field(None, alias="rent", description='Or per acre, e.g. "20 $/ac".')
    no_go: str | None = Field(
        None,
        description="Layer file of places the landowner refuses: nothing is baled, stacked or hauled there. Rows whose "
        'column `keep_clear_of` says "stacks" are refused to stacks alone. `stovergeo answer` fills it.',
    )


_HOST: Final = r"(?:[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?\.)*[a-z0-9](?:[a-z0-9-]{0,61}[a-z0-9])?(?::[0-9]{1,5})?"
#: letters that have no meaning in markup, in a script or in a content-security policy
_REST: Final = r"/[A-Za-z0-9._~/{}?&=%+@:-]*"
_PLACES: Final = ("{z}", "{x}", "{y}")
MAX_LETTERS: Final = 500


class ReportOptions(Section):
    """How the landowner's map is made, and what it may ask a network for; left out, it asks for nothing."""

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
