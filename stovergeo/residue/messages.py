"""Messages that several parts of the package share."""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from stovergeo.core.messages import Catalog, Message
from stovergeo.core.units import MG_HA_PER_TON_ACRE

catalog: Final = Catalog("stovergeo.residue")

#: dry stover (Mg/ha) under which a rule asks for nothing that anyone could measure: less prints as 0.0 ton/ac
LITTLE_MG_HA: Final = 0.05 * MG_HA_PER_TON_ACRE


def amount_message(some: str, everything: str, title: str, retention_mg_ha: float, stover_mg_ha: float) -> Message:
    """Return what a rule asks for, from means over some ground: little, `some` of the stover, or `everything`."""
    if retention_mg_ha < LITTLE_MG_HA:
        return catalog("rule.little", title=title)
    if retention_mg_ha >= stover_mg_ha:
        return catalog(everything)
    return catalog(some, keep=retention_mg_ha)


def ground_message(none: str, some: str, retention_mg_ha: float, stover_mg_ha: float, **values: float) -> Message:
    """Return how much of some ground an all-or-nothing rule holds back, from means over it: `none` or `some`."""
    if retention_mg_ha == 0:
        return catalog(none, **values)
    fraction = retention_mg_ha / stover_mg_ha if stover_mg_ha > 0 else 1.0
    if fraction > 0.995:
        ground = catalog("ground.all")
    else:
        ground = catalog("ground.part", share=fraction) if fraction >= 0.015 else catalog("ground.little")
    return catalog(some, ground=ground, **values)


def in_years(fraction: Fraction) -> dict[str, int]:
    """Return the values of a message that says "in {taken} of {years} corn years"."""
    return {"taken": fraction.numerator, "years": fraction.denominator}
