"""Reads a release back: tables by name, and the release that is meant by a path or name."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

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
        self._columns: dict[str, dict[str, list]] = {}
        self._rows: dict[tuple[str, ...], dict] = {}
        self._records: dict[str, dict[int, dict[str, Any]]] = {}

    def has(self, name: str) -> bool:
        """Whether the release carries the table."""
        return any((folder / f"{name}.parquet").is_file() for folder in (self.release, self.release / "evidence"))

    def table(self, name: str) -> pd.DataFrame:
        """A table of the release by name."""
        if name not in self._tables:
            self._tables[name] = table(self.release, name)
        return self._tables[name]

    def rows(self, name: str, **key) -> pd.DataFrame:
        """The rows of table ``name`` with these key values, in their order, as a table."""
        return self.table(name).iloc[self._places(name, key)]

    def records(self, name: str, **key) -> list[dict[str, Any]]:
        """The same rows as plain dicts, which are read and not changed; none where the release has no such table."""
        return [self._record(name, place) for place in self._places(name, key)] if self.has(name) else []

    def row(self, name: str, **key) -> dict[str, Any] | None:
        """The first row of table ``name`` with these key values, or None."""
        places = self._places(name, key)
        return self._record(name, places[0]) if places else None

    def _record(self, name: str, place: int) -> dict[str, Any]:
        made = self._records.setdefault(name, {})
        if place not in made:
            made[place] = {column: values[place] for column, values in self._cells(name).items()}
        return made[place]

    def _cells(self, name: str) -> dict[str, list]:
        if name not in self._columns:
            frame = self.table(name)
            self._columns[name] = {column: frame[column].tolist() for column in frame.columns}
        return self._columns[name]

    def _places(self, name: str, key: Mapping[str, Any]) -> Sequence[int]:
        if not key:
            return range(len(self.table(name)))
        wanted = (name, *key)
        if wanted not in self._rows:
            found: dict[tuple, list[int]] = {}
            cells = self._cells(name)
            for place, values in enumerate(zip(*(cells[column] for column in key), strict=True)):
                found.setdefault(values, []).append(place)
            self._rows[wanted] = found
        return self._rows[wanted].get(tuple(key.values()), [])
