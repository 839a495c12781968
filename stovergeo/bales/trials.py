"""The published storage trials, and how far the loss model is from each."""

from __future__ import annotations

import tomllib
from importlib.resources import files

import pandas as pd

from stovergeo.bales.bale import BaleSize
from stovergeo.bales.storage import StorageMethod, storage_loss
from stovergeo.core.bale_catalog import STANDARD_WRAP, cover_named
from stovergeo.core.coefficients import Handbook
from stovergeo.core.units import M_PER_IN

#: all trials are of dry-baled hay or stover; where a document is silent this is assumed
TRIAL_MOISTURE_PCT = 18.0


def published_trials() -> pd.DataFrame:
    """Return the trials: study, source, what, shape, crop, cover, base, months, rain_in, loss_pct, use, assumed, note.

    `low_pct` and `high_pct` are given where the source prints a range, of which `loss_pct` is the middle.
    """
    text = files("stovergeo.bales").joinpath("trials.toml").read_text("utf-8")
    trials = pd.DataFrame(tomllib.loads(text)["trial"])
    return trials.fillna({"note": ""})


def trial_residuals(coefficients: Handbook) -> pd.DataFrame:
    """Return the trials with what the model says of each.

    Returns
    -------
    pandas.DataFrame
        Columns of `published_trials`, and model_low_pct, model_pct, model_high_pct, residual
        (trial less model, percentage points), inside (the trial, or its printed range, meets the
        model's band).
    """
    trials = published_trials()
    losses = [_model(trial, coefficients) for _, trial in trials.iterrows()]
    trials[["model_low_pct", "model_pct", "model_high_pct"]] = losses
    trials["residual"] = trials["loss_pct"] - trials["model_pct"]
    low, high = trials["low_pct"].fillna(trials["loss_pct"]), trials["high_pct"].fillna(trials["loss_pct"])
    trials["inside"] = (high >= trials["model_low_pct"]) & (low <= trials["model_high_pct"])
    return trials


def _model(trial: pd.Series, coefficients: Handbook) -> list[float]:
    cover = cover_named(str(trial["cover"]))
    wrap = STANDARD_WRAP if cover.place else cover.name
    option = StorageMethod(wrap, str(trial["base"]), cover.place or "outside")
    # only shape and moisture of the bale count in the model
    bale = BaleSize(str(trial["shape"]), 1.5, 1.5, 1.5, 1.5, 1.0, 150, 150, 150, TRIAL_MOISTURE_PCT)
    rain_mm = float(trial["rain_in"]) * M_PER_IN * 1000
    loss = storage_loss(option, bale, float(trial["months"]), rain_mm, coefficients, crop=str(trial["crop"]))
    return [float(part) for part in loss]
