"""Reads a release back: tables by name, and the release that is meant by a path or name."""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd

from pipeline.problems import InputError, Problem
from pipeline.root import ROOT


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
    """One released table from its Parquet file, wherever in the release it lies.

    Raises :class:`InputError` when it is not there or cannot be read.
    """
    for path in (release / f"{name}.parquet", release / "evidence" / f"{name}.parquet"):
        if not path.is_file():
            continue
        try:
            return pd.read_parquet(path)
        except (OSError, ValueError) as error:
            raise InputError(Problem(str(path), f"cannot be read ({error})", "Make the release again with `potash run`",
                                     "unreadable-table")) from None
    raise InputError(Problem(str(release), f"has no table {name}", "Make the release again with `potash run`", "no-table"))


class Evidence:
    """The tables of one release, each read once and looked up by key without scanning it again."""

    def __init__(self, release: Path):
        self.release = release
        self._tables: dict[str, pd.DataFrame] = {}
        self._rows: dict[tuple[str, ...], dict] = {}

    def table(self, name: str) -> pd.DataFrame:
        """A table of the release by name."""
        if name not in self._tables:
            self._tables[name] = table(self.release, name)
        return self._tables[name]

    def rows(self, name: str, **key) -> pd.DataFrame:
        """The rows of table ``name`` with these key values, in their order."""
        frame = self.table(name)
        places = self._places(name, tuple(key)).get(tuple(key.values()), [])
        return frame.iloc[places]

    def row(self, name: str, **key) -> pd.Series | None:
        """The first row of table ``name`` with these key values, or None."""
        places = self._places(name, tuple(key)).get(tuple(key.values()))
        return None if places is None else self.table(name).iloc[places[0]]

    def _places(self, name: str, columns: tuple[str, ...]) -> dict[tuple, list[int]]:
        wanted = (name, *columns)
        if wanted not in self._rows:
            found: dict[tuple, list[int]] = {}
            frame = self.table(name)
            for place, values in enumerate(zip(*(frame[column].tolist() for column in columns), strict=True)):
                found.setdefault(values, []).append(place)
            self._rows[wanted] = found
        return self._rows[wanted]
