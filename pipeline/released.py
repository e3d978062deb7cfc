"""Reads a release back: tables by name, and the release that is meant by a path or name."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.sources import ROOT


def find(release: str | Path | None, output: Path | None = None) -> Path:
    """The folder of a release: a path, a name in the output folder, or the latest one.

    Raises :class:`InputError` when it is not there or is not a release.
    """
    folder = output or ROOT / "output"
    if release is None:
        latest = folder / "latest"
        if not latest.is_file():
            raise InputError(Problem(str(folder), "holds no release yet", "Run `potash run` first", "no-release"))
        release = latest.read_text(encoding="utf-8").strip()
    for path in (Path(release), folder / str(release)):
        if (path / "manifest.json").is_file():
            return path
    raise InputError(Problem(str(release), "is not a release (it has no manifest.json)",
                             "Name a folder that `potash run` wrote", "not-a-release"))


def manifest(release: Path) -> dict:
    """The release's manifest; :class:`InputError` when it cannot be read."""
    path = release / "manifest.json"
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(Problem(str(path), f"cannot be read ({error})", "Make the release again with `potash run`",
                                 "unreadable-manifest")) from None


def table(release: Path, name: str) -> pd.DataFrame:
    """One released table from its Parquet file, wherever in the release it lies."""
    for path in (release / f"{name}.parquet", release / "evidence" / f"{name}.parquet"):
        if path.is_file():
            return pd.read_parquet(path)
    raise InputError(Problem(str(release), f"has no table {name}", "Make the release again with `potash run`", "no-table"))
