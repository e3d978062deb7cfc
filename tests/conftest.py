"""Where the published tables are that some tests compare with; they are never in the project."""

from __future__ import annotations

import gc
import os
from pathlib import Path

import pytest
from hypothesis import settings
from made_once import made_once

# The stages make many small objects and hardly any cycles: looking for cycles as often as by default takes a sixth of the suite's time.
gc.set_threshold(100_000, 50, 100)

# Tests assert no times; where every change is checked, the same examples are tried each time.
settings.register_profile("potash", deadline=None, derandomize=bool(os.environ.get("CI")))
settings.load_profile("potash")

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


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory) -> Path:
    """A copy of the project in which ``potash run`` made the release of the demo from nothing: ``project/output``; what it said is in
    ``printed.txt`` and ``complained.txt``."""
    from command_line import Project

    def make(folder: Path) -> None:
        project = Project(folder)
        done = project.run("run", cwd=project.root)
        assert done.code == 1, done.err
        (folder / "printed.txt").write_text(done.out, encoding="utf-8")
        (folder / "complained.txt").write_text(done.err, encoding="utf-8")

    return made_once(tmp_path_factory, "demo", make)


@pytest.fixture(scope="session")
def quay_release(tmp_path_factory) -> Path:
    """The release of the invented dishes of ``small_release``; copy it to change it."""
    import small_release

    whole = made_once(tmp_path_factory, "quay", small_release.build)
    return next(path.parent for path in whole.glob("output/*/manifest.json"))


@pytest.fixture(scope="session")
def imported_sr26(outside_data, tmp_path_factory) -> Path:
    """A project root of its own (this project's reference and mappings) with the whole release 26 imported as usda-sr26."""
    import sr_release

    from pipeline.composition.importing import import_table

    archive = outside_data / "usda-sr26-ascii.zip"
    if not archive.is_file():
        pytest.skip(f"{archive.name} is not in the folder of published tables")
    return made_once(tmp_path_factory, "sr26", lambda folder: import_table(
        "usda-sr-ascii", archive, "usda-sr26", root=sr_release.project(folder / "root"))) / "root"
