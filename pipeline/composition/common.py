"""What every importer of a composition table gives, and what its values mean.

An importer is one module per published format with a function ``read(path, ...)`` that
gives an :class:`Imported`. Nothing is stored while one row is not understood: every such
row is an error :class:`~pipeline.problems.Problem` with file, row and column.

**The common form.** Values are per 100 g edible portion. An entry has one row for every
component of ``reference/components.csv`` (type ``missing``, without a number, where the
table gives none), and rows for further components where the table gives them. Those have
the INFOODS tagname the table itself prints, or, where it prints none, its own number with
a prefix ("SR:573"), so that nothing is lost. ``original`` and ``original_unit`` keep the
value as printed, before any conversion.

**Value types**, and how each enters a sum and its interval (the types as in FAO/INFOODS,
from memory; the factor for imputed and borrowed values is common practice, no source):

===================  ==============================================================
``analysed``,        the value, with its own spread: the standard error and number of
``calculated``       data points where published, else the spread of its food group
``imputed``,         the value, with a spread of at least ``DOUBT_FACTOR`` times that
``borrowed``         of its food group: it is another food's value
``zero``             exactly 0, no spread: the food cannot contain it
``trace``            somewhere between 0 and the limit below which the table rounds
                     to "trace": enters as half of it, evenly spread over the range
``below-detection``  somewhere between 0 and the limit of detection or quantification:
                     likewise
``missing``          no value: adds nothing, and lowers the coverage of the sum
===================  ==============================================================

For ``trace`` and ``below-detection``, ``value`` is half the limit, ``minimum`` 0 and
``maximum`` the limit, so that an even spread needs nothing else.
"""

from __future__ import annotations

import hashlib
import zipfile
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

import numpy as np
import pandas as pd
import pandera.pandas as pa
from pandera.typing import Series

from pipeline import tables
from pipeline.problems import ERROR, InputError, Problem

STAGE = "tables"
SHOWN = 20  # problems of one kind that are listed one by one; the rest are counted
DOUBT_FACTOR = 1.5
WITH_LIMIT = ("trace", "below-detection")
LARGEST_UNPACKED = 1_000_000_000  # bytes; a Standard Reference release has 50 million


class StoredValues(tables.Values):
    """Model Values, and the value and unit as printed ("" for a missing one that has no cell)."""

    original: Series[str] = pa.Field(nullable=False)
    original_unit: Series[str] = pa.Field(nullable=False)

    @pa.dataframe_check(error="a trace or a value below detection is not half its limit")
    def half_the_limit(cls, table: pd.DataFrame) -> Series[bool]:
        limited = table["value_type"].isin(WITH_LIMIT)
        return ~limited | ((table["value"] * 2 - table["maximum"]).abs() <= 1e-9 * (1 + table["maximum"].fillna(0)))

    @pa.dataframe_check(error="an entry has a component twice in one unit")
    def one_value_each(cls, table: pd.DataFrame) -> Series[bool]:
        return ~table.duplicated(["entry_id", "component", "unit"])


class Measures(tables.Table):
    """The household measures of a table, in the columns of ``reference/measures.csv``:
    ``low``, ``middle``, ``high`` are of ONE measure, and ``scope_key`` is the entry."""

    measure_id: Series[str] = pa.Field(unique=True, str_length={"min_value": 1})
    scope: Series[str] = pa.Field(eq="entry")
    scope_key: Series[str] = pa.Field(str_length={"min_value": 1})
    measure: Series[str] = pa.Field(str_length={"min_value": 1})
    size: Series[str] = pa.Field(isin=("", "baby", "small", "medium", "large"))
    preparation: Series[str] = pa.Field()
    low: Series[float] = pa.Field(ge=0)
    middle: Series[float] = pa.Field(gt=0)
    high: Series[float] = pa.Field(gt=0)
    unit: Series[str] = pa.Field(isin=("g", "ml"))
    basis: Series[str] = pa.Field(isin=("as-purchased", "edible", "drained"))
    source_id: Series[str] = pa.Field(str_length={"min_value": 1})
    source_row: Series[str] = pa.Field(str_length={"min_value": 1})
    note: Series[str] = pa.Field()

    @pa.dataframe_check(error="the interval of a measure is not in order")
    def ordered(cls, table: pd.DataFrame) -> Series[bool]:
        return (table["low"] <= table["middle"]) & (table["middle"] <= table["high"])


