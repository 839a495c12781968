"""What a zone says of itself: its ground, how it is gathered, or why it is not."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import pandas as pd

from stovergeo.core.messages import Catalog, Message

message: Final = Catalog("stovergeo.zones")


def ground_messages(zone: Mapping[str, Any], titles: Mapping[str, str]) -> tuple[Message, ...]:
    """Return what the ground of a zone grows, must keep and can spare.

    Parameters
    ----------
    zone : mapping
        A row of the zones table.
    titles : mapping
        Rule -> its title.
    """
    if zone["kept_free"]:
        return (message("ground.kept_free"),)
    if zone["unknown_fraction"] > 0.5:
        return (message("ground.unknown"),)
    if zone["removable_mg_ha"] <= 0:
        rule = zone["binding_rule"]
        return (message("ground.stays_by_rule", rule=titles[rule]) if rule else message("ground.stays"),)
    parts = (
        message("ground.grows", stover=zone["stover_mg_ha"]),
        message("ground.keeps", keep=zone["retention_mg_ha"]),
        message("ground.spares", spare=zone["removable_mg_ha"]),
    )
    return (*parts, message("ground.narrow", share=zone["left_fraction"])) if zone["left_fraction"] > 0.02 else parts


def method_message(offer: Mapping[str, Any]) -> Message:
    """Return what a method takes and what limit it meets; `offer` is a row of the methods table."""
    return message("method.verdict", title=offer["title"], verdict=offer["message"])


def left_messages(zone: Mapping[str, Any], offers: pd.DataFrame) -> tuple[Message, ...]:
    """Return why nothing is gathered where something could be spared.

    Where no method fits, the least of those that take too much and could be used otherwise says what limit it meets,
    and each that is refused for another reason alone, such as how its bales keep, says that.
    """
    if zone["removable_mg_ha"] <= 0:
        return ()
    if offers["allowed"].any():
        return (message("left.not_needed"),)
    refused = offers[offers["removal_mg_ha"] > 0].sort_values("removal_mg_ha", kind="stable")
    over = refused["removal_mg_ha"] > refused["limit_mg_ha"]
    # a method that takes too much may be refused for another reason as well, and then names that one
    by_limit = over & refused["message"].map(_names_limit)
    shown = refused[~over | (by_limit & (by_limit.cumsum() == 1))]
    shown = shown if len(shown) else refused.head(1)
    return (message("left.no_method"), *map(method_message, shown.to_dict("records")))


def _names_limit(said: Sequence[Any]) -> bool:
    """Return whether a refusal names a limit; a plain sentence is taken for one that does."""
    first = said[0] if len(said) else None
    return not isinstance(first, Message) or first.key.startswith("exceeds.")
