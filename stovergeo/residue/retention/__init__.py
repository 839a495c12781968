"""Retention rules: one file a rule, loaded by the entry-point group ``stovergeo.retention_rules``.

A rule is a module, or any object, that has what `Rule` lists, and what it likes of `SpeakingRule`. The name of
its entry point is its name everywhere: in the plan's ``[limits] rules``, in ``keep_<name>_mg_ha`` and in the tables.
"""

from __future__ import annotations

from typing import Protocol

import xarray as xr

from stovergeo.core.messages import Message
from stovergeo.residue.options import RuleOptions


class Rule(Protocol):
    """What a retention rule must have."""

    title: str  #: as a grower reads it
    reads: tuple[str, ...]  #: variables of the stack without which the rule cannot be checked
    source: str  #: where its equation and numbers stand

    def keep(self, stack: xr.Dataset, options: RuleOptions) -> xr.DataArray:
        """Return dry stover to leave at harvest, Mg/ha, 0 or more; all of it, or more, where nothing may leave.

        Arithmetic cell by cell over variables of the stack (``stover_mg_ha`` is always there) and numbers from
        `RuleOptions.number`, either of which may carry dims of its own: ``y, x`` on the map; ``cell`` and
        ``draw`` in a Monte Carlo run. NaN where it cannot be known.
        """
        ...


class SpeakingRule(Rule, Protocol):
    """What a rule may have besides; each part may be missing."""

    def message(self, retention_mg_ha: float, stover_mg_ha: float, options: RuleOptions) -> Message:
        """Return one plain sentence on what the rule asks for, for means over some ground.

        Its template stands in ``messages.toml`` beside the rule, see `stovergeo.core.messages`.
        """
        ...

    def in_force(self, options: RuleOptions) -> bool:
        """Return whether the plan asks for the rule at all; one that is not in force is not run and not listed."""
        ...

    lift: str  #: what would lower what the rule asks for, one plain sentence
    valid: str  #: range for which the rule's equation was made
    forbids: bool  #: True for a rule that asks for all or nothing; False where missing
    reads_method: bool  #: True where the answer differs by the method of gathering; False where missing