@dataclass(frozen=True)
class Imported:
    """One published table in the common form.

    ``counts`` are the rows of the source as published ("foods", "values", "weights", ...).
    ``notes`` are for people. ``extra`` holds what the common form has no column for, as
    tables of text and numbers by name; the store keeps them beside the others.
    """

    entries: pd.DataFrame
    values: pd.DataFrame
    measures: pd.DataFrame
    counts: dict[str, int]
    notes: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    extra: dict[str, pd.DataFrame] = field(default_factory=dict)


def checked(imported: Imported) -> Imported:
    """``imported`` with every table in its model's columns, types and order.

    Raises :class:`InputError` with the importer's error problems, or with the rows that
    break a model or belong to no entry.
    """
    errors = [problem for problem in imported.problems if problem.severity == ERROR]
    if errors:
        raise InputError(errors)
    known = set(imported.entries["entry_id"])
    for name, key in (("values", "entry_id"), ("measures", "scope_key")):
        orphans = sorted(set(getattr(imported, name)[key]) - known)
        if orphans:
            raise InputError(problem(name, f"has rows of entries that are not there: {', '.join(orphans[:5])}",
                                     "Report a defect in the importer"))
    return Imported(
        tables.checked(tables.Entries, imported.entries, STAGE),
        tables.checked(StoredValues, imported.values, STAGE),
        tables.checked(Measures, imported.measures, STAGE),
        dict(imported.counts), list(imported.notes), list(imported.problems), dict(imported.extra))


def no_measures() -> pd.DataFrame:
    """Measures of a table that publishes none."""
    return tables.empty(Measures)


def with_missing(values: pd.DataFrame, entries: pd.DataFrame, components: pd.DataFrame) -> pd.DataFrame:
    """``values`` (model StoredValues) and a row of type ``missing`` for every entry and
    component of ``components`` (columns component, unit) that has none; in no set order."""
    keys = (components["component"] + "/" + components["unit"]).tolist()
    row = pd.Index(entries["entry_id"]).get_indexer(values["entry_id"])
    column = pd.Index(keys).get_indexer(values["component"] + "/" + values["unit"])
    there = np.zeros((len(entries), len(keys)), dtype=bool)
    there[row[column >= 0], column[column >= 0]] = True
    entry, component = np.nonzero(~there)
    if not len(entry):
        return values
    lacking = entries[["entry_id", "source_id", "source_row"]].iloc[entry].reset_index(drop=True)
    wanted = components[["component", "unit"]].iloc[component].reset_index(drop=True)
    numbers = dict.fromkeys(("value", "n", "standard_error", "minimum", "maximum"), float("nan"))
    rows = pd.concat([lacking, wanted], axis="columns").assign(
        value_type="missing", derivation="", original="", original_unit="", **numbers)
    return pd.concat([values, rows[list(values.columns)]], ignore_index=True)


def with_numbered_missing(values: pd.DataFrame, entries: pd.DataFrame, components: pd.DataFrame) -> pd.DataFrame:
    """:func:`with_missing` of a table that numbers its nutrients: the missing ones name theirs in ``source_row`` too.

    ``components`` has the column source_nutrient as well.
    """
    whole = with_missing(values, entries, components)
    number = components.set_index(components["component"] + "/" + components["unit"])["source_nutrient"]
    lacking = whole.iloc[len(values):]
    asked = (lacking["component"] + "/" + lacking["unit"]).map(number).astype("str")
    whole.loc[lacking.index, "source_row"] = lacking["source_row"] + ", nutrient " + asked
    return whole


def problem(where: str, what: str, remedy: str) -> Problem:
    """An error about a file of a composition table."""
    return Problem(where=where, what=what, remedy=remedy, code="table-file", stage=STAGE)


