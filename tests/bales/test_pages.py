"""The pages on storage and bales are what their scripts write now."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from stovergeo.bales.trials import trial_residuals
from stovergeo.core.coefficients import load_handbook

DOCS = Path(__file__).parents[2] / "docs"


@pytest.fixture(scope="module")
def script():
    return runpy.run_path(str(DOCS / "write_storage_fit.py"))


def test_the_page_is_current(script):
    assert (DOCS / "storage-fit.md").read_text("utf-8") == script["page"]()


def test_the_fitted_form_is_the_shipped_model(script):
    # the refit speaks of the model the plan uses only if both give the same losses
    coefficients = load_handbook()
    trials = trial_residuals(coefficients)
    fit = trials[trials["use"] == "fit"].reset_index(drop=True)
    assert np.allclose(script["design"](fit, coefficients) @ script["shipped"](coefficients), fit["model_pct"])


def test_the_refit_finds_numbers_it_is_given(script):
    coefficients = load_handbook()
    trials = trial_residuals(coefficients)
    matrix = script["design"](trials[trials["use"] == "fit"].reset_index(drop=True), coefficients)
    numbers = np.array([1.5, 0.3, 12, 6, 4, 2, 1, 3.0])
    assert np.allclose(script["refit"](matrix, matrix @ numbers), numbers, atol=1e-6)


def test_the_bales_page_is_current():
    written = runpy.run_path(str(DOCS / "write_bales.py"))["page"]()
    assert (DOCS / "bales.md").read_text("utf-8") == written
