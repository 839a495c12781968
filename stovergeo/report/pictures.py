"""Rasters for the page: a shaded backdrop, and layers as small whole numbers that the page colors and reads."""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import xarray as xr

from stovergeo.report.blocks import alike, message, plain

UNKNOWN: Final = 255
_LOOKS: Final = 8  # colors with patterns that the page has for classes
MAX_CELLS: Final = 140_000  # keeps the page small on a phone; larger grids are averaged in blocks


@dataclass(frozen=True, slots=True)
class Shown:
    """How a variable of the stack is shown: kind of quantity, finest step, ramp."""

    variable: str
    kind: str
    step: float
    ramp: str


SHOWN: Final[tuple[Shown, ...]] = (
    Shown("removable_mg_ha", "rate", 0.05, "straw"),
    Shown("retention_mg_ha", "rate", 0.05, "earth"),
    Shown("stover_mg_ha", "rate", 0.05, "straw"),
    Shown("grain_mg_ha", "grain", 0.05, "straw"),
    Shown("grain_mean_mg_ha", "grain", 0.05, "straw"),
    Shown("slope_pct", "percent1", 0.1, "earth"),
    Shown("ponding_m", "depth", 0.01, "water"),
    Shown("drainage_height_m", "length1", 0.1, "water_low"),
    Shown("sun_fraction", "fraction", 0.005, "sun"),
    Shown("yard_score", "fraction", 0.01, "straw"),
    Shown("elevation_m", "length", 0.1, "earth"),
)

#: numbered classes that are shown
CLASSES: Final = ("binding_rule", "yield_stability", "yard_reason")


def block_factor(stack: xr.Dataset) -> int:
    """Return how many cells each way are joined into one so that the page stays small."""
    cells = stack.sizes["y"] * stack.sizes["x"]
    return max(1, int(np.ceil(np.sqrt(cells / MAX_CELLS))))


def _blocks(values: np.ndarray, factor: int) -> np.ndarray:
    rows, cols = (-(-n // factor) for n in values.shape)
    padded = np.full((rows * factor, cols * factor), np.nan, np.float32)
    padded[: values.shape[0], : values.shape[1]] = values
    return padded.reshape(rows, factor, cols, factor)


def block_mean(values: np.ndarray, factor: int) -> np.ndarray:
    """Average known cells in blocks; a block without any stays unknown."""
    blocks = _blocks(values, factor)
    count = np.isfinite(blocks).sum(axis=(1, 3))
    total = np.nansum(blocks, axis=(1, 3), dtype=np.float64)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan).astype(np.float32)


def block_pick(values: np.ndarray, factor: int) -> np.ndarray:
    """Take the cell in the middle of each block, for numbered classes."""
    return _blocks(values, factor)[:, factor // 2, :, factor // 2]


def packed(codes: np.ndarray) -> str:
    """Pack bytes: difference to the cell on the left, zlib, base64."""
    steps = np.diff(codes.astype(np.uint8), axis=1, prepend=np.uint8(0))
    return base64.b64encode(zlib.compress(steps.tobytes(), 9)).decode("ascii")


def raster_layers(stack: xr.Dataset, titles: dict[str, str]) -> list[dict[str, Any]]:
    """Return every layer the page can show and read at a click.

    Parameters
    ----------
    stack : xarray.Dataset
    titles : dict
        Name of a retention rule or site criterion -> its title in words.
    """
    factor = block_factor(stack)
    layers = [
        _measured(shown, block_mean(stack[shown.variable].to_numpy(), factor))
        for shown in SHOWN
        if shown.variable in stack
    ]
    for name, attribute, place in (
        ("binding_rule", "rules", 2),
        ("yield_stability", "classes", len(layers) + 1),
        ("yard_reason", "reasons", len(layers) + 1),
    ):
        if name in stack:
            labels = [titles.get(str(n), str(n)) for n in stack[name].attrs.get(attribute, [])]
            if name == "yard_reason" and labels:  # a criterion's title says what is wanted
                unmet = (message("page.ground.not_met", title=title) for title in labels[1:])
                labels = [alike(m) for m in (message("page.ground.no_reason"), *unmet)]
            layers.insert(place, _classes(name, labels, block_pick(stack[name].to_numpy(), factor)))
    return layers


def _measured(shown: Shown, values: np.ndarray) -> dict[str, Any]:
    known = np.isfinite(values)
    low, high = (float(values[known].min()), float(values[known].max())) if known.any() else (0.0, 0.0)
    low = np.floor(low / shown.step) * shown.step
    step = max(shown.step, (high - low) / (UNKNOWN - 1))
    codes = np.where(known, np.rint((np.where(known, values, low) - low) / step), UNKNOWN)
    return {
        "id": shown.variable,
        "title": plain(f"page.ground.{shown.variable}"),
        "tells": plain(f"page.ground.tells.{shown.variable}"),
        "kind": shown.kind,
        "ramp": shown.ramp,
        "low": round(low, 6),
        "step": round(step, 9),
        "most": int(codes[known].max()) if known.any() else 0,
        "data": packed(codes),
    }


def _classes(name: str, labels: list[str], values: np.ndarray) -> dict[str, Any]:
    """Return numbered classes; the commonest get a look of their own, the rarer share the last one."""
    codes = np.where(np.isfinite(values), np.nan_to_num(values), UNKNOWN).astype(np.uint8)
    cells = np.bincount(codes.ravel(), minlength=256)[: len(labels)]
    common = np.argsort(-cells, kind="stable")
    shown = [int(k) for k in common if cells[k]]
    looks = np.full(len(labels), _LOOKS - 1)
    looks[shown] = np.minimum(np.arange(len(shown)), _LOOKS - 1)
    return {
        "id": name,
        "title": plain(f"page.ground.{name}"),
        "labels": labels,
        "looks": looks.tolist(),
        "shown": sorted(shown, key=lambda k: looks[k]),
        "data": packed(codes),
    }


def backdrop(stack: xr.Dataset) -> np.ndarray | None:
    """Return the ground shaded by light from the north-west, as RGBA bytes; unknown ground is clear.

    Shading is only a look: heights are exaggerated so that flat farm land shows its form.
    """
    if "elevation_m" not in stack:
        return None
    heights = block_mean(stack["elevation_m"].to_numpy(), block_factor(stack)).astype(np.float64)
    known = np.isfinite(heights)
    if not known.any() or min(heights.shape) < 2:
        return None
    cell = abs(float(stack["x"][1] - stack["x"][0])) * block_factor(stack)
    filled = np.where(known, heights, heights[known].mean())
    south, east = np.gradient(filled, cell)
    steep = np.hypot(south, east)
    raised = 0.35 / max(float(np.percentile(steep[known], 95)), 1e-6)  # the steep ground of this farm comes out alike
    normal = np.stack([-east * raised, south * raised, np.ones_like(filled)])
    light = np.array([-0.5, 0.5, np.sqrt(0.5)])
    shade = np.einsum("i,ijk->jk", light, normal / np.linalg.norm(normal, axis=0))
    gray = np.clip((shade - 0.35) / 0.6, 0, 1)
    tone = (np.rint(gray * 31) / 31)[..., None]  # few tones pack well
    dark, pale = np.array([158, 152, 138]), np.array([250, 248, 240])
    rgba = np.empty((*heights.shape, 4), np.uint8)
    rgba[..., :3] = np.rint(dark + tone * (pale - dark))
    rgba[..., 3] = np.where(known, 255, 0)
    return rgba
