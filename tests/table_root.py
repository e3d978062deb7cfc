"""A project root of its own with the curated core and a second table: the core with planted changes."""

from __future__ import annotations

import csv
import hashlib
import shutil
from collections.abc import Callable
from pathlib import Path

from pipeline.root import ROOT

Rows = list[dict[str, str]]
NEXT = "core-next"  # next year's table


def root(folder: Path) -> Path:
    """A project root with copies of this project's reference files and mappings, without releases."""
    for name in ("reference", "mappings"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("build", "demo"))
    (folder / "output").mkdir()
    return folder


def plant(home: Path, change: Callable[[Rows, Rows], None], name: str = NEXT) -> str:
    """Writes the core as table ``name`` after ``change(entries, values)`` edited its rows in place."""
    core, target = (home / "reference" / "composition" / one for one in ("core", name))
    target.mkdir(exist_ok=True)
    tables = {file: _rows(core / file) for file in ("entries.csv", "values.csv")}
    change(*tables.values())
    for file, rows in tables.items():
        with (target / file).open("w", newline="", encoding="utf-8") as stream:
            writer = csv.DictWriter(stream, rows[0].keys(), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
    return name


def _rows(path: Path) -> Rows:
    with path.open(newline="", encoding="utf-8") as stream:
        return list(csv.DictReader(stream))


def row(rows: Rows, **wanted: str) -> dict[str, str]:
    """The one row with these cells."""
    found = [one for one in rows if all(one[name] == value for name, value in wanted.items())]
    assert len(found) == 1, (wanted, len(found))
    return found[0]


def tree(home: Path) -> dict[str, str]:
    """Every file below ``home`` with the hash of its bytes."""
    return {path.relative_to(home).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(home.rglob("*")) if path.is_file()}
