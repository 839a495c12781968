"""Layers: what a grower brings, opened safely, checked, converted once at the edge.

`read_layers` reads everything a plan names and lists every problem at once; `farm_grid` and
`put_layers` lay the result onto the field stack; `propose_roles` offers what columns may mean.
"""

from stovergeo.layers.farm_layers import FarmLayers
from stovergeo.layers.farm_size import FarmSize
from stovergeo.layers.grid import cells_touched, farm_grid, onto_grid, put_layers, put_surface, raised_by
from stovergeo.layers.read import read_layers
from stovergeo.layers.roles import Proposal, propose_roles

__all__ = [
    "FarmLayers",
    "FarmSize",
    "Proposal",
    "cells_touched",
    "farm_grid",
    "onto_grid",
    "propose_roles",
    "put_layers",
    "put_surface",
    "raised_by",
    "read_layers",
]
