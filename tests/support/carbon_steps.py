"""RothC-26.3 as a plain loop over months, one soil at a time: a second reading of the model description."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

YEARLY = {"dpm": 10.0, "rpm": 0.3, "bio": 0.66, "hum": 0.02}


@dataclass
class Soil:
    """A soil whose pools and moisture change month by month."""

    clay: float
    depth: float
    deficit: float = 0.0
    pools: dict[str, float] = field(default_factory=lambda: dict.fromkeys(YEARLY, 0.0))

    def moisture(self, rain: float, pan: float, crop: bool) -> float:
        """Move the deficit by one month, return the modifier."""
        largest = -(20 + 1.3 * self.clay - 0.01 * self.clay**2) * self.depth / 23
        balance = self.deficit + rain - 0.75 * pan
        wanted = min(balance, 0.0)
        floor = largest if crop else min(self.deficit, 0.556 * largest)
        self.deficit = wanted if wanted > floor else floor
        if self.deficit > 0.444 * largest:
            return 1.0
        return 0.2 + 0.8 * (largest - self.deficit) / (largest - 0.444 * largest)

    def month(
        self, temperature: float, rain: float, pan: float, crop: bool, brings: tuple[float, float, float, float]
    ) -> None:
        """Let one month pass; what comes in comes at its end."""
        a = 47.91 / (1 + math.exp(106.06 / (temperature + 18.27))) if temperature >= -5 else 0.0
        speed = a * self.moisture(rain, pan, crop) * (0.6 if crop else 1.0)
        ratio = 1.67 * (1.85 + 1.60 * math.exp(-0.0786 * self.clay))
        lost = 0.0
        for name, rate in YEARLY.items():
            before = self.pools[name]
            self.pools[name] = before * math.exp(-rate * speed / 12)
            lost += before - self.pools[name]
        self.pools["bio"] += 0.46 * lost / (1 + ratio)
        self.pools["hum"] += 0.54 * lost / (1 + ratio)
        for name, amount in zip(YEARLY, brings, strict=True):
            self.pools[name] += amount

    @property
    def total(self) -> float:
        """All carbon but the inert."""
        return sum(self.pools.values())
