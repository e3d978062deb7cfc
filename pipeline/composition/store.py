"""The store of imported composition tables: ``composition/<name>/`` in the project.

``entries.parquet``, ``values.parquet``, ``measures.parquet`` and the importer's further
tables under ``extra/``; ``table.json`` says what they were imported from, with the hash of
every file. The same source and importer give the same bytes: no time or place is stored.
``values.parquet`` has one row group per component and unit, so that a run reads the
components it needs and no others.

A table is replaced whole or not at all. The new one is written beside the old one and the
two change places at the end; a writer that is killed leaves the old one, or (for the
instant between two renames) an old one under a hidden name, which the next reader puts back.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from pipeline.composition.common import Imported, StoredValues, checked, problem
from pipeline.problems import InputError
from pipeline.root import ROOT
from pipeline.tables import Values, columns

FOLDER = "composition"
LAYOUT = 1  # of the store itself: a table written under another number is imported again
FACTS = "table.json"
ENTRIES, VALUES, MEASURES = "entries.parquet", "values.parquet", "measures.parquet"
FACT_KEYS = {"name", "format", "layout", "importer", "source", "source_ids", "counts", "notes", "rows", "files"}
NAME = re.compile(r"[a-z0-9][a-z0-9-]{0,59}")
CURATED = "core"  # the curated table in reference/: no import may take its name
_AGAIN = "Import the table again: potash tables import"


@dataclass(frozen=True)
class Stored:
    """One stored table, or the part of it that was asked for; ``hashes`` by path from the project."""

    name: str
    entries: pd.DataFrame
    values: pd.DataFrame
    measures: pd.DataFrame
    facts: dict
    hashes: dict[str, str]


def folder(root: Path | None = None) -> Path:
    """Where imported tables are; it may not exist."""
    return (root or ROOT) / FOLDER


def names(root: Path | None = None) -> list[str]:
    """The names of the stored tables, sorted."""
    home = folder(root)
    _recover(home)
    return sorted(path.parent.name for path in home.glob(f"*/{FACTS}") if NAME.fullmatch(path.parent.name))


def check_name(name: str, root: Path | None = None) -> None:
    """Raises :class:`InputError` for a name that no imported table may have."""
    if not NAME.fullmatch(name):
        raise InputError(problem(f"--name {name}", "is not a name for a table",
                                 "Use lower-case letters, digits and hyphens, for example usda-sr26"))
    if name == CURATED or ((root or ROOT) / "reference" / FOLDER / name).is_dir():
        raise InputError(problem(f"--name {name}", "is the name of a curated table", "Choose another name"))


def facts(name: str, root: Path | None = None) -> dict:
    """What ``table.json`` says: name, format, importer, source (file, sha256), source_ids, counts, notes, rows, files.

    Raises :class:`InputError` when there is no such table or the file is damaged.
    """
    path = folder(root) / name / FACTS
    _recover(folder(root))
    try:
        stored = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        known = ", ".join(names(root)) or "none is there"
        raise InputError(problem(f"table {name}", "is not among the imported tables", f"Choose one of: {known}")) from None
    except (ValueError, OSError) as error:
        raise InputError(problem(str(path), f"cannot be read ({error})", _AGAIN)) from None
    if not isinstance(stored, dict) or stored.get("layout") != LAYOUT or not FACT_KEYS <= set(stored):
        raise InputError(problem(str(path), "was written by another version of the store, or changed since", _AGAIN))
    return stored


def is_current(name: str, source_sha256: str, importer: str, root: Path | None = None) -> bool:
    """Whether the stored table ``name`` came from this source by this importer, and is undamaged."""
    try:
        stored = facts(name, root)
    except InputError:
        return False
    same = (stored["importer"], stored["source"].get("sha256")) == (importer, source_sha256)
    return same and not _damaged(folder(root) / name, stored)


def save(name: str, imported: Imported, format_name: str, importer: str, source: dict[str, str], root: Path | None = None) -> Path:
    """Stores a checked table under ``name``, replacing what was there; whole or not at all.

    ``source`` has file (its name) and sha256. Gives the folder.
    Raises :class:`InputError` for a wrong name, for rows that break the common form, and
    when the disk cannot be written; the old table is untouched then.
    """
    check_name(name, root)
    imported = checked(imported)
    home = folder(root)
    try:
        home.mkdir(parents=True, exist_ok=True)
        ignore = home / ".gitignore"
        if not ignore.exists():
            ignore.write_text("*\n", encoding="utf-8")
        with _locked(home):
            _sweep(home)
            part = home / f".{name}.part"
            part.mkdir()
            try:
                written = _write(part, imported)
                stored = {
                    "name": name, "format": format_name, "layout": LAYOUT, "importer": importer, "source": dict(source),
                    "source_ids": _source_ids(imported), "counts": imported.counts,
                    "notes": [*imported.notes, *(str(one) for one in imported.problems)], "rows": _rows(imported),
                    "files": {path: digest for path, digest in sorted(written.items())},
                }
                _flushed(part / FACTS, (json.dumps(stored, indent=2, ensure_ascii=False) + "\n").encode())
                _exchange(home, name, part)
            finally:
                shutil.rmtree(part, ignore_errors=True)
    except OSError as error:
        raise InputError(problem(str(home / name), f"cannot be written ({error.strerror or error}); the old table, if any, is untouched",
                                 "Free the disk or correct its permissions, then import again")) from None
    return home / name


def load(name: str, components: list[str] | None = None, root: Path | None = None, originals: bool = True) -> Stored:
    """A stored table: all of its values, or only those of ``components`` (tagnames).

    Values are sorted by component, unit and entry; without ``originals`` they have the
    columns of model Values alone. Raises :class:`InputError` when the table is not there
    or a file of it is not the one that was stored.
    """
    stored = facts(name, root)
    home = folder(root) / name
    wrong = _damaged(home, stored, (ENTRIES, VALUES, MEASURES))
    if wrong:
        raise InputError(problem(str(home / wrong), "is not the file that was stored (gone or changed)", _AGAIN))
    values = _read_values(home / VALUES, columns(StoredValues if originals else Values), components)
    hashes = {f"{FOLDER}/{name}/{file}": stored["files"][file] for file in (ENTRIES, MEASURES, VALUES)}
    return Stored(name, pd.read_parquet(home / ENTRIES), values, pd.read_parquet(home / MEASURES), stored, hashes)


def _read_values(path: Path, wanted: list[str], components: list[str] | None) -> pd.DataFrame:
    """The row groups of ``components`` and no others: each is of one component, so its least one says which."""
    file = pq.ParquetFile(path)
    if components is None:
        return file.read(columns=wanted).to_pandas()
    stored, asked = file.metadata, set(components)
    place = stored.schema.names.index("component")
    groups = [group for group in range(stored.num_row_groups) if stored.row_group(group).column(place).statistics.min in asked]
    return file.read_row_groups(groups, columns=wanted).to_pandas()


# ---------------------------------------------------------------- writing

def _rows(imported: Imported) -> dict:
    types = imported.values["value_type"].value_counts()
    return {
        "entries": len(imported.entries), "values": int(len(imported.values) - types.get("missing", 0)),
        "missing": int(types.get("missing", 0)), "measures": len(imported.measures),
        "components": int(imported.values["component"].nunique()),
        "value_types": {str(kind): int(count) for kind, count in sorted(types.items())},
    }


def _source_ids(imported: Imported) -> list[str]:
    frames = (imported.entries, imported.values, imported.measures)
    return sorted({str(source) for frame in frames for source in frame["source_id"].unique()})


def _write(part: Path, imported: Imported) -> dict[str, str]:
    """Writes the tables; gives the SHA-256 of each file by its path in the folder."""
    (part / "extra").mkdir()
    frames = {ENTRIES: imported.entries.sort_values("entry_id"), MEASURES: imported.measures.sort_values("measure_id")}
    frames |= {f"extra/{name}.parquet": frame for name, frame in sorted(imported.extra.items())}
    for file, frame in frames.items():
        pq.write_table(_arrow(frame), part / file, compression="zstd")
    values = _arrow(imported.values[columns(StoredValues)])
    order = pc.sort_indices(values, sort_keys=[(name, "ascending") for name in ("component", "unit", "entry_id")])
    _write_by_component(part / VALUES, values.take(order))
    return {file: _sha256(part / file) for file in (*frames, VALUES)}


def _write_by_component(path: Path, values: pa.Table) -> None:
    """One row group for each component and unit; ``values`` is sorted by them."""
    keys = pc.binary_join_element_wise(values["component"], values["unit"], pa.scalar("/", pa.large_string())).combine_chunks()
    lengths = pc.run_end_encode(keys).run_ends.to_pylist() if len(keys) else []
    with pq.ParquetWriter(path, values.schema, compression="zstd") as writer:
        start = 0
        for end in lengths:
            writer.write_table(values.slice(start, end - start), row_group_size=max(end - start, 1))
            start = end


def _arrow(frame: pd.DataFrame) -> pa.Table:
    table = pa.Table.from_pandas(frame, preserve_index=False)
    return table.replace_schema_metadata(None)  # names the libraries' versions, which are no part of the table


def _flushed(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _damaged(home: Path, stored: dict, only: tuple[str, ...] | None = None) -> str:
    """The first file that is not as stored, or ""."""
    for file, digest in stored["files"].items():
        if only is not None and file not in only:
            continue
        path = home / file
        if not path.is_file() or _sha256(path) != digest:
            return file
    return ""


# ---------------------------------------------------------------- replacing

def _exchange(home: Path, name: str, part: Path) -> None:
    """Puts ``part`` in the place of the table; between the renames the old one has a hidden name."""
    old = home / f".{name}.old"
    if (home / name).exists():
        (home / name).rename(old)
    try:
        part.rename(home / name)
    except OSError:
        if old.exists():
            old.rename(home / name)
        raise
    shutil.rmtree(old, ignore_errors=True)


def _recover(home: Path) -> None:
    """Puts back tables whose replacement was interrupted between its two renames."""
    if any(home.glob(".*.old")):
        with _locked(home):
            _put_back(home)


def _put_back(home: Path) -> None:
    for old in sorted(home.glob(".*.old")):
        place = home / old.name[1:-len(".old")]
        if place.exists():
            shutil.rmtree(old, ignore_errors=True)
        else:
            old.rename(place)


def _sweep(home: Path) -> None:
    """Removes what killed writers left behind; the lock says that none is alive."""
    _put_back(home)
    for part in home.glob(".*.part"):
        shutil.rmtree(part)


@contextmanager
def _locked(home: Path) -> Iterator[None]:
    """One writer at a time; the system lets go of the lock when its holder dies."""
    with (home / ".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
