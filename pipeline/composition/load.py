"""A composition table by its name, as a run sees it: a curated one of ``reference/composition/``, or an imported one.

A curated table is two CSV files, checked against the models each time. An imported table
was checked when it was stored; of it a run gets the components of ``reference/components.csv``
and no others. A table that a publisher issues does not call foods what a kitchen calls
them: where a curated table has the same entry, the imported one is called and classed as there.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from pipeline import tables
from pipeline.composition import store
from pipeline.problems import InputError, Problem
from pipeline.root import ROOT
from pipeline.sources import FILES, file_sha256, read_csv

# What makes two entries the same one, and what the imported one then takes from the curated one.
ORIGIN, WORDS = ("source_id", "source_row", "name"), ("common_names", "state", "cooking_class")
# An error (or doubt: a warning) of the table's check at one entry: its table, the check, the components it names (" + " between
# them, "" when none), whether the whole table has it, and the one component that it touches where the entry only lends that ("" for all).
ERROR_COLUMNS = ("table", "entry_id", "severity", "check", "component", "what", "source_id", "whole", "only")


def no_errors() -> pd.DataFrame:
    """The errors of a table that has none, or was not checked."""
    return pd.DataFrame(columns=list(ERROR_COLUMNS)).astype({name: "bool" if name == "whole" else "str" for name in ERROR_COLUMNS})


@dataclass(frozen=True)
class CompositionTable:
    """One composition table in the common form (:class:`tables.Entries`, :class:`tables.Values`).

    ``hashes``: the SHA-256 of every file that it was made from, by path from the project. ``errors``: errors and doubts of the table's
    check (columns ``ERROR_COLUMNS``), where :func:`pipeline.composition.check_kept.with_errors` has put them.
    """

    name: str
    entries: pd.DataFrame
    values: pd.DataFrame
    hashes: dict[str, str]
    errors: pd.DataFrame = field(default_factory=no_errors)


def table_names(root: Path | None = None) -> list[str]:
    """The composition tables that are there, by name: the curated and the imported ones."""
    return sorted({path.parent.name for path in _curated_files(root)} | set(store.names(root)))


def load_table(name: str, sources: pd.DataFrame, root: Path | None = None) -> CompositionTable:
    """One composition table in the common form: a curated one, or an imported one with the
    components of ``reference/components.csv``.

    Raises :class:`InputError` for a name that does not exist (it lists those that do),
    for rows that break the models and for a source that ``sources`` does not list.
    """
    known = table_names(root)
    if name not in known:
        raise InputError(Problem(f"--table {name}", "no composition table has this name",
                                 f"Choose one of: {', '.join(known) or 'none is there'}", "unknown-table"))
    folder = _folder(root) / name
    return _curated(folder, sources) if (folder / "entries.csv").is_file() else _stored(name, sources, root)


def with_curated_words(entries: pd.DataFrame, root: Path | None = None) -> tuple[pd.DataFrame, dict[str, str]]:
    """An imported table's entries with the common names, state and cooking class that a curated
    table gives the same entry (``ORIGIN``); and the hashes of the curated files that were read."""
    files = _curated_files(root)
    if not files:
        return entries, {}
    curated = pd.concat([_common(file, tables.Entries, ("refuse_fraction",)) for file in files])
    known = curated.drop_duplicates(list(ORIGIN)).set_index(list(ORIGIN))[list(WORDS)]
    place = known.index.get_indexer(pd.MultiIndex.from_frame(entries[list(ORIGIN)]))
    found = place >= 0
    called = entries.copy()
    called.loc[found, list(WORDS)] = known.iloc[place[found]].to_numpy()
    hashes = {file.relative_to(root or ROOT).as_posix(): file_sha256(file) for file in files}
    return called, hashes


def _folder(root: Path | None) -> Path:
    return (root or ROOT) / "reference" / store.FOLDER


def _curated_files(root: Path | None) -> list[Path]:
    return sorted(_folder(root).glob("*/entries.csv"))


def curated_files(name: str, root: Path | None = None) -> list[Path]:
    """The files of the curated table ``name``; none when there is no such table."""
    return [file for file in (_folder(root) / name / "entries.csv", _folder(root) / name / "values.csv") if file.is_file()]


def _curated(folder: Path, sources: pd.DataFrame) -> CompositionTable:
    entries = _common(folder / "entries.csv", tables.Entries, ("refuse_fraction",))
    values = _common(folder / "values.csv", tables.Values, ("value", "n", "standard_error", "minimum", "maximum"))
    missing = sorted((set(entries["source_id"]) | set(values["source_id"].unique())) - set(sources["source_id"]))
    if missing:
        raise InputError(Problem(str(folder), f"cites unknown sources: {', '.join(missing)}",
                                 "Add them to reference/sources.csv", "unknown-source"))
    orphans = sorted(set(values["entry_id"].unique()) - set(entries["entry_id"]))
    if orphans:
        raise InputError(Problem(str(folder / "values.csv"), f"has values of entries that are not there: {orphans[:5]}",
                                 "Add the entries, or remove the values", "orphan-values"))
    hashes = {f"reference/{store.FOLDER}/{folder.name}/{file}": file_sha256(folder / file) for file in ("entries.csv", "values.csv")}
    return CompositionTable(folder.name, entries, values, hashes)


def _stored(name: str, sources: pd.DataFrame, root: Path | None) -> CompositionTable:
    reference = (root or ROOT) / "reference" / "components.csv"
    components = read_csv(reference, *FILES["components"])["component"].unique().tolist()
    stored = store.load(name, components, root, originals=False)
    unlisted = sorted(set(stored.facts["source_ids"]) - set(sources["source_id"]))
    if unlisted:
        raise InputError(Problem(
            f"composition/{name}", f"cites a source that is not listed: {', '.join(unlisted)}",
            f"Add it to reference/sources.csv with its citation, licence and sha256 {stored.facts['source']['sha256']}",
            "unknown-source"))
    entries, curated = with_curated_words(stored.entries, root)
    return CompositionTable(name, entries, stored.values, {**stored.hashes, **curated})


def _common(path: Path, model, numbers: tuple[str, ...]) -> pd.DataFrame:
    text = tuple(column for column in tables.columns(model) if column not in numbers)
    frame = read_csv(path, text, numbers)[tables.columns(model)]
    problems = tables.violations(model, frame, str(path), "Correct the row in the file")
    if problems:
        raise InputError(problems)
    return frame
