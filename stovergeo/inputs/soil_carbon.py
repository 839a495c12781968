"""The organic carbon of the top 30 cm of a soil, from the layers that a soil survey or a soil test describes."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

#: carbon in organic matter by mass (factor in public readers of the soil survey)
CARBON_IN_MATTER: Final = 0.58
#: depth to which the survey's surface layer and carbon are counted, cm
SURFACE_CM: Final = 30.0
G_M2_PER_MG_HA: Final = 100.0


def layer_stock(organic_matter_pct: Any, density_g_cm3: Any, thickness_cm: Any, fragments_pct: Any) -> Any:
    """Return the carbon of a layer of soil, Mg C/ha; a soil's stock is the sum over its layers.

    Parameters
    ----------
    organic_matter_pct : float or array
        Of the fine earth, % by mass.
    density_g_cm3 : float or array
        Of the fine earth.
    thickness_cm : float or array
        Of the part of the layer that counts.
    fragments_pct : float or array
        Rock, % of the volume.

    Examples
    --------
    >>> round(layer_stock(4.0, 1.35, 30.0, 2.0), 3)
    92.081
    """
    # % of g/cm3 over a cm is Mg/ha: the factors of 100 cancel
    fine = thickness_cm * (1 - fragments_pct / 100)
    return CARBON_IN_MATTER * organic_matter_pct * density_g_cm3 * fine


def in_surface(horizons: pd.DataFrame) -> pd.Series:
    """Return how much of each layer, cm, lies in the surface layer."""
    top, bottom = horizons["hzdept_r"].clip(0, SURFACE_CM), horizons["hzdepb_r"].clip(0, SURFACE_CM)
    return (bottom - top).clip(lower=0).fillna(0)


def carbon_of_layers(horizons: pd.DataFrame, fragments: pd.DataFrame) -> pd.Series:
    """Return the carbon of the surface layer, g/m2, by cokey; NaN where that of the topmost layer is not known.

    A layer below of which nothing is known counts as none: what is not known must free no stover.

    Parameters
    ----------
    horizons : DataFrame
        cokey, chkey and numbers hzdept_r, hzdepb_r, om_r and dbthirdbar_r.
    fragments : DataFrame
        chkey and fragvol_r: several rows a layer, none where it holds no rock.
    """
    rock = pd.to_numeric(fragments["fragvol_r"], errors="coerce").groupby(fragments["chkey"]).sum()
    stones = horizons["chkey"].map(rock).astype(float).fillna(0).clip(0, 100)
    carbon = layer_stock(horizons["om_r"], horizons["dbthirdbar_r"], in_surface(horizons), stones) * G_M2_PER_MG_HA
    layers = horizons.assign(carbon=carbon).sort_values("hzdept_r", kind="stable").groupby("cokey")["carbon"]
    topmost = layers.nth(0)
    known = horizons["cokey"].reindex(topmost.index)[topmost.notna()]
    return layers.sum().where(np.isin(layers.sum().index, known))
