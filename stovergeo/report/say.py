"""Numbers as people read them: every quantity of the plan in US and in metric units.

Rooms write numbers and words in SI. Here each kind of quantity gets its two printed units,
and quantities inside sentences are found and marked, so that the same sentence can be read
in either. A text is a list of parts: plain strings, and ``{"k": kind, "v": value in SI}``.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from stovergeo.core.printing import render
from stovergeo.core.units import (
    HA_PER_ACRE,
    KG_HA_PER_LB_ACRE,
    KG_M3_PER_LB_FT3,
    KG_MG_PER_LB_TON,
    KG_PER_LB,
    M_PER_FT,
    M_PER_IN,
    M_PER_MI,
    MG_HA_PER_TON_ACRE,
    MG_PER_TON,
)

System = Literal["us", "metric"]
NOT_KNOWN: Final = "not known: no usable yield data"
Part = str | dict[str, str | float | int]
Parts = Sequence[Part]


@dataclass(frozen=True, slots=True)
class Printed:
    """How a quantity is printed in one system: value in SI x factor + offset, decimals, unit."""

    factor: float
    unit: str
    decimals: int
    offset: float = 0.0
    column_suffix: str = ""


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of quantity: the suffix its columns carry, and its two printed forms."""

    si_suffix: str
    us: Printed
    metric: Printed

    def in_(self, system: System) -> Printed:
        """Return how it is printed in one system."""
        return self.us if system == "us" else self.metric


def _same(suffix: str, unit: str, decimals: int) -> Kind:
    return Kind(suffix, Printed(1, unit, decimals), Printed(1, unit, decimals))


KINDS: Final[dict[str, Kind]] = {
    "count": _same("", "", 0),
    "pct": _same("_pct", "%", 0),
    "pct1": _same("_pct", "%", 1),
    "share": Kind("_share", Printed(100, "%", 0), Printed(100, "%", 0)),
    "plain1": _same("", "", 1),
    "plain2": _same("", "", 2),
    "money": Kind("", Printed(1, "$", 0), Printed(1, "$", 0)),
    "money2": Kind("", Printed(1, "$", 2), Printed(1, "$", 2)),
    "area": Kind("_ha", Printed(1 / HA_PER_ACRE, "ac", 1, 0, "_ac"), Printed(1, "ha", 1)),
    "mass": Kind("_mg", Printed(1 / MG_PER_TON, "tons", 0, 0, "_ton"), Printed(1, "t", 0)),
    "rate": Kind("_mg_ha", Printed(1 / MG_HA_PER_TON_ACRE, "ton/ac", 1, 0, "_ton_ac"), Printed(1, "t/ha", 1)),
    "kg": Kind("_kg", Printed(1 / KG_PER_LB, "lb", 0, 0, "_lb"), Printed(1, "kg", 0)),
    "kg_ha": Kind("_kg_ha", Printed(1 / KG_HA_PER_LB_ACRE, "lb/ac", 0, 0, "_lb_ac"), Printed(1, "kg/ha", 0)),
    "kg_mg": Kind("_kg_mg", Printed(1 / KG_MG_PER_LB_TON, "lb/ton", 1, 0, "_lb_ton"), Printed(1, "kg/t", 1)),
    "density": Kind("_kg_m3", Printed(1 / KG_M3_PER_LB_FT3, "lb/ft³", 1, 0, "_lb_ft3"), Printed(1, "kg/m³", 0)),
    "length": Kind("_m", Printed(1 / M_PER_FT, "ft", 0, 0, "_ft"), Printed(1, "m", 0)),
    "length1": Kind("_m", Printed(1 / M_PER_FT, "ft", 1, 0, "_ft"), Printed(1, "m", 1)),
    "depth": Kind("_m", Printed(1 / M_PER_IN, "in", 0, 0, "_in"), Printed(100, "cm", 0)),
    "road": Kind("_km", Printed(1000 / M_PER_MI, "mi", 1, 0, "_mi"), Printed(1, "km", 1)),
    "per_mass": Kind("_per_mg", Printed(MG_PER_TON, "$/ton", 2, 0, "_per_ton"), Printed(1, "$/t", 2)),
    "per_area": Kind("_per_ha", Printed(HA_PER_ACRE, "$/ac", 2, 0, "_per_ac"), Printed(1, "$/ha", 2)),
    "warmth": Kind("_c", Printed(1.8, "°F", 0, 32, "_f"), Printed(1, "°C", 0)),
}

#: kind by the unit at the end of a column's name, longest first
_BY_SUFFIX: Final = sorted(
    (
        (k.si_suffix, name)
        for name, k in KINDS.items()
        if k.us.column_suffix and name not in ("depth", "length1", "warmth")
    ),
    key=lambda pair: -len(pair[0]),
)

