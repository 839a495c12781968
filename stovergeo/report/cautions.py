"""The cautions that every map and crew sheet carries.

In our own words, from published safety sheets. They are printed whatever the plan says.
"""

from __future__ import annotations

from typing import Final, NamedTuple


class Caution(NamedTuple):
    """One caution: what can go wrong, what to do, and who says so."""

    title: str
    words: str
    source: str


GUIDANCE: Final = (
    "This is planning guidance. It is not a fire, building, electrical or traffic approval, and "
    "not a conservation plan. The local fire authority, the insurer, the utility, the road "
    "authority, and the conservation office or a certified planner decide. Highly erodible land "
    "needs its conservation plan. Where local codes ask for more, they hold."
)

LEASE: Final = (
    "Who owns the stover on rented ground depends on the lease and on state law. "
    "Agree on it in writing before any is baled."
)

CREW: Final[tuple[Caution, ...]] = (
    Caution(
        "Rolling bales",
        "A round bale can run away downhill. Never try to stop one. Set bales down across the slope "
        "so that they cannot roll, stay on the uphill side, and keep people out of the way below.",
        "Iowa State University Safe Farm Pm-1518g; read second-hand",
    ),
    Caution(
        "Tractor overturn, falling bale",
        "Use a loader and grapple made for the bale's weight, carry it low, with roll bar and seat "
        "belt. Never walk or work under a raised bale.",
        "Iowa State University Safe Farm Pm-1518g; University of Nebraska Medical Center; read second-hand",
    ),
    Caution(
        "Entanglement",
        "Before leaving the seat: disengage, shut off, take the key, and wait until everything stands"
        " still. Keep shields on. Never clear a plug or thread net on a running machine.",
        "Virginia Tech Extension 442-455; read second-hand",
    ),
    Caution(
        "Overhead wires",
        "Look up before lifting, tipping or stacking. Never stack under or near a line. If a machine "
        "touches a wire, stay on it, keep others away and call the utility.",
        "UK Health and Safety Executive (at least 10 m from lines); read second-hand; the utility's distance holds",
    ),
    Caution(
        "Falling stacks",
        "Build on firm, level ground, tie layers together, chock the bottom round bales, and look the"
        " stack over each time before taking from it. Keep children and visitors off.",
        "UK Health and Safety Executive; NFU; read second-hand",
    ),
    Caution(
        "Heating and stack fires",
        "Damp bales heat for weeks. Probe from planks and never alone; where a stack is hot, smells "
        "of smoke or steams, keep off it, do not move bales, and call the fire service: opening a hot"
        " stack can set it alight.",
        "Extension bulletins on hay heating; the fire service decides",
    ),
    Caution(
        "Machine fire",
        "Carry an extinguisher on every machine, clean off trash, and park machines away from stacks.",
        "Perennial grass biomass fire guide; read second-hand",
    ),
    Caution(
        "Road",
        "Securing the load is the driver's duty; wide loads need what the road authority asks for.",
        "National load-securement rules; the road authority decides",
    ),
    Caution(
        "Dust and mold",
        "Wear a respirator when opening old or moldy bales.",
        "Extension safety sheets; read second-hand",
    ),
)