def listed(file: str, found: Iterable[tuple[str, str]], remedy: str) -> list[Problem]:
    """One problem per (place, what); past ``SHOWN``, the rest are counted in one more."""
    found = list(found)
    shown = [problem(f"{file} {place}", what, remedy) for place, what in found[:SHOWN]]
    if len(found) > SHOWN:
        shown.append(problem(f"{file} {found[SHOWN][0]}", f"and {len(found) - SHOWN} more places like this one", remedy))
    return shown


def source_hash(path: Path) -> str:
    """SHA-256 of a file, or of the names and bytes of the files in a folder.

    Raises :class:`InputError` when there is no such file or folder.
    """
    try:
        if not path.is_dir():
            return hashlib.sha256(path.read_bytes()).hexdigest()
        digest = hashlib.sha256()
        for file in sorted(found for found in path.rglob("*") if found.is_file()):
            for part in (file.relative_to(path).as_posix().encode(), file.read_bytes()):
                digest.update(len(part).to_bytes(8, "little"))
                digest.update(part)
        return digest.hexdigest()
    except OSError as error:
        raise InputError(problem(str(path), f"cannot be read ({error.strerror or error})",
                                 "Give the file or the folder of the table as downloaded")) from None


def downloaded_files(path: Path, suffix: str) -> dict[str, bytes]:
    """The bytes of each file with this ending, by its lower-case stem: of a zip, or of a folder.

    It does not matter in which folder of the zip they lie; where the folder itself has none, its
    subfolders are looked in. Raises :class:`InputError` when there is nothing to read, when the
    zip is not whole, encrypted or too large, and when two files have one name.
    """
    if path.is_dir():
        own = [file for file in sorted(path.iterdir()) if _is_wanted(file.name, suffix) and file.is_file()]
        files = own or [file for file in sorted(path.glob("*/*")) if _is_wanted(file.name, suffix) and file.is_file()]
        _stop_if_twice(path, [file.name for file in files])
        try:
            return {file.stem.lower(): file.read_bytes() for file in files}
        except OSError as error:
            raise InputError(problem(str(error.filename), f"cannot be read ({error.strerror or error})", "Correct its permissions")) from None
    if not path.is_file():
        raise InputError(problem(str(path), "there is no such folder or file", "Give the folder or the zip as downloaded"))
    try:
        with zipfile.ZipFile(path) as archive:
            wanted = [member for member in archive.infolist() if _is_wanted(PurePosixPath(member.filename).name, suffix)]
            _stop_if_twice(path, [PurePosixPath(member.filename).name for member in wanted])
            _stop_if_unreadable(path, wanted)
            return {PurePosixPath(member.filename).stem.lower(): archive.read(member) for member in wanted}
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError) as error:
        raise InputError(problem(
            str(path), f"is not a whole zip file ({error})",
            "Give the zip as downloaded, or the folder of its files; where a download broke off, download it again"
            " and compare its size with the publisher's")) from None


def _is_wanted(name: str, suffix: str) -> bool:
    return name.lower().endswith(suffix) and not name.startswith(".")


def _stop_if_twice(path: Path, names: list[str]) -> None:
    lower = [name.lower() for name in names]
    twice = next((name for name, key in zip(names, lower, strict=True) if lower.count(key) > 1), "")
    if twice:
        raise InputError(problem(str(path), f"holds {twice} more than once", "Keep the files of one release, unchanged, and no others"))


def _stop_if_unreadable(path: Path, members: list[zipfile.ZipInfo]) -> None:
    locked = next((member.filename for member in members if member.flag_bits & 1), "")
    if locked:
        raise InputError(problem(str(path), f"is encrypted ({locked} asks for a password)", "Unpack it with its password, and give the folder"))
    size = sum(member.file_size for member in members)
    if size > LARGEST_UNPACKED:
        raise InputError(problem(str(path), f"unpacks to {size:,} bytes, and no table is read that has more than {LARGEST_UNPACKED:,}",
                                 "Check that it is the right file; where a download holds many kinds of food, take that of one kind"))
