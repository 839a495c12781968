"""Places the tests read from."""

from __future__ import annotations

from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def sample_farm() -> Path:
    """Folder of the sample farm's layers."""
    return CHECKOUT / "sample_layers"


@pytest.fixture(scope="session")
def real_field() -> Path:
    """Folder of a real field's raw points and soil polygons, which stands beside the project where it is lent."""
    folder = CHECKOUT.parent / "shared" / "real_field"
    if not folder.is_dir():
        pytest.skip("the real field is not beside this checkout; see DEVELOPERS.md")
    return folder
