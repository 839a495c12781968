"""Criteria that read one variable: a row of the table below each, and the one class that rates by it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from stovergeo.core.messages import Message, templates
from stovergeo.siting.site import NotChecked, Rating, Site, SiteOptions, message, ramp


@dataclass(frozen=True, slots=True)
class Sentence:
    """A template of ``messages.toml`` and the ground it describes."""

    key: str
    min_score: float = 0.0
    min_value: float = -np.inf
    max_value: float = np.inf


@dataclass(frozen=True, slots=True)
class Measured:
    """A criterion whose score runs straight between points of one variable.

    A number is given as it is or as a key of the handbook.
    """

    name: str
    title: str
    variable: str  #: of the field stack
    source: str
    order: int
    at: tuple[float | str, ...]  #: values, rising
    scores: tuple[float | str, ...]  #: the score at each; held before the first and after the last
    sentences: tuple[Sentence, ...]  #: of allowed ground: the first that fits is used
    limit: str = ""  #: handbook key of the value at which ground becomes forbidden
    forbidden: np.ufunc | None = None  #: compares a value with the limit
    refusal: str = ""  #: template for forbidden ground
    unit: str = "1"  #: SI unit of the value judged
    per_si_unit: float = 1.0  #: of the variable's own unit
    classes: Mapping[int, str] = field(default_factory=dict)  #: what the soil survey calls each value
    of_yard: str = "mean"
    mitigable: bool = False

    @property
    def reads(self) -> tuple[str, ...]:
        """Variables of the stack."""
        return (self.variable,)

    def rate(self, site: Site, options: SiteOptions) -> Rating | NotChecked:
        """Interpolate the score, forbid what lies beyond the limit."""

        def numbers(given: Sequence[float | str]) -> list[float]:
            return [options.coefficients.value(n) if isinstance(n, str) else n for n in given]

        value = site.array(self.variable)
        score = ramp(value, numbers(self.at), numbers(self.scores))
        allowed, limit = site.everywhere(True), np.nan
        if self.forbidden is not None:
            limit = options.coefficients.value(self.limit)
            allowed = ~self.forbidden(value, limit)
        if self.per_si_unit != 1:
            value, limit = value / self.per_si_unit, limit / self.per_si_unit
        return site.rating(score, allowed, value, self.unit, limit=limit)

    def message(self, value: float, score: float, allowed: bool, *, limit: float) -> Message:
        """Return the first sentence that fits."""
        fits = (s.key for s in self.sentences if score >= s.min_score and s.min_value <= value < s.max_value)
        key = next(fits, self.sentences[-1].key) if allowed else self.refusal
        values = {"value": value, "limit": limit, "name": self.classes[round(value)] if self.classes else ""}
        return message(key, **{name: values[name] for name in templates("stovergeo.siting")[key].names})


FLOODING: Final = Measured(
    name="flooding",
    title="Flooding",
    variable="flooding_class",
    source="soil survey classes; scores are judgment, handbook, yards.flooding",
    order=20,
    at=(1, 2, 3),
    scores=(1, "yards.flooding.rare", 0),
    sentences=(Sentence("flooding.allowed"),),
    limit="yards.flooding.worst_class",
    forbidden=np.greater,
    refusal="flooding.refused",
    classes={
        0: "no flooding",
        1: "very rare flooding",
        2: "rare flooding",
        3: "occasional flooding",
        4: "frequent flooding",
        5: "very frequent flooding",
    },
    of_yard="greatest",
)
PONDING_CLASS: Final = Measured(
    name="ponding_class",
    title="Ponding by soil",
    variable="ponding_class",
    source="soil survey classes; scores are judgment, handbook, yards.ponding",
    order=21,
    at=(0, 1, 2),
    scores=(1, "yards.ponding.rare", 0),
    sentences=(Sentence("ponding_class.allowed"),),
    limit="yards.ponding.worst_class",
    forbidden=np.greater,
    refusal="ponding_class.refused",
    classes={0: "no", 1: "rare", 2: "occasional", 3: "frequent"},
    of_yard="greatest",
    mitigable=True,
)
PONDING: Final = Measured(
    name="ponding",
    title="Hollows that hold water",
    variable="ponding_m",
    source="fill depth; the least depth that counts is judgment, handbook, yards.ponding.max_m",
    order=22,
    at=(0, "yards.ponding.max_m"),
    scores=(1, 0),
    sentences=(Sentence("ponding.dry", max_value=0.01), Sentence("ponding.shallow")),
    limit="yards.ponding.max_m",
    forbidden=np.greater_equal,
    refusal="ponding.refused",
    unit="m",
    of_yard="greatest",
)
DRAINAGE_HEIGHT: Final = Measured(
    name="drainage_height",
    title="Height above drainage",
    variable="drainage_height_m",
    source="Renno et al. 2008 height; limits are judgment, handbook, yards.drainage_height",
    order=24,
    at=("yards.drainage_height.least", "yards.drainage_height.good"),
    scores=(0.3, 1),
    sentences=(Sentence("drainage_height.allowed"),),
    limit="yards.drainage_height.least",
    forbidden=np.less,
    refusal="drainage_height.refused",
    unit="m",
    of_yard="least",
)
DRAINAGE: Final = Measured(
    name="drainage",
    title="Soil drainage",
    variable="drainage_class",
    source="soil survey classes; scores are judgment, handbook, yards.drainage",
    order=30,
    at=(3, 4, 5, 6, 7, 8),
    scores=(
        "yards.drainage.well",
        "yards.drainage.moderately_well",
        "yards.drainage.somewhat_poorly",
        "yards.drainage.poorly",
        "yards.drainage.poorly",
        0,
    ),
    sentences=(Sentence("drainage.allowed"),),
    limit="yards.drainage.worst_class",
    forbidden=np.greater,
    refusal="drainage.refused",
    classes={
        1: "excessively drained",
        2: "somewhat excessively drained",
        3: "well drained",
        4: "moderately well drained",
        5: "somewhat poorly drained",
        6: "poorly drained",
        7: "very poorly drained",
        8: "underwater",
    },
    of_yard="greatest",
    mitigable=True,
)
CLAY: Final = Measured(
    name="clay",
    title="Clay",
    variable="clay_pct",
    source="handbook, yards.clay (judgment)",
    order=31,
    at=("yards.clay.good", "yards.clay.fair", "yards.clay.most"),
    scores=(1, 0.7, 0),
    sentences=(Sentence("clay.light", min_score=0.99), Sentence("clay.medium", min_score=0.7), Sentence("clay.heavy")),
    limit="yards.clay.most",
    forbidden=np.greater_equal,
    refusal="clay.refused",
    unit="%",
    of_yard="greatest",
    mitigable=True,
)
WATER_TABLE: Final = Measured(
    name="water_table",
    title="Water table",
    variable="water_table_cm",
    source="depths: Soil Survey Manual; scores are judgment, handbook, yards.water_table",
    order=32,
    at=("yards.water_table.least", "yards.water_table.poor", "yards.water_table.fair", "yards.water_table.good"),
    scores=(0, 0.35, 0.7, 1),
    sentences=(Sentence("water_table.deep", min_value=2.0), Sentence("water_table.near")),
    limit="yards.water_table.least",
    forbidden=np.less,
    refusal="water_table.refused",
    unit="m",
    per_si_unit=100,
    of_yard="least",
    mitigable=True,
)
SLOPE: Final = Measured(
    name="slope",
    title="Slope",
    variable="slope_pct",
    source="handbook, yards.slope",
    order=40,
    at=("yards.slope.worst_flat", "yards.slope.best_low", "yards.slope.best_high", "yards.slope.most"),
    scores=(0, 1, 1, 0),
    sentences=(
        Sentence("slope.best", min_score=0.95),
        Sentence("slope.gentle", min_score=0.8, max_value=4.0),
        Sentence("slope.little_flat", min_score=0.7, max_value=4.0),
        Sentence("slope.flat", max_value=4.0),
        Sentence("slope.little_steep", min_score=0.7),
        Sentence("slope.steep"),
    ),
    limit="yards.slope.most",
    forbidden=np.greater_equal,
    refusal="slope.too_steep",
    unit="%",
)
HYDRIC: Final = Measured(
    name="hydric",
    title="Hydric soil",
    variable="hydric",
    source="soil survey rating; scores are judgment, handbook, yards.hydric",
    order=61,
    at=(0, 0.5, 1),
    scores=(1, "yards.hydric.unranked", "yards.hydric.hydric"),
    sentences=(
        Sentence("hydric.yes", min_value=0.9),
        Sentence("hydric.unranked", min_value=0.1),
        Sentence("hydric.no"),
    ),
)
SUN: Final = Measured(
    name="sun",
    title="Sun in the storage season",
    variable="sun_fraction",
    source="handbook, yards.sun (judgment); sun dries: Martinson, Univ. Minnesota",
    order=63,
    at=("yards.sun.worst", "yards.sun.good"),
    scores=(0, 1),
    sentences=(Sentence("sun.full", min_score=0.99), Sentence("sun.light_shade", min_score=0.5), Sentence("sun.shade")),
)