#: units as the rooms write them in words -> kind, and the factor to the kind's SI unit
_IN_WORDS: Final[dict[str, tuple[str, float]]] = {
    "Mg/ha": ("rate", 1),
    "t/ha": ("rate", 1),
    "kg/t": ("kg_mg", 1),
    "t": ("mass", 1),
    "kg/ha": ("kg_ha", 1),
    "kg/Mg": ("kg_mg", 1),
    "kg/m3": ("density", 1),
    "kg/m³": ("density", 1),
    "$/Mg": ("per_mass", 1),
    "$/ha": ("per_area", 1),
    "Mg": ("mass", 1),
    "kg": ("kg", 1),
    "ha": ("area", 1),
    "km": ("road", 1),
    "cm": ("depth", 0.01),
    "m": ("length", 1),
    "°C": ("warmth", 1),
}
_NUMBER = r"[-+−]?\d[\d,]*(?:\.\d+)?"
_QUANTITY = (
    rf"(?<![\w.,/-])(?P<first>{_NUMBER})(?:(?P<between>\s*(?:–|-|to|and|by|x|×)\s*)(?P<second>\d[\d,]*(?:\.\d+)?))?"
    rf"\s?(?P<unit>{'|'.join(re.escape(u) for u in sorted(_IN_WORDS, key=len, reverse=True))})(?![\w/²³·*^])"
    r"(?!\s[A-Z]\w*/)"  # "Mg C/ha" is another quantity than "Mg"
)
_PERCENT = r"(?P<percent>(?<=\d) %)"  # printed without the space, so that no line breaks before the sign


def kind_of_column(column: str) -> str | None:
    """Return the kind of quantity that a column's name ends with, None where both systems print it alike."""
    return next((kind for suffix, kind in _BY_SUFFIX if column.endswith(suffix)), None)


def quantity(kind: str, value: float) -> Part:
    """Return a quantity as a part of a text."""
    if kind not in KINDS:
        raise KeyError(f"no such kind of quantity: {kind!r}")
    return {"k": kind, "v": float(value)}


def parts_of(words: str, names: Iterable[str] = ()) -> Parts:
    """Split words into plain text and quantities in SI.

    Parameters
    ----------
    words : str
        A room's sentence, quantities in SI: ``"Soil carbon asks for 3.6 Mg/ha."``
    names : iterable of str
        Names given by the user; a number inside one (a field called "40 m strip") stays as it is.
    """
    known = sorted({n for n in names if n and any(c.isdigit() for c in n)}, key=len, reverse=True)
    kept = "|".join(re.escape(n) for n in known)
    pattern = re.compile(f"(?P<name>{kept or '(?!)'})|{_QUANTITY}|{_PERCENT}")
    parts: list[Part] = []
    end = 0
    for match in pattern.finditer(words):
        if match["name"] is not None:
            continue
        if match["percent"] is not None:
            parts.append(f"{words[end : match.start()]}%")
            end = match.end()
            continue
        kind, factor = _IN_WORDS[match["unit"]]
        numbers = [match["first"], *([match["second"]] if match["second"] else [])]
        decimals = max(len(n.partition(".")[2]) for n in numbers)
        parts.append(words[end : match.start()])
        for k, text in enumerate(numbers):
            value = float(text.replace(",", "").replace("−", "-")) * factor
            parts.append({"k": kind, "v": value, "d": decimals, "u": int(k == len(numbers) - 1)})
            if k == 0 and len(numbers) == 2:
                parts.append(match["between"])
        end = match.end()
    parts.append(words[end:])
    whole: list[Part] = []
    for part in parts:
        if isinstance(part, str) and whole and isinstance(whole[-1], str):
            whole[-1] += part
        elif part != "":
            whole.append(part)
    return whole


def as_text(message: Any) -> str:
    """Return a message, or several, as a text in SI that `parts_of` takes apart."""
    return render(message, "metric")


def number_in(kind: str, value: float, system: System, decimals: int | None = None) -> str:
    """Return the number alone, as printed in one system of units."""
    printed = KINDS[kind].in_(system)
    if value != value:
        return "unknown"
    shown = value * printed.factor + printed.offset
    places = printed.decimals if decimals is None else max(0, decimals + _more_places(printed.factor))
    return f"{shown:,.{places}f}"


def _more_places(factor: float) -> int:
    """Return how many decimals a much smaller or larger unit gives or takes: ft beside m one fewer, lb/ft3 one more."""
    return -1 if factor >= 2 else 1 if factor <= 0.1 else 0


def said(parts: str | Sequence[Part], system: System) -> str:
    """Return a text as one string, in one system of units."""
    if isinstance(parts, str):
        return parts
    out = []
    for part in parts:
        if isinstance(part, str):
            out.append(part)
            continue
        kind, unit = str(part["k"]), KINDS[str(part["k"])].in_(system).unit
        number = number_in(kind, float(part["v"]), system, int(part["d"]) if "d" in part else None)
        if number == "unknown" or not part.get("u", 1):
            out.append(number)
        elif unit.startswith("$"):
            out.append(f"${number}{unit[1:]}")
        else:
            out.append(f"{number}{'' if unit in ('%', '') else ' '}{unit}")
    return "".join(out)


def kinds_for_page() -> dict[str, dict[str, list[float | str | int]]]:
    """Return the table of kinds as the page's script reads it: [factor, unit, decimals, offset]."""
    return {
        name: {system: [p.factor, p.unit, p.decimals, p.offset] for system, p in (("us", k.us), ("metric", k.metric))}
        for name, k in KINDS.items()
    }
