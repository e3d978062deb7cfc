"""Where the published tables are that some tests compare with; they are never in the project."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]


def outside_folder() -> Path | None:
    """The folder that POTASH_OUTSIDE_DATA names, or the nearest ``shared/data`` beside the checkout or above it."""
    named = os.environ.get("POTASH_OUTSIDE_DATA")
    candidates = [Path(named)] if named else [parent / "shared" / "data" for parent in CHECKOUT.parents]
    return next((folder for folder in candidates if folder.is_dir()), None)


@pytest.fixture(scope="session")
def outside_data() -> Path:
    """The folder with the published tables; skips the test where there is none."""
    folder = outside_folder()
    if folder is None:
        pytest.skip("the published tables are not here: set POTASH_OUTSIDE_DATA to their folder, or put them in shared/data beside the checkout")
    return folder
